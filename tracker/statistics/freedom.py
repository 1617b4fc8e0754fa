"""Effective degrees of freedom of a sum of variances."""

import math
from collections.abc import Sequence


def welch_dof(parts: Sequence[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of a sum of variances.

    Parameters
    ----------
    parts : sequence of (variance, dof)
        Infinite degrees of freedom for a variance that is known without repeats.

    Notes
    -----
    Source: F. E. Satterthwaite (1946); B. L. Welch (1947); GUM equation G.2b.
    """
    total = sum(variance for variance, _ in parts)
    if total == 0.0:
        return math.inf
    # Shares of the total keep the squares of tiny variances from vanishing.
    below = sum((variance / total) ** 2 / dof for variance, dof in parts if variance > 0.0)
    return 1.0 / below if below > 0.0 else math.inf
