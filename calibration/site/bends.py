"""How much a lens of which nothing is stated may bend straight lines, weighed by the markers."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import Adjustment, Limits, NotDetermined, adjust
from calibration.site.blunders import ALARM, Findings
from calibration.site.mistakes import WIDE
from calibration.site.observations import (
    USUAL_DISTORTION_SD,
    WIDE_DISTORTION_SD,
    Observations,
    moved,
)

Array = NDArray[np.float64]

HALF_CORRECTED_SD = (0.05, 0.025, 0.0012, 0.0012)
"""Of k1, k2, p1, p2 where a picture is corrected in part or the lens is a good one: its edge lies
some 2 % too near. Common practice, no source."""

LENSES = (
    (0.75, USUAL_DISTORTION_SD),
    (0.20, HALF_CORRECTED_SD),
    (0.05, WIDE_DISTORTION_SD),
)
"""Share of the cameras that people film a field with, and what their lenses bend. Common practice,
no source."""

EVIDENT = 0.1
"""Chance of a lens as straight as a phone's below which a person is told of the bend."""

LIMITS = Limits(iterations=15)
"""Of an adjustment that begins at a solution with another lens."""


def bending(
    observations: Observations, fit: Adjustment, found: Findings
) -> tuple[Observations, Adjustment, Findings]:
    """Adjust again with the bend that the markers let expect of the lens.

    Each kind of lens in `LENSES` has its share as the chance beforehand; what the markers say is
    the evidence, the observations' density with all parameters integrated out, which the adjustment
    gives in closed form (D. J. C. MacKay, Neural Comput. 4, 415, 1992, by Laplace's method). The
    lens then gets the variance that is expected over the kinds: between a straight lens and a wide
    one there is no step. Nothing changes where a lens or a contradiction is known.

    Parameters
    ----------
    observations : Observations
    fit : Adjustment
        With the lens of a phone.
    found : Findings
        Of the search for mistakes.

    Returns
    -------
    Observations, Adjustment, Findings
    """
    site = observations.site
    if site.lens is not None or site.wide or found.suspects or fit.p_value < ALARM:
        return observations, fit, found
    chances = [np.log(LENSES[0][0]) + _log_evidence(fit, LENSES[0][1])]
    try:
        for share, bends in LENSES[1:]:
            other = _adjusted(Observations(site, bends), fit)
            chances.append(np.log(share) + _log_evidence(other, bends))
        weights = np.exp(np.array(chances) - max(chances))
        weights /= weights.sum()
        variance = weights @ np.array([bends for _, bends in LENSES]) ** 2
        bent = Observations(site, tuple(np.sqrt(variance)))
        again = _adjusted(bent, fit)
    except NotDetermined:
        return observations, fit, found
    if weights[0] < EVIDENT:
        found = replace(found, notes=(WIDE, *found.notes))
    return bent, again, found


def _adjusted(observations: Observations, fit: Adjustment) -> Adjustment:
    return adjust(
        observations.model, fit.state, observations.uncertainty, move=moved, limits=LIMITS
    )


def _log_evidence(fit: Adjustment, bends: tuple[float, ...]) -> float:
    """Return the logarithm of the observations' density, but for what all lenses share."""
    volume = float(np.linalg.slogdet(fit.covariance)[1])
    return 0.5 * (volume - fit.chi_square) - float(np.sum(np.log(bends)))
