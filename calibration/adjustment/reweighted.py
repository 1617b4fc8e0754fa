"""Least squares with priors in which observations far off count less, for a few parameters."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.least_squares import NotDetermined
from calibration.adjustment.robust import huber_weights

Array = NDArray[np.float64]
Model = Callable[[Array], tuple[Array, Array]]
"""Gives, for a state of shape (P,), whitened residuals (observed minus predicted), shape (N, D),
and the whitened derivatives of the prediction, shape (N, D, P)."""

LONGEST_STEP = 0.5
"""Longest step of a parameter in one round, in standard deviations of its prior: an observation
whose model is not defined everywhere must not be left behind in one leap."""


LEAST_SHARE = 1e-9
"""Information on a parameter below this share of its prior's is rounding error."""


@dataclass(frozen=True)
class Priors:
    """What is known of every parameter beforehand.

    Attributes
    ----------
    mean, sd : ndarray, shape (P,)
    """

    mean: Array
    sd: Array


@dataclass(frozen=True)
class ReweightedFit:
    """A state adjusted to observations and priors.

    Attributes
    ----------
    state : ndarray, shape (P,)
    information : ndarray, shape (P, P)
        Of the observations and the priors together.
    whitened : ndarray, shape (M, D)
        Residuals of the M observations that the model is defined for.
    linearised_at : ndarray, shape (P,)
        The state of the last round, about which information, residuals and gradient hold.
    gradient : ndarray, shape (P,)
        Of half the weighted sum of squares, negative: observations and priors together.
    """

    state: Array
    information: Array
    whitened: Array
    linearised_at: Array
    gradient: Array

    @property
    def distance(self) -> Array:
        """Length of each residual in standard deviations, shape (M,)."""
        return np.asarray(np.linalg.norm(self.whitened, axis=1))

    def without_prior(self, priors: Priors, at: int) -> tuple[float, float]:
        """Return one parameter and its variance as they are without their own prior.

        The step of the last round is taken once more, with the prior's share of the information
        and its pull left out. The variance is infinite where nothing else determines the parameter.
        """
        weight = float(priors.sd[at] ** -2)
        rest, gradient = self.information.copy(), self.gradient.copy()
        rest[at, at] -= weight
        gradient[at] -= weight * float(priors.mean[at] - self.linearised_at[at])
        others = [index for index in range(len(rest)) if index != at]
        inner = np.linalg.solve(rest[np.ix_(others, others)], rest[others, at])
        own = float(rest[at, at] - rest[at, others] @ inner)
        if own <= LEAST_SHARE * weight:
            return float(self.state[at]), float("inf")
        step = float(gradient[at] - gradient[others] @ inner) / own
        return float(self.linearised_at[at]) + step, 1.0 / own


def adjust_reweighted(
    model: Model, start: Array, priors: Priors, *, rounds: int, knee: float, least: int
) -> ReweightedFit:
    """Adjust a state by Gauss-Newton steps with Huber's weights.

    Parameters
    ----------
    model : callable
        May give values that are not finite: such an observation is left out of the round.
    start : ndarray, shape (P,)
    priors : Priors
    rounds : int
    knee : float
        Of Huber's weights, in standard deviations.
    least : int
        Fewest observations.

    Raises
    ------
    NotDetermined
        When the model is defined for fewer observations than that.
    """
    state = np.array(start, float)
    for _ in range(rounds):
        white, slope = model(state)
        good = np.isfinite(white).all(axis=1) & np.isfinite(slope).all(axis=(1, 2))
        if np.sum(good) < least:
            raise NotDetermined("too few observations lie where the model is defined")
        white, slope = white[good], slope[good]
        weight = huber_weights(np.linalg.norm(white, axis=1), knee)
        flat, left = slope.reshape(-1, len(state)), white.reshape(-1)
        heavy = np.repeat(weight, white.shape[1])
        information = flat.T @ (heavy[:, None] * flat) + np.diag(priors.sd**-2.0)
        gradient = flat.T @ (heavy * left) + (priors.mean - state) / priors.sd**2
        step = np.linalg.solve(information, gradient)
        at = state
        state = at + np.clip(step, -LONGEST_STEP * priors.sd, LONGEST_STEP * priors.sd)
    return ReweightedFit(state, information, white, at, gradient)
