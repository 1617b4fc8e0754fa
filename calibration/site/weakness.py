"""What a calibration leaves weakest, in words."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site.accuracy import ground_slopes

Array = NDArray[np.float64]

# The camera's parameters as a person would name them, and how an uncertainty of each is told.
GROUPS: tuple[tuple[str, slice, float, str], ...] = (
    ("pitch", slice(0, 1), 180.0 / np.pi, "°"),
    ("heading", slice(1, 2), 180.0 / np.pi, "°"),
    ("roll", slice(2, 3), 180.0 / np.pi, "°"),
    ("position", slice(3, 6), 1.0, " m"),
    ("focal length", slice(6, 7), 100.0, " %"),
    ("principal point", slice(7, 9), 1.0, " px"),
    ("lens distortion", slice(9, 14), 1.0, ""),
)


@dataclass(frozen=True)
class Weakness:
    """What limits a landing most.

    Attributes
    ----------
    quantity : str
        The camera's property that is known worst in that respect.
    share : float
        Part of the landing's variance that would go if it were known exactly, 0 to 1.
    text : str
        A sentence.
    """

    quantity: str
    share: float
    text: str


def weakness(camera: Camera, landing: Array) -> Weakness:
    """Return what limits the landing at a ground point, shape (3,), most."""
    slope = ground_slopes(camera, landing[None, :])[0][0]
    cross = slope @ camera.covariance
    total = float(np.trace(cross @ slope.T))
    name, share, told = "camera", 0.0, ""
    for group, at, scale, unit in GROUPS:
        block = camera.covariance[at, at]
        part = float(np.trace(cross[:, at] @ np.linalg.pinv(block) @ cross[:, at].T)) / total
        if part > share:
            spread = float(np.sqrt(np.trace(block) / len(block))) * scale
            name, share = group, part
            told = f"{spread:.2g}{unit}"
    return Weakness(
        quantity=name,
        share=share,
        text=f"a landing is limited most by the camera's {name}, known to {told}",
    )
