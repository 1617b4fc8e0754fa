"""Paths in the picture with a few wrong places at their ends, which a calibrated camera bears."""

from itertools import product

import numpy as np

from tracker.following.arcs import Arc, arc_of, is_throw

END_CUTS = (0, 2, 4)
LEAST_CUT = 12
"""Places that are tried to be cut off either end of a path, and fewest that are left."""


def thrown_part(arc: Arc, width_px: int, frame_s: float) -> Arc | None:
    """Return a path without the wrong places at its ends, None where no part of it is a throw.

    A ball that bounces, or a hand that moved before it let go, adds a few places to its path
    that bend it as no throw is bent. So few are cut off that the rest is still a throw's length.

    Parameters
    ----------
    arc, width_px, frame_s
        As of `is_throw`.
    """
    for first, last in sorted(product(END_CUTS, END_CUTS), key=sum):
        rows = slice(first, len(arc.frames) - last)
        if len(arc.frames) - first - last < LEAST_CUT:
            continue
        part = arc
        if first or last:
            places = np.column_stack([arc.frames, arc.times_s, arc.pixels])[rows]
            part = arc_of(places, frame_s)
        if is_throw(part, width_px, frame_s):
            return part
    return None
