"""How wide a ball is seen along its flight: that says how far away it is, whatever its fall says.

Its diameter is known, and the frame shows its way and its width at the same scale: so the speed
follows from both, whatever the lens. What changes along the flight says whether it comes nearer.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import SIGMA_PER_MAD
from tracker.fitting.observations import SeenSizes
from tracker.fitting.size_rows import size_rows
from tracker.measurement.context import ClipContext
from tracker.measurement.flight import Flight
from tracker.measurement.sighting import SAME_S, course_along, widths
from tracker.measurement.starts.ends import Ends
from tracker.records import Candidates

Array = NDArray[np.float64]

PARTS, LEAST_PICTURES, LEAST_IN_PART = 5, 6, 3
"""Parts of a flight whose width is taken together, fewest pictures that show it, and fewest in a
part: the median of three leaves out one that shows a hand or an edge."""

OFF_SPREADS, OFF_LOG = 3.0, 0.12
"""A width this many standard deviations off the middle of all is a hand's, or a bounce's: of their
scatter, which a ball that comes nearer has too, and of the least, as a logarithm."""

LEAST_PX, LEAST_NEAR_PX = 4.0, 2.5
"""Width below which a ball's picture is that of the lens and the encoder, px: drawn balls of 1.7 px
are seen 3.1 px wide; and in pictures made smaller, which are sharper."""

HIDDEN_PX, HIDDEN_U_PX = 0.4, 0.4
"""By how much a ball is wider than it is seen, since its dark limb passes for background, and the
standard uncertainty of that, px. From 17 balls of 3 to 18 px laid over real frames."""

LARGEST_FREE_U, MOST_APART = 0.2, 2.0
"""A fall that knows how wide a ball must be to this, as a logarithm, and a width within so many
standard uncertainties of that show a ball. Common practice, no source."""

COMMON_U, PART_U = 0.08, 0.10
"""Standard uncertainties of the logarithm of a width: common to all pictures, for light, focus and
the encoder; and a part's own, since backgrounds change. From the same."""


def size_shows_ball(flight: Flight) -> bool:
    """Return whether a ball is as wide as its fall alone says.

    The fall says it where it would be known without the widths; both agree on no edge, and on few
    birds.
    """
    if flight.sizes is None:
        return False
    fitted = flight.fitted
    residuals, slopes = size_rows(flight.known, fitted.parameters, fitted.trajectory, flight.sizes)
    one = np.linalg.inv(np.linalg.cholesky(flight.sizes.covariance)).sum(axis=1)
    measured = 1.0 / float(one @ one)
    gap, slope = measured * float(one @ residuals), measured * one @ slopes
    fitted_variance = float(slope @ fitted.covariance @ slope)
    if fitted_variance >= measured:
        return False
    free = 1.0 / (1.0 / fitted_variance - 1.0 / measured)
    apart = gap * (1.0 + free / measured)
    return bool(free < LARGEST_FREE_U**2 and abs(apart) < MOST_APART * np.sqrt(measured + free))


class Widths(NamedTuple):
    """Widths of a ball in some frames.

    Attributes
    ----------
    times_s, log_px : ndarray, shape (N,)
    """

    times_s: Array
    log_px: Array


def sizes_along(
    is_near: bool, flight: Flight, context: ClipContext, candidates: list[Candidates], ends: Ends
) -> SeenSizes | None:
    """Return how wide the ball is seen along a flight, None where its pictures do not show it.

    Parameters
    ----------
    is_near : bool
        Whether it is looked at in pictures made smaller.
    flight : Flight
    context : ClipContext
    candidates : list of Candidates
        Of the second pass, near the flight.
    ends : Ends
        Between which it is seen.
    """
    within = [
        each for each in candidates if ends.first_s - SAME_S <= each.time_s <= ends.last_s + SAME_S
    ]
    shown, course = course_along(context, flight, within)
    wide = context.with_circumstances(flight.known)
    times_s, log_px = widths(wide, flight.camera, course, shown, ends.exposure)
    return summed_up(Widths(times_s, log_px), LEAST_NEAR_PX if is_near else LEAST_PX)


def summed_up(seen: Widths, least_px: float = LEAST_PX) -> SeenSizes | None:
    """Return the widths of the parts of a flight with their covariance.

    None for too few, or for a ball that is seen no wider than `least_px`.
    """
    seen = _alike(seen)
    count = len(seen.times_s)
    if count < LEAST_PICTURES or np.exp(np.median(seen.log_px)) < least_px:
        return None
    rows = np.array_split(np.arange(count), min(PARTS, count // LEAST_IN_PART))
    middle = np.array([np.median(seen.log_px[each]) for each in rows])
    spread = np.array(
        [
            SIGMA_PER_MAD * np.median(np.abs(seen.log_px[each] - at))
            for each, at in zip(rows, middle, strict=True)
        ]
    )
    own_u = np.hypot(PART_U, spread / np.sqrt([len(each) for each in rows]))
    width_px = float(np.exp(np.median(middle)))
    common_u = np.hypot(COMMON_U, HIDDEN_U_PX / width_px)
    return SeenSizes(
        np.array([float(np.mean(seen.times_s[each])) for each in rows]),
        np.log(np.exp(middle) + HIDDEN_PX),
        np.diag(own_u**2) + common_u**2,
    )


def _alike(seen: Widths) -> Widths:
    """Return the widths that one ball may have along its flight."""
    if not len(seen.times_s):
        return seen
    off = np.abs(seen.log_px - np.median(seen.log_px))
    spread = np.hypot(SIGMA_PER_MAD * np.median(off), OFF_LOG)
    kept = off < OFF_SPREADS * spread
    return Widths(seen.times_s[kept], seen.log_px[kept])
