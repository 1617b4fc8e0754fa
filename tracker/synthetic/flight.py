"""A ball in the air and on the turf: the truth that a clip is drawn from.

The equations are written and integrated here a second time, apart from `tracker.flight`,
so that a fault in either shows as a difference between truth and measurement.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicHermiteSpline

Array = NDArray[np.float64]

TABLE_S = 0.002
"""Step of the table that a flight is read from; its cubic is true to 1e-11 m."""

LIFT_AT_MPS = 20.0
"""Speed at which lift coefficients are stated, m/s."""


@dataclass(frozen=True)
class TrueBall:
    """A ball: mass in kg, diameter in m, drag and lift coefficients (dimensionless).

    Parameters
    ----------
    lift_coefficient : float
        At `LIFT_AT_MPS`; negative for top spin.
    spin_share : float
        Share of it that comes from a spin that the ball keeps: that part is ``1 / (2 + v / (R w))``
        at the speed v (after A. Štěpánek, Am. J. Phys. 56, 138, 1988; from memory), so it grows
        while the ball slows. The rest, of uneven cloth, is the same at every speed.
    """

    mass_kg: float = 0.0577
    diameter_m: float = 0.066
    drag_coefficient: float = 0.53
    lift_coefficient: float = 0.0
    spin_share: float = 0.0

    @property
    def speed_over_rim(self) -> float:
        """Speed over the ball's rim speed R w at `LIFT_AT_MPS`; 0 for a ball without spin."""
        of_spin = abs(self.spin_share * self.lift_coefficient)
        return 1.0 / of_spin - 2.0 if of_spin > 0.0 else 0.0

    @property
    def lift_fade(self) -> float:
        """Relative growth of the lift for a relative loss of speed, at `LIFT_AT_MPS`."""
        ratio = self.speed_over_rim
        return self.spin_share * ratio / (2.0 + ratio)


@dataclass(frozen=True)
class TrueAir:
    """The air above the field.

    Parameters
    ----------
    density_kgpm3 : float
    wind_mps : tuple of float
        Along, across, up.
    gravity_mps2 : float
    """

    density_kgpm3: float = 1.2041
    wind_mps: tuple[float, float, float] = (0.0, 0.0, 0.0)
    gravity_mps2: float = 9.80665


@dataclass(frozen=True)
class TrueLaunch:
    """How the ball leaves the launcher.

    Parameters
    ----------
    release_s : float
        True time of release from the clip's first frame.
    release_m : tuple of float
        Centre of the ball at release: along, across, up.
    exit_speed_mps, launch_angle_deg, azimuth_deg : float
        As formats.md defines them; azimuth is positive to the left.
    spin_tilt_deg : float
        Turn of the spin axis about the firing direction; 0 is pure back spin (lift upward).
    """

    release_s: float
    release_m: tuple[float, float, float]
    exit_speed_mps: float
    launch_angle_deg: float
    azimuth_deg: float = 0.0
    spin_tilt_deg: float = 0.0

    def velocity(self) -> Array:
        """Return the velocity at release, shape (3,), m/s."""
        rise, turn = np.radians([self.launch_angle_deg, self.azimuth_deg])
        level = np.cos(rise)
        return self.exit_speed_mps * np.array(
            [level * np.cos(turn), level * np.sin(turn), np.sin(rise)]
        )

    def spin_axis(self) -> Array:
        """Return the unit axis of spin, shape (3,)."""
        turn, tilt = np.radians([self.azimuth_deg, self.spin_tilt_deg])
        right = np.array([np.sin(turn), -np.cos(turn), 0.0])
        found: Array = np.cos(tilt) * right + np.sin(tilt) * np.array([0.0, 0.0, 1.0])
        return found


@dataclass(frozen=True)
class Turf:
    """What the ground does to a ball.

    Parameters
    ----------
    restitution : float
        Vertical speed after a bounce over that before it.
    kept : float
        Level speed after a bounce over that before it.
    hops : int
        Most bounces before the ball rolls; 0 where long grass stops it at once.
    rolling_mps2 : float
        Deceleration of the rolling ball.
    """

    restitution: float = 0.65
    kept: float = 0.62
    hops: int = 3
    rolling_mps2: float = 2.5


@dataclass(frozen=True)
class Leg:
    """One stretch of the path of the ball, from `start_s` to `end_s`, as functions of time."""

    start_s: float
    end_s: float
    state: Callable[[Array], Array] = field(repr=False)


@dataclass(frozen=True)
class FlownBall:
    """A shot that has been flown: release, flight, first bounce, hops, rolling and rest.

    Attributes
    ----------
    landing_s : float
        True time of the first bounce, at which the centre is one radius above the ground.
    landing, apex : ndarray, shape (6,)
        Position (m) and velocity (m/s) at the first bounce and at the greatest height.
    """

    ball: TrueBall
    air: TrueAir
    launch: TrueLaunch
    legs: tuple[Leg, ...]
    landing_s: float
    landing: Array
    apex_s: float
    apex: Array

    @property
    def rest_s(self) -> float:
        """Time from which the ball lies still."""
        return self.legs[-1].end_s

    def states(self, times_s: ArrayLike) -> Array:
        """Return position and velocity, shape (N, 6); NaN before the release."""
        times = np.atleast_1d(np.asarray(times_s, float))
        early, late = float(times.min()), float(times.max())
        for leg in self.legs:
            if leg.start_s <= early and late < leg.end_s:
                return leg.state(times)
        result = np.full((len(times), 6), np.nan)
        for leg in self.legs:
            during = (times >= leg.start_s) & (times < leg.end_s)
            if np.any(during):
                result[during] = leg.state(times[during])
        after = times >= self.rest_s
        if np.any(after):
            last = self.legs[-1].state(np.array([self.rest_s]))[0]
            result[after] = np.concatenate([last[:3], np.zeros(3)])
        return result

    def positions(self, times_s: ArrayLike) -> Array:
        """Return the centre of the ball, shape (N, 3), m; NaN before the release."""
        return self.states(times_s)[:, :3]

    @property
    def carry_m(self) -> float:
        """Level distance from release to first bounce."""
        start = np.array(self.launch.release_m)
        return float(np.hypot(*(self.landing[:2] - start[:2])))


def fly(launch: TrueLaunch, ball: TrueBall, air: TrueAir, turf: Turf) -> FlownBall:
    """Fly one shot until the ball lies still.

    Weight less buoyancy (Archimedes), quadratic drag along and lift across the motion through
    the air (coefficients as in Cross and Lindsey, 2014; `TrueBall`), on the ball's mass and half
    that of the air it displaces (added mass of a sphere), integrated by DOP853 to 1e-11.
    """
    start = np.concatenate([np.array(launch.release_m, float), launch.velocity()])
    first, landing_s, landing = _through_air(launch.release_s, start, ball, air, launch)
    apex_s, apex = _apex(first)
    legs = [first]
    time_s, state = landing_s, landing
    for _ in range(turf.hops):
        state = _bounced(state, turf)
        if state[5] < 0.45:
            break
        leg, time_s, state = _through_air(time_s, state, ball, air, None)
        legs.append(leg)
    if turf.hops > 0:
        legs.append(_rolling(time_s, _bounced(state, turf), ball, turf))
    return FlownBall(ball, air, launch, tuple(legs), landing_s, landing, apex_s, apex)


def _through_air(
    start_s: float, start: Array, ball: TrueBall, air: TrueAir, launch: TrueLaunch | None
) -> tuple[Leg, float, Array]:
    """Fly from `start` until the lowest point of the ball touches the ground."""
    area = np.pi * ball.diameter_m**2 / 4.0
    displaced_kg = air.density_kgpm3 * area * ball.diameter_m * (2.0 / 3.0)
    moved_kg = ball.mass_kg + 0.5 * displaced_kg
    pull = 0.5 * air.density_kgpm3 * area / moved_kg
    weight = air.gravity_mps2 * (ball.mass_kg - displaced_kg) / moved_kg
    # After a bounce the spin is another, so the lift of the launch no longer holds.
    spin = np.zeros(3) if launch is None else ball.lift_coefficient * launch.spin_axis()
    (wind_x, wind_y, wind_z), (spin_x, spin_y, spin_z) = air.wind_mps, spin.tolist()
    drag, ratio, share = ball.drag_coefficient, ball.speed_over_rim, ball.spin_share

    def rates(_: float, state: Array) -> Array:
        # Written out: the integrator calls this some thousand times, and arrays of three cost
        # ten times what their arithmetic does. Works on columns of states as well.
        u, v, w = state[3] - wind_x, state[4] - wind_y, state[5] - wind_z
        speed = (u * u + v * v + w * w) ** 0.5
        push = pull * speed
        turn = push * (1.0 - share + share * (2.0 + ratio) / (2.0 + ratio * speed / LIFT_AT_MPS))
        return np.array(
            [
                state[3],
                state[4],
                state[5],
                -push * drag * u + turn * (spin_y * w - spin_z * v),
                -push * drag * v + turn * (spin_z * u - spin_x * w),
                -push * drag * w + turn * (spin_x * v - spin_y * u) - weight,
            ]
        )

    def touch(_: float, state: Array) -> float:
        return float(state[2] - 0.5 * ball.diameter_m)

    touch.terminal = True  # type: ignore[attr-defined]
    touch.direction = -1.0  # type: ignore[attr-defined]
    flown = solve_ivp(
        rates,
        (start_s, start_s + 30.0),
        start,
        method="DOP853",
        rtol=1e-11,
        atol=1e-11,
        dense_output=True,
        events=touch,
    )
    end_s, end = float(flown.t_events[0][0]), flown.y_events[0][0]
    times = np.linspace(start_s, end_s, int((end_s - start_s) / TABLE_S) + 2)
    states = flown.sol(times)
    table = CubicHermiteSpline(times, states, rates(0.0, states), axis=1)
    return Leg(start_s, end_s, lambda moments: table(moments).T), end_s, end


def _apex(leg: Leg) -> tuple[float, Array]:
    """Return time and state where the ball is highest."""
    early, late = leg.start_s, leg.end_s
    if leg.state(np.array([early]))[0, 5] <= 0.0:
        return early, leg.state(np.array([early]))[0]
    for _ in range(80):
        middle = 0.5 * (early + late)
        if leg.state(np.array([middle]))[0, 5] > 0.0:
            early = middle
        else:
            late = middle
    return middle, leg.state(np.array([middle]))[0]


def _bounced(state: Array, turf: Turf) -> Array:
    """Return the state just after a bounce."""
    after = state.copy()
    after[3:5] *= turf.kept
    after[5] *= -turf.restitution
    return after


def _rolling(start_s: float, start: Array, ball: TrueBall, turf: Turf) -> Leg:
    """Return a straight roll that slows evenly to rest."""
    speed = float(np.hypot(start[3], start[4]))
    ahead = np.array([start[3], start[4], 0.0]) / max(speed, 1e-9)
    origin = np.array([start[0], start[1], 0.5 * ball.diameter_m])

    def state(times: Array) -> Array:
        lapse = (np.asarray(times) - start_s)[:, None]
        way = speed * lapse - 0.5 * turf.rolling_mps2 * lapse**2
        return np.hstack([origin + way * ahead, (speed - turf.rolling_mps2 * lapse) * ahead])

    return Leg(start_s, start_s + speed / turf.rolling_mps2, state)
