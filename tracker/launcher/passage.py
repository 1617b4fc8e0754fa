"""The ball between the wheels, followed through its grip in closed form.

Friction at either side is limited to mu times the normal force, which is the same on both
sides. Counted not in time but in ``p``, the friction that either side could have given so far
(mu times the normal impulse), every speed changes along a straight line until a side stops
slipping: E. J. Routh's diagram of impulses (Dynamics of a System of Rigid Bodies, 1905). The way
along the path ends it, for the work ``mu N dx`` on offer is ``v dp``. So each phase is solved
exactly, and energy and momentum balance to rounding.

Left out: the motors' push during the few milliseconds (about 1 % of what the wheels give), the
tilt of the normal force at entry and exit, which stores and returns energy.
"""

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Side:
    """One side of the gap: a wheel, or the fixed plate `PLATE`."""

    radius_m: float
    inertia_kgm2: float
    speed_radps: float


PLATE = Side(1.0, math.inf, 0.0)
"""A side that nothing moves; its radius means nothing."""


@dataclass(frozen=True)
class Body:
    """The ball while it is gripped.

    Attributes
    ----------
    mass_kg : float
    inertia_kgm2 : float
    arm_m : float
        From its centre to where it is gripped.
    """

    mass_kg: float
    inertia_kgm2: float
    arm_m: float


@dataclass(frozen=True)
class Nip:
    """What the gap does to the ball.

    Attributes
    ----------
    friction_work_j : float
        Friction limit integrated along the path, for each side.
    squeeze_loss_j : float
        Energy that squeezing the ball turns into heat.
    restitution : float
        Share of its slip at entry that a gripping side gives back at the exit.
    entry_mps : float
        Speed of the ball as it is fed.
    """

    friction_work_j: float
    squeeze_loss_j: float = 0.0
    restitution: float = 0.0
    entry_mps: float = 0.0


@dataclass(frozen=True)
class Exit:
    """The ball and the wheels when they part.

    Attributes
    ----------
    speed_mps : float
        Zero when the ball stuck in the gap.
    spin_radps : float
        Positive when the first side is the faster.
    wheel_radps : tuple of two floats
    slip_heat_j, squeeze_heat_j : float
        Energy lost; elastic shear that comes back counts against the slip.
    gripped : tuple of two bools
        Whether the side had stopped slipping at the end.
    """

    speed_mps: float
    spin_radps: float
    wheel_radps: tuple[float, float]
    slip_heat_j: float
    squeeze_heat_j: float
    gripped: tuple[bool, bool]


def pass_through(sides: tuple[Side, Side], body: Body, nip: Nip) -> Exit:
    """Send a ball without spin through the gap.

    Parameters
    ----------
    sides : tuple of two Side
    body : Body
    nip : Nip

    Returns
    -------
    Exit
    """
    # State: speed, spin, speed of either side. Its slope by p is `lead + give @ f`, where f is
    # the share of its limit that each side's friction uses, forward on the ball.
    work = nip.friction_work_j
    hold = nip.squeeze_loss_j / work if work > 0.0 else 0.0
    lead = np.array([-hold / body.mass_kg, 0.0, 0.0, 0.0])
    give = np.array(
        [
            [1.0 / body.mass_kg, 1.0 / body.mass_kg],
            [body.arm_m / body.inertia_kgm2, -body.arm_m / body.inertia_kgm2],
            [-sides[0].radius_m / sides[0].inertia_kgm2, 0.0],
            [0.0, -sides[1].radius_m / sides[1].inertia_kgm2],
        ]
    )
    slip_of = np.array(
        [
            [-1.0, -body.arm_m, sides[0].radius_m, 0.0],
            [-1.0, body.arm_m, 0.0, sides[1].radius_m],
        ]
    )
    state = np.array([nip.entry_mps, 0.0, sides[0].speed_radps, sides[1].speed_radps])
    entry_slip = slip_of @ state
    still = 1e-12 * max(1e-30, float(np.abs(entry_slip).max()))
    sticking = np.zeros(2, bool)
    spare = np.zeros(2)
    slip_heat = squeeze_heat = 0.0

    # Each phase ends a slip or the path, and a slip once ended seldom starts anew.
    for _ in range(12):
        slip = slip_of @ state
        slip[np.abs(slip) <= still] = 0.0
        share, sticking = _friction(slip, slip_of @ give, slip_of @ lead)
        slope = lead + give @ share
        if sticking.all() and hold == 0.0:
            # Nothing changes any more; what is left of the path is spare grip.
            spare += work
            break
        step, last = _phase_length(
            float(state[0]), float(slope[0]), work, slip, slip_of @ slope, sticking
        )
        if not math.isfinite(step):
            return Exit(
                0.0,
                0.0,
                (float(state[2]), float(state[3])),
                slip_heat,
                squeeze_heat,
                (False, False),
            )
        middle = state + 0.5 * step * slope
        slip_heat += step * float(share @ (slip_of @ middle))
        done = step * float(middle[0])
        squeeze_heat += hold * done
        work -= done
        spare += np.where(sticking, done * (1.0 - np.abs(share)), 0.0)
        state = state + step * slope
        if last:
            break

    # Grip left over, from work to impulse: the ball that takes it leaves the quicker.
    gain = 2.0 / body.mass_kg
    spare = 2.0 * spare / (state[0] + np.sqrt(state[0] ** 2 + 2.0 * gain * spare) + 1e-30)
    state, returned = _spring_back(
        state, sticking, spare, nip.restitution * entry_slip, slip_of, give
    )
    return Exit(
        float(state[0]),
        float(state[1]),
        (float(state[2]), float(state[3])),
        float(slip_heat - returned),
        float(squeeze_heat),
        (bool(sticking[0]), bool(sticking[1])),
    )


def _friction(slip: Array, mobility: Array, drift: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return the share of its limit that each side's friction uses, and which sides stick.

    A side that slips uses all of it; a side that does not slip uses what keeps it so, if its
    limit allows, else it starts to slip the way it is pulled.
    """
    choices = [(float(np.sign(s)),) if s != 0.0 else (0.0, 1.0, -1.0) for s in slip]
    for modes in product(*choices):
        stick = np.array([mode == 0.0 for mode in modes])
        share = np.array(modes)
        if stick.any():
            block = mobility[np.ix_(stick, stick)]
            rest = drift[stick] + mobility[np.ix_(stick, ~stick)] @ share[~stick]
            share[stick] = np.linalg.solve(block, -rest)
        pulled = drift + mobility @ share
        fresh = (slip == 0.0) & ~stick
        if (np.abs(share[stick]) <= 1.0 + 1e-12).all() and (
            share[fresh] * pulled[fresh] > 0.0
        ).all():
            return share, stick
    raise AssertionError("friction has a solution for every state")


def _phase_length(
    speed: float, gain: float, work: float, slip: Array, slip_gain: Array, stick: NDArray[np.bool_]
) -> tuple[float, bool]:
    """Return how far ``p`` runs until a slip or the path ends, and whether it is the path.

    Infinite when the ball comes to a stop first.
    """
    # work = speed p + gain p^2 / 2, by the form that keeps its digits for a small gain.
    inside = speed**2 + 2.0 * gain * work
    path = 2.0 * work / (speed + math.sqrt(inside)) if inside > 0.0 else math.inf
    if speed <= 0.0 and gain <= 0.0:
        path = math.inf
    ends = [
        -float(slip[i] / slip_gain[i])
        for i in range(2)
        if not stick[i] and slip[i] * slip_gain[i] < 0.0
    ]
    first = min(ends, default=math.inf)
    if first < path:
        stops = -speed / gain if gain < 0.0 else math.inf
        return (first, False) if first <= stops else (math.inf, True)
    return path, True


def _spring_back(
    state: Array,
    stick: NDArray[np.bool_],
    spare: Array,
    wanted: Array,
    slip_of: Array,
    give: Array,
) -> tuple[Array, float]:
    """Let the sides that gripped give back part of their first slip, as far as they can hold.

    Returns the new state and the energy that came back.
    """
    if not stick.any() or not wanted[stick].any():
        return state, 0.0
    mobility = -(slip_of @ give)
    impulse = np.zeros(2)
    impulse[stick] = np.linalg.solve(mobility[np.ix_(stick, stick)], wanted[stick])
    asked = np.abs(impulse[stick])
    held = np.min(np.where(asked > 0.0, spare[stick] / np.maximum(asked, 1e-300), np.inf))
    impulse *= min(1.0, float(held))
    after = state + give @ impulse
    slip = slip_of @ (state + after) / 2.0
    return after, -float(impulse @ slip)


@dataclass(frozen=True)
class Contact:
    """Geometry and force of the squeeze.

    Attributes
    ----------
    length_m : float
        Way of the ball from first to last touch.
    squeeze_m : float
        Greatest squeeze, both sides together.
    normal_work_j : float
        Normal force of one side, integrated along that way (N m).
    elastic_j : float
        Energy stored in the ball at the narrowest place.
    peak_n : float
        Greatest normal force.
    entry_angle_deg : float
        Tilt of the contact at first touch; a ball is drawn in by itself where its tangent is
        less than the friction coefficient (the angle of bite of rolling mills).
    """

    length_m: float
    squeeze_m: float
    normal_work_j: float
    elastic_j: float
    peak_n: float
    entry_angle_deg: float


def contact_of(
    wheel_radius_m: float, ball_radius_m: float, gap_m: float, stiffness_npm: float, plate: bool
) -> Contact:
    """Return the contact of a ball in a gap.

    Parameters
    ----------
    wheel_radius_m, ball_radius_m, gap_m : float
        The gap lies between two rims, or between a rim and a plate.
    stiffness_npm : float
        Normal force over squeeze, both sides together, N/m.
    plate : bool
        The second side is flat.

    Notes
    -----
    Two equal circles of radius r at distance ``2 r + g``: the ball's centre keeps the line
    between them and is squeezed by ``2 (r + R - sqrt(x^2 + (r + g/2)^2))``. Against a plate
    the ball settles where both sides press alike.
    """
    r, R, g = wheel_radius_m, ball_radius_m, gap_m
    touch = r + R
    axis = r + g - R if plate else r + g / 2.0
    half = math.sqrt(touch**2 - axis**2)
    squeeze = 2.0 * R - g
    if plate:
        area = 4.0 / 3.0 * half**3 / (2.0 * r + g)
    else:
        area = 2.0 * (touch * half - axis**2 * math.asinh(half / axis))
    return Contact(
        2.0 * half,
        squeeze,
        stiffness_npm * area,
        0.5 * stiffness_npm * squeeze**2,
        stiffness_npm * squeeze,
        math.degrees(math.acos(min(1.0, axis / touch))),
    )
