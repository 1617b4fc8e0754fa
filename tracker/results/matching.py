"""Which shot is which: rows are recognised by their time of release."""

from collections.abc import Sequence

MATCHING_S = 0.25
"""Two releases are the same shot when they are no further apart, s. A launcher is fed every second
or slower, and a release is known to a few milliseconds; common practice, no source."""


def paired(
    found_s: Sequence[float], wanted_s: Sequence[float], within_s: float = MATCHING_S
) -> dict[int, int]:
    """Return, by the index of a found release, that of the wanted one; the nearest pair first.

    Parameters
    ----------
    found_s, wanted_s : sequence of float
        Times of release in one clip, s.
    within_s : float
        Largest difference of a pair, s.
    """
    apart = sorted(
        (abs(found - wanted), i, j)
        for i, found in enumerate(found_s)
        for j, wanted in enumerate(wanted_s)
    )
    pairs: dict[int, int] = {}
    for distance, i, j in apart:
        if distance <= within_s and i not in pairs and j not in pairs.values():
            pairs[i] = j
    return dict(sorted(pairs.items()))
