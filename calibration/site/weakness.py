"""The quantity that a calibration determines worst, in words, and how to improve it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site.accuracy import Quantity
from calibration.site.observations import Observations
from calibration.site.remedies import Remedy, remedies

Array = NDArray[np.float64]

# The camera's parameters by name, each with the factor and the unit of its uncertainty.
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
    """The quantity of a flight that the calibration limits most.

    Attributes
    ----------
    quantity : str
        Its name: the largest uncertainty over what a good measurement needs.
    u : float
        Its standard uncertainty from the camera alone.
    unit : str
    cause : str
        The property of the camera that contributes most of it.
    share : float
        Part of the variance that would go if the cause were known exactly, 0 to 1.
    remedies : tuple of Remedy
        Further measurements, the one that helps most first.
    text : str
        All that in a sentence.
    """

    quantity: str
    u: float
    unit: str
    cause: str
    share: float
    remedies: tuple[Remedy, ...]
    text: str


def weakness(
    observations: Observations,
    camera: Camera,
    covariance: Array,
    quantities: tuple[Quantity, ...],
) -> Weakness:
    """Return the quantity that the camera limits most.

    Parameters
    ----------
    observations : Observations
    camera : Camera
        As adjusted, with its covariance.
    covariance : ndarray, shape (14 + 3 N, 14 + 3 N)
        Of the whole adjustment.
    quantities : tuple of Quantity
        Must not be empty.
    """
    weak = max(quantities, key=lambda quantity: quantity.u / quantity.wanted)
    cause, share, known = _cause(camera, weak)
    mended = remedies(observations, camera, covariance, weak.slope)
    gap = "" if weak.unit in "%°" else " "
    text = (
        f"the camera leaves the {weak.name} most in doubt, by u = {weak.u:.2g}{gap}{weak.unit}, "
        f"mostly through its {cause} (known to {known})"
    )
    afield = [remedy for remedy in mended if not remedy.at_desk]
    if afield[0].u < 0.9 * weak.u:
        text += f"; {afield[0].text}: that would bring it to {afield[0].u:.2g}{gap}{weak.unit}"
    else:
        text += "; no single further measurement would help much"
    if mended[0].at_desk and mended[0].u < 0.9 * weak.u:
        text += f" ({mended[0].text}: to {mended[0].u:.2g}{gap}{weak.unit})"
    return Weakness(
        quantity=weak.name,
        u=weak.u,
        unit=weak.unit,
        cause=cause,
        share=share,
        remedies=mended,
        text=text,
    )


def _cause(camera: Camera, weak: Quantity) -> tuple[str, float, str]:
    """Return the property of the camera that contributes most of the variance."""
    reach = camera.covariance @ weak.slope
    total = float(weak.slope @ reach)
    cause, best, known = GROUPS[0][0], -1.0, ""
    for name, at, scale, unit in GROUPS:
        block = camera.covariance[at, at]
        share = float(reach[at] @ np.linalg.pinv(block) @ reach[at]) / total
        if share > best:
            spread = float(np.sqrt(np.trace(block) / len(block))) * scale
            cause, best, known = name, share, f"{spread:.2g}{unit}"
    return cause, best, known
