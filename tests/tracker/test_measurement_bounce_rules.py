"""When a bounce is looked for, what it is held against, and how a hop is measured."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from calibration.ground import Ground
from tests.tracker.bounce_case import CONTEXT, KNOWN, bounce_case
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import RELEASE_AT
from tracker.following.hop import LEAST_HITS
from tracker.measurement import bounce, hop_fit

LANDED_S, LANDED_U_S, FALL_MPS = 2.0, 0.02, 8.0


@pytest.fixture(scope="module")
def case():
    return bounce_case(np.random.default_rng(2))


def looked_for(monkeypatch, **changes):
    """Look for a bounce of which each step gives what it is asked to; return it and the asking."""
    given = {
        "last_s": 1.95, "fall": FALL_MPS, "visible": True, "frames": ["a frame"],
        "hop": SimpleNamespace(found=True), "measured": True, "landing": True,
    } | changes  # fmt: skip
    asked = SimpleNamespace()

    def at(since):
        rows = np.atleast_1d(since)
        fixed = np.tile([0.0, 0.1, 9.0, 0.0, -given["fall"]], (len(rows), 1))
        return np.column_stack([20.0 * rows, fixed])

    landing = SimpleNamespace(
        trajectory=SimpleNamespace(at=at),
        camera=SimpleNamespace(
            project=lambda places: places @ np.eye(3)[:, :2],
            in_frame=lambda _: np.array([given["visible"]]),
        ),
        began_s=0.5,
        landed_s=LANDED_S,
        landed_u_s=LANDED_U_S,
        readout_s=0.01,
        ground=Ground(0.02),
    )

    def near(landing, candidates, delay_s):
        asked.delay_s = delay_s
        return "near", given["frames"]

    def measure(context, landing, hop, frames, picture):
        asked.picture = picture
        found = SimpleNamespace(time_s=2.01)
        return SimpleNamespace(hop=found, u_s=0.003, frames=7) if given["measured"] else None

    def height(context, fitted, landing, at_s, u_s):
        asked.height = (at_s, u_s)
        return -1.5

    for name, instead in {
        "predicted_landing": lambda *_: landing if given["landing"] else None,
        "candidates_near": near,
        "find_hop": lambda *_: given["hop"],
        "measure_hop": measure,
        "height_off": height,
    }.items():
        monkeypatch.setattr(bounce, name, instead)

    def row_share(pixels):
        asked.pixels = pixels.tolist()
        return np.array([0.4])

    context = SimpleNamespace(row_share=row_share)
    fitted = SimpleNamespace(light="light")
    return bounce.find_bounce(context, fitted, given["last_s"], [], 0.7), asked


@pytest.mark.parametrize(("early_s", "found"), [(0.199, True), (0.201, False)])
def test_a_flight_is_seen_until_just_before_its_bounce(monkeypatch, early_s, found):
    """0.15 s and two and a half uncertainties of the predicted landing."""
    bounced, _ = looked_for(monkeypatch, last_s=LANDED_S - early_s)
    assert (bounced is not None) is found


@pytest.mark.parametrize(
    "lacking",
    [
        {"landing": False},
        {"visible": False},
        {"frames": []},
        {"hop": None},
        {"hop": SimpleNamespace(found=False)},
        {"measured": False},
    ],
)
def test_there_is_no_bounce_without_each_step(monkeypatch, lacking):
    assert looked_for(monkeypatch)[0] is not None
    assert looked_for(monkeypatch, **lacking)[0] is None


@pytest.mark.parametrize(("fall", "taken"), [(8.0, 8.18), (0.3, 1.0), (-2.0, 1.0)])
def test_a_bounce_is_held_against_the_flights_own_landing(monkeypatch, fall, taken):
    """The height of the ground is known to 2 cm: a time by the speed of fall, 1 m/s at least.

    Over ground that rises by 2 in a hundred, 9 m/s along bring it down by 0.18 m/s more.
    """
    found, asked = looked_for(monkeypatch, fall=fall)
    assert (found.time_s, found.u_s, found.frames, found.off_u) == (2.01, 0.003, 7, -1.5)
    assert asked.height == (2.01, pytest.approx(np.hypot(0.003, 0.02 / taken)))
    assert asked.delay_s == pytest.approx(0.01 * 0.4)
    assert asked.picture == (0.7, "light")
    # Where the flight lies 1.5 s after its beginning.
    assert asked.pixels == [[30.0, 0.0]]


def test_the_height_at_a_bounce_is_over_its_uncertainty_by_the_flight_and_the_time(case):
    """The slopes by central differences of flights with other parameters."""
    fitted, landing = case.fitted, case.landing
    at_s, u_s = case.landing.landed_s - 0.03, 0.004

    def height(parameters):
        flown = flight_of(KNOWN, parameters, 4.0, 0.02)
        return flown.at(at_s - parameters[RELEASE_AT])[0, 2]

    slope = np.zeros(len(fitted.parameters))
    for at in range(len(slope)):
        step = np.zeros(len(slope))
        step[at] = 1e-4
        both = height(fitted.parameters + step), height(fitted.parameters - step)
        slope[at] = (both[0] - both[1]) / 2e-4
    fall = landing.trajectory.at(at_s - landing.began_s)[0, 5]
    variance = slope @ fitted.covariance @ slope + (fall * u_s) ** 2
    expected = (height(fitted.parameters) - KNOWN.ball_radius_m) / np.sqrt(variance)
    found = bounce.height_off(CONTEXT, fitted, landing, at_s, u_s)
    assert found == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize(("fall", "taken"), [(5.0, 5.0), (0.5, 1.0), (-3.0, 1.0)])
def test_a_landing_that_hardly_falls_is_uncertain_by_the_ground_over_a_metre_a_second(
    monkeypatch, fall, taken, case
):
    state = np.array([[30.0, 0.0, 0.03, 9.0, 0.0, -fall]])
    monkeypatch.setattr(bounce, "flight_of", lambda *_, **__: SimpleNamespace(at=lambda _: state))
    sure = replace(case.fitted, covariance=0.0 * case.fitted.covariance)
    found = bounce.predicted_landing(CONTEXT, sure)
    assert found.landed_u_s == pytest.approx(0.02 / taken)


def test_a_flight_that_never_comes_down_has_no_landing(monkeypatch, case):
    monkeypatch.setattr(bounce, "figures_of", lambda *_: SimpleNamespace(value=lambda _: np.nan))
    assert bounce.predicted_landing(CONTEXT, case.fitted) is None


def clutter(px_per_m, quiet):
    """Usual candidates about a landing in a picture of this scale, one a place off it, px."""
    camera = SimpleNamespace(project=lambda points: points[:, 2:] * [0.0, -px_per_m])
    landing = SimpleNamespace(
        trajectory=SimpleNamespace(at=lambda _: np.zeros((1, 6))),
        camera=camera,
        began_s=0.0,
        landed_s=2.0,
        landed_u_s=0.01,
    )
    frames = [SimpleNamespace(time_s=1.0, pixels=np.array([[off, 0.0]])) for off in quiet]
    return bounce.candidates_near(landing, frames, 0.0)[0]


def test_clutter_is_counted_within_a_metre_and_a_half_and_twelve_pixels_at_least():
    wide = clutter(100.0, (149.0, 150.0, 151.0))
    assert wide.px_per_m == pytest.approx(100.0)
    assert wide.clutter == pytest.approx(1.5 / (3 * np.pi * 150.0**2))
    small = clutter(4.0, (11.9, 12.0, 12.1))
    assert small.clutter == pytest.approx(1.5 / (3 * np.pi * 12.0**2))


def test_where_no_candidate_was_seen_there_are_a_few():
    """Half a one in all that was looked at, and one in a million pixels at least."""
    assert clutter(100.0, ()).clutter == pytest.approx(0.5 / (np.pi * 150.0**2))
    assert clutter(1e4, ()).clutter == 1e-6


def test_a_hop_is_seen_between_its_bounce_and_its_end_and_at_neither(monkeypatch):
    times = np.array([1.0, 1.0 + 1e-6, 1.0 + hop_fit.AFTER_S - 1e-6, 1.0 + hop_fit.AFTER_S])
    frames = [SimpleNamespace(time_s=time) for time in times]
    landing = SimpleNamespace(
        readout_s=0.01, camera=SimpleNamespace(project=lambda points: points[:, :2])
    )
    context = SimpleNamespace(rows_s=lambda times, pixels, readout_s: times)
    monkeypatch.setattr(hop_fit, "hop_pixels", lambda _, state, times: np.zeros((1, len(times), 2)))
    monkeypatch.setattr(hop_fit, "hop_states", lambda _, state, times: np.ones((1, len(times), 6)))
    monkeypatch.setattr(hop_fit, "in_frame", lambda camera, shown, course: (shown, course))
    shown, _ = hop_fit._course(context, landing, np.array([1.0, 0, 0, 0]), frames)
    assert shown == frames[1:3]


@pytest.mark.parametrize(
    ("shown", "positions", "measured"),
    [(LEAST_HITS, LEAST_HITS, True), (LEAST_HITS - 1, 9, False), (9, LEAST_HITS - 1, False)],
)
def test_a_hop_needs_four_frames_and_four_positions(monkeypatch, shown, positions, measured):
    fit = SimpleNamespace(state=np.zeros(4))
    for name, instead in {
        "_course": lambda *_: ([None] * shown, None),
        "sighted": lambda *_: (SimpleNamespace(frames=np.arange(positions)), None),
        "fit_hop": lambda *_: fit,
        "measured_hop": lambda *_: "measured",
    }.items():
        monkeypatch.setattr(hop_fit, name, instead)
    hop = SimpleNamespace(time_s=1.0, restitution=0.6, speed_kept=0.7, sideways_mps=0.0)
    found = hop_fit.measure_hop(CONTEXT, None, hop, [], (None, None))
    assert (found is not None) is measured


def test_a_hop_that_nothing_determines_is_none(monkeypatch):
    def fit(*_):
        raise NotDetermined("too few")

    monkeypatch.setattr(hop_fit, "_course", lambda *_: ([None] * 9, None))
    monkeypatch.setattr(hop_fit, "sighted", lambda *_: (SimpleNamespace(frames=np.arange(9)), None))
    monkeypatch.setattr(hop_fit, "fit_hop", fit)
    hop = SimpleNamespace(time_s=1.0, restitution=0.6, speed_kept=0.7, sideways_mps=0.0)
    assert hop_fit.measure_hop(CONTEXT, None, hop, [], (None, None)) is None


def test_slopes_of_a_hop_are_those_of_its_path(case):
    """Against differences of a fifth of the step."""
    landing = case.landing
    times = case.hop[0] + np.array([0.05, 0.15])
    for at, step in enumerate((2e-5, 2e-4, 2e-4, 2e-4)):
        change = np.zeros(4)
        change[at] = step
        both = hop_fit.hop_pixels(landing, np.stack([case.hop + change, case.hop - change]), times)
        found = hop_fit._slope(landing, case.hop, times, at)
        np.testing.assert_allclose(found, (both[0] - both[1]) / (2 * step), rtol=2e-3, atol=1e-2)


def test_a_hop_is_fitted_by_the_covariances_of_its_positions_and_of_the_meeting(monkeypatch, case):
    """Positions and 0.3 px, whitened by the root of their sum; the lit side taken off."""
    seen = {}

    def adjust(model, state, priors, *, rounds, knee, least):
        seen.update(rounds=rounds, knee=knee, least=least, at=model(state))
        return "fit"

    monkeypatch.setattr(hop_fit, "adjust_reweighted", adjust)
    monkeypatch.setattr(hop_fit, "shift_by_light", lambda *_: np.array([0.25, -0.5]))
    track, landing = case.track, case.landing
    spread = np.array([[0.05, 0.01], [0.01, 0.02]])
    uneven = replace(track, covariances=np.tile(spread, (len(track.frames), 1, 1)))
    assert hop_fit.fit_hop(CONTEXT, landing, uneven, case.hop, np.zeros(3)) == "fit"
    assert (seen["rounds"], seen["knee"], seen["least"]) == (6, 2.0, 4)
    gap, slope = seen["at"]
    rows_s = CONTEXT.rows_s(track.times_s, track.pixels, landing.readout_s)
    off = track.pixels - [0.25, -0.5] - hop_fit.hop_pixels(landing, case.hop[None], rows_s)[0]
    weight = np.linalg.inv(spread + 0.09 * np.eye(2))
    chi = np.einsum("ni,ij,nj->n", off, weight, off)
    np.testing.assert_allclose(np.sum(gap**2, axis=1), chi)
    own = hop_fit._slope(landing, case.hop, rows_s, 1)
    np.testing.assert_allclose(
        np.einsum("ni,ni->n", gap, slope[:, :, 1]), np.einsum("ni,ij,nj->n", off, weight, own)
    )
