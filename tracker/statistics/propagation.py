"""Uncertainty carried through a formula: to first order, to second order, by draws."""

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tracker.statistics.components import Estimate
from tracker.statistics.variance import welch_dof

Array = NDArray[np.float64]
Formula = Callable[[Array], ArrayLike]


def jacobian(formula: Formula, values: ArrayLike, steps: ArrayLike) -> Array:
    """Return the derivatives of a formula by central differences.

    Parameters
    ----------
    formula : callable
        Takes values of shape (N,), returns a number or an array of shape (M,).
    values, steps : array_like, shape (N,)
        Where, and how far to either side; a step of zero gives a derivative of zero.

    Returns
    -------
    ndarray, shape (M, N)
    """
    x = np.asarray(values, float)
    h = np.asarray(steps, float)
    columns = []
    for place, step in enumerate(h):
        if step == 0.0:
            columns.append(np.zeros_like(np.atleast_1d(np.asarray(formula(x), float))))
            continue
        shift = np.zeros_like(x)
        shift[place] = step
        above = np.atleast_1d(np.asarray(formula(x + shift), float))
        below = np.atleast_1d(np.asarray(formula(x - shift), float))
        columns.append((above - below) / (2.0 * step))
    return np.stack(columns, axis=1)


def propagate(formula: Formula, values: ArrayLike, covariance: ArrayLike) -> tuple[Array, Array]:
    """Return a formula's results and their covariance to first order.

    Parameters
    ----------
    formula : callable
        Takes values of shape (N,), returns a number or an array of shape (M,).
    values : array_like, shape (N,)
    covariance : array_like, shape (N, N)

    Returns
    -------
    results : ndarray, shape (M,)
    covariance : ndarray, shape (M, M)

    Notes
    -----
    Source: GUM (JCGM 100:2008) equation 13; JCGM 102:2011 for several results. Derivatives over
    a hundredth of each standard uncertainty to either side.
    """
    x = np.asarray(values, float)
    given = np.asarray(covariance, float)
    slopes = jacobian(formula, x, 0.01 * np.sqrt(np.diag(given)))
    return np.atleast_1d(np.asarray(formula(x), float)), slopes @ given @ slopes.T


def combined(value: float, parts: Sequence[tuple[float, float]]) -> Estimate:
    """Return a value with its combined uncertainty and effective degrees of freedom.

    Parameters
    ----------
    value : float
    parts : sequence of (u, dof)
        Independent contributions in the unit of the value.

    Notes
    -----
    Source: GUM equations 10 and G.2b.
    """
    u = math.sqrt(sum(part**2 for part, _ in parts))
    return Estimate(value, u, effective_dof(parts))


def effective_dof(parts: Sequence[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of independent ``(u, dof)``; GUM equation G.2b."""
    return welch_dof([(u**2, dof) for u, dof in parts])


def second_order_u(formula: Formula, values: ArrayLike, u: ArrayLike) -> float:
    """Return the standard uncertainty of a single result with second-order terms.

    Parameters
    ----------
    formula : callable
        Takes values of shape (N,), returns a number.
    values, u : array_like, shape (N,)
        Independent inputs.

    Notes
    -----
    Source: GUM 5.1.2, note: the sum over i and j of
    ``(f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2`` is added to the variance.
    """
    x, width = np.asarray(values, float), np.asarray(u, float)
    count = len(x)

    def at(*moves: tuple[int, float]) -> float:
        moved = x.copy()
        for place, size in moves:
            moved[place] += size * width[place]
        return float(np.asarray(formula(moved), float).reshape(()))

    # Differences over one standard uncertainty: derivatives times u, products of u included.
    # Exact for the polynomials of low degree for which the second order is worth having.
    centre = at()
    first = np.array([(at((i, 1.0)) - at((i, -1.0))) / 2.0 for i in range(count)])
    variance = 0.0
    for i in range(count):
        for j in range(count):
            if i == j:
                square = at((i, 1.0)) - 2.0 * centre + at((i, -1.0))
                third = (
                    at((i, 2.0)) - 2.0 * at((i, 1.0)) + 2.0 * at((i, -1.0)) - at((i, -2.0))
                ) / 2.0
                first_order = first[i] - third / 6.0
            else:
                square = (
                    at((i, 1.0), (j, 1.0))
                    - at((i, 1.0), (j, -1.0))
                    - at((i, -1.0), (j, 1.0))
                    + at((i, -1.0), (j, -1.0))
                ) / 4.0
                third = (
                    at((i, 1.0), (j, 1.0))
                    - 2.0 * at((i, 1.0))
                    + at((i, 1.0), (j, -1.0))
                    - at((i, -1.0), (j, 1.0))
                    + 2.0 * at((i, -1.0))
                    - at((i, -1.0), (j, -1.0))
                ) / 2.0
                first_order = first[i]
            variance += 0.5 * square**2 + first_order * third
            if i == j:
                variance += first_order**2
    return math.sqrt(max(variance, 0.0))


def coverage_interval(
    draws: ArrayLike, level: float = 0.95, shortest: bool = False
) -> tuple[float, float]:
    """Return the interval that holds a share of draws.

    Parameters
    ----------
    draws : array_like, shape (N,)
    level : float
        Share of the draws inside.
    shortest : bool
        The shortest such interval, in place of the one with equal tails.

    Notes
    -----
    Source: JCGM 101:2008, 7.7 and 5.3.4.
    """
    ordered = np.sort(np.asarray(draws, float).reshape(-1))
    inside = math.ceil(level * ordered.size)
    if ordered.size < 2 or inside >= ordered.size:
        raise ValueError("too few draws for a coverage interval")
    if shortest:
        widths = ordered[inside:] - ordered[: ordered.size - inside]
        start = int(np.argmin(widths))
    else:
        start = (ordered.size - inside) // 2
    return float(ordered[start]), float(ordered[start + inside])
