"""What is believed of unknowns after measurements, where the model has corners.

A model whose regime changes (a rim that grips or slips) can explain the same measurements in
several ways. Each regime is searched by itself, and what is believed is the sum of them all.
"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Model = Callable[[Array], tuple[Array, Hashable]]
"""From unknowns in prior standard deviations, shape (N,), to the residuals (measured values
first, then the unknowns themselves, all over their standard uncertainty) and the regime."""

STEP = 0.05
"""Step of the derivatives, in prior standard deviations."""

DRAWS = 120
"""Random starts drawn from the priors; the best of each regime is followed."""

MOST_REGIMES = 5

PROPOSED = 400
"""Draws from each regime."""

KEPT = 200
"""Draws that stand for what is believed."""

NEGLIGIBLE = 8.0
"""A way of explaining whose probability lies more than this power of e below the best."""


@dataclass(frozen=True)
class Belief:
    """What is believed of unknowns.

    Attributes
    ----------
    best : ndarray, shape (N,)
        Most probable values.
    residuals : ndarray, shape (M,)
        There.
    draws : ndarray, shape (KEPT, N)
        Equally likely values.
    """

    best: Array
    residuals: Array
    draws: Array


def believe(model: Model, size: int) -> Belief:
    """Return what measurements and standard normal priors make of unknowns.

    Parameters
    ----------
    model : callable
        See `Model`.
    size : int
        Number of unknowns, N.

    Notes
    -----
    In each regime the most probable values by nonlinear least squares and the normal
    distribution around them (D. S. Sivia, Data Analysis, 2006, chapter 3); draws from the sum of
    those, weighed by how well each meets the measurements, and resampled (D. B. Rubin,
    sampling-importance resampling, 1987). All seeds are fixed.
    """
    from scipy.optimize import least_squares

    def residuals(at: Array) -> Array:
        return model(at)[0]

    def slopes(at: Array) -> Array:
        here = residuals(at)
        return np.column_stack([(residuals(at + step) - here) / STEP for step in _steps(size)])

    fits = [
        least_squares(residuals, start, jac=slopes, max_nfev=20, xtol=1e-4, ftol=1e-5)
        for start in _starts(model, size)
    ]
    fits.sort(key=lambda fit: float(fit.cost))
    best = fits[0]
    parts: list[tuple[Array, Array]] = []
    for fit in fits:
        far = all(np.linalg.norm(fit.x - centre) > 0.5 for centre, _ in parts)
        if far and fit.cost < best.cost + NEGLIGIBLE:
            parts += [(fit.x, covariance) for covariance in _proposals(residuals, fit.x)]
    return Belief(np.asarray(best.x), np.asarray(best.fun), _resampled(residuals, parts))


def latin_normal(count: int, size: int, rng: np.random.Generator) -> Array:
    """Return standard normal draws, shape (count, size), spread evenly along every axis.

    Source: M. D. McKay, R. J. Beckman and W. J. Conover, Technometrics 21, 239 (1979).
    """
    from scipy.special import ndtri

    strata = rng.permuted(np.tile((np.arange(count) + 0.5) / count, (size, 1)), axis=1)
    return np.asarray(ndtri(strata)).T


def _starts(model: Model, size: int) -> list[Array]:
    """Return the best draw of each regime that the priors reach, best first."""
    draws = np.vstack((np.zeros(size), latin_normal(DRAWS, size, np.random.default_rng(size))))
    found: dict[Hashable, tuple[float, int]] = {}
    for place, draw in enumerate(draws):
        missed, regime = model(draw)
        cost = float(missed @ missed)
        if regime not in found or cost < found[regime][0]:
            found[regime] = (cost, place)
    return [draws[place] for _, place in sorted(found.values())[:MOST_REGIMES]]


def _steps(size: int) -> Array:
    return STEP * np.eye(size)


def _proposals(residuals: Callable[[Array], Array], at: Array) -> list[Array]:
    """Return covariances of normal distributions that cover the belief around a place.

    The inverse normal matrix, by central differences; and where a corner lies at the place, the
    one by the gentler side of each unknown, which reaches into the regime that the steeper side
    would hide.
    """
    here = residuals(at)
    steps = _steps(len(at))
    ahead = np.array([(residuals(at + step) - here) / STEP for step in steps])
    behind = np.array([(here - residuals(at - step)) / STEP for step in steps])
    middle = (ahead + behind) / 2.0
    flat = np.linalg.norm(ahead, axis=1) < np.linalg.norm(behind, axis=1)
    gentle = np.where(flat[:, None], ahead, behind)
    found = [np.asarray(np.linalg.inv(slopes @ slopes.T)) for slopes in (middle, gentle)]
    volumes = [np.linalg.slogdet(covariance)[1] for covariance in found]
    return found if volumes[1] - volumes[0] > 0.5 else found[:1]


def _resampled(residuals: Callable[[Array], Array], parts: Sequence[tuple[Array, Array]]) -> Array:
    """Return equally likely draws, shape (KEPT, N), proposed by normal distributions.

    Parameters
    ----------
    residuals : callable
    parts : sequence of (centre, covariance)
    """
    size = len(parts[0][0])
    rng = np.random.default_rng(size)
    everything = np.vstack(
        [
            centre + latin_normal(PROPOSED, size, rng) @ np.linalg.cholesky(covariance).T
            for centre, covariance in parts
        ]
    )
    densities = []
    for centre, covariance in parts:
        away = everything - centre
        inside = np.einsum("ij,ij->i", away @ np.linalg.inv(covariance), away)
        densities.append(-0.5 * inside - 0.5 * np.linalg.slogdet(covariance)[1])
    wanted = np.array([-0.5 * float(r @ r) for r in map(residuals, everything)])
    logs = wanted - np.logaddexp.reduce(densities, axis=0)
    # Systematic resampling: evenly spaced places on the ladder of weights.
    ladder = np.cumsum(np.exp(logs - logs.max()))
    places = np.searchsorted(ladder / ladder[-1], (np.arange(KEPT) + 0.5) / KEPT)
    return np.asarray(everything[np.minimum(places, len(everything) - 1)])
