"""What a person is told of a shot whose only scale is gravity."""

import numpy as np
from numpy.typing import NDArray

from calibration.site import Site
from tracker.fitting import figures_of
from tracker.fitting.parameters import CAMERA_ACROSS_AT, CAMERA_AT
from tracker.fitting.untaped import UntapedFit
from tracker.records import Track

Array = NDArray[np.float64]

DISTANCES_M = (20.0, 15.0, 10.0, 8.0, 5.0, 4.0, 3.0, 2.0)
TAPED_U_M, PICKED_U_PX = 0.05, 1.0
EDGE_SHARE = 0.012


def gain(fit: UntapedFit) -> tuple[float, float, float] | None:
    """Return what one taped distance would do for the exit speed.

    The marker is added to the fit as if it had been taped and picked (the covariance does not
    depend on what it would read), and the exit speed's uncertainty is carried again.

    Returns
    -------
    tuple of float, or None
        Distance of the marker from the release's foot (m), and the exit speed's standard
        uncertainty without and with it (m/s). None where the frame shows no such place.
    """
    fitted, known = fit.fitted, fit.circumstances
    camera = known.camera.perturbed(fitted.parameters[CAMERA_AT:])
    width, height = camera.size_px
    slope = figures_of(known, fitted.parameters).jacobian[0]
    before = float(np.sqrt(slope @ fitted.covariance @ slope))
    along, across = fitted.parameters[1:3]
    for distance in DISTANCES_M:
        mark = np.array([along + distance, across, 0.0])
        pixel, by_point, by_camera = camera.project_with_jacobians(mark)
        if not (0.0 < pixel[0, 0] < width - 1 and 0.0 < pixel[0, 1] < height - 1):
            continue
        rows = np.zeros((2, len(fitted.covariance)))
        rows[:, CAMERA_AT:] = by_camera[0]
        spread = PICKED_U_PX**2 * np.eye(2) + TAPED_U_M**2 * by_point[0] @ by_point[0].T
        reach = rows @ fitted.covariance @ slope
        won = reach @ np.linalg.solve(rows @ fitted.covariance @ rows.T + spread, reach)
        return distance, before, float(np.sqrt(max(before**2 - float(won), 0.0)))
    return None


def gravity_sentence(fit: UntapedFit, site: Site) -> str:
    """Say that gravity is the scale, from how far, and what one taped distance would gain."""
    fitted, known = fit.fitted, fit.circumstances
    camera = known.camera.perturbed(fitted.parameters[CAMERA_AT:])
    away = abs(float(camera.position[1]))
    u = float(np.sqrt(fitted.covariance[CAMERA_ACROSS_AT, CAMERA_ACROSS_AT]))
    few = "too few markers fix the camera, so" if site.picked else "nothing was taped, so"
    words = (
        f"{few} gravity is the scale: the camera stood {_metres(away, u)} m from the line of "
        "fire, and the azimuth is only presumed"
    )
    better = gain(fit)
    if better is not None and better[2] < 0.95 * better[1]:
        distance, before, after = better
        words += (
            f"; one distance taped to {100 * TAPED_U_M:.0f} cm, from the foot of the release to a "
            f"mark {distance:g} m down the line, would bring the exit speed's u from "
            f"{before:.2g} to {after:.2g} m/s"
        )
    return words


def _metres(value: float, u: float) -> str:
    digits = 0 if u >= 1.0 else 1
    return f"{value:.{digits}f} ± {max(u, 0.1):.{digits}f}"


def seen_words(track: Track, size_px: tuple[int, int], landing_seen: bool) -> list[str]:
    """Return what is to be said of the two ends of the path."""
    width, height = size_px
    edge = EDGE_SHARE * width
    found = []
    step = np.abs(np.diff(track.pixels[:3], axis=0)).max(initial=0.0)
    column, row = track.pixels[0]
    if min(column, row, width - 1 - column, height - 1 - row) < edge + step:
        found.append("the path begins at the frame's edge, so the release may lie outside it")
    if not landing_seen:
        found.append("the bounce was not seen, the carry is carried on by the fit")
    return found
