"""Expected gain of a further trial."""

import math

from tracker.statistics.components import Estimate
from tracker.statistics.distributions import normal_below


def expected_improvement(candidate: Estimate, best: Estimate) -> float:
    """Return the expected improvement of a trial on the best so far; never negative.

    Parameters
    ----------
    candidate, best : Estimate
        More is better; the two taken as independent.

    Notes
    -----
    ``(m - b) Phi(z) + s phi(z)`` with ``z = (m - b) / s``. Source: J. Mockus (1978); D. R.
    Jones, M. Schonlau and W. J. Welch, Journal of Global Optimization 13, 455 (1998).
    """
    ahead, spread = candidate.value - best.value, math.hypot(candidate.u, best.u)
    if spread == 0.0:
        return max(ahead, 0.0)
    z = ahead / spread
    density = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    return max(0.0, ahead * float(normal_below(z)) + spread * density)
