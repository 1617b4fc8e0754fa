"""Normal equations: steps, inverses and the directions that no observation fixes."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

LEAST_DAMPING = 1e-14
"""Share of the normal matrix's unit diagonal that is always added: it keeps a singular matrix
solvable and lies below what its rounding leaves. No unit."""

SMALLEST = 1e-300
"""Stands for zero where something is divided by it: near the smallest double. No unit."""


def column_lengths(slope: Array) -> Array:
    """Return the length of each column, one where it is zero."""
    length = np.linalg.norm(slope, axis=0)
    return np.where(length > 0, length, 1.0)


def damped_step(normal: Array, gradient: Array, damping: float) -> tuple[Array, float]:
    """Return the damped step and the fall of the cost that the linear model predicts."""
    size = len(normal)
    damped = normal + max(damping, LEAST_DAMPING) * np.eye(size)
    try:
        step = np.asarray(np.linalg.solve(damped, gradient), float)
    except np.linalg.LinAlgError:
        step = np.asarray(np.linalg.lstsq(damped, gradient, rcond=None)[0], float)
    return step, float(2.0 * step @ gradient - step @ normal @ step)


def covariance_of(slope: Array, rank_share: float) -> tuple[Array, Array]:
    """Return the covariance by singular values, and the undetermined directions."""
    length = column_lengths(slope)
    # The triangular factor has the same right singular vectors and only N rows.
    triangle = np.linalg.qr(slope / length, mode="r")
    _, singular, vectors = np.linalg.svd(triangle, full_matrices=True)
    size = slope.shape[1]
    full: Array = np.zeros(size)
    full[: len(singular)] = singular
    kept = full > rank_share * max(full[0], SMALLEST)
    roots = vectors[kept] / full[kept, None] / length
    return roots.T @ roots, vectors[~kept]


def weighted_step(
    slope: Array,
    residual: Array,
    weights: Array,
    prior_u: Array,
    prior_residual: Array,
) -> tuple[Array, Array]:
    """Return one Gauss-Newton step on weighted observations and a prior, and its normal matrix.

    Parameters
    ----------
    slope : ndarray, shape (N, K, P)
        Derivative of the computed observations, K coordinates each.
    residual : ndarray, shape (N, K)
        Observed less computed.
    weights : ndarray, shape (N,)
    prior_u : ndarray, shape (P,)
        Standard uncertainty of each parameter as it is known beforehand.
    prior_residual : ndarray, shape (P,)
        Expected less present value; zero where the prior holds a parameter where it is.
    """
    flat = slope.reshape(-1, slope.shape[-1])
    heavy = np.repeat(weights, residual.shape[1])
    normal = flat.T @ (heavy[:, None] * flat) + np.diag(prior_u**-2.0)
    pull = flat.T @ (heavy * residual.reshape(-1)) + prior_residual / prior_u**2
    return np.asarray(np.linalg.solve(normal, pull), float), normal


def inverse_of_normal(normal: ArrayLike) -> Array:
    """Return the inverse of a normal matrix whose parameters have very different units."""
    information = np.asarray(normal, float)
    length = np.sqrt(np.maximum(np.diag(information), SMALLEST))
    return np.asarray(
        np.linalg.inv(information / np.outer(length, length)) / np.outer(length, length), float
    )
