"""Position, direction and lens of a camera as figures with uncertainties."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera

Array = NDArray[np.float64]

STEP = 1e-5
"""Of the central differences, in rad, m, px or as a share: all figures are smooth over far more."""


@dataclass(frozen=True)
class Figure:
    """One property of a camera.

    Attributes
    ----------
    name, unit : str
    value, u : float
    """

    name: str
    unit: str
    value: float
    u: float


def outlook(camera: Camera) -> tuple[Figure, ...]:
    """Return where a camera stands, where it looks and how wide, with uncertainties.

    Heading is the angle of the line of sight to the firing line seen from above, positive to the
    left; pitch its angle above the horizontal; roll that of the frame, clockwise as the camera
    sees it. The field of view is the true angle between the middles of the left and right edges,
    distortion included. Uncertainties are carried by the slopes (JCGM 100:2008, 5.2.2).

    Parameters
    ----------
    camera : Camera
        With its covariance.
    """
    slope = _slopes(_values, camera)
    spread = np.sqrt(np.maximum(np.diag(slope @ camera.covariance @ slope.T), 0.0))
    return tuple(
        Figure(name, unit, float(value), float(u))
        for (name, unit), value, u in zip(_NAMES, _values(camera), spread, strict=True)
    )


_NAMES = (
    ("along", "m"),
    ("across", "m"),
    ("up", "m"),
    ("heading", "°"),
    ("pitch", "°"),
    ("roll", "°"),
    ("field of view", "°"),
    ("focal length", "px"),
    ("principal point, column", "px"),
    ("principal point, row", "px"),
)


def _values(camera: Camera) -> Array:
    forward = camera.rotation[2]
    level = np.cross(forward, (0.0, 0.0, 1.0))
    seen = camera.rotation @ level
    width, height = camera.size_px
    middle = (height - 1) / 2.0
    ends = camera.rays([[-0.5, middle], [width - 0.5, middle]])
    view = np.arctan2(np.linalg.norm(np.cross(ends[0], ends[1])), ends[0] @ ends[1])
    angles = np.degrees(
        [
            np.arctan2(forward[1], forward[0]),
            np.arctan2(forward[2], np.hypot(forward[0], forward[1])),
            np.arctan2(-seen[1], seen[0]),
            view,
        ]
    )
    return np.array([*camera.position, *angles, camera.focal_px, *camera.centre_px])


def _slopes(values: Callable[[Camera], Array], camera: Camera) -> Array:
    """Differentiate by the camera's parameters with central differences, shape (K, 14)."""
    columns = []
    for at in range(len(camera.covariance)):
        change = np.zeros(len(camera.covariance))
        change[at] = STEP
        columns.append(
            (values(camera.perturbed(change)) - values(camera.perturbed(-change))) / (2.0 * STEP)
        )
    return np.column_stack(columns)
