"""Normal equations: parameters eliminated, and a prior written as observations."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

RANK_SHARE = 1e-14
"""Share of the greatest eigenvalue below which a direction has no information: rounding."""

RIDGE = 1e-13
"""Added to the scaled diagonal before a solution: some hundred times the rounding of a double."""


def eliminate(normal: Array, right: Array, kept: list[int], lost: list[int]) -> tuple[Array, Array]:
    """Eliminate parameters from normal equations (Schur complement), scaled to be well posed.

    Parameters
    ----------
    normal : ndarray, shape (N, N)
    right : ndarray, shape (N,)
    kept, lost : list of int
        Places of the parameters that stay, K of them, and of those that go.

    Returns
    -------
    ndarray, shape (K, K)
    ndarray, shape (K,)
    """
    length = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    scaled, pull = normal / np.outer(length, length), right / length
    inner = scaled[np.ix_(lost, lost)] + RIDGE * np.eye(len(lost))
    carried = np.linalg.solve(inner, np.column_stack([scaled[np.ix_(lost, kept)], pull[lost]]))
    across = scaled[np.ix_(kept, lost)]
    reduced = scaled[np.ix_(kept, kept)] - across @ carried[:, :-1]
    left = pull[kept] - across @ carried[:, -1]
    size = length[kept]
    reduced = (reduced + reduced.T) / 2.0 * np.outer(size, size)
    return reduced, left * size


def information_root(information: Array) -> Array:
    """Return R with R^T R the information, one row for each direction that has any."""
    length = np.sqrt(np.maximum(np.diag(information), 1e-300))
    scaled = information / np.outer(length, length) * (np.diag(information) > 0)
    values, vectors = np.linalg.eigh(scaled)
    kept = values > RANK_SHARE
    root: Array = (np.sqrt(values[kept])[:, None] * vectors[:, kept].T) * length
    return root
