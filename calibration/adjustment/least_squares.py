"""Nonlinear least squares over any state that can be moved by a small vector."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.adjustment.chance import chi_square_beyond
from calibration.adjustment.normal import column_lengths, covariance_of, damped_step

Array = NDArray[np.float64]
Model = Callable[[Any], tuple[Array, Array]]
Move = Callable[[Any, Array], Any]

# Constants of the iteration. Shares of the normal matrix's diagonal (damping) or of the cost
# (rounding), without unit.
FIRST_GROWTH = 2.0
"""Factor by which a rejected step raises the damping; it doubles each time (Nielsen 1999)."""

LEAST_RELAXATION = 1e-3
"""Smallest factor by which an accepted step lowers the damping. Nielsen has 1/3; a thousandth
settles in fewer steps here."""

NO_DAMPING = 1e-12
"""Damping that is taken as zero: it lies below the rounding of the normal matrix."""

LEAST_RAISED_DAMPING = 1e-9
"""Where damping begins after a Gauss-Newton step that failed."""

COST_ROUNDING, SHORT_STEP_ROUNDING = 1e-14, 1e-9
"""How much larger a cost counts as no larger: rounding of doubles; and for a step below
`Limits.step`, which is accepted by its length."""


class NotDetermined(Exception):
    """The observations do not fix every parameter, or no finite fit was found."""


@dataclass(frozen=True)
class Limits:
    """When an iteration ends.

    Attributes
    ----------
    iterations : int
        Largest number of steps.
    step : float
        The iteration has settled when the next step is shorter than this share of the
        parameters' own standard uncertainties (the Newton decrement).
    damping : float
        First damping, as a share of the normal matrix's diagonal; 0 starts as Gauss-Newton.
    halvings : int
        How often a step that fails is halved and bent before it is damped: the path then
        follows a curved valley to second order (geodesic acceleration, M. K. Transtrum and
        J. P. Sethna, arXiv:1201.5885, 2012; the second derivative comes from the failed step).
    rank : float
        A direction whose singular value falls below this share of the largest, all columns
        scaled to length one, counts as undetermined.
    """

    iterations: int = 60
    step: float = 1e-6
    damping: float = 1e-3
    rank: float = 1e-9
    halvings: int = 0


@dataclass(frozen=True)
class Adjustment:
    """An adjusted state, its covariance and its residuals.

    Attributes
    ----------
    state : object
        The state after the last step.
    residuals : ndarray, shape (M,)
        Observed less computed, in the observations' own units.
    jacobian : ndarray, shape (M, N)
        Derivative of the computed observations by the parameters, at the end.
    whitened_residuals, whitened_jacobian : ndarray
        The same in units of the observations' standard uncertainties, correlation taken out.
    iterations : int
    settled : bool
    rank_share : float
        See `Limits.rank`.
    """

    state: Any
    residuals: Array
    jacobian: Array
    whitened_residuals: Array
    whitened_jacobian: Array
    whitener: Array
    iterations: int
    settled: bool
    rank_share: float

    @cached_property
    def _spread(self) -> tuple[Array, Array]:
        # Not every fit's covariance is asked for, and it takes as long as a step.
        return covariance_of(self.whitened_jacobian, self.rank_share)

    @property
    def covariance(self) -> Array:
        """Covariance of the parameters, from the observations' stated uncertainties, (N, N).

        Where `rank` is below N it is the pseudo-inverse: it leaves out `undetermined`.
        """
        return self._spread[0]

    @property
    def undetermined(self) -> Array:
        """Directions that no observation fixes, shape (K, N).

        Unit vectors, in parameters scaled to columns of length one.
        """
        return self._spread[1]

    @property
    def rank(self) -> int:
        """Number of parameter directions that the observations fix."""
        return int(self.jacobian.shape[1] - len(self.undetermined))

    @property
    def degrees_of_freedom(self) -> int:
        """Observations less determined parameters: the redundancy of the whole."""
        return len(self.residuals) - self.rank

    @property
    def chi_square(self) -> float:
        """Weighted sum of squared residuals."""
        return float(self.whitened_residuals @ self.whitened_residuals)

    @property
    def p_value(self) -> float:
        """Chance of a larger `chi_square` if all uncertainties are right; 1 without redundancy."""
        if self.degrees_of_freedom < 1:
            return 1.0
        return chi_square_beyond(self.degrees_of_freedom, self.chi_square)

    @property
    def variance_factor(self) -> float:
        """`chi_square` over the degrees of freedom (reference variance); NaN without any."""
        dof = self.degrees_of_freedom
        return self.chi_square / dof if dof > 0 else float("nan")

    def weakest(self) -> tuple[Array, float]:
        """Return the least well determined direction of the parameters.

        Returns
        -------
        direction : ndarray, shape (N,)
            Change of the parameters by one standard uncertainty along that direction.
        ratio : float
            Condition number of the Jacobian with columns scaled to length one; infinite where
            the rank falls short.
        """
        length = column_lengths(self.whitened_jacobian)
        _, singular, vectors = np.linalg.svd(self.whitened_jacobian / length, full_matrices=False)
        if len(self.undetermined):
            return self.undetermined[-1] / length, float("inf")
        return vectors[-1] / singular[-1] / length, float(singular[0] / singular[-1])


@dataclass(frozen=True)
class _Point:
    """A state with its residuals, whitened as well, and their weighted sum of squares."""

    state: Any
    residuals: Array
    jacobian: Array
    white: Array
    cost: float


@dataclass(frozen=True)
class _Problem:
    """What is minimised: the model, how a state is moved, and the observations' weights."""

    model: Model
    move: Move
    whitener: Array

    def first(self, state: Any) -> _Point:
        """Return the first point; raise `NotDetermined` where it is not finite."""
        residuals, jacobian = self.model(state)
        if not (np.all(np.isfinite(residuals)) and np.all(np.isfinite(jacobian))):
            raise NotDetermined("the first state gives residuals that are not finite")
        white = _whiten(self.whitener, residuals)
        return _Point(state, residuals, jacobian, white, float(white @ white))

    def at(self, start: Any, step: Array) -> _Point:
        """Return the point that a step leads to; its cost is infinite where it is not finite."""
        state = self.move(start, step)
        # A step that is too long may lead where nothing is finite; it is then rejected.
        with np.errstate(over="ignore", invalid="ignore"):
            residuals, jacobian = self.model(state)
            white = _whiten(self.whitener, residuals)
            cost = float(white @ white)
        return _Point(state, residuals, jacobian, white, cost if np.isfinite(cost) else np.inf)


def adjust(
    model: Model,
    start: Any,
    uncertainty: ArrayLike,
    *,
    move: Move | None = None,
    limits: Limits = Limits(),
) -> Adjustment:
    """Find the state that fits the observations best in the sense of least squares.

    Levenberg's damping with Marquardt's scaling, reduced as fast as the linear model predicts
    the steps (Marquardt 1963; Nielsen 1999, "Damping parameter in Marquardt's method",
    IMM-REP-1999-05); near the end every step is Gauss-Newton's.

    Parameters
    ----------
    model : callable
        ``model(state)`` returns the residuals (observed less computed), shape (M,), and the
        Jacobian of the *computed* observations by a small move, shape (M, N). A residual that
        is not finite marks an impossible state.
    start : object
        First state; an array of N parameters unless `move` is given.
    uncertainty : array_like, shape (M,) or (M, M)
        Standard uncertainties of the observations, or their full covariance.
    move : callable, optional
        ``move(state, step)`` returns the state moved by `step`, shape (N,): the update on a
        manifold. Without it states are arrays that add up.
    limits : Limits

    Returns
    -------
    Adjustment

    Raises
    ------
    NotDetermined
        If the first state gives residuals that are not finite.
    """
    problem = _Problem(model, move or _add, _whitener(np.asarray(uncertainty, float)))
    now = problem.first(start)
    slope = _whiten(problem.whitener, now.jacobian)
    damping, growth = limits.damping, FIRST_GROWTH
    settled, count = False, 0
    while count < limits.iterations and not settled:
        count += 1
        trial, predicted = _step(problem, now, slope, damping, limits)
        # Damping alone can make a step short; the iteration goes on once without it.
        short = predicted <= limits.step**2
        settled = short and damping == 0.0
        # Below its own rounding the cost cannot decide; there the length of the step does.
        rounding = SHORT_STEP_ROUNDING if short else COST_ROUNDING
        if trial.cost <= now.cost * (1.0 + rounding):
            gain = (now.cost - trial.cost) / predicted if predicted > 0 else 1.0
            damping, growth = _relaxed(damping, gain), FIRST_GROWTH
            now, slope = trial, _whiten(problem.whitener, trial.jacobian)
        else:
            damping, growth = max(damping, LEAST_RAISED_DAMPING) * growth, growth * 2.0
        damping = 0.0 if short else damping
    return _adjusted(problem, now, limits, count, settled)


def _step(
    problem: _Problem, now: _Point, slope: Array, damping: float, limits: Limits
) -> tuple[_Point, float]:
    """Return the point that a damped step leads to, and the predicted fall of the cost.

    A step that fails is halved, and bent by what the linear model missed.
    """
    length = column_lengths(slope)
    scaled = slope / length
    normal = scaled.T @ scaled
    step, predicted = damped_step(normal, slope.T @ now.white / length, damping)
    trial = problem.at(now.state, step / length)
    halvings = limits.halvings if predicted > limits.step**2 else 0
    share, taken = 1.0, step
    while halvings and now.cost < trial.cost < np.inf:
        # The residuals left over, quadratic in the step, give the curvature of the valley.
        missed = now.white - slope @ (taken / length) - trial.white
        bend = damped_step(normal, scaled.T @ missed, damping)[0] / share**2
        share, halvings = 0.5 * share, halvings - 1
        taken = share * step - share**2 * bend
        trial = problem.at(now.state, taken / length)
    return trial, predicted * share * (2.0 - share)


def _adjusted(
    problem: _Problem, end: _Point, limits: Limits, count: int, settled: bool
) -> Adjustment:
    slope = _whiten(problem.whitener, end.jacobian)
    return Adjustment(
        state=end.state,
        residuals=end.residuals,
        jacobian=end.jacobian,
        whitened_residuals=end.white,
        whitened_jacobian=slope,
        whitener=problem.whitener,
        iterations=count,
        settled=settled,
        rank_share=limits.rank,
    )


def _relaxed(damping: float, gain: float) -> float:
    """Return the damping after an accepted step.

    K. Madsen, H. B. Nielsen and O. Tingleff, Methods for Non-Linear Least Squares Problems, 2004,
    equation 2.21 (number from memory).
    """
    relaxed = damping * max(LEAST_RELAXATION, 1.0 - (2.0 * min(gain, 1.0) - 1.0) ** 3)
    return 0.0 if relaxed < NO_DAMPING else relaxed


def _add(state: Any, step: Array) -> Any:
    return state + step


def _whitener(uncertainty: Array) -> Array:
    """Return what takes residuals to unit variance: a vector, or a matrix for correlated ones."""
    if uncertainty.ndim == 1:
        if not np.all(uncertainty > 0):
            raise ValueError("every standard uncertainty must be above zero")
        return 1.0 / uncertainty
    return np.linalg.inv(np.linalg.cholesky(uncertainty))


def _whiten(whitener: Array, values: Array) -> Array:
    if whitener.ndim == 2:
        return whitener @ values
    return whitener * values if values.ndim == 1 else whitener[:, None] * values
