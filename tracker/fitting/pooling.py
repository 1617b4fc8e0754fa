"""Drag and lift pooled over the shots of a session: one ball in one air has one drag."""

from collections.abc import Sequence
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.circumstances import Circumstances
from tracker.fitting.fit import FittedFlight
from tracker.fitting.normal_equations import eliminate
from tracker.fitting.parameters import (
    CAMERA_AT,
    CAMERA_SIZE,
    DRAG_AT,
    FADE_AT,
    GRAVITY_AT,
    LIFT_AT,
    LIGHT_AT,
    PARAMETERS,
    POSITION_AT,
    READOUT_AT,
    SLOPE_AT,
    WIND_AT,
)
from tracker.records import Pooled

Array = NDArray[np.float64]
Fit = tuple[Circumstances, FittedFlight]

POOLED = {
    "drag_coefficient": DRAG_AT,
    "lift_up": LIFT_AT.start,
    "lift_side": LIFT_AT.start + 1,
}

SHARED = np.r_[POSITION_AT, READOUT_AT, LIGHT_AT, GRAVITY_AT, SLOPE_AT]
"""Parameters that all shots share, beside the camera and the mean wind: the taped release, the
readout, the light, gravity and the drag's slope."""

LEAST_SHOTS = 2
"""Fewest shots that can be pooled."""


def pool(fits: Sequence[Fit]) -> dict[str, Pooled]:
    """Return drag and lift pooled over the shots of a session; empty for fewer than two.

    Every shot has a coefficient of its own, without a prior. The information of all clips is
    combined with the prior of what the shots share, counted once, and everything but the
    coefficients is eliminated from the normal equations (Schur complement). The pooled
    coefficient is the generalised mean of the shots', Q their weighted sum of squares about it
    (W. G. Cochran, Biometrics 10, 101, 1954), and the variance between shots the one whose
    expected Q is the observed one (R. DerSimonian and N. Laird, Controlled Clinical Trials 7,
    177, 1986, here for correlated values).

    Parameters
    ----------
    fits : sequence of (Circumstances, FittedFlight)
        Shots of one session. Cameras of the same position, focal length and direction are one.
    """
    if len(fits) < LEAST_SHOTS:
        return {}
    from scipy.special import chdtrc

    known = fits[0][0]
    found = {}
    for name, target in POOLED.items():
        information, pull = _coefficients(fits, target)
        weight = information.sum(axis=0)
        whole = float(weight.sum())
        value = float(pull.sum()) / whole
        each = np.linalg.solve(information, pull)
        q = float((each - value) @ information @ (each - value))
        dof = len(fits) - 1
        expected = float(np.trace(information)) - float(weight @ weight) / whole
        between = max(0.0, (q - dof) / expected) if expected > 0.0 else 0.0
        u = sqrt(1.0 / whole + between * float(weight @ weight) / whole**2)
        # Density, mass and size act as the coefficients do: no flight separates them.
        u = hypot(u, value * known.reach_share_u)
        found[name] = Pooled(
            value=value,
            u=u,
            expected=known.drag if target == DRAG_AT else 0.0,
            expected_u=known.drag_u if target == DRAG_AT else known.lift_u,
            shots=len(fits),
            q=q,
            q_p=float(chdtrc(dof, q)),
            between_sd=sqrt(between),
        )
    return found


def _coefficients(fits: Sequence[Fit], target: int) -> tuple[Array, Array]:
    """Return information and pull of every shot's own coefficient, shapes (S, S) and (S,)."""
    cameras = [_name(known) for known, _ in fits]
    places = {name: index for index, name in enumerate(dict.fromkeys(cameras))}
    first = {name: known for name, (known, _) in zip(cameras, fits, strict=True)}
    # Lifts are pooled under one drag; the drag, under each shot's own lift.
    shared = SHARED if target == DRAG_AT else np.array([DRAG_AT, *SHARED])
    camera = np.arange(CAMERA_AT, len(PARAMETERS))
    winds_at = len(shared)
    cameras_at = winds_at + len(WIND_AT)
    size = cameras_at + len(places) * len(camera)
    normal, right = np.zeros((size + len(fits),) * 2), np.zeros(size + len(fits))

    known = fits[0][0]
    prior, mean = known.prior_information(), known.prior_mean()
    normal[:winds_at, :winds_at] = prior[np.ix_(shared, shared)]
    right[:winds_at] = prior[np.ix_(shared, shared)] @ mean[shared]
    for axis, wind in enumerate(known.wind_mps):
        weight = 1.0 / max(known.wind_u_mps, 1e-6) ** 2
        normal[winds_at + axis, winds_at + axis] = weight
        right[winds_at + axis] = weight * wind
    for name, index in places.items():
        own = slice(cameras_at + CAMERA_SIZE * index, cameras_at + CAMERA_SIZE * (index + 1))
        normal[own, own] = first[name].prior_information()[np.ix_(camera, camera)]
    for index, ((circumstances, fitted), name) in enumerate(zip(fits, cameras, strict=True)):
        normal_of_shot, right_of_shot, order = _own_equations(circumstances, fitted, target)
        start = cameras_at + CAMERA_SIZE * places[name]
        at = {int(parameter): place for place, parameter in enumerate(shared)}
        at |= {int(parameter): start + k for k, parameter in enumerate(camera)}
        at |= {len(PARAMETERS) + axis: winds_at + axis for axis in range(len(WIND_AT))}
        at[target] = size + index
        kept = [place for place, parameter in enumerate(order) if parameter in at]
        lost = [place for place, parameter in enumerate(order) if parameter not in at]
        reduced, left = eliminate(normal_of_shot, right_of_shot, kept, lost)
        where = np.array([at[order[place]] for place in kept])
        normal[np.ix_(where, where)] += reduced
        right[where] += left
    kept = list(range(size, size + len(fits)))
    return eliminate(normal, right, kept, list(range(size)))


def _own_equations(
    circumstances: Circumstances, fitted: FittedFlight, target: int
) -> tuple[Array, Array, list[int]]:
    """Return a shot's normal equations: its clip, its own priors, the mean wind as two more.

    At the minimum of a fit the pull of the data balances that of the priors, which gives the
    right side of the data alone.
    """
    circumstances = fitted.with_gusts(circumstances)
    count = len(PARAMETERS)
    prior, mean = circumstances.prior_information(), circumstances.prior_mean()
    normal = np.zeros((count + 2, count + 2))
    normal[:count, :count] = fitted.data_information
    right = np.zeros(count + 2)
    right[:count] = fitted.data_information @ fitted.parameters
    right[:count] += prior @ (fitted.parameters - mean) / fitted.correlation_factor
    for own in np.r_[LIFT_AT, FADE_AT]:
        if own != target:
            normal[own, own] += prior[own, own]
            right[own] += prior[own, own] * mean[own]
    gust = np.linalg.inv(circumstances.wind_covariance(shared=False))
    for axis, winds in enumerate(WIND_AT):
        normal[np.ix_(winds, winds)] += gust
        normal[winds, count + axis] -= gust[:, 0]
        normal[count + axis, winds] -= gust[0]
        normal[count + axis, count + axis] += gust[0, 0]
    return normal, right, list(range(count + 2))


def _name(circumstances: Circumstances) -> tuple[float, ...]:
    camera = circumstances.camera
    return (*camera.position.tolist(), camera.focal_px, *camera.rotation[0].tolist())
