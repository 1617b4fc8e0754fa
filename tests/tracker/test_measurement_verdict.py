"""What speaks against a fitted flight, one rule at a time."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tracker.fitting import FIGURES, Figures, figures_of
from tracker.fitting.parameters import PARAMETERS
from tracker.measurement.expectations import Expectations
from tracker.measurement.fitted_shot import TracedFlight
from tracker.measurement.verdict import (
    AIM_U,
    FAR_OUT,
    HIDDEN_M,
    LEAST_ABSENCE,
    TORN,
    WIDEST_AIM_DEG,
    doubts,
    off_aim,
    parts_of_animal,
    quality_of,
    seen_at_neither_end,
    something_else,
)
from tracker.measurement.visibility import Visibility
from tracker.records import Consistency, Quality, Reason, ReasonCode

KNOWN = circumstances(calibrated())
CALM = Consistency(1.0, 0.8, 1.2, 100)


@pytest.fixture(scope="module")
def traced() -> TracedFlight:
    case = drawn(np.random.default_rng(1), KNOWN)
    return TracedFlight(case.observed, case.fit(), len(case.track.frames))


def aimed(azimuth_deg: float, launch_deg: float) -> Figures:
    values = np.zeros(len(FIGURES))
    values[FIGURES.index("azimuth_deg")] = azimuth_deg
    values[FIGURES.index("launch_angle_deg")] = launch_deg
    slopes = np.zeros((len(FIGURES), len(PARAMETERS)))
    return Figures(values, slopes, slopes, np.zeros(len(FIGURES)))


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_an_azimuth_may_be_off_by_the_aim_and_its_own_uncertainty(side: float) -> None:
    u_deg = 6.0
    limit = float(np.hypot(WIDEST_AIM_DEG, AIM_U * u_deg))
    u = {"azimuth_deg": u_deg}
    assert off_aim(aimed(side * (limit - 0.1), 0.0), u) is None
    found = off_aim(aimed(side * (limit + 0.1), 0.0), u)
    assert found is not None and found.numbers["aside_deg"] == pytest.approx(limit + 0.1)
    # One that is sure is refused where the same azimuth is granted to an uncertain one.
    assert off_aim(aimed(side * (WIDEST_AIM_DEG + 3.0), 0.0), {"azimuth_deg": 0.1}) is not None
    assert off_aim(aimed(side * (WIDEST_AIM_DEG + 3.0), 0.0), u) is None


def test_a_steep_shot_may_have_any_azimuth_that_keeps_it_in_the_plane() -> None:
    assert off_aim(aimed(30.0, 0.0), {"azimuth_deg": 1.0}) is not None
    assert off_aim(aimed(30.0, 80.0), {"azimuth_deg": 1.0}) is None


def codes(traced: TracedFlight, covered: bool = True, agreement: Consistency | None = CALM, **how):
    figures = figures_of(KNOWN, traced.fitted.parameters)
    found = doubts(traced, figures, covered, agreement, Expectations(**how))
    return [reason.code for reason in found]


def test_nothing_speaks_against_a_clean_flight(traced: TracedFlight) -> None:
    assert codes(traced) == []
    assert quality_of([]) is Quality.GOOD


def test_each_doubt_has_its_own_cause(traced: TracedFlight) -> None:
    fitted = traced.fitted
    assert codes(traced, covered=False) == [ReasonCode.LANDING_NOT_SEEN]
    assert codes(replace(traced, fitted=replace(fitted, scale=1.01 * TORN))) == [ReasonCode.SCATTER]
    assert codes(replace(traced, fitted=replace(fitted, scale=0.99 * TORN))) == []
    assert codes(replace(traced, fitted=replace(fitted, settled=False))) == [
        ReasonCode.FIT_NOT_SETTLED
    ]
    far = replace(CALM, mean=1.01 * FAR_OUT * CALM.high)
    assert codes(traced, agreement=far) == [ReasonCode.INNOVATIONS]
    at_bound = replace(CALM, mean=FAR_OUT * CALM.high)
    assert codes(traced, agreement=at_bound) == []
    assert codes(traced, agreement=None) == []


@pytest.mark.parametrize(
    ("used", "crossed", "code"),
    [
        (9, 9, ReasonCode.FEW_FRAMES),
        (10, 10, None),
        (39, 100, ReasonCode.LOW_SHARE),
        (40, 100, None),
    ],
)
def test_a_ball_seen_too_rarely_is_doubted(
    traced: TracedFlight, used: int, crossed: int, code: ReasonCode | None
) -> None:
    flags = np.arange(len(traced.fitted.used)) < used
    few = replace(traced, fitted=replace(traced.fitted, used=flags), in_view=crossed)
    assert codes(few) == ([] if code is None else [code])


def test_an_uncertain_speed_is_doubted_unless_the_start_never_knows_it(
    traced: TracedFlight,
) -> None:
    vague = replace(traced.fitted, covariance=1e4 * traced.fitted.covariance)
    loose = replace(traced, fitted=vague)
    assert codes(loose) == [ReasonCode.SPEED_UNCERTAIN]
    assert codes(loose, most_speed_u=None) == []


@pytest.mark.parametrize(
    ("scale", "mean", "snr", "animal"),
    [
        (5.0, 50.0, 6.0, True),
        (3.0, 50.0, 6.0, False),
        (5.0, 5.0, 6.0, False),
        (5.0, 50.0, 18.0, False),
    ],
)
def test_only_what_is_torn_and_hardly_stands_out_is_an_animal(
    traced: TracedFlight, scale: float, mean: float, snr: float, animal: bool
) -> None:
    track = traced.observed.track
    track = replace(track, snr=np.full(len(track.frames), snr))
    torn = replace(
        traced,
        observed=replace(traced.observed, track=track),
        fitted=replace(traced.fitted, scale=scale),
    )
    found = parts_of_animal(torn, replace(CALM, mean=mean))
    assert (found is not None) is animal
    assert quality_of([found] if found else [Reason(ReasonCode.FEW_FRAMES, {"frames": 3})]) is (
        Quality.REJECTED if animal else Quality.CHECK
    )


@pytest.mark.parametrize("evidence", [-0.1, 0.0, 40.0])
def test_what_a_ball_explains_worse_than_anything_else_is_no_ball(
    traced: TracedFlight, evidence: float
) -> None:
    seen = replace(traced, visibility=Visibility(evidence, 25, 100, 92.0))
    found = something_else(seen)
    assert (found is not None) is (evidence < 0.0)
    if found is not None:
        assert quality_of([found]) is Quality.REJECTED
        assert found.numbers == {
            "evidence": evidence, "frames": 25, "crossed": 100, "expected": 92.0
        }  # fmt: skip


def test_nothing_is_said_of_frames_of_which_nothing_is_known(traced: TracedFlight) -> None:
    assert traced.visibility is None
    assert something_else(traced) is None


@pytest.mark.parametrize(("expected", "doubted"), [(60.0, False), (140.0, True)])
def test_frames_in_which_no_ball_would_show_are_not_held_against_it(
    traced: TracedFlight, expected: float, doubted: bool
) -> None:
    """Seen in 50 of 160 frames: before a sky as bright as the ball there were 60 to see it in."""
    used = np.arange(len(traced.fitted.used)) < 50
    rare = replace(
        traced,
        fitted=replace(traced.fitted, used=used),
        in_view=160,
        visibility=Visibility(30.0, 50, 160, expected),
    )
    assert codes(rare) == ([ReasonCode.LOW_SHARE] if doubted else [])


def test_a_stopped_flight_says_where_it_was_last_seen_and_only_that(traced: TracedFlight) -> None:
    figures = figures_of(KNOWN, traced.fitted.parameters)
    late = replace(traced, stopped=True)
    for each, code in ((traced, ReasonCode.LANDING_NOT_SEEN), (late, ReasonCode.STOPPED)):
        codes = [one.code for one in doubts(each, figures, False, CALM, Expectations())]
        assert codes == [code]
    (reason,) = doubts(late, figures, False, CALM, Expectations())
    last = traced.fitted.trajectory.at(
        np.array([traced.observed.track.times_s.max() - traced.fitted.parameters[0]])
    )[0]
    assert [reason.numbers[name] for name in ("along", "up")] == pytest.approx(last[[0, 2]])
    assert doubts(late, figures, True, CALM, Expectations()) == []


@pytest.mark.parametrize("covered", [False, True])
@pytest.mark.parametrize("absence", [LEAST_ABSENCE - 0.1, LEAST_ABSENCE + 0.1])
@pytest.mark.parametrize("beyond_m", [-0.3, 0.3])
def test_a_flight_that_is_seen_at_neither_end_started_elsewhere(
    traced: TracedFlight, covered: bool, absence: float, beyond_m: float
) -> None:
    fitted, track = traced.fitted, traced.observed.track
    away = fitted.trajectory.at(track.times_s - fitted.parameters[0])[:, :3]
    away_m = np.linalg.norm(away - fitted.parameters[1:4], axis=1)
    row = int(np.argmin(np.abs(away_m - HIDDEN_M - beyond_m)))
    seen = Visibility(50.0, 60, 70, 65.0, int(track.frames[row]), absence)
    reason = seen_at_neither_end(replace(traced, visibility=seen), covered)
    if covered or absence < LEAST_ABSENCE or beyond_m < 0.0:
        assert reason is None
    else:
        assert reason is not None and reason.entry.rejects
        assert reason.numbers["away_m"] == pytest.approx(away_m[row])
    assert seen_at_neither_end(traced, covered) is None


@pytest.mark.parametrize("least", [0.0, 20.0])
def test_where_nothing_is_taped_a_flight_must_look_more_like_a_ball(
    traced: TracedFlight, least: float
) -> None:
    for evidence, is_ball in ((least - 0.1, False), (least, True)):
        seen = replace(traced, visibility=Visibility(evidence, 60, 70, 65.0))
        assert (something_else(seen, least) is None) is is_ball
