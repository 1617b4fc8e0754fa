"""Shots fitted to pixels whose truth is known, from the release to what the figures owe to it."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from calibration.camera import looking_at
from tests.tracker.cramer_rao import cramer_rao
from tests.tracker.thrown_balls import (
    DRAG,
    GRAVITY,
    RADIUS_M,
    REACH,
    RELEASE_M,
    Throw,
    camera,
    flown,
    seen,
)
from tracker.fitting import (
    PARAMETERS,
    Circumstances,
    figures_of,
    fit_flight,
    fit_given_gusts,
    initial_parameters,
)
from tracker.fitting.light import light_in_picture
from tracker.fitting.model import predict
from tracker.fitting.observations import Instants, Observations
from tracker.fitting.parameters import CAMERA_AT, GRAVITY_AT, LIGHT_AT
from tracker.fitting.residuals import ground_residual
from tracker.flight.forces import Forces
from tracker.records import Track

FPS = 30.0
NOISE_PX = 0.35
NAMES = ("exit_speed_mps", "launch_angle_deg", "carry_m", "apex_m", "flight_time_s")

CAMERA_U = np.array([2e-3, 2e-3, 1e-3, 0.05, 0.08, 0.03, 4e-3, 1.0, 1.0, 3e-3, 3e-3, 1e-4, 1e-4, 0])
"""What a calibration might leave open: turn, place, focal length, centre and distortion."""

KNOWN = Circumstances(
    camera=camera().with_covariance(np.diag(CAMERA_U**2)),
    release_m=RELEASE_M,
    release_u_m=0.02,
    forces=Forces(REACH, GRAVITY),
    gravity_u_mps2=0.02,
    drag=DRAG,
    drag_u=0.05,
    lift_u=0.03,
    wind_mps=(0.4, 0.0),
    wind_u_mps=0.4,
    ball_radius_m=RADIUS_M,
    readout_s=0.0,
    readout_u_s=1e-6,
)


@dataclass(frozen=True)
class Case:
    """A shot drawn from what is known beforehand: what was seen of it, and what it did."""

    throw: Throw
    release_s: float
    track: Track
    truth: dict
    bound: dict


def drawn(rng, known=KNOWN, light=(0.0, 0.0, 0.0), contrast=None):
    """Draw a shot and everything about it that is not exactly known, and film it."""
    start = known.release_m + rng.normal(0, known.release_u_m, 3)
    wind = np.array(known.wind_mps) + rng.normal(0, known.wind_u_mps, 2)
    throw = Throw(
        rng.uniform(14.0, 20.0),
        rng.uniform(28.0, 50.0),
        rng.uniform(-2.0, 2.0),
        drag=known.drag + rng.normal(0, known.drag_u),
        lift=tuple(rng.normal(0, known.lift_u, 2)),
        wind_mps=tuple(wind),
        start_m=tuple(start),
    )
    heavier = rng.normal(0, known.gravity_u_mps2)
    forces = Forces(known.forces.reach_per_m, known.forces.gravity_mps2 + heavier)
    root = np.sqrt(np.diag(known.camera.covariance))
    off = root * rng.normal(size=14)
    view = known.camera.perturbed(off)
    path, landed, end = flown(throw, known.ball_radius_m, forces)
    release_s = 1.0 + rng.uniform(0, 1 / FPS)
    times = np.arange(int(np.ceil(release_s * FPS)), int((release_s + landed) * FPS)) / FPS
    pixels = seen(view, path(times - release_s)[:, :3])
    shown = np.all((pixels > 3) & (pixels < (1916, 1076)), axis=1) & (rng.random(len(times)) > 0.1)
    times, pixels = times[shown], pixels[shown]
    count = len(times)
    lean = np.zeros(count) if contrast is None else 3.0 / contrast(times - release_s)
    sights = view.in_camera(path(times - release_s)[:, :3])
    pixels = (
        pixels
        + lean[:, None] * (light_in_picture(sights) @ light)
        + rng.normal(0, NOISE_PX, pixels.shape)
    )
    covariances = np.tile(NOISE_PX**2 * np.eye(2), (count, 1, 1))
    top = path(np.linspace(0, landed, 4001))[:, 2].max()
    truth = {
        "exit_speed_mps": throw.speed_mps,
        "launch_angle_deg": throw.angle_deg,
        "azimuth_deg": throw.azimuth_deg,
        "carry_m": float(np.hypot(*(end[:2] - start[:2]))),
        "landing_along_m": float(end[0]),
        "apex_m": float(top),
        "flight_time_s": landed,
        "landing_speed_mps": float(np.linalg.norm(end[3:])),
        "release_s": release_s,
    }
    parameters = np.zeros(len(PARAMETERS))
    parameters[0], parameters[1:12] = release_s, throw.launch()
    parameters[LIGHT_AT] = light
    parameters[GRAVITY_AT] = heavier
    parameters[CAMERA_AT:] = off
    nothing = np.zeros(count)
    bound = cramer_rao(known, parameters, Instants(times, nothing, lean), covariances)
    frames = np.rint(times * FPS).astype(np.int64)
    return Case(throw, release_s, Track(frames, times, pixels, covariances, lean), truth, bound)


def fitted(case, known=KNOWN, landed_s=None):
    """Fit from a rough start, as a search would give it."""
    guess = Throw(1.04 * case.throw.speed_mps, case.throw.angle_deg - 2.0)
    share = np.zeros(len(case.track.times_s))
    start = case.release_s + 0.02
    return fit_flight(known, Observations(case.track, share, landed_s), start, guess.launch())


def measured(case, known=KNOWN, landed_s=None):
    fit = fitted(case, known, landed_s)
    figures = figures_of(known, fit.parameters)
    return fit, figures, figures.u(fit.covariance)


@pytest.fixture(scope="module")
def forty():
    rng = np.random.default_rng(2026)
    cases = [drawn(rng) for _ in range(40)]
    return cases, [measured(case) for case in cases]


def z_of(cases, results, name):
    return np.array(
        [
            (figures.value(name) - case.truth[name]) / u[name]
            for case, (_, figures, u) in zip(cases, results, strict=True)
        ]
    )


@pytest.mark.parametrize("name", [*NAMES, "azimuth_deg", "landing_along_m", "release_s"])
def test_uncertainties_are_honest(forty, name):
    # Forty draws of a unit normal have an RMS within 0.78 and 1.22 nineteen times in twenty.
    z = z_of(*forty, name)
    assert 0.7 < np.sqrt(np.mean(z**2)) < 1.3
    assert np.abs(z).max() < 4.0


@pytest.mark.parametrize("name", NAMES)
def test_errors_come_near_the_least_possible(forty, name):
    cases, results = forty
    errors = [
        figures.value(name) - case.truth[name]
        for case, (_, figures, _) in zip(cases, results, strict=True)
    ]
    bound = np.sqrt(np.mean([case.bound[name] ** 2 for case in cases]))
    assert np.sqrt(np.mean(np.square(errors))) < 1.3 * bound


@pytest.mark.parametrize("name", NAMES)
def test_stated_uncertainty_is_near_the_bound(forty, name):
    cases, results = forty
    ratio = [u[name] / case.bound[name] for case, (_, _, u) in zip(cases, results, strict=True)]
    assert 0.95 < np.median(ratio) < 1.25


def test_fits_settle_and_use_what_they_are_given(forty):
    for case, (fit, _, _) in zip(*forty, strict=True):
        assert fit.settled
        assert fit.used.mean() > 0.97
        assert fit.scale == pytest.approx(1.0, abs=0.35)
        assert fit.residuals_px.shape == case.track.pixels.shape
        assert np.sqrt(np.mean(fit.residuals_px**2)) == pytest.approx(NOISE_PX, rel=0.35)


def test_perfect_pixels_give_the_flight_itself():
    sure = replace(
        KNOWN,
        camera=camera(),
        release_u_m=1e-4,
        gravity_u_mps2=1e-5,
        lift_u=1e-6,
        wind_mps=(0.0, 0.0),
        wind_u_mps=1e-4,
    )
    throw = Throw(18.0, 40.0, 1.5)
    path, landed, end = flown(throw)
    times = 1.0 + np.arange(1, int(landed * FPS)) / FPS
    count = len(times)
    spread = np.tile(1e-4 * np.eye(2), (count, 1, 1))
    pixels = seen(sure.camera, path(times - 1.0)[:, :3])
    track = Track(np.arange(count), times, pixels, spread, np.zeros(count))
    guess = Throw(18.6, 38.0).launch()
    fit = fit_flight(sure, Observations(track, np.zeros(count)), 1.03, guess)
    figures = figures_of(sure, fit.parameters)
    assert figures.value("exit_speed_mps") == pytest.approx(18.0, abs=2e-3)
    assert figures.value("launch_angle_deg") == pytest.approx(40.0, abs=0.01)
    assert figures.value("azimuth_deg") == pytest.approx(1.5, abs=0.05)
    assert figures.value("carry_m") == pytest.approx(float(np.hypot(*end[:2])), abs=5e-3)
    assert fit.parameters[0] == pytest.approx(1.0, abs=2e-4)
    assert fit.parameters[7] == pytest.approx(DRAG, abs=2e-3)


def with_outliers(rng, case, wrong):
    pixels = case.track.pixels.copy()
    turn = rng.uniform(0, 2 * np.pi, len(wrong))
    far = rng.uniform(8.0, 40.0, len(wrong))
    pixels[wrong] += far[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    return replace(case, track=replace(case.track, pixels=pixels))


def test_outliers_are_left_out_and_do_not_spoil_the_fit():
    rng = np.random.default_rng(7)
    cases, results = [], []
    for _ in range(12):
        case = drawn(rng)
        count = len(case.track.times_s)
        wrong = rng.choice(np.arange(9, count - 9), count // 10, replace=False)
        case = with_outliers(rng, case, wrong)
        result = measured(case)
        assert not result[0].used[wrong].any()
        assert result[0].used.sum() >= count - len(wrong) - 2
        cases.append(case)
        results.append(result)
    for name in ("exit_speed_mps", "launch_angle_deg", "carry_m"):
        z = z_of(cases, results, name)
        assert np.sqrt(np.mean(z**2)) < 1.5
        ratio = [u[name] / case.bound[name] for case, (_, _, u) in zip(cases, results, strict=True)]
        assert np.median(ratio) < 1.35


@pytest.mark.parametrize("end", ["first", "last"])
def test_outlier_at_either_end_is_left_out_too(end):
    # The last position used decides whether the landing was seen.
    rng = np.random.default_rng(70)
    for _ in range(4):
        case = drawn(rng)
        wrong = np.array([0 if end == "first" else len(case.track.times_s) - 1])
        assert not fitted(with_outliers(rng, case, wrong)).used[wrong].any()


def test_uneven_light_is_recovered_and_taken_off():
    # Bright from one side: what moves the place one way before the dark trees moves it the
    # other way before the bright sky.
    rng = np.random.default_rng(8)
    light = np.array([5.0, -8.0, 6.0])
    known = replace(KNOWN, camera=camera())

    def contrast(times):
        return np.where(times < 0.9, 25.0, -30.0)

    errors, blind = [], []
    for _ in range(6):
        case = drawn(rng, known, light, contrast)
        fit, figures, _ = measured(case, known)
        errors.append(fit.parameters[LIGHT_AT] - light)
        spread = np.sqrt(np.diag(fit.covariance))[LIGHT_AT]
        assert np.all(np.abs(errors[-1]) < 4.0 * spread)
        assert np.all(spread < (3.0, 3.0, 20.0))
        unaware = replace(case, track=replace(case.track, lean=np.zeros(len(case.track.times_s))))
        _, other, _ = measured(unaware, known)
        blind.append(
            [
                abs(each.value("launch_angle_deg") - case.truth["launch_angle_deg"])
                for each in (figures, other)
            ]
        )
    assert np.all(np.abs(np.mean(errors, axis=0)) < (2.0, 2.0, 12.0))
    aware, unaware_error = np.mean(blind, axis=0)
    assert aware < unaware_error


def test_seen_landing_makes_the_carry_surer():
    rng = np.random.default_rng(9)
    case = drawn(rng)
    # Only the first half of the flight was in view, and then the bounce.
    half = case.track.times_s < case.release_s + 0.5 * case.truth["flight_time_s"]
    track = Track(
        case.track.frames[half],
        case.track.times_s[half],
        case.track.pixels[half],
        case.track.covariances[half],
        case.track.lean[half],
    )
    case = replace(case, track=track)
    _, without, u_without = measured(case)
    landed = (case.release_s + case.truth["flight_time_s"], 0.008)
    _, figures, u = measured(case, landed_s=landed)
    assert u["flight_time_s"] < 0.7 * u_without["flight_time_s"]
    assert abs(figures.value("flight_time_s") - case.truth["flight_time_s"]) < 0.03
    for each, spread in ((without, u_without), (figures, u)):
        assert abs(each.value("carry_m") - case.truth["carry_m"]) < 3.5 * spread["carry_m"]


def test_rolling_shutter_is_distinguished_from_the_flight():
    # Rows read one after the other: a ball low in the picture is seen later.
    known = replace(KNOWN, camera=camera(), readout_s=0.012, readout_u_s=0.001)
    throw, release_s = Throw(18.0, 42.0), 1.01
    path, landed, _ = flown(throw)
    frame_times = np.arange(31, int((release_s + landed) * FPS)) / FPS
    share = np.zeros(len(frame_times))
    for _ in range(4):
        points = path(frame_times + 0.012 * share - release_s)[:, :3]
        pixels = seen(known.camera, points)
        share = pixels[:, 1] / 1079.0 - 0.5
    rng = np.random.default_rng(10)
    pixels = pixels + rng.normal(0, 0.1, pixels.shape)
    spread = np.tile(0.01 * np.eye(2), (len(share), 1, 1))
    track = Track(np.arange(len(share)), frame_times, pixels, spread, np.zeros(len(share)))
    fit = fit_flight(known, Observations(track, share), release_s, Throw(17.5, 43.0).launch())
    figures = figures_of(known, fit.parameters)
    u = figures.u(fit.covariance)
    assert abs(figures.value("exit_speed_mps") - 18.0) < 3.5 * u["exit_speed_mps"]
    assert u["exit_speed_mps"] < 0.1
    assert fit.parameters[0] == pytest.approx(release_s, abs=4e-3)


def test_worse_camera_and_worse_pixels_widen_the_uncertainty():
    rng = np.random.default_rng(11)
    case = drawn(rng)
    u = measured(case)[2]
    loose = replace(KNOWN, camera=camera().with_covariance(np.diag((3.0 * CAMERA_U) ** 2)))
    assert measured(case, loose)[2]["exit_speed_mps"] > 1.2 * u["exit_speed_mps"]
    rough = replace(
        case.track,
        pixels=case.track.pixels + rng.normal(0, 2.0, case.track.pixels.shape),
    )
    fit, _, wide = measured(replace(case, track=rough))
    assert fit.scale > 3.0
    assert wide["launch_angle_deg"] > 1.4 * u["launch_angle_deg"]


def test_fit_that_begins_near_ends_where_one_from_afar_does():
    case = with_outliers(np.random.default_rng(21), drawn(np.random.default_rng(20)), [12, 13, 25])
    share = np.zeros(len(case.track.times_s))
    guess = Throw(1.04 * case.throw.speed_mps, case.throw.angle_deg - 2.0).launch()
    start = initial_parameters(KNOWN, case.release_s + 0.02, guess)
    observed = Observations(case.track, share)
    afar = fit_given_gusts(KNOWN, observed, start)
    begun = afar.parameters.copy()
    begun[0] += 1e-3
    begun[4:7] *= 1.002
    near = fit_given_gusts(KNOWN, observed, begun, near=True)
    assert np.array_equal(near.used, afar.used)
    u = np.sqrt(np.diag(afar.covariance))
    assert np.all(np.abs(near.parameters - afar.parameters) < 0.1 * u)
    np.testing.assert_allclose(np.sqrt(np.diag(near.covariance)), u, rtol=0.03)


@pytest.mark.parametrize("count", [1, 2])
def test_two_positions_do_not_determine_a_flight(count):
    case = drawn(np.random.default_rng(12))
    few = Track(
        case.track.frames[:count],
        case.track.times_s[:count],
        case.track.pixels[:count],
        case.track.covariances[:count],
        case.track.lean[:count],
    )
    with pytest.raises(NotDetermined):
        fitted(replace(case, track=few))


def test_scattered_pixels_are_not_taken_for_a_flight():
    rng = np.random.default_rng(13)
    case = drawn(rng)
    scattered = rng.uniform((0, 0), (1920, 1080), case.track.pixels.shape)
    try:
        fit, figures, u = measured(replace(case, track=replace(case.track, pixels=scattered)))
    except NotDetermined:
        return
    assert fit.scale > 20.0 or u["exit_speed_mps"] > 0.1 * figures.value("exit_speed_mps")


def test_camera_off_to_one_side_measures_the_same_shot():
    view = looking_at((6.0, -25.0, 1.7), (14.0, 0.0, 4.0), 1200.0, (1920, 1080))
    known = replace(KNOWN, camera=view.with_covariance(np.diag(CAMERA_U**2)))
    rng = np.random.default_rng(14)
    cases = [drawn(rng, known) for _ in range(6)]
    results = [measured(case, known) for case in cases]
    for name in ("exit_speed_mps", "launch_angle_deg", "carry_m"):
        assert np.abs(z_of(cases, results, name)).max() < 3.5


def test_slope_of_a_seen_bounce_holds_for_every_parameter():
    case = drawn(np.random.default_rng(12))
    fitted, _, _ = measured(case)
    at = fitted.parameters
    instants = Instants(case.track.times_s, np.zeros(len(case.track.times_s)), case.track.lean)
    # Not where the flight comes down: the slope is wanted away from the ground too.
    landed_s = (case.release_s + 0.9 * case.truth["flight_time_s"], 0.005)

    def gap(parameters):
        trajectory = predict(KNOWN, parameters, instants)[2]
        fall = abs(trajectory.at(landed_s[0] - parameters[0])[0, 5])
        departure, slope = ground_residual(KNOWN, parameters, trajectory, landed_s)
        spread = np.hypot(fall * landed_s[1], 0.02)
        return float(departure[0]) * spread, slope[0] * spread

    slope = gap(at)[1]
    for index in range(CAMERA_AT):
        step = np.zeros(len(at))
        step[index] = 1e-4
        by_hand = (gap(at - step)[0] - gap(at + step)[0]) / 2e-4
        assert slope[index] == pytest.approx(by_hand, abs=2e-3 * max(1.0, abs(by_hand)))
