"""What a hypothesis lacks to be a flight, and what of the firing line a camera sees."""

from collections.abc import Sequence

import numpy as np

from tracker.following.hypothesis import Hypothesis, SearchContext
from tracker.records import Reason, ReasonCode

LEAST_SUPPORT = 28.0
"""Log-likelihood ratio a flight needs. Some 2e5 cells of the ballot are tried each second, and
the refinement that follows can better each by a few units: 28 keeps the probability of one false
flight from unrelated candidates below 1e-5 a minute. What moves on a path of its own (people,
birds) is rejected by `LEAST_SHARE`, since it supports a part of a flight only."""

LEAST_HITS = 6
LEAST_SHARE, LEAST_FAINT_SHARE = 0.2, 0.1
"""Fewest frames with a candidate within the gate, and their least share of those in view, that of a
faint ball too. Common practice, no source."""

TWIN_S = 0.25
TWIN_GATE, TWIN_TIMES, TWIN_NEAR = 0.7, 12, 4
"""Two flights released within this time (s) are one flight found twice when, of the second
number of times in their common flight, the last number have them within a share of the widest
gate."""

USUAL_EXTENT_M = (20.0, 10.0)
MOST_EXTENT_M = (120.0, 40.0)
LEAST_EXTENT_M = 0.5
MARGIN = 1.02
"""Extent of the table along the line and upwards, m: where the frame shows none of the plane, at
most, at least, and the margin (factor) beyond what the frame shows."""


def shortfall(flight: Hypothesis, faint: bool = False) -> Reason | None:
    """Return what a flight lacks to be accepted as a shot, None when it lacks nothing."""
    least_share = LEAST_FAINT_SHARE if faint else LEAST_SHARE
    if flight.hits < LEAST_HITS:
        return Reason(ReasonCode.DETECTIONS_FEW, {"hits": flight.hits})
    if flight.hits < least_share * flight.in_view:
        return Reason(ReasonCode.DETECTIONS_SHARE, {"hits": flight.hits, "crossed": flight.in_view})
    if flight.support < LEAST_SUPPORT:
        return Reason(ReasonCode.CHANCE, {"support": flight.support, "needed": LEAST_SUPPORT})
    return None


def is_twin(
    context: SearchContext, flight: Hypothesis, others: Sequence[Hypothesis], gate_px: float
) -> bool:
    """Return whether a flight is one of the others, found again in its leftover candidates."""
    for other in others:
        if abs(other.release_s - flight.release_s) > TWIN_S:
            continue
        begin = max(other.release_s, flight.release_s)
        end = min(each.release_s + each.trajectory.times_s[-1] for each in (other, flight))
        times = np.linspace(begin, max(begin, end), TWIN_TIMES)
        one, two = (
            context.camera.project(each.trajectory.at(times - each.release_s)[:, :3])
            for each in (flight, other)
        )
        if np.sum(np.linalg.norm(one - two, axis=1) < TWIN_GATE * gate_px) >= TWIN_NEAR:
            return True
    return False


def px_per_m(context: SearchContext, farthest_m: float) -> float:
    """Return how many px a metre takes halfway along what the frame shows of the firing line."""
    middle = context.release_m + np.array([0.5 * min(farthest_m, 30.0), 0.0, 2.0])
    depth = float(context.camera.in_camera(middle)[0, 2])
    return context.camera.focal_px / max(depth, 1.0)


def extent_of(context: SearchContext) -> tuple[float, float]:
    """Return how far downrange and how high above the firing line the frame reaches, m."""
    width, height = context.camera.size_px
    columns, rows = np.meshgrid(np.linspace(0, width - 1, 40), np.linspace(0, height - 1, 24))
    pixels = np.column_stack([columns.ravel(), rows.ravel()])
    places = context.camera.on_plane(pixels, context.release_m, (0.0, 1.0, 0.0))
    good = np.isfinite(places).all(axis=1) & (places[:, 2] > -1.0)
    if not np.any(good):
        return USUAL_EXTENT_M
    reach = MARGIN * (places[good].max(axis=0) - (context.release_m[0], 0.0, 0.0))
    along, up = np.clip(reach[[0, 2]], LEAST_EXTENT_M, MOST_EXTENT_M)
    return float(along), float(up)
