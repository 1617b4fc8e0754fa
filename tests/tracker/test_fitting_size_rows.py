"""A ball's width in the frame as an observation of its flight."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tracker.fitting.fit import fit_given_gusts
from tracker.fitting.model import predict
from tracker.fitting.observations import Instants, SeenSizes
from tracker.fitting.parameters import CAMERA_AT, PARAMETERS, RELEASE_AT, VELOCITY_AT
from tracker.fitting.residuals import FlightResiduals
from tracker.fitting.size_rows import size_rows

KNOWN = circumstances(calibrated())
CASE = drawn(np.random.default_rng(3), KNOWN)
SINCE_S = np.array([0.1, 0.5, 0.9])


def at_rows(at, sizes):
    times = sizes.times_s
    instants = Instants(times, np.zeros(len(times)), np.zeros(len(times)))
    return size_rows(KNOWN, at, predict(KNOWN, at, instants).trajectory, sizes)


def seen(log_px=0.0, covariance=None):
    times = CASE.truth[RELEASE_AT] + SINCE_S
    covariance = np.diag([0.1, 0.2, 0.1]) ** 2 if covariance is None else covariance
    return SeenSizes(times, np.full(3, log_px), covariance)


def test_a_ball_is_as_wide_as_its_diameter_over_its_distance():
    """Whitened by the covariance: what is common to all pictures counts once."""
    own, common = 0.1, 0.3
    sizes = seen(1.0, own**2 * np.eye(3) + common**2)
    residuals, _ = at_rows(CASE.truth, sizes)
    camera = KNOWN.camera.perturbed(CASE.truth[CAMERA_AT:])
    instants = Instants(sizes.times_s, np.zeros(3), np.zeros(3))
    trajectory = predict(KNOWN, CASE.truth, instants).trajectory
    depth = camera.in_camera(trajectory.at(SINCE_S)[:, :3])[:, 2]
    gap = 1.0 - np.log(2.0 * KNOWN.ball_radius_m * camera.focal_px / depth)
    expected = gap @ np.linalg.solve(sizes.covariance, gap)
    assert float(residuals @ residuals) == pytest.approx(expected)


def test_the_slopes_are_those_of_differences():
    at = CASE.truth.copy()
    at[CAMERA_AT : CAMERA_AT + 7] += 0.01
    _, slopes = at_rows(at, seen())
    for place in range(len(PARAMETERS)):
        step = np.zeros(len(at))
        step[place] = 1e-5
        ahead, behind = (at_rows(at + sign * step, seen())[0] for sign in (1.0, -1.0))
        np.testing.assert_allclose(
            slopes[:, place],
            (behind - ahead) / 2e-5,
            rtol=2e-3,
            atol=2e-4,
            err_msg=PARAMETERS[place],
        )


def test_widths_are_counted_after_all_else_and_carry_information():
    observed = replace(CASE.observed, sizes=seen())
    both = FlightResiduals(KNOWN, observed)
    residuals, slopes = both.weighted(CASE.truth, np.ones(len(CASE.track.times_s)))
    assert len(residuals) == len(slopes) == both.count
    assert both.count == FlightResiduals(KNOWN, CASE.observed).count + 3
    np.testing.assert_allclose(residuals[-3:], at_rows(CASE.truth, seen())[0], rtol=1e-9)


def test_a_ball_that_is_seen_wider_is_nearer_and_slower():
    """Where the camera's place is open, the width says how far away all is."""
    loose = replace(KNOWN, camera=KNOWN.camera.with_covariance(400.0 * KNOWN.camera.covariance))
    camera = KNOWN.camera
    times = CASE.truth[RELEASE_AT] + SINCE_S
    instants = Instants(times, np.zeros(3), np.zeros(3))
    trajectory = predict(KNOWN, CASE.truth, instants).trajectory
    depth = camera.in_camera(trajectory.at(SINCE_S)[:, :3])[:, 2]
    wide = np.log(2.0 * KNOWN.ball_radius_m * camera.focal_px / depth)
    speeds = []
    for times_as_wide in (1.0, 1.1):
        sizes = SeenSizes(times, wide + np.log(times_as_wide), 1e-4 * np.eye(3))
        fit = fit_given_gusts(loose, replace(CASE.observed, sizes=sizes), CASE.truth, near=True)
        speeds.append(float(np.linalg.norm(fit.parameters[VELOCITY_AT])))
    assert speeds[1] < 0.99 * speeds[0]


@pytest.mark.parametrize("kept", [slice(0, 10), slice(5, None)])
def test_a_part_of_the_positions_keeps_all_widths(kept):
    rows = np.zeros(len(CASE.track.times_s), bool)
    rows[kept] = True
    part = replace(CASE.observed, sizes=seen()).part(rows)
    assert len(part.track.times_s) == len(part.row_share) == rows.sum()
    assert part.sizes is not None and part.landed_s == CASE.observed.landed_s
