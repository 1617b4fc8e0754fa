"""The hop after a flight's first bounce, and from both arcs together the moment between them.

The ball comes down on one arc and leaves the ground on another. The bounce is where the two meet in
the picture, which needs no taped height: its time is known even where the ground plane is not, so
it adds information to the fit.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.ground import LEVEL, Ground
from tracker.flight.forces import Forces
from tracker.flight.trajectory import Trajectory
from tracker.following.support import GATE_SIGMAS, MISS, SEEN_CHANCE

Array = NDArray[np.float64]

RESTITUTION, RESTITUTION_U = 0.60, 0.20
"""Speed up after a bounce over speed down before it: a tennis ball that is dropped 254 cm on a
rigid block comes up 135 to 147 cm (ITF Rules of Tennis, appendix I), a ratio of 0.73 to 0.76;
turf takes more and soft turf much more. Common practice, no source, beyond the first figure."""

SPEED_KEPT, SPEED_KEPT_U = 0.62, 0.22
"""Level speed after a bounce over that before it: a ball that begins to roll in the bounce
keeps about 0.6 of it, one with much spin more or less. Common practice, no source."""

SIDEWAYS_U_MPS = 0.7
"""Speed across that an uneven ground may give, m/s. Common practice, no source."""

TOUCH_U_S = 0.002
"""Standard uncertainty of the time of a bounce, s: the ball is on the ground for 4 to 10 ms, while
the model turns it at once. Common practice, no source."""

AFTER_S = 0.32
"""Time after the bounce in which a ball is looked for, s: its hop lasts longer nearly always.
Common practice, no source."""

GATES_M = (0.30, 0.18, 0.12, 0.10)
LEAST_GATE_PX = 4.0
"""How far a candidate may lie from a hop while the grids close in, m and at least px: three
standard deviations of its position."""

LEAST_HITS = 4
LEAST_SHARE = 0.65
"""Fewest frames with a candidate, and their least share of those in view. Common practice, no
source."""

LEAST_SUPPORT = 14.0
"""Log-likelihood ratio that a hop needs; some 800 hops are tried for each flight, and
unrelated candidates reach this for one of them in fewer than one flight of a thousand."""

TIME_SIGMAS, TIMES = 2.5, 7
"""Half-width of the first grid of bounce times, in standard uncertainties of the predicted one, and
its number of times."""

RESTITUTIONS = np.array([0.25, 0.4, 0.55, 0.7, 0.85])
SPEEDS_KEPT = np.array([0.3, 0.45, 0.6, 0.75, 0.9])
SIDEWAYS_MPS = np.array([-0.8, 0.0, 0.8])
SPACINGS = (0.15, 0.15, 0.8)
"""First grid of what a bounce does to the speed, and its spacings: two priors' standard deviations
either side of their means."""


@dataclass(frozen=True)
class PredictedLanding:
    """A flight near its predicted landing.

    Attributes
    ----------
    camera : Camera
        As the fit has it.
    forces : Forces
    trajectory : Trajectory
        Of the flight, to some time after the landing.
    began_s : float
        True time of its release in the clip.
    landed_s, landed_u_s : float
        True time at which it comes down to the ground, and its standard uncertainty, s.
    drag : float
    readout_s : float
        Time from the first to the last row of the picture.
    ground : Ground
    """

    camera: Camera
    forces: Forces
    trajectory: Trajectory
    began_s: float
    landed_s: float
    landed_u_s: float
    drag: float
    readout_s: float
    ground: Ground = LEVEL


@dataclass(frozen=True)
class Hop:
    """What a ball did after its bounce.

    Attributes
    ----------
    time_s : float
        True time of the bounce.
    restitution, speed_kept : float
        Speed up, and level speed, after it over those before it.
    sideways_mps : float
        Speed gained across.
    support : float
        Log-likelihood ratio of the candidates with this hop against clutter alone, plus the
        logarithm of the priors.
    hits, in_view : int
        Frames with a candidate within the gate, and frames in which the ball is in view.
    """

    time_s: float
    restitution: float
    speed_kept: float
    sideways_mps: float
    support: float = 0.0
    hits: int = 0
    in_view: int = 0

    @property
    def found(self) -> bool:
        """Whether it has enough support."""
        return (
            self.support >= LEAST_SUPPORT
            and self.hits >= LEAST_HITS
            and self.hits >= LEAST_SHARE * self.in_view
        )


@dataclass(frozen=True)
class BounceCandidates:
    """Candidates of the frames around a landing, one row each.

    Attributes
    ----------
    times_s : ndarray, shape (M,)
        True times of the frames, for the row of the landing.
    owner : ndarray of int, shape (N,)
        Index into `times_s` of each candidate.
    pixels : ndarray, shape (N, 2)
    clutter : float
        Density of candidates that are no ball there, per pixel and frame.
    px_per_m : float
        Size of a metre across the line of sight there.
    """

    times_s: Array
    owner: NDArray[np.int64]
    pixels: Array
    clutter: float
    px_per_m: float


def find_hop(landing: PredictedLanding, near: BounceCandidates) -> Hop | None:
    """Return the hop with the largest support, or None when none is in view.

    Hops are tried on a grid of the time of the bounce and of what it does to the speed, and the
    best is refined on grids about it that close in.
    """
    early = -TIME_SIGMAS * landing.landed_u_s
    times = landing.landed_s + np.linspace(early, -early, TIMES)
    spans = [float(times[1] - times[0]), *SPACINGS]
    axes = (times, RESTITUTIONS, SPEEDS_KEPT, SIDEWAYS_MPS)
    grid = np.array(np.meshgrid(*axes, indexing="ij")).reshape(4, -1).T
    best = _best(landing, near, grid, GATES_M[0])
    if best is None:
        return None
    for gate_m in GATES_M[1:]:
        spans = [0.5 * span for span in spans]
        steps = np.array(np.meshgrid(*[(-span, 0.0, span) for span in spans], indexing="ij"))
        around = np.array([best.time_s, best.restitution, best.speed_kept, best.sideways_mps])
        best = _best(landing, near, around + steps.reshape(4, -1).T, gate_m) or best
    return best


def _best(
    landing: PredictedLanding, near: BounceCandidates, hops: Array, gate_m: float
) -> Hop | None:
    """Return the best of many hops, shape (H, 4): time, restitution, speed kept, sideways."""
    paths = hop_pixels(landing, hops, near.times_s)
    after = near.times_s[None, :] - hops[:, :1]
    seen = (after > 0.0) & (after < AFTER_S) & landing.camera.in_frame(paths)
    if not np.any(seen):
        return None
    gate = max(gate_m * near.px_per_m, LEAST_GATE_PX)
    spread = gate / GATE_SIGMAS
    places = np.ascontiguousarray(paths.transpose(1, 2, 0))
    nearest = np.full(seen.shape[::-1], np.inf)
    for frame in np.flatnonzero(seen.any(axis=0)):
        mine = near.pixels[near.owner == frame]
        if len(mine):
            across, down = (places[frame, axis] - mine[:, axis, None] for axis in range(2))
            nearest[frame] = (across**2 + down**2).min(axis=0)
    gap = np.sqrt(nearest.T)
    density = np.exp(-0.5 * (gap / spread) ** 2) / (2.0 * np.pi * spread**2)
    ratio = np.log(1.0 - SEEN_CHANCE + SEEN_CHANCE * density / near.clutter)
    gain = np.where(gap < gate, ratio, -np.inf)
    hit = seen & np.isfinite(gain)
    support = np.sum(np.where(hit, np.maximum(gain, MISS), np.where(seen, MISS, 0.0)), axis=1)
    support = support - 0.5 * np.sum(prior_residuals(landing, hops) ** 2, axis=1)
    best = int(np.argmax(support))
    time_s, restitution, speed_kept, sideways_mps = hops[best].tolist()
    return Hop(
        time_s,
        restitution,
        speed_kept,
        sideways_mps,
        float(support[best]),
        int(hit[best].sum()),
        int(seen[best].sum()),
    )


def prior_u(landing: PredictedLanding) -> Array:
    """Return the prior standard uncertainties of a hop's four parameters, shape (4,)."""
    return np.array([landing.landed_u_s, RESTITUTION_U, SPEED_KEPT_U, SIDEWAYS_U_MPS])


def prior_mean(landing: PredictedLanding) -> Array:
    """Return the prior means of a hop's four parameters, shape (4,)."""
    return np.array([landing.landed_s, RESTITUTION, SPEED_KEPT, 0.0])


def prior_residuals(landing: PredictedLanding, hops: Array) -> Array:
    """Return the whitened departures of hops, shape (H, 4), from their prior."""
    residuals: Array = (hops - prior_mean(landing)) / prior_u(landing)
    return residuals


def hop_pixels(landing: PredictedLanding, hops: Array, times_s: Array) -> Array:
    """Return where hops, shape (H, 4), show at times, shape (M,): pixels, shape (H, M, 2)."""
    points = hop_states(landing, hops, times_s)[:, :, :3]
    return landing.camera.project(points.reshape(-1, 3)).reshape(*points.shape[:2], 2)


def hop_states(landing: PredictedLanding, hops: Array, times_s: Array) -> Array:
    """Return position and velocity of hops, shape (H, 4), at times: shape (H, M, 6).

    NaN before the bounce and where the hop has come down again. Drag is taken as it is just
    after the bounce: over a third of a second of a slow hop nothing more is needed.
    """
    start = landing.trajectory.at(hops[:, 0] - landing.began_s)
    level = start[:, 3:5] * hops[:, 2:3]
    level[:, 1] += hops[:, 3]
    # Restitution acts on the speed at which ball and ground come together.
    up = landing.ground.height_m(level) - hops[:, 1] * landing.ground.above(start[:, 3:])
    velocity = np.column_stack([level, up])
    speed = np.linalg.norm(velocity, axis=1, keepdims=True)
    push = -landing.forces.reach_per_m * landing.drag * speed * velocity
    push[:, 2] -= landing.forces.gravity_mps2
    lapse = (times_s[None, :] - hops[:, :1])[:, :, None]
    states = np.empty((len(hops), len(times_s), 6))
    states[:, :, :3] = (
        start[:, None, :3] + (velocity[:, None] + 0.5 * push[:, None] * lapse) * lapse
    )
    states[:, :, 3:] = velocity[:, None] + push[:, None] * lapse
    below = landing.ground.above(states) < landing.ground.above(start)[:, None] - 0.01
    states[(lapse[:, :, 0] <= 0.0) | below] = np.nan
    return states
