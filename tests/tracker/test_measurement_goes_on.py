"""A bird crosses the frame as fast before and after its fall; a hand and a bounce do not."""

from types import SimpleNamespace

import numpy as np
import pytest

from tracker.measurement.starts.goes_on import LEAST_EVIDENCE, evidence_of_course, goes_on
from tracker.records import Candidates

FRAME_S, PACE, FALL = 1.0 / 30.0, 190.0, 380.0
LAPSES = FRAME_S * np.arange(1, 16)
RELEASE_S, END_S = 1.0, 1.5
START = np.array([300.0, 128.0])


def along(times):
    """The flight's picture: level at first, then falling."""
    since = np.asarray(times) - RELEASE_S
    return START + np.column_stack([PACE * since, 0.5 * FALL * since**2])


def candidates(places) -> list[Candidates]:
    """Frames from before the flight until after it: its positions, and what is beyond it."""
    frames = []
    for frame in range(12, 66):
        time_s = frame * FRAME_S
        within = RELEASE_S - 1e-6 <= time_s <= END_S + 1e-6
        found = along([time_s]) if within else np.array(places(time_s)).reshape(-1, 2)
        size = len(found)
        frames.append(SimpleNamespace(frame=frame, time_s=time_s, pixels=found, count=size))
    return frames  # type: ignore[return-value]


def judged(places) -> bool:
    times = np.array([each.time_s for each in candidates(places)])
    own = times[(times > RELEASE_S - 1e-6) & (times < END_S + 1e-6)]
    track = SimpleNamespace(times_s=own, pixels=along(own))
    used = np.ones(len(own), bool)
    return goes_on(track, used, SimpleNamespace(path=along), candidates(places))  # type: ignore[arg-type]


END = along([END_S])[0]


def after(pace: float, speed: float, fall: float, seen=lambda frame: True):
    """What is seen after the flight, from its end on."""

    def places(time_s: float):
        lapse = time_s - END_S
        if not 0.0 < lapse < 0.5 or not seen(round(time_s / FRAME_S)):
            return []
        return [END + np.array([pace * lapse, speed * lapse + 0.5 * fall * lapse**2])]

    return places


def before(pace: float, least_s: float = 0.0):
    """What is seen before the flight, level."""

    def places(time_s: float):
        lapse = time_s - RELEASE_S
        return [START + np.array([pace * lapse, 0.0])] if -least_s < lapse < 0.0 else []

    return places


@pytest.mark.parametrize(
    ("places", "bird"),
    [
        (after(PACE, 190.0, -400.0), True),
        (after(PACE, 0.0, 0.0, lambda frame: frame % 3 == 0), True),
        (before(PACE, 0.5), True),
        (lambda time_s: [], False),
        (after(PACE, 190.0, FALL), False),
        (after(PACE, -120.0, FALL), False),
        (after(0.85 * PACE, -40.0, 0.0), False),
        (after(PACE, 0.0, 0.0, lambda frame: frame < 53), False),
        (before(PACE, 0.2), False),
        (before(0.6 * PACE, 0.5), False),
    ],
    ids=[
        "turns up",
        "level, seen in every third frame",
        "came level",
        "nothing",
        "the fall itself",
        "a bounce",
        "a ball that rolls",
        "a moment only",
        "a hand at the ball's pace",
        "a slower thing",
    ],
)
def test_only_what_keeps_its_pace_without_falling_is_no_ball(places, bird: bool) -> None:
    assert judged(places) is bird


def test_chance_explains_a_course_among_many_candidates() -> None:
    """Four of fifteen frames: plain where nothing else moves, chance where everything does."""
    rng = np.random.default_rng(3)
    alone = [np.array([20.0]) if at in (7, 9, 11, 13) else np.zeros(0) for at in range(15)]
    crowd = [np.append(some, rng.uniform(-60.0, 60.0, 6)) for some in alone]
    assert evidence_of_course(LAPSES, alone, FALL) > LEAST_EVIDENCE
    assert evidence_of_course(LAPSES, crowd, FALL) < LEAST_EVIDENCE
    assert evidence_of_course(LAPSES, [np.zeros(0)] * 15, FALL) == -np.inf


def test_the_evidence_is_the_ratio_of_both_likelihoods() -> None:
    """By hand: four of fifteen frames on a level course, for six pairs that were tried."""
    places = [np.array([0.0]) if at in (7, 9, 11, 13) else np.zeros(0) for at in range(15)]
    share, chance = 4 / 15, 1.0 - np.exp(-1 / 15 * 3.0 / 60.0)
    expected = 4 * np.log(share / chance) + 11 * np.log((1 - share) / (1 - chance)) - np.log(6)
    assert evidence_of_course(LAPSES, places, FALL) == pytest.approx(expected)
