"""Nonlinear least squares over any state that can be moved by a small vector."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.adjustment.normal import column_lengths, covariance_of, damped_step

Array = NDArray[np.float64]
Model = Callable[[Any], tuple[Array, Array]]
Move = Callable[[Any, Array], Any]


class NotDetermined(Exception):
    """The observations do not fix every parameter, or no finite fit was found."""


@dataclass(frozen=True)
class Limits:
    """When an iteration may end.

    Attributes
    ----------
    iterations : int
        Largest number of steps that are tried.
    step : float
        The iteration has settled when the next step is shorter than this share of the
        parameters' own standard uncertainties (the Newton decrement).
    damping : float
        First damping, as a share of the normal matrix's diagonal; 0 starts as Gauss-Newton.
    halvings : int
        How often a step that fails is bent and halved before it is damped: the path then
        follows a curved valley to second order (geodesic acceleration, M. K. Transtrum and
        J. P. Sethna, arXiv:1201.5885, 2012, its second derivative from the step that failed).
    rank : float
        A direction whose singular value falls below this share of the largest, all columns
        scaled to length one, counts as not determined.
    """

    iterations: int = 60
    step: float = 1e-6
    damping: float = 1e-3
    rank: float = 1e-9
    halvings: int = 0


@dataclass(frozen=True)
class Adjustment:
    """An adjusted state and everything that is known about how good it is.

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
    covariance : ndarray, shape (N, N)
        Covariance of the parameters with the observations' uncertainties taken at their word.
        Where `rank` is below N it is the pseudo-inverse and says nothing of `undetermined`.
    undetermined : ndarray, shape (K, N)
        Unit vectors, in parameters scaled to columns of length one, that no observation sees.
    iterations : int
    settled : bool
    """

    state: Any
    residuals: Array
    jacobian: Array
    whitened_residuals: Array
    whitened_jacobian: Array
    whitener: Array
    covariance: Array
    undetermined: Array
    iterations: int
    settled: bool

    @property
    def rank(self) -> int:
        """Number of parameter directions that the observations fix."""
        return self.jacobian.shape[1] - len(self.undetermined)

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
        from scipy.special import chdtrc

        return float(chdtrc(self.degrees_of_freedom, self.chi_square))

    @property
    def variance_factor(self) -> float:
        """`chi_square` over the degrees of freedom (reference variance); NaN without any."""
        dof = self.degrees_of_freedom
        return self.chi_square / dof if dof > 0 else float("nan")

    def weakest(self) -> tuple[Array, float]:
        """Return the parameter direction that is known worst.

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
class _Trial:
    """A state that a step led to, with its residuals and their weighted sum of squares."""

    state: Any
    residuals: Array
    jacobian: Array
    white: Array
    cost: float


def adjust(
    model: Model,
    start: Any,
    uncertainty: ArrayLike,
    *,
    move: Move | None = None,
    limits: Limits = Limits(),
) -> Adjustment:
    """Find the state that fits the observations best in the sense of least squares.

    Levenberg's damping with Marquardt's scaling, let go as fast as the steps do what the
    linear model foretells (Marquardt 1963; Nielsen 1999, "Damping parameter in Marquardt's
    method", IMM-REP-1999-05); near the end every step is Gauss-Newton's.

    Parameters
    ----------
    model : callable
        ``model(state)`` returns the residuals (observed less computed), shape (M,), and the
        Jacobian of the *computed* observations by a small move, shape (M, N). A residual that
        is not finite marks a state that cannot be.
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
    step_by = move or _add
    whitener = _whitener(np.asarray(uncertainty, float))

    def trial(candidate: Any) -> _Trial:
        # A step too far may lead where nothing is finite; it is taken back.
        with np.errstate(over="ignore", invalid="ignore"):
            residuals, jacobian = model(candidate)
            white = _whiten(whitener, residuals)
            cost = float(white @ white)
        return _Trial(candidate, residuals, jacobian, white, cost if np.isfinite(cost) else np.inf)

    state = start
    residuals, jacobian = model(state)
    if not (np.all(np.isfinite(residuals)) and np.all(np.isfinite(jacobian))):
        raise NotDetermined("the first state gives residuals that are not finite")
    white, slope = _whiten(whitener, residuals), _whiten(whitener, jacobian)
    cost, damping, growth = float(white @ white), limits.damping, 2.0
    settled, count = False, 0
    while count < limits.iterations and not settled:
        count += 1
        gradient = slope.T @ white
        length = column_lengths(slope)
        normal = (slope / length).T @ (slope / length)
        step, foretold = damped_step(normal, gradient / length, damping)
        tried = trial(step_by(state, step / length))
        halvings = limits.halvings if foretold > limits.step**2 else 0
        share, taken = 1.0, step
        while halvings and cost < tried.cost < np.inf:
            # The valley bends: what the step missed, a matter of its square, tells how.
            missed = white - slope @ (taken / length) - tried.white
            bend = damped_step(normal, (slope / length).T @ missed, damping)[0] / share**2
            share, halvings = 0.5 * share, halvings - 1
            taken = share * step - share**2 * bend
            tried = trial(step_by(state, taken / length))
        foretold *= share * (2.0 - share)
        # A step that damping alone has shortened proves nothing: it is tried again without.
        short = foretold <= limits.step**2
        settled = short and damping == 0.0
        # Below its own rounding the cost no longer tells better from worse; the step does.
        bound = cost * (1.0 + (1e-9 if short else 1e-14))
        if tried.cost <= bound:
            gain = (cost - tried.cost) / foretold if foretold > 0 else 1.0
            damping *= max(1e-3, 1.0 - (2.0 * min(gain, 1.0) - 1.0) ** 3)
            damping, growth = (0.0 if damping < 1e-12 else damping), 2.0
            state, residuals, jacobian = tried.state, tried.residuals, tried.jacobian
            white, slope, cost = tried.white, _whiten(whitener, jacobian), tried.cost
        else:
            damping, growth = max(damping, 1e-9) * growth, growth * 2.0
        damping = 0.0 if short else damping
    covariance, undetermined = covariance_of(slope, limits.rank)
    return Adjustment(
        state=state,
        residuals=residuals,
        jacobian=jacobian,
        whitened_residuals=white,
        whitened_jacobian=slope,
        whitener=whitener,
        covariance=covariance,
        undetermined=undetermined,
        iterations=count,
        settled=settled,
    )


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
