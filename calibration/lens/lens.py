"""What a measured lens is."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError, InputErrors

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
            nobody knows how.
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

    @classmethod
    def from_dict(cls, values: dict[str, Any], where: str = "lens.toml") -> Self:
        """Return the lens that plain values describe.

        Raises
        ------
        InputErrors
            With one sentence for each field that is missing, unknown or not what it should be.
        """
        faults = [
            InputError(f"there is no field {name}", where=where, remedy=f"it has {_FIELD_LIST}")
            for name in values
            if name not in _FIELDS
        ]
        faults += [
            InputError(f"{name} is missing", where=where, remedy="measure the lens again")
            for name in _FIELDS
            if name not in values
        ]
        arrays = {}
        for name, shape in _FIELDS.items():
            if name not in values:
                continue
            if shape is None:
                if not isinstance(values[name], str):
                    faults.append(InputError(f"{name} must be a text", where=where))
                continue
            try:
                arrays[name] = np.asarray(values[name], float)
            except (TypeError, ValueError):
                arrays[name] = np.full(1, np.nan)
            if arrays[name].shape != shape or not np.all(np.isfinite(arrays[name])):
                many = " x ".join(str(count) for count in shape) or "one"
                faults.append(InputError(f"{name} must be {many} finite numbers", where=where))
        if not faults:
            faults = list(_value_faults(arrays, where))
        if faults:
            raise InputErrors(faults)
        size = arrays.pop("size_px")
        return cls(
            focal_px=float(arrays.pop("focal_px")),
            size_px=(int(size[0]), int(size[1])),
            device=values["device"],
            zoom=values["zoom"],
            **arrays,
        )


_FIELDS: dict[str, tuple[int, ...] | None] = {
    "device": None,
    "zoom": None,
    "size_px": (2,),
    "focal_px": (),
    "centre_px": (2,),
    "distortion": (5,),
    "covariance": (8, 8),
}
_FIELD_LIST = ", ".join(_FIELDS)


def _value_faults(arrays: dict[str, Array], where: str) -> Iterator[InputError]:
    if not np.all(arrays["size_px"] >= 16) or np.any(arrays["size_px"] % 1):
        yield InputError("size_px must be two whole numbers of pixels", where=where)
    if not arrays["focal_px"] > 0:
        yield InputError("focal_px must be above zero", where=where)
    spread = arrays["covariance"]
    if not np.allclose(spread, spread.T) or np.linalg.eigvalsh(spread).min() < -1e-9 * max(
        float(np.trace(spread)), 1e-30
    ):
        yield InputError(
            "covariance is not one: it must be symmetric, without negative directions", where=where
        )
