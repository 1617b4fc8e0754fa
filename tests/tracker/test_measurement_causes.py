"""The cause of there being no shot is scouted while the clip is searched, in one decoding."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.camera import looking_at
from tests.tracker.fitting_case import circumstances, request
from tests.tracker.invented_shot import invented
from tracker.detection import SearchSettings
from tracker.measurement import passes, scouting
from tracker.measurement.context import ClipContext
from tracker.measurement.passes import NO_OBSERVERS, FramePass, Timing
from tracker.measurement.starts import diagnosis, release
from tracker.measurement.starts.anywhere import AnywhereStart
from tracker.measurement.starts.field import field_of
from tracker.records import Candidates, Quality, Reason, ReasonCode
from tracker.video import ClipFacts, ClipWriter, Frame, frames, inspect

SIZE, FPS, FRAMES = (192, 112), 60.0, 70
CAMERA = looking_at(np.array([5.0, -20.0, 1.5]), np.array([5.0, 0.0, 2.0]), 180.0, SIZE)
SETTINGS = SearchSettings(4.0, 4.0, 1, (0, 0, *SIZE), 20)
Codes = np.ndarray
Seen = tuple[Codes, Codes | None]
FIELD = field_of([[0.0, 0.0, 0.8], [0.0, 0.0, 0.0], [20.0, 0.0, 0.0], [20.0, 4.0, 0.0]])


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> ClipFacts:
    """A ball that falls across a still, textured background."""
    path = Path(tmp_path_factory.mktemp("causes")) / "ball.mp4"
    ground = np.random.default_rng(5).integers(70, 130, (28, 48))
    ground = np.kron(ground, np.ones((4, 4))).astype(float)
    rows, columns = np.mgrid[: SIZE[1], : SIZE[0]]
    with ClipWriter(path, SIZE, FPS) as writer:
        for frame in range(FRAMES):
            column, row = 12.0 + 2.4 * frame, 24.0 + 0.012 * frame**2
            shape = np.clip(3.0 - np.hypot(columns - column, rows - row), 0.0, 1.0)
            picture = ground * (1.0 - shape) + 235.0 * shape
            writer.write_luma_chroma(np.round(picture).astype(np.uint8))
    return inspect(path)


def context_of(facts: ClipFacts, most: int = 20) -> ClipContext:
    # A window that holds less than the ball's path.
    settings = replace(SETTINGS, most=most, window=(0, 0, 100, 60))
    return ClipContext(facts, request(), circumstances(CAMERA), settings)


class NoFlights:
    """A search that finds no flight."""

    rejected_candidates = ()

    def __init__(self, *_: object) -> None:
        self.pushed: list[int] = []

    def push(self, candidates: Candidates) -> list[object]:
        self.pushed.append(candidates.frame)
        return []

    def finish(self) -> Iterator[list[object]]:
        return iter(())

    def candidates(self, _: object) -> list[Candidates]:
        return []


@pytest.fixture(params=[20, 90], ids=["scouts with finders of their own", "a scout that is fed"])
def decoded(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> list[int]:
    """The index of every frame that passes decode; with as many candidates, a scout is fed."""
    found: list[int] = []

    def counted(*given: object, **how: object) -> Iterator[Frame]:
        for frame in frames(*given, **how):  # type: ignore[arg-type]
            found.append(frame.index)
            yield frame

    monkeypatch.setattr(passes, "frames", counted)
    monkeypatch.setattr(
        release, "release_context", lambda facts, *_: context_of(facts, request.param)
    )
    monkeypatch.setattr(release, "FlightSearch", NoFlights)
    return found


def test_the_cause_needs_no_decoding_of_its_own(
    facts: ClipFacts, decoded: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: list[tuple[list[int], float]] = []

    def likeliest(_: object, __: object, throw: diagnosis.Throw, frame_s: float, own: bool) -> None:
        tried.append((throw.arc.frames.tolist(), frame_s))
        assert own

    monkeypatch.setattr(diagnosis, "likeliest", likeliest)
    alone = diagnosis.causes_of_no_shot(context_of(facts), FIELD, NO_OBSERVERS)
    assert decoded == list(range(FRAMES))
    found = release.ReleaseStart(CAMERA, FIELD).find(facts, request(), NO_OBSERVERS)
    assert decoded == 2 * list(range(FRAMES))
    assert found.causes == alone and alone[0].code is ReasonCode.FALLS_OTHERWISE
    assert tried[: len(tried) // 2] == tried[len(tried) // 2 :] and len(tried) >= 2


@pytest.mark.parametrize("after_s, own", [(0.1, False), (-2.9, False), (-3.2, True), (0.4, True)])
def test_what_falls_along_a_rejected_row_or_after_it_did_not_start_elsewhere(
    facts: ClipFacts, monkeypatch: pytest.MonkeyPatch, after_s: float, own: bool
) -> None:
    """A flight of 1.5 s that was rejected, released before or after the path begins."""
    context = context_of(facts)
    clips = (context.facts, diagnosis.otherwise_paced(context).facts)
    scouted, slow = scouting.scout_together(clips, CAMERA, NO_OBSERVERS)
    granted: list[tuple[float, bool]] = []

    def likeliest(_: object, __: object, throw: diagnosis.Throw, ___: float, own: bool) -> None:
        granted.append((float(throw.arc.times_s[0]), own))

    monkeypatch.setattr(diagnosis, "likeliest", likeliest)
    assert diagnosis.causes_in(scouted, slow, context, FIELD)[0].code is not None
    first_s = max(granted)[0]
    row = replace(invented()[0].shot, release_s=first_s + after_s, flight_time_s=1.5)
    granted.clear()
    causes = diagnosis.causes_in(scouted, slow, context, FIELD, [row])
    assert [each.code for each in causes] == [ReasonCode.ONLY_REJECTED]
    assert causes[0].numbers["release_s"] == row.release_s
    assert dict(granted)[first_s] is own


def test_nothing_is_scouted_where_a_shot_is_found(
    facts: ClipFacts, decoded: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nor is a cause searched for: the scouts stop with the shot's frame, of which few follow."""
    scouted: list[int] = []

    class Finds(NoFlights):
        def push(self, candidates: Candidates) -> list[object]:
            return [None] if candidates.frame == 10 else []

    class Shot:
        quality = Quality.GOOD

    class Row:
        shot = Shot

    def push(_: object, candidates: Candidates) -> None:
        scouted.append(candidates.frame)

    monkeypatch.setattr(release, "FlightSearch", Finds)
    monkeypatch.setattr(release, "measure_hypothesis", lambda *_: Row)
    monkeypatch.setattr(scouting._Scout, "push", push)
    monkeypatch.setattr(passes, "frames_ahead", lambda _: 2)
    found = release.ReleaseStart(CAMERA, FIELD).find(facts, request(), NO_OBSERVERS)
    assert found.causes == () and found.any_shot
    assert 9 in scouted and max(scouted) < 30
    assert decoded == list(range(FRAMES))


def test_scouting_along_stops_where_the_camera_moves(
    facts: ClipFacts, decoded: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The measurement then asks for the cause, which is scouted in a decoding of its own."""

    class Moves(passes.Steadier):
        def see(self, frame: int, luma: Codes, blueness: Codes | None = None) -> Seen:
            self.moves = frame > 20
            return luma, blueness

    monkeypatch.setattr(passes, "Steadier", Moves)
    start = release.ReleaseStart(CAMERA, FIELD)
    found = start.find(facts, request(), NO_OBSERVERS)
    assert found.causes == () and decoded == list(range(FRAMES))
    assert start.causes_of_no_shot(facts, request(), NO_OBSERVERS) != ()
    assert decoded == 2 * list(range(FRAMES))
    monkeypatch.setattr(diagnosis, "likeliest", lambda *_: None)
    row = invented()[0].shot
    for each in (start, AnywhereStart(CAMERA, FIELD)):
        (cause,) = each.causes_of_no_shot(facts, request(), NO_OBSERVERS, [row])
        assert cause.code is ReasonCode.ONLY_REJECTED
        assert cause.numbers["release_s"] == row.release_s


def test_the_camera_is_followed_once_for_all_passes(
    facts: ClipFacts, decoded: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Frames in which it was lost count for the scouts too."""
    made: list[passes.Steadier] = []

    class Counted(passes.Steadier):
        def __init__(self, *given: object) -> None:
            super().__init__(*given)  # type: ignore[arg-type]
            made.append(self)

        def see(self, frame: int, luma: Codes, blueness: Codes | None = None) -> Seen:
            self.lost = 30 <= frame < 40
            return luma, blueness

    lost: list[list[float]] = []

    def found(scouted: scouting.Scouting, _: object) -> None:
        lost.extend(each.loop.lost_s for each in scouted._scouts)
        raise InterruptedError

    monkeypatch.setattr(passes, "Steadier", Counted)
    monkeypatch.setattr(scouting.Scouting, "found", found)
    with pytest.raises(InterruptedError):
        release.ReleaseStart(CAMERA, FIELD).find(facts, request(), NO_OBSERVERS)
    assert len(made) == 1
    assert lost[0] == pytest.approx([frame / FPS for frame in range(30, 40)])
    # At the pace of a clip that plays eight times slower.
    assert lost[1] == pytest.approx([32 / FPS / 8.0])


def test_without_a_field_nothing_is_scouted(
    facts: ClipFacts, decoded: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    def forbidden(*_: object) -> Reason:
        raise AssertionError("was scouted")

    monkeypatch.setattr(release, "scouting_along", forbidden)
    assert release.ReleaseStart(CAMERA).find(facts, request(), NO_OBSERVERS).causes == ()


def test_candidates_come_without_cutouts_where_nobody_needs_them(facts: ClipFacts) -> None:
    loop = FramePass(facts, CAMERA, SETTINGS, Timing.of_file(facts))
    whole = list(loop.candidates())
    bare = list(replace(loop, cutouts=False).candidates())
    for one, other in zip(bare, whole, strict=True):
        assert np.array_equal(one.pixels, other.pixels)
        assert np.array_equal(one.strength, other.strength)
        assert one.luma.patches.size == 0 and one.blueness is None and one.backdrops == ()
        few = one.part(np.arange(len(one.pixels) // 2))
        assert len(few.luma.corners) == len(few.pixels)
