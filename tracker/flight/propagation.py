"""A flight under any forces, for prediction and as a check on `trajectory`."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.flight.events import Crossing
from tracker.flight.forces import Force
from tracker.flight.trajectory import Trajectory

Array = NDArray[np.float64]

_STEP_S = 0.02


@dataclass(frozen=True)
class ComingDown:
    """The moment at which the ball's centre comes down to a height; the flight ends there."""

    height_m: float
    terminal: bool = True
    direction: float = -1.0

    def __call__(self, time_s: float, state: Array) -> float:
        """Return the height that is left, m."""
        return float(state[2]) - self.height_m


@dataclass(frozen=True)
class Topping:
    """The moment at which the ball stops rising."""

    terminal: bool = False
    direction: float = -1.0

    def __call__(self, time_s: float, state: Array) -> float:
        """Return the upward velocity, m/s."""
        return float(state[5])


@dataclass(frozen=True)
class Propagation:
    """A flight and its two events; ``None`` for an event that was not reached."""

    trajectory: Trajectory
    apex: Crossing | None
    landing: Crossing | None


def propagate(
    state: ArrayLike,
    forces: Sequence[Force],
    duration_s: float = 60.0,
    ground_m: float | None = 0.0,
    tolerance: float = 1e-11,
) -> Propagation:
    """Integrate a flight by the method of Dormand and Prince of order 8(5,3).

    E. Hairer, S. P. Nørsett and G. Wanner, Solving Ordinary Differential Equations I (1993),
    section II.5, with dense output of seventh order.

    Parameters
    ----------
    state : array_like, shape (6,)
        Position (m) and velocity (m/s) at time zero.
    forces : sequence of Force
        Their accelerations are added.
    duration_s : float
        Longest flight.
    ground_m : float, optional
        Height of the ball's centre at which the flight ends when coming down; None to fly on.
    tolerance : float
        Relative and absolute tolerance of the steps.

    Returns
    -------
    Propagation
        A node at least every 20 ms; a ball that starts by falling has its apex at the start.

    Raises
    ------
    ValueError
        When the state is not finite, the duration is not above zero, the ball starts below the
        ground or on it going down, or the integration fails.
    """
    from scipy.integrate import solve_ivp

    start = np.asarray(state, float)
    if start.shape != (6,) or not np.all(np.isfinite(start)) or not 0.0 < duration_s < np.inf:
        raise ValueError("a flight needs six finite numbers and a duration above zero")
    if ground_m is not None and (start[2], start[5]) <= (ground_m, 0.0):
        raise ValueError("a flight cannot start below the ground, nor on it going down")

    def slope(time_s: float, now: Array) -> Array:
        pushes = sum(force(time_s, now[:3], now[3:]) for force in forces)
        return np.concatenate([now[3:], np.broadcast_to(pushes, 3)])

    events: list[Topping | ComingDown] = [Topping()]
    if ground_m is not None:
        events.append(ComingDown(ground_m))
    first_step = None
    if start[2] == ground_m and slope(0.0, start)[5] < 0.0:
        # From the ground itself the height has no sign yet: the first step must end in the air.
        first_step = min(0.5 * start[5] / -slope(0.0, start)[5], duration_s)
    run = solve_ivp(
        slope,
        (0.0, duration_s),
        start,
        method="DOP853",
        dense_output=True,
        events=events,
        rtol=tolerance,
        atol=tolerance,
        first_step=first_step,
    )
    if not run.success:
        raise ValueError(f"the flight could not be integrated: {run.message}")
    end = float(run.t[-1])
    times = np.linspace(0.0, end, max(1, ceil(end / _STEP_S)) + 1)
    states = run.sol(times).T
    states[0], states[-1] = start, run.y[:, -1]
    rates = np.stack([slope(time_s, now) for time_s, now in zip(times, states, strict=True)])
    found = [
        Crossing(float(when[0]), what[0]) if len(when) else None
        for when, what in zip(run.t_events, run.y_events, strict=True)
    ]
    top = Crossing(0.0, start) if start[5] <= 0.0 else found[0]
    return Propagation(Trajectory(times, states, rates), top, found[1] if len(found) > 1 else None)
