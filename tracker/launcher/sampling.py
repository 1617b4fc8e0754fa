"""Draws from the posterior of unknowns whose model has corners: importance sampling in rounds."""

from collections.abc import Callable
from statistics import NormalDist

import numpy as np

from tracker.launcher.arrays import Array

FIRST, LATER = 600, 400
"""Draws of the first round, from the prior, and of each later one."""

ROUNDS = 4
"""Rounds with proposals moved to where the weights lie; with these a measurement three prior
standard deviations out and fifty times as sharp as the prior is still found (measured)."""

EFFECTIVE = 60.0
"""Effective draws that a proposal is made from; a likelihood that leaves fewer is softened."""

WIDER = 1.3
"""Factor on the standard deviations of a proposal, so that its tails reach beyond the posterior's
(common practice, no source)."""

PRIOR_SHARE = 0.15
"""Share of the prior that stays in every proposal, so that no weight is large by accident."""

KEPT = 300
"""Equally likely draws that stand for the posterior."""


def latin_normal(count: int, size: int, rng: np.random.Generator) -> Array:
    """Return standard normal draws, shape (count, size), spread evenly along every axis.

    Source: M. D. McKay, R. J. Beckman and W. J. Conover, Technometrics 21, 239 (1979).
    """
    normal = NormalDist()
    strata = [normal.inv_cdf((place + 0.5) / count) for place in range(count)]
    return rng.permuted(np.tile(strata, (size, 1)), axis=1).T


def posterior_draws(likelihood: Callable[[Array], Array], size: int) -> tuple[Array, Array]:
    """Return draws that cover a posterior with a standard normal prior.

    Parameters
    ----------
    likelihood : callable
        From unknowns in prior standard deviations, shape (N, size), to the logarithm of the
        likelihood, shape (N,).
    size : int
        Number of unknowns.

    Returns
    -------
    draws : ndarray, shape (N, size)
    bases : ndarray, shape (N,)
        Logarithm of prior over proposal. With the logarithm of a likelihood, of these or of fewer
        measurements, it is that of a draw's weight.

    Notes
    -----
    Adaptive multiple importance sampling: J.-M. Cornuet, J.-M. Marin, A. Mira and C. P. Robert,
    Scandinavian Journal of Statistics 39, 798 (2012): every draw is weighed by the mixture of all
    proposals so far. All seeds are fixed.
    """
    rng = np.random.default_rng(size)
    draws = latin_normal(FIRST, size, rng)
    logs = likelihood(draws)
    proposals: list[tuple[Array, Array]] = []
    counts = [FIRST]
    bases = _bases(draws, proposals, counts)
    for _ in range(ROUNDS - 1):
        weights = _softened(bases, logs)
        centre = weights @ draws
        away = draws - centre
        spread = (away * weights[:, None]).T @ away
        # Few draws know the correlations badly: they are shrunk towards none.
        trust = max(0.0, 1.0 - size * float(weights @ weights))
        spread = trust * spread + (1.0 - trust) * np.diag(np.diag(spread)) + 0.01 * np.eye(size)
        proposals.append((centre, WIDER**2 * spread))
        fresh = latin_normal(LATER, size, rng)
        own = round((1.0 - PRIOR_SHARE) * LATER)
        fresh[:own] = centre + WIDER * fresh[:own] @ np.linalg.cholesky(spread).T
        draws = np.vstack((draws, fresh))
        logs = np.concatenate((logs, likelihood(fresh)))
        counts.append(LATER)
        bases = _bases(draws, proposals, counts)
    return draws, bases


def _softened(bases: Array, logs: Array) -> Array:
    """Return weights by the greatest power of the likelihood that leaves enough effective draws.

    Source: annealed importance weights, R. M. Neal, Statistics and Computing 11, 125 (2001).
    """
    power = 1.0
    while power > 1e-4:
        weights = normalised(bases + power * logs)
        if 1.0 / float(weights @ weights) >= EFFECTIVE:
            return weights
        power *= 0.7
    return normalised(bases)


def normalised(logs: Array) -> Array:
    """Return weights that add up to one from their logarithms, those of each row by themselves."""
    weights = np.exp(logs - logs.max(axis=-1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=-1, keepdims=True))


def resampled(weights: Array, count: int = KEPT) -> np.ndarray:
    """Return indices of equally likely draws: evenly spaced places on the ladder of weights."""
    ladder = np.cumsum(weights)
    places = np.searchsorted(ladder / ladder[-1], (np.arange(count) + 0.5) / count)
    return np.minimum(places, len(weights) - 1)


def _bases(draws: Array, proposals: list[tuple[Array, Array]], counts: list[int]) -> Array:
    """Return the logarithm of the prior over the mixture of everything that proposed draws."""
    prior = -0.5 * np.einsum("ij,ij->i", draws, draws)
    share = counts[0] + PRIOR_SHARE * sum(counts[1:])
    parts = [np.log(share) + prior]
    for (centre, covariance), count in zip(proposals, counts[1:], strict=True):
        away = draws - centre
        inside = np.einsum("ij,ij->i", away @ np.linalg.inv(covariance), away)
        density = -0.5 * inside - 0.5 * np.linalg.slogdet(covariance)[1]
        parts.append(np.log((1.0 - PRIOR_SHARE) * count) + density)
    return np.asarray(prior - np.logaddexp.reduce(parts, axis=0))
