"""Shots flown by integration of their own and seen by calibrated cameras, with everything drawn.

Nothing here flies by `tracker.flight`: many balls at once, by the classical Runge-Kutta method
with 4 ms steps, drag, lift and gusts written out anew.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import InputError
from calibration.site import solve
from tests.calibration.fields import LAYOUTS, field
from tests.tracker.cramer_rao import cramer_rao
from tracker.fitting import (
    PARAMETERS,
    Circumstances,
    FittedFlight,
    circumstances_of,
    figures_of,
    fit_flight,
)
from tracker.fitting.observations import Instants, Observations
from tracker.fitting.parameters import CAMERA_AT, READOUT_AT
from tracker.flight.air import Weather, air_from
from tracker.flight.ball import ball_from
from tracker.measurement.request import ClipRequest
from tracker.records import Track

Array = NDArray[np.float64]

STEP_S = 0.004
LONGEST_S = 5.0
GRAVITY = 9.80665
CHECKED = ("exit_speed_mps", "launch_angle_deg", "carry_m", "apex_m", "flight_time_s")


@dataclass(frozen=True)
class Kind:
    """What the truth of a campaign is like.

    Attributes
    ----------
    wind_sd_mps : float
        Scatter of a session's mean wind about still air; it is stated to 0.5 m/s.
    gust_share : float
        Standard deviation of the gusts over the mean wind.
    fall : tuple of float
        The drag coefficient goes with speed to the power of minus a draw between these.
    lift : tuple of float or None
        Lift upward drawn between these; None draws both lifts from what is known beforehand.
    gust_s : tuple of float
        Correlation time of the gusts, drawn between these.
    """

    wind_sd_mps: float = 1.5
    gust_share: float = 0.3
    fall: tuple[float, float] = (0.0, 0.0)
    lift: tuple[float, float] | None = None
    gust_s: tuple[float, float] = (1.47, 1.47)


KINDS = {
    "as modelled": Kind(),
    "calm": Kind(wind_sd_mps=0.0, gust_share=0.0),
    "gusty": Kind(wind_sd_mps=3.0, gust_share=0.5, gust_s=(0.5, 3.0)),
    "drag falls with speed, unknown spin": Kind(fall=(0.15, 0.35), lift=(0.03, 0.12)),
}
"""Gusts of half the mean wind, of scales from half to twice what the fit takes; a drag that
falls by 10 to 25 % from 10 to 20 m/s, with back-spin of a ratio of 0.03 to 0.15 (`FeltLift`)."""


@dataclass(frozen=True)
class Simulated:
    """A shot as the fit gets it, and what it truly did."""

    session: int
    known: Circumstances
    track: Track
    row_share: Array
    start_s: float
    start: Array
    truth: dict[str, float]
    drag: float
    bound: dict[str, float]

    def fit(self) -> FittedFlight:
        return fit_flight(
            self.known, Observations(self.track, self.row_share), self.start_s, self.start
        )


@dataclass(frozen=True)
class Result:
    """A fitted shot's errors, uncertainties and bounds, by figure."""

    error: dict[str, float]
    u: dict[str, float]
    bound: dict[str, float]


def simulate(kind: Kind, sessions: int, seed: int, shots: int = 5) -> list[Simulated]:
    """Draw sessions of several layouts in turn, and their shots."""
    rng = np.random.default_rng(seed)
    found: list[Simulated] = []
    for session in range(sessions):
        while True:
            case = field(LAYOUTS[session % len(LAYOUTS)], rng)
            try:
                seen_by = solve(case.site).camera
                break
            except InputError:
                continue
        found += _session(kind, session, seen_by, case.camera, rng, shots)
    return found


def measure(shot: Simulated) -> tuple[FittedFlight, Result]:
    """Fit a shot and hold its figures against the truth."""
    fit = shot.fit()
    figures = figures_of(shot.known, fit.parameters)
    u = figures.u(fit.covariance)
    error = {name: figures.value(name) - shot.truth[name] for name in CHECKED}
    return fit, Result(error, {name: u[name] for name in CHECKED}, shot.bound)


def _session(
    kind: Kind,
    session: int,
    seen_by: Camera,
    true_camera: Camera,
    rng: np.random.Generator,
    shots: int,
) -> list[Simulated]:
    wind = rng.normal(0.0, 1.0, 2) * kind.wind_sd_mps
    stated_u = 0.5 if kind.wind_sd_mps > 0.0 else 0.1
    stated = wind + rng.normal(0.0, stated_u, 2)
    air = air_from(
        Weather(
            temperature_c=15.0,
            pressure_hpa=1013.0,
            wind_along_mps=float(stated[0]),
            wind_across_mps=float(stated[1]),
            wind_u_mps=stated_u,
        )
    )
    ball = ball_from("tennis")
    readout_s = float(rng.uniform(0.004, 0.012))
    known = circumstances_of(
        seen_by,
        ClipRequest(
            clip="140mm.mp4",
            setup="140 mm wheels",
            ball=ball,
            air=air,
            gravity_mps2=GRAVITY,
            gravity_u_mps2=0.015,
            release_m=np.array([0.0, 0.0, 0.8]),
            release_u_m=0.03,
            readout_s=readout_s,
        ),
    )
    reach, gravity = known.forces.reach_per_m, known.forces.gravity_mps2
    gravity += rng.normal(0.0, 0.015)
    # Density, mass and size count in the drag as the fit has it.
    drag = known.drag + known.drag_u * rng.normal()
    fall = rng.uniform(*kind.fall)
    release = known.release_m + rng.normal(0.0, 0.03, 3)
    readout_s += rng.normal(0.0, known.readout_u_s)
    speed = rng.uniform(15.0, 21.0) * (1.0 + 0.03 * rng.normal(size=shots))
    angle = np.radians(rng.uniform(32.0, 46.0) + rng.normal(0.0, 1.0, shots))
    turn = np.radians(rng.normal(0.0, 1.0) + rng.normal(0.0, 0.5, shots))
    velocity = speed * np.array(
        [np.cos(angle) * np.cos(turn), np.cos(angle) * np.sin(turn), np.sin(angle)]
    )
    if kind.lift is None:
        lift = rng.normal(0.0, known.lift_u, (2, shots))
    else:
        tilt = rng.normal(0.0, 0.3, shots)
        lift = rng.uniform(*kind.lift, shots) * np.array([np.cos(tilt), np.sin(tilt)])
    gusts = kind.gust_share * float(np.hypot(*wind)) * _gusts(rng, kind, shots)
    count = int(LONGEST_S / STEP_S)
    air_moves = wind[None, :, None] + gusts
    states = _fly(
        release,
        velocity,
        lambda v: reach * drag * (v / 20.0) ** -fall,
        reach * lift,
        air_moves,
        gravity,
        count,
    )
    found = []
    for each in range(shots):
        one = _seen(known, true_camera, states[:, :, each], readout_s, rng)
        if one is None:
            continue
        track, share, release_s, truth = one
        launch = np.concatenate(
            [release, velocity[:, each], [drag], lift[:, each], air_moves[0, :, each]]
        )
        guess = launch.copy()
        guess[:3], guess[6:] = known.release_m, known.prior_mean()[7:12]
        guess[3:6] *= 1.0 + 0.03 * rng.normal()
        true = np.zeros(len(PARAMETERS))
        true[0], true[1:12], true[READOUT_AT] = release_s, launch, readout_s
        true[CAMERA_AT:] = 0.0
        instants = Instants(track.times_s, share, track.lean)
        bound = cramer_rao(known, true, instants, track.covariances)
        start_s = release_s + rng.normal(0.0, 0.01)
        found.append(
            Simulated(session, known, track, share, start_s, guess, truth, float(drag), bound)
        )
    return found


def _gusts(rng: np.random.Generator, kind: Kind, shots: int) -> Array:
    """Draw gusts of unit variance, half a step apart, shape (2K+1, 2, S): Ornstein-Uhlenbeck."""
    count = 2 * int(LONGEST_S / STEP_S) + 1
    kept = np.exp(-0.5 * STEP_S / rng.uniform(*kind.gust_s))
    fresh = rng.normal(size=(count, 2, shots)) * np.sqrt(1.0 - kept**2)
    gusts = np.empty_like(fresh)
    gusts[0] = rng.normal(size=(2, shots))
    for now in range(1, count):
        gusts[now] = kept * gusts[now - 1] + fresh[now]
    return gusts


def _fly(
    release: Array,
    velocity: Array,
    drag: Callable[[Array], Array],
    lift: Array,
    wind: Array,
    gravity: float,
    count: int,
) -> Array:
    """Return the states, shape (K+1, 6, S), of balls that start together."""
    shots = velocity.shape[1]
    states = np.empty((count + 1, 6, shots))
    states[0, :3], states[0, 3:] = release[:, None], velocity

    def rate(state: Array, moves: Array) -> Array:
        u = state[3:].copy()
        u[:2] -= moves
        speed = np.sqrt(np.sum(u * u, axis=0))
        push = -drag(speed) * u
        push[0] -= lift[0] * u[2] + lift[1] * u[1]
        push[1] += lift[1] * u[0]
        push[2] += lift[0] * u[0]
        slope = np.concatenate([state[3:], speed * push])
        slope[5] -= gravity
        return slope

    for now in range(count):
        state = states[now]
        first = rate(state, wind[2 * now])
        second = rate(state + 0.5 * STEP_S * first, wind[2 * now + 1])
        third = rate(state + 0.5 * STEP_S * second, wind[2 * now + 1])
        fourth = rate(state + STEP_S * third, wind[2 * now + 2])
        states[now + 1] = state + STEP_S / 6.0 * (first + 2.0 * (second + third) + fourth)
    return states


def _seen(
    known: Circumstances,
    camera: Camera,
    states: Array,
    readout_s: float,
    rng: np.random.Generator,
) -> tuple[Track, Array, float, dict[str, float]] | None:
    """Film a flight and tell what it did; None where too little of it is in the picture."""
    # Before its first top a ball may be as low as its radius only on the ground.
    falls = np.flatnonzero((states[:, 2] < known.ball_radius_m) & (states[:, 5] < 0.0))
    if not len(falls):
        return None
    last = int(falls[0])
    share = (states[last - 1, 2] - known.ball_radius_m) / (states[last - 1, 2] - states[last, 2])
    landed = (last - 1 + share) * STEP_S
    end = states[last - 1] + share * (states[last] - states[last - 1])
    fps = float(rng.choice([60.0, 120.0]))
    release_s = 0.5 + rng.uniform(0.0, 1.0 / fps)
    times = np.arange(0.5 + 1.0 / fps, release_s + landed, 1.0 / fps)
    grid = np.arange(len(states)) * STEP_S

    def at(moments: Array) -> Array:
        return _interpolated(grid, states, moments)

    down = np.zeros(len(times))
    for _ in range(4):
        pixels = camera.project(at(times + readout_s * down - release_s))
        down = pixels[:, 1] / camera.size_px[1] - 0.5
    shown = np.all((pixels > 2) & (pixels < np.array(camera.size_px) - 3), axis=1)
    shown &= (rng.random(len(times)) > 0.1) & (times + readout_s * down < release_s + landed)
    if np.sum(shown) < 40:
        return None
    noise = float(rng.uniform(0.15, 0.4))
    count = int(np.sum(shown))
    track = Track(
        frames=np.flatnonzero(shown),
        times_s=times[shown],
        pixels=pixels[shown] + rng.normal(0.0, noise, (count, 2)),
        covariances=np.tile(noise**2 * np.eye(2), (count, 1, 1)),
        lean=np.zeros(count),
    )
    start = states[0]
    speed = float(np.linalg.norm(start[3:]))
    truth = {
        "exit_speed_mps": speed,
        "launch_angle_deg": float(np.degrees(np.arcsin(start[5] / speed))),
        "carry_m": float(np.hypot(*(end[:2] - start[:2]))),
        "apex_m": float(states[:last, 2].max()),
        "flight_time_s": float(landed),
    }
    assert all(isfinite(value) for value in truth.values())
    return track, down[shown], release_s, truth


def _interpolated(grid: Array, states: Array, times: Array) -> Array:
    """Return positions, shape (N, 3), by the cubic through place and velocity of two nodes."""
    times = np.maximum(times, 0.0)
    place = np.minimum((times / STEP_S).astype(int), len(grid) - 2)
    s = ((times - grid[place]) / STEP_S)[:, None]
    here, there = states[place], states[place + 1]
    found: Array = (
        (1 + 2 * s) * (1 - s) ** 2 * here[:, :3]
        + s * (1 - s) ** 2 * STEP_S * here[:, 3:]
        + s**2 * (3 - 2 * s) * there[:, :3]
        + s**2 * (s - 1) * STEP_S * there[:, 3:]
    )
    return found
