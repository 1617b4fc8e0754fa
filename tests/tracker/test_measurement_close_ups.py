"""What pictures show of a shot's places is kept while the clip passes, to the same colours."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from calibration.camera import looking_at
from tests.tracker.invented_shot import invented
from tracker.detection import SearchSettings
from tracker.measurement.close_ups import MARGIN_PX, MOST_BYTES, CloseUps
from tracker.measurement.passes import FramePass, Timing
from tracker.records import Candidates, MeasuredShot
from tracker.report import shot_frames
from tracker.report.composite import around
from tracker.report.shot_frames import gather
from tracker.video import ClipFacts, ClipWriter, from_frames, inspect

SIZE, FRAMES, HALF = (160, 96), 30, 6
CAMERA = looking_at(np.array([5.0, -20.0, 1.5]), np.array([5.0, 0.0, 2.0]), 150.0, SIZE)
SETTINGS = SearchSettings(4.0, 4.0, 2, (0, 0, *SIZE), 20)


def ball_px(frame: int) -> tuple[float, float]:
    return 20.0 + 4.0 * frame, 40.0


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> ClipFacts:
    """An orange ball that crosses a green, textured field."""
    path = tmp_path_factory.mktemp("close_ups") / "a.mp4"
    ground = np.random.default_rng(2).integers(60, 90, (*SIZE[::-1], 3)).astype(float)
    ground[:, :, 1] += 60.0
    rows, columns = np.mgrid[: SIZE[1], : SIZE[0]]
    with ClipWriter(path, SIZE, 60) as writer:
        for frame in range(FRAMES):
            column, row = ball_px(frame)
            shape = np.clip(3.0 - np.hypot(columns - column, rows - row), 0.0, 1.0)[:, :, None]
            picture = ground * (1.0 - shape) + np.array([20.0, 140.0, 250.0]) * shape
            writer.write_bgr(np.round(picture).astype(np.uint8))
    return inspect(path)


@pytest.fixture(scope="module")
def passed(facts: ClipFacts) -> list[Candidates]:
    side = CloseUps(HALF).side(60.0)
    timing = Timing.of_file(facts)
    return list(FramePass(facts, CAMERA, SETTINGS, timing, side_px=side).candidates())


def shot_at(places: dict[int, tuple[float, float]]) -> MeasuredShot:
    whole = invented()[0]
    point = whole.points[0]
    points = (
        replace(point, frame=frame, column_px=column, row_px=row)
        for frame, (column, row) in places.items()
    )
    return replace(whole, points=tuple(points))


def kept_of(shot: MeasuredShot, passed: list[Candidates]) -> CloseUps:
    close_ups = CloseUps(HALF)
    close_ups.take(shot, passed)
    return close_ups


def test_close_ups_are_those_of_a_second_decoding(
    facts: ClipFacts, passed: list[Candidates]
) -> None:
    places = {frame: ball_px(frame) for frame in range(8, 26)}
    kept = kept_of(shot_at(places), passed).kept
    assert len(kept) >= 16
    boxes = {frame: around(SIZE, place, HALF) for frame, place in places.items()}
    again = from_frames(facts, places, lambda index, shown: shown.part(boxes[index]))  # type: ignore[arg-type]
    for (frame, *_), (corner, image) in kept.items():
        assert corner == boxes[frame][:2]  # type: ignore[index]
        np.testing.assert_array_equal(image, again[frame])


def test_only_what_a_candidates_square_holds_is_kept(passed: list[Candidates]) -> None:
    column, row = ball_px(12)
    for off, held in ((0.0, True), (MARGIN_PX - 2.0, True), (4.0 * MARGIN_PX, False)):
        assert bool(kept_of(shot_at({12: (column, row + off)}), passed).kept) is held
    for nowhere in (float("nan"), 1.0):
        assert not kept_of(shot_at({12: (nowhere, row)}), passed).kept
    bare = [each.with_colours(None) for each in passed]
    assert not kept_of(shot_at({12: (column, row)}), bare).kept


def test_squares_that_take_too_much_memory_are_not_cut() -> None:
    assert CloseUps(14).side(60.0) == 40
    assert CloseUps(14).side(240.0) == 40
    assert CloseUps(28).side(30.0) == 0


@pytest.mark.parametrize(("share", "cut"), [(0.99, 40), (1.01, 0)])
def test_squares_are_weighed_as_36_a_frame_for_eight_seconds(share: float, cut: int) -> None:
    """A byte and a half a pixel in 4:2:0."""
    fps = share * MOST_BYTES / (1.5 * 40**2 * 36 * 8.0)
    assert CloseUps(14).side(fps) == cut


def test_squares_go_with_their_candidates(passed: list[Candidates]) -> None:
    whole = max(passed, key=lambda each: len(each.pixels))
    assert whole.colours is not None
    kept = np.arange(len(whole.pixels))[::2]
    few = whole.part(kept)
    assert few.colours is not None
    np.testing.assert_array_equal(few.colours.corners, whole.colours.corners[kept])
    np.testing.assert_array_equal(few.colours.luma, whole.colours.luma[kept])
    assert few.colours.red.shape[1:] == (len(whole.colours.red[0]),) * 2


def test_of_many_frames_a_second_those_have_squares_that_are_shown(
    facts: ClipFacts, passed: list[Candidates]
) -> None:
    fast = replace(facts, pace=4.0)
    side = CloseUps(HALF).side(240.0)
    found = list(FramePass(fast, CAMERA, SETTINGS, Timing.of_file(fast), side_px=side).candidates())
    assert {each.frame for each in found if each.colours is not None} == {4, 8, 12, 16, 20, 24}
    assert all(each.colours is not None for each in passed)


@pytest.mark.parametrize(("pace", "least", "shown"), [(1.0, 2, 10), (4.0, 2, 2), (4.0, 3, 10)])
def test_pictures_show_sixty_places_a_second_unless_these_are_few(
    facts: ClipFacts, monkeypatch: pytest.MonkeyPatch, pace: float, least: int, shown: int
) -> None:
    monkeypatch.setattr(shot_frames, "LEAST_SHOWN", least)
    shot = shot_at({frame: ball_px(frame) for frame in range(10, 20)})
    ((_, patches),) = gather(replace(facts, pace=pace), [shot])
    assert len(patches) == shown


def test_before_a_still_camera_the_key_frame_is_shown_as_a_whole(
    facts: ClipFacts, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is decoded alone; where it is damaged the shot's first frame stands for it."""
    shot = shot_at({frame: ball_px(frame) for frame in range(10, 20)})
    whole = from_frames(facts, [0, 10], lambda _, seen: seen.whole())
    for still, lost, shown in ((True, (), 0), (False, (), 10), (True, (0,), 10)):
        monkeypatch.setattr(shot_frames, "from_frames", Asked(frozenset(lost)))
        ((frame, patches),) = gather(facts, [shot], still=still)
        np.testing.assert_array_equal(frame, whole[shown])
        assert [each.frame for each in patches] == list(range(10, 20))


@dataclass
class Asked:
    """Counts the frames that are decoded for pictures, and may lose some."""

    lost: frozenset[int] = frozenset()
    frames: int = 0

    def __call__(self, facts: ClipFacts, indices: Any, take: Any) -> dict[int, Any]:
        wanted = set(indices) - self.lost
        self.frames += len(wanted)
        return from_frames(facts, wanted, take)


@pytest.mark.parametrize("lost", [False, True])
def test_a_shot_whose_close_ups_were_kept_needs_its_first_frame_only(
    lost: bool, facts: ClipFacts, passed: list[Candidates], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where that frame is damaged all are read, and the next one stands for it, as ever."""
    monkeypatch.setattr(shot_frames, "half_patch_px", lambda _: HALF)
    shot = shot_at({frame: ball_px(frame) for frame in range(10, 20)})
    kept = kept_of(shot, passed).kept
    assert len(kept) == 10
    gone = frozenset({10} if lost else ())
    asked, plain = Asked(gone), Asked(gone)
    monkeypatch.setattr(shot_frames, "from_frames", plain)
    ((frame, patches),) = gather(facts, [shot])
    monkeypatch.setattr(shot_frames, "from_frames", asked)
    ((again, same),) = gather(facts, [shot], kept)
    assert (asked.frames, plain.frames) == ((9, 9) if lost else (1, 10))
    np.testing.assert_array_equal(again, frame)
    assert [each.frame for each in same] == [each.frame for each in patches]
    for one, other in zip(same, patches, strict=True):
        assert one.corner == other.corner
        np.testing.assert_array_equal(one.image, other.image)
