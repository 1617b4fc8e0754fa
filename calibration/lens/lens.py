"""A measured lens."""

from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError

Array = NDArray[np.float64]

PARAMETERS = (
    "log_focal",
    "centre_column",
    "centre_row",
    "k1",
    "k2",
    "p1",
    "p2",
    "k3",
)
"""Order of a lens's parameters in its covariance: the last eight of a camera's."""


@dataclass(frozen=True)
class Lens:
    """Intrinsics and distortion of one camera at one zoom.

    Attributes
    ----------
    focal_px : float
    centre_px : ndarray, shape (2,)
    distortion : ndarray, shape (5,)
        ``k1, k2, p1, p2, k3`` as in the OpenCV calib3d documentation.
    covariance : ndarray, shape (8, 8)
        In the order of `PARAMETERS`.
    size_px : tuple of int
        Width and height of the frames it was measured on.
    device, zoom : str
        What it holds for, in the person's own words.
    """

    focal_px: float
    centre_px: Array
    distortion: Array
    covariance: Array
    size_px: tuple[int, int]
    device: str = ""
    zoom: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_px", np.asarray(self.centre_px, float).reshape(2))
        object.__setattr__(self, "distortion", np.asarray(self.distortion, float).reshape(5))
        object.__setattr__(self, "covariance", np.asarray(self.covariance, float).reshape(8, 8))
        object.__setattr__(self, "size_px", (int(self.size_px[0]), int(self.size_px[1])))

    @property
    def u(self) -> Array:
        """Standard uncertainties, shape (8,), in the order of `PARAMETERS`."""
        return np.sqrt(np.diag(self.covariance))

    def scaled_to(self, size_px: tuple[int, int]) -> Self:
        """Return the lens for frames that were only made larger or smaller.

        Raises
        ------
        InputError
            If the frames have another shape: then they were cropped or turned as well, and
            by an unknown amount.
        """
        if tuple(size_px) == self.size_px:
            return self
        width, height = self.size_px
        factor = size_px[0] / width
        if abs(height * factor - size_px[1]) > max(1.0, 0.6 * factor):
            raise InputError(
                f"the lens was measured on frames of {width} x {height} pixels, and these of "
                f"{size_px[0]} x {size_px[1]} have another shape",
                remedy="measure the lens on a clip of the same shape, or leave it out and give "
                "field_of_view_deg",
            )
        scale = np.array([1.0, factor, factor, 1.0, 1.0, 1.0, 1.0, 1.0])
        return replace(
            self,
            focal_px=self.focal_px * factor,
            centre_px=(self.centre_px + 0.5) * factor - 0.5,
            covariance=scale[:, None] * self.covariance * scale[None, :],
            size_px=(int(size_px[0]), int(size_px[1])),
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain values as `lens.toml` holds them."""
        return {
            "device": self.device,
            "zoom": self.zoom,
            "size_px": list(self.size_px),
            "focal_px": float(self.focal_px),
            "centre_px": [float(value) for value in self.centre_px],
            "distortion": [float(value) for value in self.distortion],
            "covariance": [[float(value) for value in row] for row in self.covariance],
        }
