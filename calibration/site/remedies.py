"""Further measurements and how much each would improve the weakest quantity."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.robust import middle
from calibration.camera import Camera
from calibration.site.observations import CAMERA_SIZE, Observations, Posed, horizontal_view

Array = NDArray[np.float64]

# How well one measures with ordinary means. Common practice, no source.
TAPE_U_M, HEIGHT_U_M, POSITION_U_M = 0.03, 0.02, 0.1
"""Uncertainties of a taped distance, of the camera's height and of its taped position, m."""

POLE_M, ASIDE_M = 2.0, 5.0
"""Length of a pole, and distance of a further marker from the line, m."""

LEVEL_U_RAD = np.radians(0.5)
"""Of a camera set with a spirit level."""

VIEW_U_SHARE = 0.01
"""Of a field of view that a maker states."""

LENS_SD = (0.002, 2.0, 2.0, 0.003, 0.006, 0.0003, 0.0003, 1e-6)
"""Of a lens measured with a printed board, in the order of `calibration.lens.PARAMETERS`."""

CLOSE_PICK_PX = 0.3
"""Of a marker picked on an enlarged frame, px."""

CLOSE_PICK = f"pick the markers again, zoomed in, to {CLOSE_PICK_PX:g} px"


@dataclass(frozen=True)
class Remedy:
    """A further measurement and the standard uncertainty that it would leave.

    Attributes
    ----------
    text : str
        What to do, as a clause.
    u : float
        Standard uncertainty of the weak quantity after it, in its own unit.
    at_desk : bool
        It needs no return to the field.
    """

    text: str
    u: float
    at_desk: bool = False


def remedies(
    observations: Observations, camera: Camera, covariance: Array, slope: Array
) -> tuple[Remedy, ...]:
    """Return further measurements, the one that helps most first.

    Each is added to the adjustment as if it had been made (the covariance does not depend on
    what it would read) and the weak quantity is propagated again.

    Parameters
    ----------
    observations : Observations
    camera : Camera
        As adjusted.
    covariance : ndarray, shape (14 + 3 N, 14 + 3 N)
        Of the whole adjustment.
    slope : ndarray, shape (14,)
        Derivative of the weak quantity by the camera's parameters.
    """
    wide = np.zeros(len(covariance))
    wide[:CAMERA_SIZE] = slope
    before = float(wide @ covariance @ wide)
    found: list[Remedy] = []
    candidates = _candidates(observations, camera, len(covariance))
    candidates.append((CLOSE_PICK, *_closer_picks(observations, camera, len(covariance))))
    for text, rows, spread in candidates:
        reach = rows @ covariance @ wide
        gain = reach @ np.linalg.solve(rows @ covariance @ rows.T + spread, reach)
        after = float(np.sqrt(max(before - float(gain), 0.0)))
        found.append(Remedy(text, after, at_desk=text == CLOSE_PICK))
    return tuple(sorted(found, key=lambda remedy: remedy.u))


def _candidates(
    observations: Observations, camera: Camera, size: int
) -> list[tuple[str, Array, Array]]:
    site = observations.site
    found = []
    if site.position_m is None:
        rows = np.zeros((3, size))
        rows[:, 3:6] = np.eye(3)
        found.append(("tape the camera's position", rows, POSITION_U_M**2 * np.eye(3)))
    height = np.zeros((1, size))
    height[0, 5] = 1.0
    found.append(
        ("measure the camera's height above the ground", height, HEIGHT_U_M**2 * np.eye(1))
    )
    if site.level_u_deg is None or np.radians(site.level_u_deg) > LEVEL_U_RAD:
        rows = np.zeros((1, size))
        rows[0, 1:3] = camera.rotation[2, 2], -camera.rotation[1, 2]
        found.append(("set the camera level with a spirit level", rows, LEVEL_U_RAD**2 * np.eye(1)))
    if site.lens is None:
        rows = np.zeros((8, size))
        rows[:, 6:CAMERA_SIZE] = np.eye(8)
        found.append(("measure the lens with a printed board", rows, np.diag(np.square(LENS_SD))))
        if site.field_of_view_deg is None:
            view, change = horizontal_view(camera)
            rows = np.zeros((1, size))
            rows[0, :CAMERA_SIZE] = change
            found.append(
                ("look up the camera's field of view", rows, (VIEW_U_SHARE * view) ** 2 * np.eye(1))
            )
    for i, marker in enumerate(observations.markers):
        found.extend(_beside(observations, camera, i, marker.name, size))
    return found


def _beside(
    observations: Observations, camera: Camera, i: int, name: str, size: int
) -> list[tuple[str, Array, Array]]:
    """Return what can be measured at or beside one marker."""
    point = observations.taped[i]
    found = []
    way = point - camera.position
    rows = np.zeros((1, size))
    rows[0, 3:6] = -way / np.linalg.norm(way)
    rows[0, CAMERA_SIZE + 3 * i : CAMERA_SIZE + 3 * i + 3] = way / np.linalg.norm(way)
    found.append((f'tape the distance from the camera to "{name}"', rows, TAPE_U_M**2 * np.eye(1)))
    toward = -1.0 if camera.position[1] < point[1] else 1.0
    side = "left" if toward > 0 else "right"
    other = "right" if toward > 0 else "left"
    for text, shift in (
        (f'stand a pole of {POLE_M:g} m at "{name}" and pick its top', (0.0, 0.0, POLE_M)),
        (
            f'tape and pick a marker {ASIDE_M:g} m to the {side} of "{name}"',
            (0.0, toward * ASIDE_M, 0.0),
        ),
        (
            f'tape and pick a marker {ASIDE_M:g} m to the {other} of "{name}"',
            (0.0, -toward * ASIDE_M, 0.0),
        ),
    ):
        row = _point_rows(observations, camera, point + np.array(shift), size)
        if row is not None:
            found.append((text, *row))
    return found


def _point_rows(
    observations: Observations, camera: Camera, point: Array, size: int
) -> tuple[Array, Array] | None:
    """Return the rows of one more marker, or None where the frame does not show it."""
    pixels, by_point, by_camera = camera.project_with_jacobians(point[None, :])
    frame = np.array(camera.size_px)
    if not np.all((pixels[0] > 0) & (pixels[0] < frame - 1)):
        return None
    rows = np.zeros((2, size))
    rows[:, :CAMERA_SIZE] = by_camera[0]
    picked = middle([marker.pixel_u for marker in observations.markers])
    taped = middle([marker.u_m for marker in observations.markers])
    return rows, picked**2 * np.eye(2) + taped**2 * by_point[0] @ by_point[0].T


def _closer_picks(observations: Observations, camera: Camera, size: int) -> tuple[Array, Array]:
    """Return what closer picks add: the pixels again, with the missing weight."""
    _, jacobian = observations.model(Posed(camera, observations.taped))
    picked = np.repeat([marker.pixel_u for marker in observations.markers], 2)
    coarse = np.flatnonzero(picked > 1.5 * CLOSE_PICK_PX)
    missing = 1.0 / CLOSE_PICK_PX**2 - 1.0 / picked[coarse] ** 2
    return jacobian[coarse].reshape(-1, size), np.diag(1.0 / missing)
