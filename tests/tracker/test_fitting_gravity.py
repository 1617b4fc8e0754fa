"""Gravity shows a wrong frame rate and a wrong spacing, and nothing where both are right."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest

from tests.tracker.fitting_case import (
    PIXEL_U,
    Drawn,
    at_another_rate,
    calibrated,
    circumstances,
    drawn,
)
from tracker.fitting.gravity import (
    LEAST_POSITIONS,
    RATES,
    FreeGravity,
    explain,
    free_gravity,
    gravity_doubt,
)
from tracker.records import Reason, ReasonCode, sentence

FPS = 120.0


def verdict(case: Drawn, assumed_fps: float) -> tuple[Reason, ...]:
    return gravity_doubt(case.circumstances, case.observed, case.fit(), assumed_fps)


def codes(reasons: tuple[Reason, ...]) -> list[ReasonCode]:
    assert reasons[0].code is ReasonCode.GRAVITY_OFF
    return [each.code for each in reasons[1:]]


def spaced_by(case: Drawn, metres: float) -> Drawn:
    """The same clip where what is called a metre is really so many metres long."""
    truth = case.truth.copy()
    truth[1:7] /= metres
    return replace(case, circumstances=circumstances(calibrated(metres)), truth=truth)


@pytest.mark.parametrize("shots", [6, pytest.param(30, marks=pytest.mark.long)])
def test_nothing_is_said_of_right_shots(shots: int) -> None:
    rng = np.random.default_rng(21)
    assert [verdict(drawn(rng), FPS) for _ in range(shots)] == [()] * shots


@pytest.mark.parametrize(
    "assumed_fps",
    [240.0, *(pytest.param(fps, marks=pytest.mark.long) for fps in (96.0, 150.0, 60.0, 100.0))],
)
def test_the_true_frame_rate_is_named(assumed_fps: float) -> None:
    """Times stretched by 120 over the rate assumed: 240/30 in small."""
    case = at_another_rate(drawn(np.random.default_rng(22)), FPS / assumed_fps)
    said = verdict(case, assumed_fps)
    assert codes(said) == [ReasonCode.GRAVITY_FRAME_RATE]
    assert said[1].numbers == {"rate_fps": 120.0, "assumed_fps": assumed_fps}


def test_yards_that_were_called_metres_are_named() -> None:
    said = verdict(spaced_by(drawn(np.random.default_rng(23)), 0.9144), FPS)
    assert ReasonCode.GRAVITY_YARDS in codes(said)
    factor = said[0].numbers["share"]
    # A drag that changes with speed takes a part of it.
    assert factor == pytest.approx(1.0 / 0.9144, abs=0.03)


def test_two_causes_that_look_alike_are_both_named() -> None:
    """24 frames counted as 25 change gravity by 1.055, yards called metres by 1.094."""
    said = explain(FreeGravity((25.0 / 24.0) ** 2, 0.01), 25.0)
    assert codes(said) == [ReasonCode.GRAVITY_FRAME_RATE, ReasonCode.GRAVITY_YARDS]
    assert "likely 24 a second, not 25" in sentence(said)


def test_a_cause_that_is_not_usual_is_reported_in_figures() -> None:
    said = explain(FreeGravity(1.25, 0.005), 60.0)
    assert codes(said) == [ReasonCode.GRAVITY_UNEXPLAINED]
    assert f"{60.0 / sqrt(1.25):.3g} a second" in sentence(said)
    assert "10 m is 8 m" in sentence(said)


@pytest.mark.parametrize("true", [rate for rate in RATES if rate != 30.0])
def test_every_usual_rate_played_at_thirty_is_named(true: float) -> None:
    """Slow motion played at 30 frames a second: g_fit = g (30 / true)²."""
    said = explain(FreeGravity((30.0 / true) ** 2, 0.005), 30.0)
    assert ReasonCode.GRAVITY_FRAME_RATE in codes(said)
    assert said[1].numbers == {"rate_fps": true, "assumed_fps": 30.0}


def test_gravity_that_is_known_badly_is_not_held_against_a_clip() -> None:
    case = at_another_rate(drawn(np.random.default_rng(22)), 1.05)
    assert codes(verdict(case, FPS / 1.05))
    unsure = replace(case, circumstances=replace(case.circumstances, gravity_u_mps2=0.5))
    assert verdict(unsure, FPS / 1.05) == ()


def claimed(case: Drawn, share: float) -> Drawn:
    """The same positions, whose standard uncertainties are stated as a share of what they are."""
    track = replace(case.track, covariances=case.track.covariances * share**2)
    return replace(case, track=track)


@pytest.mark.long
def test_the_weights_follow_the_scatter_and_not_what_is_claimed_of_it() -> None:
    """Weights of robust estimation are a function of residual over scale (P. J. Huber, Robust
    Statistics, 1981, ch. 7): a common factor of all claimed uncertainties cancels, also where some
    positions are far off and weigh less than others."""
    case = at_another_rate(drawn(np.random.default_rng(22)), 1.2)
    off = case.track.pixels.copy()
    off[10:60:10] += np.random.default_rng(1).normal(0.0, 6.0 * PIXEL_U, (5, 2))
    case = replace(case, track=replace(case.track, pixels=off))
    found = [
        free_gravity(each.circumstances, each.observed, each.fit())
        for each in (claimed(case, 1.0), claimed(case, 0.4))
    ]
    assert found[0] is not None and found[1] is not None
    assert found[1].share == pytest.approx(found[0].share, rel=2e-4)
    assert found[1].u == pytest.approx(found[0].u, rel=0.02)


@pytest.mark.long
def test_scatter_far_beyond_what_is_claimed_is_not_laid_to_gravity() -> None:
    case = at_another_rate(drawn(np.random.default_rng(22)), 1.2)
    assert free_gravity(case.circumstances, case.observed, case.fit()) is not None
    wild = claimed(case, 0.15)
    assert free_gravity(wild.circumstances, wild.observed, wild.fit()) is None


@pytest.mark.long
def test_a_flight_of_few_positions_says_nothing_of_gravity() -> None:
    case = at_another_rate(drawn(np.random.default_rng(22)), 1.2)
    count = len(case.track.frames)
    for kept in (LEAST_POSITIONS - 1, LEAST_POSITIONS):
        some = np.linspace(0, count - 1, kept).astype(int)
        fitted = case.fit()
        used = np.isin(np.arange(count), some)
        found = free_gravity(case.circumstances, case.observed, replace(fitted, used=used))
        assert (found is None) == (kept < LEAST_POSITIONS), kept
