"""Rules of the measurement, each on both sides of its bound and against its own definition."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import chi2, norm

from calibration.camera import looking_at
from calibration.ground import LEVEL, Ground
from calibration.markers import Marker
from calibration.site import Site
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, SIZE_PX, calibrated, circumstances, drawn
from tests.tracker.invented_shot import invented
from tracker.fitting import figures_of
from tracker.fitting.parameters import (
    CAMERA_ACROSS_AT,
    CAMERA_AT,
    DRAG_AT,
    PARAMETERS,
    POSITION_AT,
    READOUT_AT,
    RELEASE_AT,
    VELOCITY_AT,
)
from tracker.fitting.untaped import UntapedCircumstances
from tracker.following.arcs import fit_arc
from tracker.following.hop import Hop
from tracker.measurement import bounce, sighting, tracing, visibility
from tracker.measurement import row as rows
from tracker.measurement.chance import support_against_chance
from tracker.measurement.expectations import USUAL_EXPECTATIONS
from tracker.measurement.fitted_shot import FittedShot, TracedFlight
from tracker.measurement.flight import Beginning, Flight, StartPrior, first_track, loosened
from tracker.measurement.hop_fit import measured_hop, priors_of
from tracker.measurement.selection import is_again, is_shadow, selected
from tracker.measurement.sighting import Course, agreeing, seen_until
from tracker.measurement.starts import (
    anywhere,
    diagnosis,
    ends,
    field,
    from_field,
    gravity_scale,
    merging,
)
from tracker.measurement.starts.anywhere import _is_of, settings_along
from tracker.measurement.starts.field import Field, field_of
from tracker.measurement.starts.gravity_scale import expected_focal_px
from tracker.measurement.starts.no_throw import _falls_slowly
from tracker.measurement.starts.scale_reasons import begins_faint, end_reasons, gain, scale_reasons
from tracker.measurement.starts.throw_rules import hardly_seen, no_throw, rolls
from tracker.measurement.starts.untaped_start import Hidden, UntapedStart
from tracker.measurement.throws import Throw, bounce_between, end_of
from tracker.measurement.verdict import not_a_ball, parts_of_animal
from tracker.measurement.visibility import Crossing, others_around, purity_ratio
from tracker.records import (
    Consistency,
    Quality,
    Reason,
    ReasonCode,
    RejectedCandidate,
    Rejection,
)

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)
FIELD = field_of([(0, 0, 0), (30, 0, 0), (20, 6, 0)])
G = KNOWN.forces.gravity_mps2


@cache
def case():
    return drawn(np.random.default_rng(1), KNOWN)


@cache
def traced() -> TracedFlight:
    return TracedFlight(case().observed, case().fit(), len(case().track.frames))


# --- throws from anywhere


def a_flight(
    *, used=40, count=40, scale=1.0, speed=15.0, up=0.9, chi=10.0, place=(5.0, 0.0), first=0.5
):
    """What the rules ask of a flight: straight up and down the line at a steady speed."""
    times = np.linspace(first, first + 1.0, count)
    mask = np.arange(count) < used
    velocity = np.array([speed, 0.0, 0.0])

    def states(at):
        since = (np.asarray(at) - first)[:, None]
        return np.column_stack(
            [np.array([*place, up]) + since * velocity, np.tile(velocity, (len(since), 1))]
        )

    return SimpleNamespace(
        fitted=SimpleNamespace(used=mask, scale=scale),
        throw=SimpleNamespace(arc=SimpleNamespace(times_s=times)),
        launch=np.array([*place, up, *velocity, 0.5, 0, 0, 0, 0]),
        known=KNOWN,
        states=states,
        prior_chi_square=chi,
    )


@pytest.mark.parametrize(
    ("within", "beyond", "code"),
    [
        ({"used": 28}, {"used": 27}, ReasonCode.POSITIONS_DISAGREE),
        ({"scale": 4.0}, {"scale": 4.01}, ReasonCode.SCATTER_TOO_LARGE),
        ({"speed": 3.01}, {"speed": 2.99}, ReasonCode.SPEED_IMPLAUSIBLE),
        ({"speed": 69.9}, {"speed": 70.0}, ReasonCode.SPEED_IMPLAUSIBLE),
        ({"speed": 3.01}, {"speed": 3.0}, ReasonCode.SPEED_IMPLAUSIBLE),
        ({"up": -0.49}, {"up": -0.51}, ReasonCode.BELOW_GROUND),
        ({"chi": 45.0}, {"chi": 45.1}, ReasonCode.IMPLAUSIBLE),
    ],
)
def test_a_throw_from_anywhere_keeps_to_each_bound(within, beyond, code):
    assert no_throw(a_flight(**within), FIELD, 0.8, 0.5) is None
    found = no_throw(a_flight(**beyond), FIELD, 0.8, 0.5)
    assert found is not None and found.code is code


@pytest.mark.parametrize(("from_s", "long_enough"), [(0.84, True), (1.15, True), (1.17, False)])
def test_a_throw_comes_a_metre_and_a_half_from_where_it_was_first_seen(from_s, long_enough):
    """At 4.5 m/s until 1.5 s."""
    found = no_throw(a_flight(speed=4.5, count=200, used=200), FIELD, 0.8, from_s)
    assert (found is None) is long_enough
    assert found is None or found.code is ReasonCode.TOO_SHORT


@pytest.mark.parametrize("axis", [0, 1])
def test_no_throw_starts_three_standard_deviations_beside_the_field(axis):
    """That of a place within the taped field, and 10 m along or 5 m across beyond it."""
    half = np.array([15.0, 3.0])
    np.testing.assert_allclose(FIELD.half_m, half)
    np.testing.assert_allclose(FIELD.u_m, np.hypot(half / np.sqrt(3.0), (10.0, 5.0)))
    for share, inside in ((2.99, True), (3.01, False)):
        place = FIELD.middle_m.copy()
        place[axis] += share * FIELD.u_m[axis]
        found = no_throw(a_flight(place=tuple(place)), FIELD, 0.8, 0.5)
        assert (found is None) is inside
        if found is not None:
            assert found.numbers["off_m"] == pytest.approx(FIELD.outside_m([*place, 1.0]))
    assert FIELD.outside_m([18.0 + 15.0, 3.0 + 3.0 + 4.0, 9.0]) == pytest.approx(5.0)
    assert FIELD.outside_m([15.0, 3.0, 9.0]) == 0.0
    assert FIELD.prior.place_m.tolist() == [15.0, 3.0, 1.5] and FIELD.prior.u_m[2] == 5.0


@pytest.mark.parametrize(
    ("up", "release_up", "climb", "rises"),
    [
        (0.26, 0.8, 5.0, False),
        (0.24, 0.8, 5.0, True),
        (0.24, 0.8, -1.0, False),
        (0.13, 0.2, 5.0, False),
        (0.11, 0.2, 5.0, True),
    ],
)
def test_what_begins_low_and_climbs_rises_from_the_ground(up, release_up, climb, rises):
    flight = a_flight(up=up)
    own = flight.states

    def states(at):
        found = own(at)
        found[:, 5] = climb
        return found

    flight.states = states
    found = no_throw(flight, FIELD, release_up, 0.5)
    assert (found is not None and found.code is ReasonCode.RISES_FROM_GROUND) is rises


def seen_shot(*, seen=40, in_view=40, u=0.3, snr=20.0, scale=1.0):
    shot = SimpleNamespace(
        shot=SimpleNamespace(frames_seen=seen, exit_speed_mps=10.0, exit_speed_u_mps=u)
    )
    track = SimpleNamespace(snr=np.full(60, snr))
    fitted = SimpleNamespace(used=np.ones(60, bool), scale=scale)
    return shot, SimpleNamespace(
        fitted=fitted, in_view=in_view, observed=SimpleNamespace(track=track)
    )


@pytest.mark.parametrize(
    ("within", "beyond", "code"),
    [
        (
            {"seen": 10, "in_view": 10},
            {"seen": 9, "in_view": 9},
            ReasonCode.TOO_FEW_FRAMES,
        ),
        ({"u": 1.0}, {"u": 1.01}, ReasonCode.SPEED_UNKNOWN),
        ({"snr": 10.0, "scale": 2.6}, {"snr": 9.9, "scale": 2.6}, ReasonCode.RAGGED),
        ({"snr": 9.9, "scale": 2.5}, {"snr": 9.9, "scale": 2.51}, ReasonCode.RAGGED),
        (
            {"snr": 15.0, "seen": 16, "in_view": 40},
            {"snr": 14.9, "seen": 16, "in_view": 40},
            ReasonCode.FAINT,
        ),
        (
            {"snr": 12.0, "seen": 34, "in_view": 40},
            {"snr": 12.0, "seen": 33, "in_view": 40},
            ReasonCode.FAINT,
        ),
    ],
)
def test_a_flight_from_anywhere_must_be_seen(within, beyond, code):
    assert hardly_seen(*seen_shot(**within)) is None
    found = hardly_seen(*seen_shot(**beyond))
    assert found is not None and found.code is code


def test_how_often_a_faint_ball_must_be_seen_is_for_the_start_to_say():
    often = seen_shot(snr=12.0, seen=20, in_view=40)
    assert hardly_seen(*often, full_share=0.5) is None
    found = hardly_seen(*often, full_share=0.51)
    assert found is not None and found.code is ReasonCode.FAINT


def on_ground(speed, brake, noise_px=0.3, seed=1):
    """A path of what goes over the ground, along the line and slowing down."""
    times = np.arange(0.0, 1.0, 1.0 / 60.0)
    along = 5.0 + speed * times - 0.5 * brake * times**2
    places = np.column_stack([along, 0.1 * along, 0.0 * along])
    pixels = KNOWN.camera.project(places)
    pixels += np.random.default_rng(seed).normal(0.0, noise_px, pixels.shape)
    return fit_arc(np.column_stack([np.arange(60), times, pixels]), 1.0 / 60.0)


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        ((10.0, 3.9), (10.0, 4.1)),
        ((10.0, -3.9), (10.0, -4.1)),
        ((19.7, 0.0), (20.2, 0.0)),
    ],
)
def test_what_rolls_is_not_fast_and_not_braked_hard(within, beyond):
    assert rolls(on_ground(*within, noise_px=1e-3), KNOWN.camera)
    assert not rolls(on_ground(*beyond, noise_px=1e-3), KNOWN.camera)


def test_what_rolls_goes_straight_over_the_ground_to_a_pixel_and_a_share_of_its_step():
    quiet = on_ground(6.0, 1.0, noise_px=0.0)
    step = np.linalg.norm(np.diff(quiet.pixels, axis=0), axis=1).mean()
    for share, straight in ((0.97, True), (1.05, False)):
        wave = np.sqrt(2.0) * np.sin(2.0 * np.arange(60))
        pixels = quiet.pixels.copy()
        # Root mean square over both coordinates, and across the way alone.
        pixels[:, 1] += share * (1.2 + 0.04 * step) * wave
        arc = replace(quiet, pixels=pixels)
        assert rolls(arc, KNOWN.camera) is straight


def test_what_shows_above_the_horizon_does_not_roll():
    quiet = on_ground(6.0, 1.0)
    sky = replace(quiet, pixels=quiet.pixels - np.array([0.0, 900.0]))
    assert not rolls(sky, KNOWN.camera)


# --- gravity as the scale


def a_track(pixels, snr=None):
    return SimpleNamespace(pixels=np.array(pixels, float), snr=snr)


@pytest.mark.parametrize(
    ("snr", "faint"),
    [
        ([3.9, 3.9, 3.9, *[10.0] * 9], True),
        ([4.1, 4.1, 4.1, *[10.0] * 9], False),
        # The median of three, whatever the fourth is.
        ([1.0, 1.0, 9.0, *[10.0] * 9], True),
        ([9.0, 1.0, 9.0, 1.0, 1.0, *[10.0] * 9], False),
        ([1.0, 10.0], False),
        ([1.0, 1.0, 10.0], False),
        (None, False),
    ],
)
def test_a_beginning_is_faint_below_two_fifths_of_the_whole(snr, faint):
    track = a_track(np.full((12, 2), 500.0), None if snr is None else np.array(snr))
    assert begins_faint(track) is faint


@pytest.mark.parametrize("side", ["left", "top", "right", "bottom"])
def test_a_path_begins_at_an_edge_within_a_share_of_the_width_and_a_step(side):
    """0.012 of 1000 px, and the 7 px that it goes between its first frames."""
    width, height = 1000, 600
    for inside, at_edge in ((18.9, True), (19.1, False)):
        start = {
            "left": (inside, 300.0),
            "top": (500.0, inside),
            "right": (width - 1 - inside, 300.0),
            "bottom": (500.0, height - 1 - inside),
        }[side]
        pixels = np.array(start) + np.outer([0, 1, 2, 3], (0.0, 0.0))
        pixels[1:] += (7.0, 0.0) if side in ("top", "bottom") else (0.0, 7.0)
        # A longer step later does not count.
        pixels[3] += 300.0
        codes = [each.code for each in end_reasons(a_track(pixels), (width, height))]
        assert (codes == [ReasonCode.BEGINS_AT_EDGE]) is at_edge


def untaped_fit(u_scale=1.0, **fitted):
    shared = {each: getattr(KNOWN, each) for each in KNOWN.__dataclass_fields__}
    fit = traced().fitted
    changed = replace(fit, covariance=u_scale**2 * fit.covariance, **fitted)
    return SimpleNamespace(fitted=changed, circumstances=UntapedCircumstances(**shared))


def test_gain_of_a_taped_distance_is_the_update_of_the_covariance_by_its_pixel():
    """A marker picked to a pixel and taped to 5 cm, as two more observations of the camera."""
    fit = untaped_fit(u_scale=8.0)
    distance, before, after = gain(fit)
    camera = KNOWN.camera.perturbed(fit.fitted.parameters[CAMERA_AT:])
    slope = figures_of(KNOWN, fit.fitted.parameters).slope("exit_speed_mps")
    spread = fit.fitted.covariance
    assert before == pytest.approx(np.sqrt(slope @ spread @ slope))
    along, across = fit.fitted.parameters[POSITION_AT][:2]
    mark = np.array([along + distance, across, 0.0])
    pixel, by_point, by_camera = camera.project_with_jacobians(mark)
    assert distance == 20.0 and camera.in_frame(pixel)[0]
    rows = np.zeros((2, len(spread)))
    rows[:, CAMERA_AT:] = by_camera[0]
    noise = np.eye(2) + 0.05**2 * by_point[0] @ by_point[0].T
    gained = spread @ rows.T @ np.linalg.inv(rows @ spread @ rows.T + noise) @ rows @ spread
    assert after == pytest.approx(np.sqrt(slope @ (spread - gained) @ slope))


def test_the_farthest_distance_that_the_frame_shows_is_proposed(monkeypatch):
    fit = untaped_fit(u_scale=8.0)
    tried = []
    for farthest in (30.0, 20.0, 15.0, 10.0, 8.0, 5.0, 4.0, 3.0, 2.0, 1.0):
        start = fit.fitted.parameters[POSITION_AT][0]

        class Seen:
            def __init__(self, camera):
                self.own = camera

            def perturbed(self, _):
                return self

            def project_with_jacobians(self, mark):
                self.mark = np.ravel(mark)
                return self.own.project_with_jacobians(mark)

            def in_frame(self, _, farthest=farthest, start=start):
                return np.array([self.mark[0] - start <= farthest + 1e-9])

        known = replace(fit.circumstances, camera=Seen(KNOWN.camera))
        monkeypatch.setattr(
            "tracker.measurement.starts.scale_reasons.figures_of",
            lambda *_: figures_of(KNOWN, fit.fitted.parameters),
        )
        found = gain(SimpleNamespace(fitted=fit.fitted, circumstances=known))
        tried.append(None if found is None else found[0])
    assert tried == [20.0, 20.0, 15.0, 10.0, 8.0, 5.0, 4.0, 3.0, 2.0, None]


@pytest.mark.parametrize(("share", "worth"), [(0.949, True), (0.951, False)])
def test_a_marker_is_proposed_where_it_gains_a_twentieth(monkeypatch, share, worth):
    monkeypatch.setattr(
        "tracker.measurement.starts.scale_reasons.gain", lambda _: (10.0, 2.0, 2.0 * share)
    )
    fit = untaped_fit()
    bare = Site(SIZE_PX, (), field_of_view_deg=70.0)
    reasons = scale_reasons(fit, bare)
    assert reasons[0].code is ReasonCode.GRAVITY_IS_SCALE
    camera = KNOWN.camera.perturbed(fit.fitted.parameters[CAMERA_AT:])
    assert reasons[0].numbers["away"] == pytest.approx(abs(camera.position[1]))
    u = np.sqrt(fit.fitted.covariance[CAMERA_ACROSS_AT, CAMERA_ACROSS_AT])
    assert reasons[0].numbers["away_u"] == pytest.approx(u)
    marked = replace(bare, markers=(Marker("peg", np.zeros(3), pixel=np.array([9.0, 9.0])),))
    (only,) = scale_reasons(fit, marked)
    assert only.code is ReasonCode.GRAVITY_IS_SCALE_FEW_MARKERS
    assert (len(reasons) == 2) is worth
    if worth:
        assert reasons[1].numbers == {
            "taped_u_cm": pytest.approx(5.0),
            "distance_m": 10.0,
            "before_mps": 2.0,
            "after_mps": 2.0 * share,
        }


@pytest.mark.parametrize("doubted", [False, True])
def test_markers_against_the_fall_are_asked_about(doubted):
    plain = untaped_fit()
    known = replace(plain.circumstances, markers_doubted=doubted)
    fit = SimpleNamespace(circumstances=known, fitted=plain.fitted)
    peg = Marker("peg", np.zeros(3), pixel=np.array([9.0, 9.0]))
    _, *more = scale_reasons(fit, Site(SIZE_PX, (peg,), field_of_view_deg=70.0))
    assert [each.code for each in more] == [ReasonCode.MARKERS_AGAINST_FALL] * doubted


@pytest.mark.parametrize(("view_deg", "focal_px"), [(None, 65.0), (90.0, 90.0)])
def test_a_camera_of_which_nothing_is_stated_has_a_usual_view(view_deg, focal_px):
    site = Site((1920, 1080), (), field_of_view_deg=view_deg)
    expected = 960.0 / np.tan(np.radians(focal_px) / 2.0)
    assert expected_focal_px(site) == pytest.approx(expected)


def test_an_untaped_flight_was_released_a_moment_before_it_was_seen():
    """0.7 frames before, give or take 1.5 frames and 8 ms; faint, four frames and 50 ms more."""
    start = UntapedStart(Site(SIZE_PX, (), field_of_view_deg=70.0), height_known=False)
    clear = start.loosened(KNOWN, KNOWN.camera, 2.0, 0.02)
    assert clear.began_s == pytest.approx(2.0 - 0.7 * 0.02)
    assert clear.began_u_s == pytest.approx(np.hypot(0.03, 0.008))
    faint = start.loosened(KNOWN, KNOWN.camera, 2.0, 0.02, faint=True)
    assert faint.began_u_s == pytest.approx(np.sqrt(0.03**2 + 0.008**2 + 0.08**2 + 0.05**2))
    assert clear.release_m.tolist() == [*KNOWN.release_m[:2], 1.15]
    u = KNOWN.release_u_m
    assert clear.release_each_u_m.tolist() == [u, u, 0.5]
    hidden = start.loosened(KNOWN, KNOWN.camera, 2.0, 0.02, hidden=Hidden(0.05, 0.04))
    assert hidden.began_s == pytest.approx(2.0 - 0.7 * 0.02 - 0.05)
    assert hidden.began_u_s == pytest.approx(np.sqrt(0.03**2 + 0.008**2 + 0.04**2))
    measured = replace(start, height_known=True).loosened(KNOWN, KNOWN.camera, 2.0, 0.02)
    assert measured.release_m.tolist() == KNOWN.release_m.tolist()
    assert measured.release_each_u_m.tolist() == [u, u, u]


def untaped(*, used=40, count=40, speed=15.0, away=-30.0, chi=10.0, scale=1.0, along_u=0.1):
    covariance = np.zeros((len(PARAMETERS),) * 2)
    covariance[VELOCITY_AT.start, VELOCITY_AT.start] = along_u**2
    return SimpleNamespace(
        fitted=SimpleNamespace(used=np.arange(count) < used, scale=scale, covariance=covariance),
        launch=np.array([0, 0, 0.8, speed, 0.0, 0.0, 0.5, 0, 0, 0, 0], float),
        camera=SimpleNamespace(position=np.array([10.0, away, 1.5])),
        prior_chi_square=chi,
    )


@pytest.mark.parametrize(
    ("within", "beyond", "code"),
    [
        ({"used": 28}, {"used": 27}, ReasonCode.POSITIONS_DISAGREE),
        ({"used": 6, "count": 7}, {"used": 5, "count": 6}, ReasonCode.POSITIONS_DISAGREE),
        ({"speed": 0.31}, {"speed": 0.29}, ReasonCode.SPEED_IMPLAUSIBLE),
        ({"speed": 69.9}, {"speed": 70.1}, ReasonCode.SPEED_IMPLAUSIBLE),
        ({"away": 0.21}, {"away": 0.19}, ReasonCode.DISTANCE_IMPLAUSIBLE),
        ({"away": -249.0}, {"away": -251.0}, ReasonCode.DISTANCE_IMPLAUSIBLE),
        ({"chi": 44.9}, {"chi": 45.0}, ReasonCode.IMPLAUSIBLE),
        ({"scale": 3.99}, {"scale": 4.0}, ReasonCode.SCATTER_TOO_LARGE),
        (
            {"speed": -1.9, "along_u": 1.0},
            {"speed": -2.1, "along_u": 1.0},
            ReasonCode.WRONG_WAY,
        ),
    ],
)
def test_an_untaped_flight_keeps_to_each_bound(within, beyond, code):
    gravity_scale._check(untaped(**within), bare=False)
    with pytest.raises(Rejection) as raised:
        gravity_scale._check(untaped(**beyond), bare=False)
    assert [each.code for each in raised.value.reasons] == [code]


def test_a_flight_of_which_nothing_was_taped_strains_less_of_what_is_presumed():
    """Eight numbers of a path may depart from eight priors by 20 (chi-square, 1 %)."""
    assert chi2.isf(0.01, 8) == pytest.approx(gravity_scale.MOST_BARE_CHI_SQUARE, abs=0.1)
    gravity_scale._check(untaped(chi=19.9), bare=True)
    with pytest.raises(Rejection):
        gravity_scale._check(untaped(chi=20.0), bare=True)


def test_a_hand_may_have_spun_a_ball_of_which_nothing_was_taped():
    start = UntapedStart(Site(SIZE_PX, ()), height_known=False)
    plain, spun = replace(KNOWN, lift_u=0.05), replace(KNOWN, lift_u=0.12)
    assert start.loosened(plain, KNOWN.camera, 2.0, 0.02).lift_u == 0.10
    assert start.loosened(spun, KNOWN.camera, 2.0, 0.02).lift_u == 0.12
    mark = Marker("foot", np.zeros(3), 0.02, np.array([100.0, 200.0]), 1.0)
    taped = replace(start, height_known=True), replace(start, site=Site(SIZE_PX, (mark,)))
    for each in taped:
        assert not each.bare
        assert each.loosened(plain, KNOWN.camera, 2.0, 0.02).lift_u == 0.05


@pytest.mark.parametrize(("fall", "away"), [(1e-3, 200.0), (1e9, 0.5), (300.0, None)])
def test_the_first_look_at_a_camera_is_that_of_gravity_within_bounds(fall, away):
    site = Site((1920, 1080), (), field_of_view_deg=90.0)
    arc = SimpleNamespace(
        velocity_pxps=np.array([300.0, 0.0]),
        acceleration_pxps2=np.array([0.0, fall]),
        pixels=np.array([[100.0, 200.0]]),
    )
    look = gravity_scale._first_look(site, KNOWN, arc)
    assert look.away_m == pytest.approx(away or 960.0 * G / 300.0)
    assert look.side == -1
    arc.velocity_pxps = np.array([-1.0, 0.0])
    assert gravity_scale._first_look(site, KNOWN, arc).side == 1


@pytest.mark.parametrize(("away_m", "slower"), [(100.0, 1.0), (5.0, 1.0)])
def test_a_slow_file_is_as_slow_as_the_nearest_and_farthest_camera_say(away_m, slower):
    fall = KNOWN.camera.focal_px * G / away_m
    arc = SimpleNamespace(acceleration_pxps2=np.array([0.0, fall]))
    numbers = _falls_slowly([arc, arc, arc], CONTEXT).numbers
    assert numbers["away"] == pytest.approx(away_m)
    assert numbers["least"] == pytest.approx(np.sqrt(away_m / 100.0))
    assert numbers["most"] == pytest.approx(np.sqrt(away_m / 5.0))


# --- flights and their ends


def test_priors_of_a_loosened_start_are_those_given():
    start = StartPrior(np.array([3.0, 1.0, 1.2]), np.array([2.0, 1.0, 0.5]))
    found = loosened(KNOWN, start, Beginning(0.7, 0.0))
    assert found.release_m.tolist() == [3.0, 1.0, 1.2]
    assert found.release_each_u_m.tolist() == [2.0, 1.0, 0.5]
    assert (found.began_s, found.began_u_s) == (0.7, 1e-4)
    assert found.camera is KNOWN.camera and found.drag == KNOWN.drag


def test_positions_of_the_first_pass_are_good_to_a_pixel_and_a_share_of_their_step():
    arc = fit_arc(
        np.column_stack(
            [np.arange(9), np.arange(9) / 60.0, 12.0 * np.arange(9), 9.0 * np.arange(9)]
        ),
        1.0 / 60.0,
    )
    track = first_track(Throw(arc, None), 1.0 / 60.0)
    u = 1.0 + 0.05 * 15.0
    np.testing.assert_allclose(track.covariances, np.tile(u**2 * np.eye(2), (9, 1, 1)), rtol=1e-6)


def test_a_flight_goes_on_before_its_beginning_as_it_began():
    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    flight = Flight(None, known, traced().fitted)
    release = flight.release_s
    times = release + np.array([-0.2, 0.0, 0.3])
    states = flight.states(times)
    parameters = traced().fitted.parameters
    np.testing.assert_allclose(states[1, :3], parameters[POSITION_AT])
    np.testing.assert_allclose(states[1, 3:], parameters[VELOCITY_AT])
    velocity = parameters[VELOCITY_AT]
    # Gravity and drag at the beginning, the wind among it.
    near = flight.states(release + np.array([0.0, 1e-4]))
    acceleration = (near[1, 3:] - near[0, 3:]) / 1e-4
    before = parameters[POSITION_AT] - 0.2 * velocity + 0.02 * acceleration
    np.testing.assert_allclose(states[0, :3], before, atol=1e-3)
    np.testing.assert_allclose(states[0, 3:], velocity - 0.2 * acceleration, atol=2e-2)


def lost_at(height, falling=-3.0, u=0.1, ground=LEVEL):
    covariance = np.zeros((len(PARAMETERS),) * 2)
    up = POSITION_AT.start + 2
    covariance[up, up] = u**2
    centre_m = KNOWN.ball_radius_m + float(ground.height_m([10.0, 0.0])) + height
    state = np.array([10.0, 0.0, centre_m, 5.0, 0.0, falling])
    return SimpleNamespace(
        throw=SimpleNamespace(hop=None),
        known=SimpleNamespace(ball_radius_m=KNOWN.ball_radius_m, ground=ground),
        fitted=SimpleNamespace(covariance=covariance),
        states=lambda times: np.tile(state, (len(times), 1)),
    )


LOST = ends.Ends(0.5, 2.0, lost=True, exposure=None)


@pytest.mark.parametrize(
    ("changes", "landed"),
    [
        ({"height": 0.54}, True),
        ({"height": 0.56}, False),
        ({"height": 0.69, "u": 0.2}, True),
        ({"height": 0.1, "falling": -1.01}, True),
        ({"height": 0.1, "falling": -0.99}, False),
        ({"height": 0.54, "ground": Ground(0.05)}, True),
        ({"height": 0.56, "ground": Ground(-0.05)}, False),
    ],
)
def test_a_ball_that_is_lost_low_and_falling_came_down_there(changes, landed):
    """0.4 m and one and a half uncertainties of the height of release."""
    found = ends.landing_of(lost_at(**changes), LOST, 0.02)
    assert (found is not None) is landed
    if found is not None:
        assert found == pytest.approx((2.02, 0.03))
    assert ends.landing_of(lost_at(**changes), replace(LOST, lost=False), 0.02) is None


def test_a_lost_landing_is_as_uncertain_as_a_frame_and_a_half_or_thirty_milliseconds():
    assert ends.landing_of(lost_at(0.1), LOST, 0.04)[1] == pytest.approx(0.06)
    assert ends.landing_of(lost_at(0.1), LOST, 0.001)[1] == pytest.approx(0.03)


def test_a_flight_explains_six_pictures_or_more():
    ends.enough(6, 20)
    with pytest.raises(Rejection) as raised:
        ends.enough(5, 20)
    assert raised.value.reasons[0].numbers == {"count": 5, "crossed": 20}


@pytest.mark.parametrize(("share", "alike"), [(0.36, True), (0.34, False)])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_near_ball_looks_beyond_its_path_as_it_does_along_it(share, alike, sign):
    contrasts = sign * np.array([50.0 * share, 50.0, 40.0, 60.0, 50.0, -50.0, np.nan])
    track = SimpleNamespace(
        times_s=np.arange(7.0), pictures=SimpleNamespace(contrasts=contrasts[:, None])
    )
    assert ends._alike(track, 1.0, 4.0).tolist() == [alike, True, True, True, True, False, False]
    assert ends._alike(track, 10.0, 11.0).all()


@pytest.mark.parametrize("forward", [True, False])
def test_a_ball_is_followed_until_it_is_missed_in_three_frames(forward):
    """Two frames without it do not end a flight."""
    frames = [SimpleNamespace(frame=n, time_s=0.1 * n) for n in range(40)]
    seen = [20, 21, 22, 25, 26, 29, 33] if forward else [20, 19, 18, 15, 14, 11, 7]
    numbers = np.sort(np.array([*seen, 30 if forward else 10]))
    agrees = np.isin(numbers, seen)
    track = SimpleNamespace(frames=numbers)
    reached = seen_until(frames, track, agrees, 2.0, forward)
    assert reached == pytest.approx(2.9 if forward else 1.1)


@pytest.mark.parametrize(("share", "agree"), [(0.99, True), (1.01, False)])
def test_a_position_agrees_within_four_uncertainties_of_it_and_the_course(share, agree):
    """0.6 px of the flight and 4 % of a step of 10 px, beside 1.5 px of its own."""
    frames = [SimpleNamespace(frame=n) for n in range(5)]
    pixels = np.column_stack([10.0 * np.arange(5), np.full(5, 7.0)])
    course = Course(np.arange(5.0), np.zeros((5, 6)), pixels)
    off = 4.0 * np.hypot(1.5, 0.6 + 0.4)
    track = SimpleNamespace(
        frames=np.array([1, 3]),
        pixels=pixels[[1, 3]] + np.array([[0.6, 0.8], [0.0, 0.0]]) * share * off,
        covariances=np.tile(1.5**2 * np.eye(2), (2, 1, 1)),
    )
    assert agreeing(track, frames, course).tolist() == [agree, True]


def turned(shift_s=0.0, frames=20, step_s=1.0 / 60.0):
    """A path down and, after a bounce at 0 s, one up again, both exact parabolas."""
    before, after = -np.arange(frames, 0, -1) * step_s, np.arange(frames) * step_s + shift_s
    fall, speed = 400.0, 300.0

    def places(times, climb):
        return np.column_stack([500.0 + speed * times, 600.0 + climb * times + fall / 2 * times**2])

    arc, hop = (
        fit_arc(np.column_stack([np.rint(t / step_s) + 100, t, places(t, c)]), step_s)
        for t, c in ((before, 250.0), (after, -150.0))
    )
    return arc, hop, places


def test_a_path_is_continued_from_its_end_with_its_own_curve():
    arc, hop, places = turned()
    times = np.array([-0.02, 0.03])
    found, velocity = end_of(arc, times, last=True)
    np.testing.assert_allclose(found, places(times, 250.0), atol=1e-6)
    edge = arc.times_s[-1]
    np.testing.assert_allclose(velocity, [300.0, 250.0 + 400.0 * edge], atol=1e-6)
    found, velocity = end_of(hop, times, last=False)
    np.testing.assert_allclose(found, places(times, -150.0), atol=1e-6)
    np.testing.assert_allclose(velocity, [300.0, -150.0], atol=1e-6)
    # Of twelve positions: what is wrong farther back does not count.
    spoilt = arc.pixels.copy()
    spoilt[:-12] += 40.0
    np.testing.assert_allclose(
        end_of(replace(arc, pixels=spoilt), times, last=True)[0], places(times, 250.0), atol=1e-6
    )
    spoilt[-12] += 40.0
    moved = end_of(replace(arc, pixels=spoilt), times, last=True)[0]
    assert np.abs(moved - places(times, 250.0)).max() > 1.0


@pytest.mark.parametrize("shift_s", [0.0, 0.01])
def test_a_bounce_is_where_the_flight_and_the_hop_are_nearest(shift_s):
    arc, hop, places = turned(shift_s)
    step = 1.0 / 60.0
    found, u = bounce_between(Throw(arc, hop), lambda t: places(t, 250.0), step)
    assert found == pytest.approx(0.0, abs=step / 8.0)
    apart = np.linalg.norm(places(np.array([found]), 250.0) - places(np.array([found]), -150.0))
    _, velocity = end_of(hop, np.array([0.0]), last=False)
    expected = np.hypot(0.3 * step, (0.7 + apart) / np.linalg.norm(velocity))
    assert u == pytest.approx(expected, rel=1e-6)


# --- the verdict, and what is one shot


def agreeing_with(mean):
    return Consistency(mean, 0.8, 1.2, 100)


@pytest.mark.parametrize(("share", "a_ball"), [(0.99, True), (1.01, False)])
def test_a_ball_scatters_by_less_than_half_of_itself_and_twice_its_own_uncertainty(share, a_ball):
    fit = traced().fitted
    track = traced().observed.track
    used = fit.used
    depth = KNOWN.camera.in_camera(
        fit.trajectory.at(track.times_s[used] - fit.parameters[RELEASE_AT])[:, :3]
    )[:, 2]
    diameter = np.median(2.0 * KNOWN.ball_radius_m * KNOWN.camera.focal_px / depth)
    u = np.sqrt(np.median(track.covariances[used][:, 0, 0]))
    sigma = share * np.hypot(0.5 * diameter, 2.0 * u)
    residuals = np.zeros_like(fit.residuals_px)
    residuals[:, 0] = 0.6 * sigma * np.sqrt(2.0 * np.log(2.0))
    residuals[:, 1] = 0.8 * sigma * np.sqrt(2.0 * np.log(2.0))
    changed = replace(traced(), fitted=replace(fit, residuals_px=residuals))
    found = not_a_ball(KNOWN, changed)
    assert (found is None) is a_ball
    if found is not None:
        assert found.numbers["scatter_px"] == pytest.approx(sigma)
        assert found.numbers["diameter_px"] == pytest.approx(diameter)


@pytest.mark.parametrize(
    ("scale", "mean", "snr", "animal"),
    [
        (4.01, 9.61, 9.9, True),
        (3.99, 9.61, 9.9, False),
        (4.01, 9.59, 9.9, False),
        (4.01, 9.61, 10.0, False),
    ],
)
def test_parts_of_an_animal_are_torn_far_out_and_hardly_stand_out(scale, mean, snr, animal):
    fit = replace(traced().fitted, scale=scale)
    count = len(traced().observed.track.frames)
    track = replace(traced().observed.track, snr=np.full(count, snr))
    torn = replace(traced(), fitted=fit, observed=replace(traced().observed, track=track))
    assert (parts_of_animal(torn, agreeing_with(mean)) is not None) is animal


def fitted_shot(**changes):
    shot = invented()[0]
    row = {k: v for k, v in changes.items() if k in shot.shot.__dataclass_fields__}
    rest = {k: v for k, v in changes.items() if k not in row}
    return FittedShot(
        **{
            "shot": replace(shot.shot, **row),
            "points": shot.points,
            "path": shot.path,
            **rest,
        }
    )


def moved_points(shot, share, off_px):
    """The points of a shot, a share of the used ones so many px off."""
    used = [point for point in shot.points if point.used]
    far = {point.frame for point in used[: round(share * len(used))]}
    return tuple(
        replace(point, column_px=point.column_px + off_px) if point.frame in far else point
        for point in shot.points
    )


@pytest.mark.parametrize(("off_px", "same"), [(2.99, True), (3.01, False), (-2.99, True)])
def test_a_position_is_another_shots_within_three_pixels(off_px, same):
    one = fitted_shot()
    assert is_again(fitted_shot(points=moved_points(one, 1.0, off_px)), one) is same


@pytest.mark.parametrize(("times", "shadow"), [(2.0, True), (1.9, False)])
def test_a_shadow_belongs_to_a_shot_seen_twice_as_often(times, shadow):
    one = fitted_shot(frames_seen=100)
    assert is_shadow(one, fitted_shot(frames_seen=int(100 * times))) is shadow


@pytest.mark.parametrize(("off_px", "shadow"), [(29.0, True), (31.0, False)])
def test_a_shadow_lies_within_thirty_pixels_of_the_path(off_px, shadow):
    one, path = fitted_shot(frames_seen=50), invented()[0].path
    on_path = [
        [float(np.interp(point.time_s, path.times_s, path.pixels[:, k])) for k in (0, 1)]
        for point in one.points
    ]
    points = tuple(
        replace(point, column_px=at[0], row_px=at[1] + off_px)
        for point, at in zip(one.points, on_path, strict=True)
    )
    assert is_shadow(replace(one, points=points), fitted_shot(frames_seen=200)) is shadow


def a_candidate(release_s=30.0, support=300.0, seen=60, crossed=100, off_px=400.0):
    path = invented()[0].path
    return RejectedCandidate(
        clip="clips/140mm.mp4",
        release_s=release_s,
        support=support,
        frames_seen=seen,
        frames_crossed=crossed,
        reasons=(Reason(ReasonCode.NO_FIT),),
        times_s=path.times_s - path.times_s[0] + release_s,
        pixels=path.pixels + np.array([0.0, off_px]),
    )


@pytest.mark.parametrize(
    ("enough", "lacking"),
    [
        ({"support": 120.0}, {"support": 119.9}),
        ({"seen": 50}, {"seen": 49}),
    ],
)
def test_a_rejected_candidate_makes_a_row_when_it_is_sure_and_seen_half_the_way(enough, lacking):
    assert len(selected([], [a_candidate(**enough)], "s")[0]) == 1
    assert len(selected([], [a_candidate(**lacking)], "s")[0]) == 0


@pytest.mark.parametrize(("later_s", "count"), [(0.29, 1), (0.31, 2)])
def test_candidates_released_within_three_tenths_of_a_second_are_one(later_s, count):
    found, _ = selected([], [a_candidate(), a_candidate(30.0 + later_s)], "s")
    assert len(found) == count


@pytest.mark.parametrize(("share", "part"), [(0.24, False), (0.27, True)])
def test_a_candidate_is_part_of_a_shot_from_a_quarter_of_its_path_on(share, part):
    shot = fitted_shot()
    path = shot.path
    candidate = a_candidate(release_s=float(path.times_s[0]), off_px=0.0)
    pixels = candidate.pixels.copy()
    pixels[round(share * len(pixels)) :] += 500.0
    _, rejected = selected([shot], [replace(candidate, pixels=pixels)], "s")
    codes = [each.code for each in rejected[0].reasons]
    assert (ReasonCode.SAME_DETECTIONS in codes) is part


@pytest.mark.parametrize(
    ("began_s", "pace", "same"),
    [
        (-1.49, 1.0, True),
        (-1.51, 1.0, False),
        (-2.9, 2.0, True),
        (1.99, 1.0, True),
        (2.01, 1.0, False),
        (3.9, 2.0, True),
    ],
)
def test_an_unmeasured_shot_is_of_a_ball_that_flew_then(began_s, pace, same):
    other = fitted_shot(release_s=10.0, flight_time_s=2.0)
    doubtful = fitted_shot(release_s=10.0 + began_s, path=None, quality=Quality.REJECTED)
    assert merging._is_same(doubtful, other, pace) is same


def a_hop(lapse_s, *, apart=0.0, level=0.6, up=0.6, turn_deg=0.0):
    """A shot and what begins after it came down: later, beside, slower, and aside."""
    times = np.array([0.0, 1.0, 2.0])
    path = replace(
        invented()[0].path,
        times_s=times,
        points_m=np.array([[0.0, 0.0, 1.0], [5.0, 0.0, 6.0], [15.0, 0.0, 0.0]]),
    )
    first = fitted_shot(path=path, flight_time_s=2.0)
    # It came down with 10 m/s level and 6 m/s down.
    turn = np.radians(turn_deg)
    velocity = np.array([10.0 * level * np.cos(turn), 10.0 * level * np.sin(turn), 6.0 * up])
    start = np.array([15.0, apart, 0.0])
    later = replace(
        path,
        times_s=2.0 + lapse_s + np.array([0.0, 0.1]),
        points_m=np.array([start, start + 0.1 * velocity]),
    )
    return merging.hop_of(fitted_shot(path=later, quality=Quality.CHECK), [first]) is not None


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        ({"lapse_s": 1.49}, {"lapse_s": 1.51}),
        ({"lapse_s": -0.09}, {"lapse_s": -0.11}),
        ({"lapse_s": 0.0, "apart": 1.99}, {"lapse_s": 0.0, "apart": 2.01}),
        ({"lapse_s": 0.2, "apart": 3.99}, {"lapse_s": 0.2, "apart": 4.01}),
        ({"lapse_s": 0.1, "up": 0.99}, {"lapse_s": 0.1, "up": 1.01}),
        ({"lapse_s": 0.1, "level": 0.99}, {"lapse_s": 0.1, "level": 1.01}),
        ({"lapse_s": 0.1, "turn_deg": 72.0}, {"lapse_s": 0.1, "turn_deg": 73.0}),
    ],
)
def test_a_hop_keeps_to_each_bound(within, beyond):
    """No faster than the ball came down, and within the cosine of 0.3 of its direction."""
    assert a_hop(**within)
    assert not a_hop(**beyond)


@pytest.mark.parametrize(("off_px", "share", "same"), [
    (5.9, 1.0, True), (6.1, 1.0, False), (5.9, 0.49, False), (5.9, 0.52, True),
])  # fmt: skip
def test_a_path_of_the_first_pass_is_a_shots_within_six_pixels_and_by_half(off_px, share, same):
    shot = fitted_shot()
    points = [point for point in shot.points if point.used]
    count = round(share * len(points))
    frames = np.array(
        [point.frame if k < count else point.frame + 10_000 for k, point in enumerate(points)]
    )
    pixels = np.array([(point.column_px, point.row_px + off_px) for point in points])
    arc = SimpleNamespace(frames=frames, pixels=pixels)
    assert _is_of(arc, shot) is same


def test_a_second_look_follows_from_the_balls_size_and_its_steps():
    """The lag lets a usual ball move by its diameter and a pixel; a fast one sets the step."""
    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    arc = SimpleNamespace(times_s=case().track.times_s)
    flight = Flight(SimpleNamespace(arc=arc), known, traced().fitted)
    found = settings_along([flight], FRAME_S)
    states = flight.states(arc.times_s)
    depth = KNOWN.camera.in_camera(states[:, :3])[:, 2]
    diameter = 2.0 * KNOWN.ball_radius_m * KNOWN.camera.focal_px / np.median(depth)
    pixels = KNOWN.camera.project(states[:, :3])
    after = KNOWN.camera.project(states[:, :3] + 1e-4 * states[:, 3:])
    steps = np.linalg.norm(after - pixels, axis=1) / 1e-4 * FRAME_S
    usual, fast = np.percentile(steps, [40, 75])
    assert found.diameter_px == pytest.approx(diameter)
    assert found.step_px == pytest.approx(fast, rel=1e-3)
    assert found.lag == np.clip(round((diameter + 1.0) / usual + 0.4), 1, 8)
    assert found.most == (90 if diameter < 8.0 else 60)
    assert found.window == (0, 0, *SIZE_PX)
    near = replace(known, ball_radius_m=15.0 * known.ball_radius_m)
    large = settings_along([replace(flight, known=near)], FRAME_S)
    assert (large.most, large.lag) == (60, 8)
    for times in np.linspace(0.5, 8.0, 16):
        sized = replace(known, ball_radius_m=times * known.ball_radius_m)
        lag = round((times * diameter + 1.0) / usual + 0.4)
        assert settings_along([replace(flight, known=sized)], FRAME_S).lag == np.clip(lag, 1, 8)


# --- chance and visibility


def test_support_against_chance_is_that_of_all_but_the_best_three_positions():
    """Candidates about the path, and half a one, over the area of thirty pixels a frame."""
    rng = np.random.default_rng(4)
    count = 9
    places = np.column_stack([np.linspace(100.0, 500.0, count), np.full(count, 200.0)])
    frames = []
    for number in range(count):
        around = places[number] + rng.uniform(-60.0, 60.0, (6, 2))
        frames.append(SimpleNamespace(pixels=np.vstack([places[number], around])))
    crossing = Crossing(frames, places, np.ones((count, 1)))
    covariances = np.array([np.diag(rng.uniform(0.5, 2.0, 2)) for _ in range(7)])
    residuals = rng.normal(size=(7, 2))
    used = np.array([True, True, True, False, True, True, True])
    track = SimpleNamespace(covariances=covariances)
    others = 0
    for number, each in enumerate(frames):
        away = np.linalg.norm(each.pixels - places[number], axis=1)
        others += np.sum(away < 30.0) - int(np.any(away < 5.0))
    assert others_around(crossing).sum() == others
    density = (others + 0.5) / (count * np.pi * 900.0)
    ratios = []
    for residual, covariance in zip(residuals[used], covariances[used], strict=True):
        normal = np.prod(norm.pdf(residual, scale=np.sqrt(np.diag(covariance))))
        ratios.append(max(np.log(0.3 + 0.7 * normal / density), np.log(0.3)))
    expected = sum(sorted(ratios)[:3]) + 3 * np.log(0.3)
    found = support_against_chance(track, residuals, used, crossing)
    assert found == pytest.approx(expected)


def test_a_path_that_crosses_no_frame_has_nothing_around_it() -> None:
    nowhere = Crossing([], np.empty((0, 2)), np.empty((0, 1)))
    assert others_around(nowhere).shape == (0,)


def test_purity_counts_by_the_normal_laws_of_balls_and_of_other_things():
    """Beyond the middle of either it is no less that one's; no picture counts more than 2.5."""
    for size, expected in (
        (2.1, np.log(1.6 / 1.2) + 0.5 * (3.7 / 1.6) ** 2),
        (0.9, np.log(1.6 / 1.2) - 0.5 + 0.5 * (2.5 / 1.6) ** 2),
        (-1.6, np.log(1.6 / 1.2) - 0.5 * (3.7 / 1.2) ** 2),
        (3.0, 9.0),
    ):
        found = purity_ratio(np.array([np.exp(size)]))[0]
        assert found == pytest.approx(np.clip(expected, -2.5, 2.5))
    near = purity_ratio(np.array([np.exp(0.5)]), visibility.NEAR_PURITIES)[0]
    assert near == pytest.approx(np.log(1.6) + 0.5 * (2.1 / 1.6) ** 2)
    (ball, ball_sd), size = visibility.NEAR_PURITIES, -1.8
    blurred = purity_ratio(np.array([np.exp(size)]), visibility.NEAR_PURITIES)[0]
    expected = np.log(1.6 / ball_sd) - 0.5 * ((size - ball) / ball_sd) ** 2
    assert blurred == pytest.approx(expected) and -2.5 < expected < -1.0


def component(contrasts, light, least=10.0, texture=5.0):
    count = len(light)
    spread = np.hypot(texture, 12.0)
    places = visibility._Places(
        np.full(count, least), np.ones(count), np.asarray(light, float), np.full(count, spread)
    )
    return visibility._Component(places, np.arange(len(contrasts)), np.asarray(contrasts, float))


def test_a_balls_contrast_is_that_of_one_brightness_within_black_and_white():
    light = np.linspace(60.0, 120.0, 30)
    of_one = component(170.0 - light[:20], light)
    np.testing.assert_allclose(of_one.expected, 170.0 - light, atol=0.5)
    glaring = component(np.full(20, 200.0), np.linspace(100.0, 100.0, 30))
    np.testing.assert_allclose(glaring.expected, 135.0)
    dark = component(np.full(20, -200.0), np.linspace(100.0, 100.0, 30))
    np.testing.assert_allclose(dark.expected, -84.0)
    assert not component(np.full(20, np.nan), light).expected.any()


def test_how_far_a_ball_blends_with_its_background_is_a_prior_and_has_bounds():
    """0 ± 0.3 beside brightnesses that scatter by twelve; between -0.2 and 0.8."""
    rng = np.random.default_rng(5)
    light = rng.uniform(50.0, 130.0, 40)
    for follows in (0.5, 3.0, -3.0):
        own = 100.0 + follows * (light - light.mean())
        found = component(own - light, light).expected + light
        spread = np.sum((light - light.mean()) ** 2)
        slope = follows * spread / (spread + (12.0 / 0.3) ** 2)
        slope = float(np.clip(slope, -0.2, 0.8))
        seen = np.polyfit(light, found, 1)[0]
        assert seen == pytest.approx(slope, abs=0.02)


def test_a_picture_counts_by_the_laws_of_a_ball_and_of_anything_else():
    light = np.full(21, 80.0)
    contrasts = np.full(21, 90.0)
    contrasts[7] = 60.0
    found = component(contrasts, light, texture=5.0)
    spread = np.hypot(5.0, 12.0)
    off = 60.0 - found.expected[7]
    other = 0.5 * (norm.pdf(60.0, scale=60.0) + norm.pdf(-30.0, scale=30.0)) + 1e-4
    ball = 0.95 * norm.pdf(off, scale=spread) + 0.05 * other
    assert found.contrast_ratio[7] == pytest.approx(np.log(ball / other))
    assert np.all(found.contrast_ratio <= 2.5) and found.contrast_ratio[7] < 0.0
    upper, lower = ((sign * 10.0 - found.expected) / spread for sign in (1.0, -1.0))
    chance = norm.cdf(upper) - norm.cdf(lower)
    np.testing.assert_allclose(found.chance_unseen, chance, rtol=1e-9)
    np.testing.assert_allclose(found.clearness, contrasts / 10.0)


# --- the hop and the landing


def reweighted(distance, whitened, time_s=2.0, variance=1e-6):
    return SimpleNamespace(
        distance=np.asarray(distance, float),
        whitened=np.asarray(whitened, float),
        state=np.array([2.01, 0.7, 0.6, 0.1]),
        without_prior=lambda priors, at: (time_s, variance),
    )


LANDING = SimpleNamespace(landed_s=2.0, landed_u_s=0.01)
HOP = Hop(2.0, 0.5, 0.5, 0.0, 30.0, 9, 10)


@pytest.mark.parametrize(
    ("distances", "measured"),
    [([3.99] * 4, True), ([*[3.99] * 3, 4.01], False), ([1.0] * 3, False)],
)
def test_a_hop_has_four_positions_within_four_uncertainties(distances, measured):
    found = measured_hop(reweighted(distances, np.ones((4, 2))), LANDING, HOP)
    assert (found is not None) is measured
    if found is not None:
        assert found.frames == 4 and found.hop.restitution == 0.7 and found.hop.time_s == 2.0


@pytest.mark.parametrize(("whitened", "scatter"), [(0.5, 1.0), (3.0, 3.0), (40.0, 4.0)])
def test_the_moment_of_a_bounce_is_widened_by_the_scatter_and_the_touch(whitened, scatter):
    found = measured_hop(
        reweighted([1.0] * 6, np.full((6, 2), whitened), variance=0.003**2), LANDING, HOP
    )
    assert found.u_s == pytest.approx(np.hypot(0.003 * scatter, 0.002))


@pytest.mark.parametrize(("u_s", "measured"), [(0.0598, True), (0.0602, False)])
def test_a_moment_known_no_better_than_sixty_milliseconds_is_none(u_s, measured):
    fit = reweighted([1.0] * 6, np.ones((6, 2)), variance=u_s**2 - 0.002**2)
    assert (measured_hop(fit, LANDING, HOP) is not None) is measured


def test_priors_of_a_hop_are_its_predicted_moment_and_what_turf_does():
    priors = priors_of(LANDING)
    assert priors.mean == pytest.approx([2.0, 0.6, 0.62, 0.0])
    assert priors.sd == pytest.approx([0.01, 0.2, 0.22, 0.7])


@pytest.mark.parametrize(
    ("off_u", "agrees"), [(3.0, True), (3.01, False), (-3.0, True), (-3.1, False)]
)
def test_a_bounce_is_of_this_flight_within_three_uncertainties(off_u, agrees):
    assert bounce.Bounce(2.0, 0.01, HOP, 6, off_u).agrees is agrees


def test_the_predicted_landing_is_as_uncertain_as_flight_release_and_ground():
    found = bounce.predicted_landing(CONTEXT, traced().fitted)
    figures = figures_of(KNOWN, traced().fitted.parameters)
    slope = figures.slope("flight_time_s").copy()
    slope[RELEASE_AT] += 1.0
    flight_s = figures.value("flight_time_s")
    fall = -found.trajectory.at(flight_s)[0, 5]
    u = np.sqrt(slope @ traced().fitted.covariance @ slope + (0.02 / fall) ** 2)
    assert found.landed_u_s == pytest.approx(min(u, 0.06))
    release = traced().fitted.parameters[RELEASE_AT]
    assert found.landed_s == pytest.approx(release + flight_s) and found.began_s == release
    assert found.trajectory.times_s[-1] == pytest.approx(flight_s + 0.3)
    assert found.drag == traced().fitted.parameters[DRAG_AT]
    assert found.readout_s == traced().fitted.parameters[READOUT_AT]
    loose = replace(traced().fitted, covariance=1e4 * traced().fitted.covariance)
    assert bounce.predicted_landing(CONTEXT, loose).landed_u_s == 0.06


def test_candidates_about_a_landing_are_held_against_those_of_quiet_frames():
    landing = bounce.predicted_landing(CONTEXT, traced().fitted)
    place = landing.trajectory.at(landing.landed_s - landing.began_s)[0, :3]
    both = landing.camera.project(np.array([place, place + np.array([0.0, 0.0, 1.0])]))
    scale = np.linalg.norm(both[1] - both[0])
    begin = landing.landed_s - 2.5 * landing.landed_u_s
    end = landing.landed_s + 2.5 * landing.landed_u_s + 0.32
    near, far = both[0] + [0.0, 1.49 * scale], both[0] + [0.0, 1.51 * scale]
    delay = 0.004
    moments = {
        "early": begin - 0.151, "before": begin - 0.149, "first": begin + 1e-4,
        "last": end - 1e-4, "after": end + 0.399, "late": end + 0.401,
    }  # fmt: skip
    frames = [
        SimpleNamespace(name=name, time_s=time - delay, pixels=np.array([near, near, far]))
        for name, time in moments.items()
    ]
    found, shown = bounce.candidates_near(landing, frames, delay)
    assert [each.name for each in shown] == ["first", "last"]
    assert found.px_per_m == pytest.approx(scale)
    # Early and late are quiet: two candidates within a metre and a half in each.
    assert found.clutter == pytest.approx((4 + 0.5) / (2 * np.pi * (1.5 * scale) ** 2))
    assert found.owner.tolist() == [0, 0, 0, 1, 1, 1]
    assert found.times_s == pytest.approx([moments["first"], moments["last"]])


@pytest.mark.parametrize(
    ("left_s", "above_m", "covered"),
    [
        (-0.01, 3.0, True),
        (0.5, 0.199, True),
        (0.5, 0.201, False),
        (1.79 * FRAME_S, 0.349, True),
        (1.79 * FRAME_S, 0.351, False),
        (1.81 * FRAME_S, 0.349, False),
    ],
)
def test_a_ball_was_seen_to_land_when_little_of_its_fall_is_left(left_s, above_m, covered):
    state = np.array([20.0, 0.0, KNOWN.ball_radius_m + above_m, 9.0, 0.0, -9.0])
    parameters = np.zeros(len(PARAMETERS))
    flown = SimpleNamespace(
        observed=SimpleNamespace(
            track=SimpleNamespace(times_s=np.array([1.0, 2.0, 9.0])), row_share=np.zeros(3)
        ),
        fitted=SimpleNamespace(
            used=np.array([True, True, False]),
            parameters=parameters,
            trajectory=SimpleNamespace(at=lambda _: state[None]),
        ),
        bounce=None,
    )
    figures = SimpleNamespace(value=lambda name: 2.0 + left_s)
    assert rows._covered(CONTEXT, flown, figures) is covered


# --- causes, and the way home


@pytest.mark.parametrize(
    ("off", "u", "code"),
    [
        ((0.49, 0.0, 0.0), 0.01, None),
        ((0.51, 0.0, 0.0), 0.01, ReasonCode.RELEASE_ELSEWHERE),
        ((0.0, -0.51, 0.0), 0.01, ReasonCode.RELEASE_ELSEWHERE),
        ((2.99, 0.0, 0.0), 1.0, None),
        ((3.01, 0.0, 0.0), 1.0, ReasonCode.RELEASE_ELSEWHERE),
        ((0.0, 0.0, 0.51), 0.01, ReasonCode.RELEASE_HEIGHT),
        ((0.0, 0.0, 0.49), 0.01, None),
        ((0.6, 0.0, 0.6), 0.01, ReasonCode.RELEASE_ELSEWHERE),
        ((2.9, 0.0, -1.1), 0.01, ReasonCode.RELEASE_HEIGHT),
        ((2.9, 0.6, -1.1), 0.01, ReasonCode.RELEASE_ELSEWHERE),
        ((3.1, 0.0, -1.1), 0.01, ReasonCode.RELEASE_ELSEWHERE),
        ((2.9, 0.0, -0.9), 0.01, ReasonCode.RELEASE_ELSEWHERE),
        ((-0.6, 0.0, -1.1), 0.01, ReasonCode.RELEASE_ELSEWHERE),
    ],
)
def test_a_start_is_elsewhere_beyond_half_a_metre_and_three_uncertainties(off, u, code):
    launch = np.zeros(11)
    launch[:3], launch[3:6] = KNOWN.release_m + off, (10.0, 0.5, 9.0)
    covariance = u**2 * np.eye(len(PARAMETERS))
    flight = SimpleNamespace(launch=launch, fitted=SimpleNamespace(covariance=covariance))
    found = diagnosis._where(flight, CONTEXT)
    assert (found.code if found else None) is code


def test_misfit_is_the_chi_square_of_positions_cut_at_six_uncertainties_and_of_priors():
    fit = traced().fitted
    residuals = np.zeros_like(fit.residuals_px)
    u = np.sqrt(traced().observed.track.covariances[0, 0, 0])
    residuals[0], residuals[1] = (2.0 * u, 0.0), (0.0, 50.0 * u)
    factor, scale = fit.correlation_factor, fit.scale
    at = KNOWN.prior_mean().copy()
    at[DRAG_AT] += 1.5 * KNOWN.drag_u
    changed = replace(fit, residuals_px=residuals, parameters=at)
    found = from_field._misfit(KNOWN, changed, traced())
    assert found == pytest.approx((4.0 / scale**2 + 36.0) / factor + 1.5**2, rel=1e-6)


@pytest.mark.parametrize(("more", "home"), [(24.9, True), (25.1, False)])
def test_a_flight_is_taken_as_one_from_the_release_where_that_explains_it_as_well(
    monkeypatch, more, home
):
    fit = traced().fitted
    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    flight = Flight(SimpleNamespace(arc=None), known, fit)
    monkeypatch.setattr(from_field, "fit_flight", lambda *_: fit)
    costs = iter([100.0 + more, 100.0])
    monkeypatch.setattr(from_field, "_misfit", lambda *_: next(costs))
    found = from_field._from_release(flight, CONTEXT, traced())
    assert (found is fit) is home


@pytest.mark.parametrize(("aside_m", "near"), [(4.9, True), (5.1, False)])
def test_a_flight_that_passes_the_release_far_off_is_not_one_from_there(monkeypatch, aside_m, near):
    fit = traced().fitted
    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    parameters = fit.parameters.copy()
    parameters[VELOCITY_AT] = (15.0, 0.0, 10.0)
    parameters[POSITION_AT] = KNOWN.release_m + np.array([0.0, aside_m, 0.0])
    moved = replace(fit, parameters=parameters)
    flight = Flight(SimpleNamespace(arc=None), known, moved)
    asked = []
    monkeypatch.setattr(from_field, "fit_flight", lambda *_: asked.append(1) or fit)
    monkeypatch.setattr(from_field, "_misfit", lambda *_: 0.0)
    from_field._from_release(flight, CONTEXT, replace(traced(), fitted=moved))
    assert bool(asked) is near


def test_a_found_flight_is_followed_a_fifth_longer_than_in_a_vacuum():
    arc = SimpleNamespace(times_s=np.array([0.6, 0.9]), frames=np.arange(2))
    flight = SimpleNamespace(throw=SimpleNamespace(arc=arc))
    fit = traced().fitted
    found = from_field._hypothesis(KNOWN, fit, flight)
    climb, up = fit.parameters[VELOCITY_AT][2], fit.parameters[POSITION_AT][2]
    vacuum = climb / G + np.sqrt(2.0 * (up + climb**2 / (2.0 * G)) / G)
    assert found.trajectory.times_s[-1] == pytest.approx(1.2 * vacuum + 0.1)
    assert (found.hits, found.in_view) == (2, 2)
    high = fit.parameters.copy()
    high[VELOCITY_AT] = (5.0, 0.0, 60.0)
    longest = from_field._hypothesis(KNOWN, replace(fit, parameters=high), flight)
    assert longest.trajectory.times_s[-1] == pytest.approx(9.0)
    late = SimpleNamespace(
        throw=SimpleNamespace(
            arc=SimpleNamespace(times_s=np.array([0.6, 4.9]), frames=np.arange(2))
        )
    )
    release = fit.parameters[RELEASE_AT]
    lasting = from_field._hypothesis(KNOWN, fit, late)
    assert lasting.trajectory.times_s[-1] == pytest.approx(max(4.9 - release, 1.2 * vacuum + 0.1))


def test_cost_of_a_first_fit_counts_priors_scatter_and_what_it_leaves_out():
    fitted = SimpleNamespace(
        used=np.array([True, True, False]),
        residuals_px=np.array([[1.0, 2.0], [0.0, 1.0], [50.0, 0.0]]),
    )
    flight = SimpleNamespace(fitted=fitted, prior_chi_square=7.0)
    assert field._cost(flight) == pytest.approx(7.0 + 36.0 + 6.0)


@pytest.mark.parametrize(("count", "exact"), [(11, False), (12, True)])
def test_a_first_guess_from_the_field_is_a_cubic_from_twelve_positions_on(count, exact):
    """On an upright plane square to the view, as far away as gravity says."""
    camera = looking_at(np.array([15.0, -30.0, 1.5]), np.array([15.0, 0.0, 3.0]), 1300.0, SIZE_PX)
    known = loosened(
        replace(KNOWN, camera=camera.with_covariance(KNOWN.camera.covariance)),
        StartPrior(KNOWN.release_m, np.full(3, 0.1)),
        Beginning(0.5, 0.01),
    )
    since = np.linspace(0.1, 1.0, count)
    points = np.column_stack(
        [
            3.0 + 12.0 * since - since**2 + 1.2 * since**3,
            0.0 * since,
            1.0 + 9.0 * since - 4.9 * since**2,
        ]
    )
    track = SimpleNamespace(times_s=0.5 + since, pixels=camera.project(points))
    launch = field._first_launch(known, track, 0.5, 30.0)
    # Half a pixel off the middle of the frame turns the plane a little.
    off = np.abs(launch[:6] - (3.0, 0.0, 1.0, 12.0, 0.0, 9.0)).max()
    assert bool(off < 0.03) is exact
    few = SimpleNamespace(times_s=track.times_s[:6], pixels=track.pixels[:6])
    assert np.isfinite(field._first_launch(known, few, 0.5, 30.0)).all()
    less = SimpleNamespace(times_s=track.times_s[:5], pixels=track.pixels[:5])
    with pytest.raises(Exception, match="in front of the camera"):
        field._first_launch(known, less, 0.5, 30.0)


def test_what_is_made_of_a_flight_cannot_be_changed():
    """Rows, pictures and later fits share it."""
    field_too = Field(np.zeros(2), np.ones(2))
    for one in (traced(), fitted_shot(), FIELD, field_too, LOST, Beginning(0.0, 1.0)):
        name = next(iter(one.__dataclass_fields__))
        with pytest.raises(AttributeError):
            setattr(one, name, None)


def test_gravity_is_checked_at_the_rate_of_the_clip(monkeypatch):
    asked = []
    monkeypatch.setattr(tracing, "gravity_doubt", lambda *given: asked.append(given[3]) or ())
    monkeypatch.setattr(tracing, "describe", lambda *_: fitted_shot())
    context = SimpleNamespace(circumstances=KNOWN, frame_s=1001.0 / 30000.0, faint=False)
    assert tracing.reported(context, traced(), 50.0) == fitted_shot()
    assert asked == pytest.approx([29.97], abs=1e-3)


@pytest.mark.parametrize(
    ("codes", "explained", "said"),
    [
        ((ReasonCode.GRAVITY_OFF, ReasonCode.GRAVITY_UNEXPLAINED), True, "release"),
        ((ReasonCode.GRAVITY_OFF, ReasonCode.GRAVITY_UNEXPLAINED), False, "gravity"),
        ((ReasonCode.GRAVITY_OFF, ReasonCode.GRAVITY_FRAME_RATE), True, "gravity"),
    ],
)
def test_a_fall_that_no_usual_unit_explains_may_start_elsewhere(
    monkeypatch, codes, explained, said
):
    gravity, release = tuple(Reason(code) for code in codes), (Reason(ReasonCode.STRAINS_RELEASE),)
    known = []
    monkeypatch.setattr(tracing, "gravity_doubt", lambda *_: gravity)
    monkeypatch.setattr(tracing, "release_doubt", lambda *_: release if explained else ())
    monkeypatch.setattr(tracing, "strain_doubt", lambda *_: pytest.fail("a reason is known"))
    monkeypatch.setattr(tracing, "describe", lambda *given: known.append(given[3]) or fitted_shot())
    context = SimpleNamespace(circumstances=KNOWN, frame_s=FRAME_S, faint=False)
    tracing.reported(context, traced(), 50.0)
    tracing.reported(context, traced(), 50.0, replace(USUAL_EXPECTATIONS, aimed=False))
    assert known == [release if said == "release" else gravity, gravity]


@pytest.mark.parametrize(("support", "kept"), [(120.0, True), (119.9, False)])
def test_a_row_that_is_rejected_is_reported_when_its_flight_is_sure(monkeypatch, support, kept):
    monkeypatch.setattr(tracing, "gravity_doubt", lambda *_: ())
    why = (Reason(ReasonCode.OFF_AIM, {"aside_deg": 30.0}),)
    row = fitted_shot(quality=Quality.REJECTED, reasons=why)
    monkeypatch.setattr(tracing, "describe", lambda *_: row)
    context = SimpleNamespace(circumstances=KNOWN, frame_s=FRAME_S, faint=False)
    if kept:
        assert tracing.reported(context, traced(), support) is row
    else:
        with pytest.raises(Rejection) as raised:
            tracing.reported(context, traced(), support)
        assert raised.value.reasons == why


def test_a_throw_from_the_field_is_looked_for_along_its_path_and_where_it_comes_down():
    """From 0.4 s before its path to 1.0 s after, and within 3 m of where its last position lies."""
    asked = []

    def states(times):
        asked.append(np.array(times))
        return np.array([[12.0, 1.0, 3.0, 9.0, 0.0, -4.0]] * len(times))

    flight = SimpleNamespace(
        throw=SimpleNamespace(arc=SimpleNamespace(times_s=np.array([2.0, 2.5, 3.0]))),
        camera=KNOWN.camera,
        states=states,
        path=lambda times: np.array([[400.0, 300.0]] * len(times)),
    )
    window = anywhere._FromField(FIELD, CONTEXT).window(flight)
    assert (window.begin_s, window.end_s) == (pytest.approx(1.6), pytest.approx(4.0))
    assert asked[0].tolist() == [3.0]
    ends_at = KNOWN.camera.project(np.array([[12.0, 1.0, 0.0], [12.0, 1.0, 1.0]]))
    about = 3.0 * np.linalg.norm(ends_at[1] - ends_at[0])
    reach = anywhere.reach_px(CONTEXT.facts)
    pixels = np.array(
        [
            [400.0 + 0.99 * reach, 300.0],
            [400.0 + 1.01 * reach, 300.0],
            ends_at[0] + (0.0, 0.99 * about),
            ends_at[0] + (0.0, 1.01 * about),
            [np.nan, 10.0],
        ]
    )
    near = window.near(SimpleNamespace(time_s=2.2, pixels=pixels))
    assert near.tolist() == [True, False, True, False, False]


@pytest.mark.parametrize(
    ("before_s", "home"), [(-0.019, True), (-0.021, False), (0.29, True), (0.31, False)]
)
def test_a_release_lies_just_before_the_first_detection(monkeypatch, before_s, home):
    """Where the release is in the frame: 0.3 s before at most, and 20 ms after."""
    fit = traced().fitted
    first_s = traced().observed.track.times_s[fit.used].min()
    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    parameters = fit.parameters.copy()
    parameters[RELEASE_AT] = first_s - before_s
    there = replace(fit, parameters=parameters)
    monkeypatch.setattr(from_field, "fit_flight", lambda *_: there)
    monkeypatch.setattr(from_field, "_misfit", lambda *_: 0.0)
    assert KNOWN.camera.in_frame(KNOWN.camera.project(KNOWN.release_m))[0]
    found = from_field._from_release(
        Flight(SimpleNamespace(arc=None), known, fit), CONTEXT, traced()
    )
    assert (found is there) is home


def test_a_ball_is_expected_where_it_was_and_will_be_a_lag_away():
    """Its own motion, and what gravity adds to a straight line in that time."""
    context = replace(CONTEXT, settings=replace(CONTEXT.settings, lag=3))
    times = case().track.times_s[[10, 60, 100]] - traced().fitted.parameters[RELEASE_AT]
    states = traced().fitted.trajectory.at(times)
    pixels = KNOWN.camera.project(states[:, :3])
    found = sighting._expected(context, KNOWN.camera, states, pixels)
    step = 3 * context.frame_s
    fall = np.array([0.0, 0.0, -0.5 * G * step**2])
    for sign, offset in ((-1.0, found.before_px), (1.0, found.after_px)):
        there = KNOWN.camera.project(states[:, :3] + sign * step * states[:, 3:] + fall)
        np.testing.assert_allclose(offset, there - pixels, atol=0.15)
    moved = KNOWN.camera.project(states[:, :3] + 1e-3 * context.frame_s * states[:, 3:]) - pixels
    np.testing.assert_allclose(found.motion_px, 1e3 * moved, atol=1e-2)
    depth = KNOWN.camera.in_camera(states[:, :3])[:, 2]
    expected = 2.0 * KNOWN.ball_radius_m * KNOWN.camera.focal_px / depth
    np.testing.assert_allclose(found.diameters_px, expected)
