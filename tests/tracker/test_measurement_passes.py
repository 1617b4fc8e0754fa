"""The loop over a clip's frames: which are looked at, when, and what becomes of their motion."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.camera import looking_at
from tests.tracker.fitting_case import circumstances, request
from tracker.detection import SearchSettings
from tracker.measurement import passes
from tracker.measurement.context import ClipContext
from tracker.measurement.passes import FramePass, Observers, Timing, passed_together
from tracker.measurement.scouting import scout, scout_together
from tracker.measurement.second_pass import LEARNING_FRAMES, Window, candidates_in, part
from tracker.records import Candidates
from tracker.video import ClipFacts, ClipWriter, Frame, frames, inspect

SIZE = (192, 112)
FPS = 60.0
FRAMES = 90
SETTINGS = SearchSettings(7.0, 6.0, 4, (0, 0, *SIZE), 20)
CAMERA = looking_at(np.array([5.0, -20.0, 1.5]), np.array([5.0, 0.0, 2.0]), 180.0, SIZE)


def ball_px(frame: int) -> np.ndarray:
    return np.array([12.0 + 1.8 * frame, 30.0 + 0.009 * frame**2])


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> ClipFacts:
    """A bright ball that flies across a still, textured background."""
    path = Path(tmp_path_factory.mktemp("passes")) / "ball.mp4"
    rng = np.random.default_rng(5)
    ground = np.kron(rng.integers(70, 130, (28, 48)), np.ones((4, 4))).astype(float)
    rows, columns = np.mgrid[: SIZE[1], : SIZE[0]]
    with ClipWriter(path, SIZE, FPS) as writer:
        for frame in range(FRAMES):
            column, row = ball_px(frame)
            shape = np.clip(4.0 - np.hypot(columns - column, rows - row), 0.0, 1.0)
            picture = ground * (1.0 - shape) + 235.0 * shape
            writer.write_luma_chroma(np.round(picture).astype(np.uint8))
    return inspect(path)


def seen(facts: ClipFacts, **how) -> list[Candidates]:
    timing = how.pop("timing", Timing.of_file(facts))
    return list(FramePass(facts, CAMERA, SETTINGS, timing, **how).candidates())


def near_ball(candidates: Candidates) -> bool:
    apart = np.linalg.norm(candidates.pixels - ball_px(candidates.frame), axis=1)
    return bool(apart.min(initial=np.inf) < 4.0)


def test_every_frame_is_looked_at_at_its_own_time(facts: ClipFacts) -> None:
    found = seen(facts)
    assert np.all(np.diff([each.frame for each in found]) == 1) and len(found) > FRAMES - 12
    for each in found:
        assert each.time_s == facts.times_s[each.frame]
    assert np.mean([near_ball(each) for each in found[10:]]) > 0.9


def test_only_each_nth_frame_is_looked_at(facts: ClipFacts) -> None:
    found = seen(facts, every=3)
    assert {each.frame % 3 for each in found} == {0}
    assert len(found) > FRAMES / 3 - 12


def test_repeats_are_left_out_and_corrected_times_used(facts: ClipFacts) -> None:
    repeats = np.arange(FRAMES) % 5 == 2
    times = 2.0 * facts.times_s
    found = seen(facts, timing=Timing(times, facts.file_times_s, repeats))
    assert not any(repeats[each.frame] for each in found)
    assert all(each.time_s == times[each.frame] for each in found)


def test_a_release_is_stated_on_the_files_own_clock_again(facts: ClipFacts) -> None:
    stretched = Timing(facts.times_s, 3.0 * facts.file_times_s, np.zeros(FRAMES, bool))
    assert stretched.file_clock_s(0.9, facts) == pytest.approx(0.3, abs=1e-9)
    assert Timing.of_file(facts).file_clock_s(0.9, facts) == 0.9


def test_observers_learn_of_progress_and_of_candidates(facts: ClipFacts) -> None:
    done: list[tuple[int, int]] = []
    frames: list[int] = []
    observers = Observers(
        lambda at, of: done.append((at, of)), lambda each: frames.append(each.frame)
    )
    loop = FramePass(facts, CAMERA, SETTINGS, Timing.of_file(facts))
    found = [each.frame for each in loop.candidates(observers)]
    assert frames == found
    assert done[0] == (0, FRAMES) and done[-1] == (FRAMES, FRAMES)
    # Of each eighth frame and at the end.
    assert [at for at, _ in done] == [*range(0, FRAMES, 8), FRAMES]
    assert observers.progress_only.on_candidates is None
    assert observers.progress_only.progress is observers.progress
    assert not loop.moves


def test_a_pass_that_can_follow_no_background_says_so(facts: ClipFacts, tmp_path: Path) -> None:
    with ClipWriter(tmp_path / "sky.mp4", SIZE, FPS) as writer:
        for _ in range(12):
            writer.write_luma_chroma(np.full(SIZE[::-1], 180, np.uint8))
    for each, blind in ((facts, False), (inspect(tmp_path / "sky.mp4"), True)):
        loop = FramePass(each, CAMERA, SETTINGS, Timing.of_file(each))
        assert len(list(loop.candidates())) > 0
        assert (passes.BLIND_NOTE in loop.notes) is blind


def decoded_frames(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The index of every frame that passes decode from now on."""
    decoded: list[int] = []

    def counted(*given: object, **how: object) -> Iterator[Frame]:
        for frame in frames(*given, **how):  # type: ignore[arg-type]
            decoded.append(frame.index)
            yield frame

    monkeypatch.setattr(passes, "frames", counted)
    return decoded


def test_passes_together_decode_a_clip_once_and_find_what_each_finds_alone(
    facts: ClipFacts, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick = replace(facts, pace=4.0)
    alone = [seen(facts), seen(quick, every=3)]
    decoded = decoded_frames(monkeypatch)
    both = [
        FramePass(each, CAMERA, SETTINGS, Timing.of_file(each), every)
        for each, every in ((facts, 1), (quick, 3))
    ]
    found: list[list[Candidates]] = [[], []]
    for at, candidates in passed_together(both):
        found[at].append(candidates)
    assert decoded == list(range(FRAMES))
    for mine, theirs in zip(found, alone, strict=True):
        assert [each.frame for each in mine] == [each.frame for each in theirs]
        assert [each.time_s for each in mine] == [each.time_s for each in theirs]
        assert all(np.array_equal(*pair) for pair in pixels_of(mine, theirs))


def test_a_clip_is_scouted_at_two_paces_in_one_pass(
    facts: ClipFacts, monkeypatch: pytest.MonkeyPatch
) -> None:
    clips = (facts, replace(facts, pace=4.0))
    alone = [scout(each, CAMERA) for each in clips]
    decoded = decoded_frames(monkeypatch)
    both = scout_together(clips, CAMERA)
    assert decoded == list(range(FRAMES))
    assert alone[0].arcs and alone[1].arcs
    for mine, theirs in zip(both, alone, strict=True):
        assert (mine.throws, mine.slow, mine.notes) == (theirs.throws, theirs.slow, theirs.notes)
        assert np.array_equal(mine.timing.times_s, theirs.timing.times_s)
        for one, other in zip(mine.arcs, theirs.arcs, strict=True):
            assert np.array_equal(one.frames, other.frames)
            assert np.array_equal(one.pixels, other.pixels)


def test_a_scout_counts_the_frames_that_came_undamaged(
    facts: ClipFacts, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of ninety thirty come whole, thirty damaged, and the rest not at all."""

    def spoilt(*given, **how) -> Iterator[Frame]:
        whole = frames(*given, **how)
        return (replace(each, suspect=each.index >= 30) for each in whole if each.index < 60)

    monkeypatch.setattr(passes, "frames", spoilt)
    for found in scout_together((facts, replace(facts, pace=4.0)), CAMERA):
        assert found.sound_share == pytest.approx(30 / FRAMES)


def pixels_of(
    some: list[Candidates], others: list[Candidates]
) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    return ((one.pixels, other.pixels) for one, other in zip(some, others, strict=True))


def test_a_second_pass_keeps_what_is_near_a_flight_while_it_flies(facts: ClipFacts) -> None:
    def near(candidates: Candidates) -> np.ndarray:
        return np.linalg.norm(candidates.pixels - ball_px(candidates.frame), axis=1) < 5.0

    def nothing(candidates: Candidates) -> np.ndarray:
        return np.zeros(len(candidates.pixels), bool)

    early, late = Window(0.4, 0.7, near), Window(0.9, 1.2, nothing)
    timing = Timing.of_file(facts)
    context = ClipContext(facts, request(), circumstances(CAMERA), SETTINGS)
    first, second = candidates_in([early, late], context, timing, Observers())
    times = np.array([each.time_s for each in first])
    lead = (2 * SETTINGS.lag + LEARNING_FRAMES) / FPS
    assert times.min() >= 0.4 - lead - 1e-9 and times.max() <= 0.7 + 1e-9
    assert times.max() > 0.65
    own = [each for each in first if each.time_s >= 0.4]
    assert all(len(each.pixels) <= 2 for each in own)
    assert np.mean([len(each.pixels) > 0 for each in own]) > 0.9
    for each in own:
        assert np.all(np.linalg.norm(each.pixels - ball_px(each.frame), axis=1) < 5.0)
    assert second and all(len(each.pixels) == 0 for each in second)
    assert min(each.time_s for each in second) >= 0.9 - lead - 1e-9


def test_a_part_of_a_frames_candidates_keeps_their_cutouts(facts: ClipFacts) -> None:
    whole = max(seen(facts), key=lambda each: len(each.pixels))
    kept = np.arange(len(whole.pixels)) % 2 == 0
    few = part(whole, kept)
    np.testing.assert_array_equal(few.pixels, whole.pixels[kept])
    np.testing.assert_array_equal(few.strength, whole.strength[kept])
    np.testing.assert_array_equal(few.luma.patches, whole.luma.patches[kept])
    np.testing.assert_array_equal(few.luma.corners, whole.luma.corners[kept])
    assert (few.frame, few.time_s) == (whole.frame, whole.time_s)
