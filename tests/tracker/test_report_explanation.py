"""The picture that shows why a flight was taken for a shot, and what it is gathered from."""

import pickle
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from tests.tracker.invented_shot import SIZE, field, invented
from tracker.records import Candidates, Cutouts, MeasuredShot, Reason, ReasonCode, RejectedCandidate
from tracker.report import explanation as explanation_module
from tracker.report.explanation import CandidateLog, _middle, explanation_pictures, log_of
from tracker.report.explanation_picture import (
    CandidateView,
    Crossing,
    Explanation,
    Instant,
    dashes,
    explanation_picture,
    reasons,
)
from tracker.video import ClipFacts, ClipWriter, Shown, frames, from_frames, inspect

Take = Callable[[int, Shown], None]

RIVAL = RejectedCandidate(
    clip="a.mp4",
    release_s=1.2,
    support=12.0,
    frames_seen=9,
    frames_crossed=60,
    reasons=(Reason(ReasonCode.DETECTIONS_SHARE, {"hits": 20, "crossed": 90}),),
    times_s=np.linspace(1.2, 2.2, 40),
    pixels=np.column_stack([np.linspace(300, 900, 40), np.full(40, 300.0)]),
)


def explanation(
    shot: MeasuredShot | None = None, rivals: tuple[RejectedCandidate, ...] = (RIVAL,)
) -> Explanation:
    rng = np.random.default_rng(1)
    tile = Instant(0.3, np.full((33, 33, 3), 200, np.uint8), True)
    view = CandidateView(
        background=field(),
        times_s=rng.uniform(0.0, 3.0, 500),
        pixels=rng.uniform((0, 0), SIZE, (500, 2)),
        strip=(tile, replace(tile, found=False)),
        strip_name="Along the path:",
    )
    return Explanation("why", view, shot, rivals)


def drawn(of: Explanation) -> np.ndarray:
    image = cv2.imdecode(np.frombuffer(explanation_picture(of), np.uint8), cv2.IMREAD_COLOR)
    assert image is not None
    return image


@pytest.mark.long
def test_rivals_and_candidates_show_in_the_picture() -> None:
    nothing = explanation(rivals=())
    view = replace(nothing.view, times_s=np.zeros(0), pixels=np.zeros((0, 2)))
    bare = drawn(replace(nothing, view=view))
    full = drawn(explanation(invented()[0]))
    assert full.shape[1] == bare.shape[1] == 1920
    # Dashed orange (blue, green, red) and the dots' green are in one and not in the other.
    for colour in ((107, 143, 255), (140, 144, 33)):
        apart = [np.abs(image.astype(int) - colour).max(axis=2) for image in (bare, full)]
        near = [int((each < 40).sum()) for each in apart]
        assert near[1] > near[0] + 50


def test_dashes_lie_along_a_path_and_end_with_it() -> None:
    """4.8 points of line and 2.1 of gap, also round a corner; what does not show has none."""
    path = np.array([[0.0, 0.0], [np.nan, 0.0], [1.0, 0.0], [1.0, 0.5]])
    found = dashes(path)
    assert len(found) == int(np.ceil(1.5 / (6.9 / 72.0)))
    np.testing.assert_allclose(found[1], [[6.9 / 72.0, 0.0], [11.7 / 72.0, 0.0]], atol=1e-12)
    np.testing.assert_allclose(found[-1, 1], [1.0, min(15 * 6.9 + 4.8, 108.0) / 72.0 - 1.0])
    assert dashes(path[:2]).shape == (0, 2, 2)


def test_a_picture_is_as_wide_as_a_sheet_and_shows_frame_dots_and_rivals() -> None:
    """A quick look at what the campaign's test of the same picture counts in full."""
    image = drawn(explanation())
    assert image.shape[1] == 1920
    for colour in ((107, 143, 255), (140, 144, 33)):
        near = np.abs(image.astype(int) - colour).max(axis=2) < 40
        assert near.sum() > 50


@pytest.mark.parametrize("row", [3.0, pytest.param(1076.0, marks=pytest.mark.campaign)])
def test_the_number_of_a_path_along_the_edge_lies_in_the_picture(row: float) -> None:
    low = replace(RIVAL, pixels=np.column_stack([np.linspace(300, 900, 40), np.full(40, row)]))
    spots = [
        np.abs(drawn(explanation(rivals=rivals)).astype(int) - (107, 143, 255)).max(axis=2) < 40
        for rivals in ((RIVAL,), (low,))
    ]
    assert spots[1].sum() > 0.8 * spots[0].sum()


def test_the_title_of_the_scale_is_whole_in_an_upright_frame() -> None:
    upright = explanation(rivals=())
    frame = np.zeros((1920, 1080, 3), np.uint8)
    times, pixels = np.array([0.0, 3.0]), np.zeros((2, 2))
    view = replace(upright.view, background=frame, times_s=times, pixels=pixels)
    image = drawn(replace(upright, view=view))
    dark = np.flatnonzero((image[400] < 20).all(axis=1))
    letters = np.flatnonzero((image[95:130, dark[0] : dark[-1]] > 150).all(axis=2).any(axis=0))
    assert letters.size > 100
    assert letters[-1] < dark[-1] - dark[0] - 8


def test_every_rival_is_named_with_its_number_and_reason() -> None:
    lines = " ".join(reasons(explanation(rivals=(RIVAL, RIVAL))))
    assert "1, dashed: release at 1.20 s, something seen in 9 of 60 frames" in lines
    assert lines.count(RIVAL.reason) == 2
    nothing = " ".join(reasons(explanation(rivals=())))
    assert nothing == "No other candidate of that time looked like a flight."


def test_what_made_it_a_shot_is_stated_with_its_figures() -> None:
    shot = invented()[0]
    used = sum(point.used for point in shot.points)
    lines = " ".join(reasons(replace(explanation(shot), crossing=Crossing(used + 3, 2, 40.0))))
    assert f"the ball was found in {used} of the {used + 3} frames of its flight" in lines
    misses = [
        (point.residual_column_px, point.residual_row_px) for point in shot.points if point.used
    ]
    assert f"lie {np.sqrt(np.mean(np.square(misses))):.2f} px (root mean square)" in lines
    assert "moved 40 px up or down meets detections in 2 of them" in lines


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("clip") / "a.mp4"
    with ClipWriter(path, (320, 180), 30) as writer:
        for index in range(90):
            frame = np.full((180, 320, 3), 90, np.uint8)
            frame[60:64, 10 + 3 * index : 14 + 3 * index] = 250
            writer.write_bgr(frame)
    return path


def logged(seen: CandidateLog | None = None) -> CandidateLog:
    seen = CandidateLog() if seen is None else seen
    for index in range(90):
        nothing = Cutouts(np.zeros((2, 1, 1), np.int16), np.zeros((2, 2), np.int64))
        pixels = np.array([[12.0 + 3 * index, 62.0], [200.0, 100.0]])
        seen.add(Candidates(index, index / 30.0, pixels, np.ones(2), nothing, None))
    return seen


def test_candidates_of_a_time_are_kept_without_their_pictures() -> None:
    times, pixels = logged().between(1.0, 1.1)
    assert times.tolist() == pytest.approx([1.0] * 2 + [31 / 30] * 2 + [32 / 30] * 2 + [1.1] * 2)
    assert pixels[0].tolist() == [102.0, 62.0]


def test_a_log_takes_little_more_memory_than_its_numbers() -> None:
    few, many = (len(pickle.dumps(_noted(count))) for count in (1000, 3000))
    # A time, a count and two places of four bytes each for every candidate.
    assert (many - few) / 2000 < 8 + 4 + 2 * 8 + 1


def _noted(frames: int) -> CandidateLog:
    log = CandidateLog()
    nothing = Cutouts(np.zeros((0, 1, 1), np.int16), np.zeros((0, 2), np.int64))
    for index in range(frames):
        for some in (np.ones((2, 2)), np.zeros((0, 2))):
            log.add(Candidates(index, index / 30.0, some, np.ones(len(some)), nothing, None))
    return log


def test_frames_kept_while_the_clip_passed_are_not_decoded_again(
    clip: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The picture is the same; the kept frames go with it, or with the first shot."""
    facts = inspect(clip)
    again = explanation_pictures(facts, logged(), [], [])
    asked: list[set[int]] = []

    def noted(of: ClipFacts, indices: set[int], take: Take) -> dict[int, None]:
        asked.append(set(indices))
        return from_frames(of, indices, take)

    log = log_of(facts)
    logged(log)
    for frame in frames(facts):
        log.see(frame)
    assert sorted(log.stills) == sorted(log.wanted) and len(log.stills) == 7
    monkeypatch.setattr(explanation_module, "from_frames", noted)
    assert explanation_pictures(facts, log, [], []) == again
    assert asked == [set()]
    kept = log_of(facts)
    kept.see(next(frames(facts)))
    kept.drop_stills()
    kept.see(next(frames(facts)))
    assert kept.stills == {}


def test_a_clip_without_a_shot_gets_one_picture_of_what_came_nearest(clip: Path) -> None:
    rival = replace(
        RIVAL,
        times_s=np.linspace(0.5, 2.5, 30),
        pixels=np.column_stack([12.0 + 90.0 * np.linspace(0.5, 2.5, 30), np.full(30, 62.0)]),
    )
    pictures = explanation_pictures(inspect(clip), logged(), [], [rival])
    assert list(pictures) == ["explained.jpg"]


def test_the_picture_of_a_clip_without_a_shot_is_headed_by_the_cause(
    clip: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[Explanation] = []

    def noted(explanation: Explanation) -> bytes:
        drawn.append(explanation)
        return b""

    monkeypatch.setattr(explanation_module, "explanation_picture", noted)
    feet = [Reason(ReasonCode.TAPED_IN_FEET)]
    explanation_pictures(inspect(clip), logged(), [], [], feet)
    explanation_pictures(inspect(clip), logged(), [], [])
    assert drawn[0].heading.startswith(f"{clip.name}: No shot was found, but a ball falls")
    assert "in feet" in drawn[0].heading
    assert drawn[1].heading == f"No shot was measured in {clip.name}: the nearest candidates"


def test_a_release_before_the_clip_is_said_and_its_support_once() -> None:
    early = replace(RIVAL, release_s=-0.19)
    stated = replace(early, reasons=(Reason(ReasonCode.CHANCE, {"support": 12.0, "needed": 28.0}),))
    for rival, times in ((early, 1), (stated, 1)):
        lines = " ".join(reasons(explanation(rivals=(rival,))))
        assert "release 0.19 s before the clip begins" in lines
        assert lines.count("support") == times


@pytest.mark.parametrize("count", range(1, 8))
def test_the_background_is_the_median_of_its_frames(count: int) -> None:
    levels = np.random.default_rng(count).integers(0, 256, (count, 19, 6, 3)).astype(np.uint8)
    kept = levels.copy()
    expected = np.median(levels, axis=0).astype(np.uint8)
    assert np.array_equal(_middle(list(levels)), expected)
    assert np.array_equal(levels, kept)


def test_every_shot_gets_a_picture_and_a_rejected_row_without_a_path_none(clip: Path) -> None:
    shot = invented()[0]
    assert shot.path is not None
    path = replace(
        shot.path,
        times_s=np.linspace(0.5, 2.0, len(shot.path.times_s)),
        pixels=shot.path.pixels / 6.0,
    )
    rows = [replace(shot, path=path), replace(shot, path=None)]
    pictures = explanation_pictures(inspect(clip), logged(), rows, [])
    assert list(pictures) == [f"shot-{shot.shot.shot}-explained.jpg"]


def test_of_a_long_clip_every_second_frame_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tracker.report.explanation.MOST_NOTED", 100)
    log = CandidateLog()
    nothing = Cutouts(np.zeros((0, 1, 1), np.int16), np.zeros((0, 2), np.int64))
    for index in range(400):
        log.add(Candidates(index, index / 30.0, np.ones((2, 2)), np.ones(2), nothing, None))
        assert log.count <= 102
    times, _ = log.between(0.0, 400.0)
    steps = np.diff(np.unique(times)) * 30.0
    assert steps.max() == pytest.approx(steps.min()) and steps.max() > 4.0
    assert times.min() < 1.0 and times.max() > 12.5


def course(number: int, first_s: float, seen: bool = True) -> explanation_module._Course:
    times = first_s + np.linspace(0.0, 0.5, 20)
    pixels = np.full((20, 2), 50.0 if seen else np.nan)
    return explanation_module._Course(str(number), first_s, times, pixels)


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        # A key frame each second: the strongest candidate's close-ups are decoded soon.
        (range(0, 600, 60), "1"),
        # One at the beginning: those of the third are, and of them all its frames lie near.
        ((0,), "3"),
        ((0, 430), "1"),
        # None near any.
        ((), "3"),
    ],
)
def test_close_ups_are_those_that_take_little_decoding(keys, expected) -> None:
    facts = SimpleNamespace(
        times_s=np.arange(600) / 60.0,
        size_px=SIZE,
        listing=SimpleNamespace(keys=np.isin(np.arange(600), list(keys))),
    )
    courses = [course(1, 8.0), course(2, 5.0), course(3, 1.0)]
    assert explanation_module._soon_decoded(facts, courses).name == expected
    assert explanation_module._soon_decoded(facts, []).name == ""
    # One that never shows takes no decoding.
    hidden = [course(1, 8.0, seen=False), *courses[1:]]
    assert explanation_module._soon_decoded(facts, hidden).name == "1"
    wanted = [100, 130, 431, 500]
    counts = {(0,): 501, (0, 430): 131 + 71, (): 501, (100, 480): 332 + 21}
    for at, count in counts.items():
        facts.listing.keys = np.isin(np.arange(600), list(at))
        assert explanation_module._decoded_for(facts, wanted) == count
