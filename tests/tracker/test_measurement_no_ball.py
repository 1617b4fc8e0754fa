"""A fitted flight that was no ball's is left out, or reported as rejected with the reason."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances, departures, drawn, positions
from tracker.measurement.fitted_shot import TracedFlight
from tracker.measurement.row import describe
from tracker.records import Quality, ReasonCode, Rejection

KNOWN = circumstances(calibrated())


def row(case, in_view=None):
    """Fit a drawn case and report it, seen in each frame that it crossed unless stated."""
    fitted = case.fit()
    crossed = len(case.track.frames) if in_view is None else in_view
    return describe(clip_context(KNOWN), TracedFlight(case.observed, fitted, crossed))


def flapping(case, rng, px):
    """The same places, going up and down as a bird's body does."""
    beat = px * np.sin(case.track.times_s * 2.0 * np.pi * 9.0 + rng.uniform(0, 6))
    moved = case.track.pixels + np.column_stack([rng.normal(0, px, len(beat)), 1.4 * beat])
    return replace(case, track=replace(case.track, pixels=moved))


@pytest.mark.parametrize("seed", [1, 2])
def test_ball_is_believed(seed):
    assert row(drawn(np.random.default_rng(seed), KNOWN)).shot.quality is Quality.GOOD


def test_bird_that_was_seen_everywhere_is_reported_as_rejected():
    rng = np.random.default_rng(3)
    reported = row(flapping(drawn(rng, KNOWN), rng, 2.5))
    assert reported.shot.quality is Quality.REJECTED
    (reason,) = reported.shot.reasons
    assert reason.code is ReasonCode.NOT_A_BALL
    assert reason.numbers["scatter_px"] > 0.5 * reason.numbers["diameter_px"]


def test_bird_that_was_seen_on_a_part_of_the_way_is_left_out():
    rng = np.random.default_rng(4)
    case = flapping(drawn(rng, KNOWN), rng, 2.5)
    with pytest.raises(Rejection) as caught:
        row(case, in_view=2 * len(case.track.frames))
    assert [reason.code for reason in caught.value.reasons] == [ReasonCode.NOT_A_BALL]


def test_places_known_to_worse_may_scatter_more():
    rng = np.random.default_rng(5)
    case = drawn(rng, KNOWN)
    rough = case.track.pixels + rng.normal(0.0, 1.8, case.track.pixels.shape)
    track = replace(case.track, pixels=rough, covariances=case.track.covariances * 144.0)
    assert row(replace(case, track=track)).shot.quality is not Quality.REJECTED


@pytest.mark.parametrize(("aside_deg", "believed"), [(6.0, True), (25.0, False)])
def test_launcher_is_aimed_down_its_firing_line(aside_deg, believed):
    rng = np.random.default_rng(6)
    truth = KNOWN.prior_mean() + departures(rng, KNOWN)
    truth[0] = 0.5
    turn, angle = np.radians([aside_deg, 40.0])
    truth[4:7] = 19.0 * np.array(
        [np.cos(angle) * np.cos(turn), np.cos(angle) * np.sin(turn), np.sin(angle)]
    )
    case = positions(rng, KNOWN, truth)
    reported = row(case)
    assert (reported.shot.quality is not Quality.REJECTED) is believed
    if not believed:
        assert [reason.code for reason in reported.shot.reasons] == [ReasonCode.OFF_AIM]
        assert reported.shot.reasons[0].numbers["aside_deg"] == pytest.approx(
            aside_deg * np.cos(np.radians(40.0)), abs=3.0
        )


def test_steep_shot_is_judged_by_its_plane_and_not_by_its_azimuth():
    rng = np.random.default_rng(7)
    truth = KNOWN.prior_mean() + departures(rng, KNOWN)
    truth[0] = 0.5
    # 3 degrees out of the plane, and so 34 degrees of azimuth.
    truth[4:7] = 12.0 * np.array([np.sin(0.08), np.sin(0.053), np.cos(0.096)])
    reported = row(positions(rng, KNOWN, truth))
    assert abs(reported.shot.azimuth_deg) > 20.0
    assert reported.shot.quality is not Quality.REJECTED


@pytest.mark.parametrize(("snr", "believed"), [(6.0, False), (18.0, True)])
def test_parts_of_a_person_are_no_ball(snr, believed):
    """Torn places of something faint; a clear ball before leaves is doubted, and kept."""
    rng = np.random.default_rng(8)
    case = drawn(rng, KNOWN, wrong=False)
    torn = case.track.pixels + rng.normal(0.0, 1.4, case.track.pixels.shape)
    track = replace(case.track, pixels=torn, snr=np.full(len(torn), snr))
    reported = row(replace(case, track=track)).shot
    assert reported.quality is (Quality.CHECK if believed else Quality.REJECTED)
    codes = [reason.code for reason in reported.reasons]
    assert (codes == [ReasonCode.PARTS_OF_ANIMAL]) is not believed


def test_a_faint_ball_whose_places_agree_is_believed():
    rng = np.random.default_rng(9)
    case = drawn(rng, KNOWN)
    track = replace(case.track, snr=np.full(len(case.track.frames), 4.0))
    assert row(replace(case, track=track)).shot.quality is Quality.GOOD
