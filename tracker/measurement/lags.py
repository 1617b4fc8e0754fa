"""By how much the pictures of measured flights are ahead of the clip's times, or behind."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.timebase import Lags
from tracker.fitting.parameters import CAMERA_AT, READOUT_AT, RELEASE_AT
from tracker.measurement.context import ClipContext
from tracker.measurement.fitted_shot import TracedFlight

Array = NDArray[np.float64]

STEP_S = 1e-3
"""Time over which a flight's velocity in the picture is taken, s."""

LEAST_PXPS = 50.0
"""Speed across the picture below which a position tells no time, px/s."""


def lags_of(context: ClipContext, flights: Sequence[TracedFlight]) -> list[Lags]:
    """Return the lags of each flight, its outliers among them: wrong times make these.

    Parameters
    ----------
    context : ClipContext
        With which they were fitted.
    flights : sequence of TracedFlight
        Those of no row, too: wrong times scatter a ball's positions as a bird's are.
    """
    return [_lags(context, each) for each in flights]


def _lags(context: ClipContext, traced: TracedFlight) -> Lags:
    fitted, track = traced.fitted, traced.observed.track
    camera = context.circumstances.camera.perturbed(fitted.parameters[CAMERA_AT:])
    readout_s = fitted.parameters[READOUT_AT]
    since = track.times_s + readout_s * traced.observed.row_share - fitted.parameters[RELEASE_AT]
    ends = (
        camera.project(fitted.trajectory.at(since + off)[:, :3])
        for off in (-0.5 * STEP_S, 0.5 * STEP_S)
    )
    before, after = ends
    velocity = (after - before) / STEP_S
    squared = np.sum(velocity**2, axis=1)
    ahead_s = np.sum(fitted.residuals_px * velocity, axis=1) / np.maximum(squared, 1e-12)
    told = (squared > LEAST_PXPS**2) & (np.abs(ahead_s) < context.frame_s)
    pace = context.facts.pace
    return Lags(track.frames[told], pace * ahead_s[told], squared[told])
