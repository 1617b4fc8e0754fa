"""Everything known about one camera stand, and whether it is possible."""

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CameraField, InputError, InputErrors, MarkerField, Undetermined
from calibration.lens import Lens
from calibration.markers import Marker, Plumb

Array = NDArray[np.float64]

NARROWEST_DEG, WIDEST_DEG = 3.0, 150.0
"""Fields of view that a rectilinear lens has, degrees: a spotting scope and an action camera."""

MOST_MARKERS = 80
"""Picked markers of one camera: more cost time with the third power, and nobody tapes so many."""

SAME_PLACE_M, SAME_PIXEL_PX = 1e-3, 2.0
"""Markers all nearer to each other than this lie at one place."""

LOOSE_SHARE = 0.5
"""Uncertainty of the camera's position, as a share of its distance to the markers, from which on
an adjustment looks for the camera on every side. Common practice, no source."""

LINE_SHARE = 0.01
"""Width over length below which markers lie along one line: what a tape and a string leave."""


@dataclass(frozen=True)
class Site:
    """Everything that is known about one camera stand.

    Attributes
    ----------
    size_px : tuple of int
        Width and height of the frame as it is shown.
    markers : tuple of Marker
        Those without a pixel are not used.
    position_m : ndarray, shape (3,), or None
        Taped position of the camera: along, across, up.
    position_u_m : float
        Standard uncertainty of each of its coordinates.
    field_of_view_deg : float or None
        Angle between the left and right edges of the frame at mid height, lens distortion
        included; not used when there is a lens.
    field_of_view_u_deg : float or None
        Its standard uncertainty; 1 % of it when None.
    lens : Lens or None
    level_u_deg : float or None
        How level the camera stood (no roll); None: not stated.
    plumbs : tuple of Plumb
        Upright things in the picture.
    wide : bool
        Whether the lens may bend straight lines as a wide one does whose picture nothing corrects;
        it makes no difference when there is a lens.
    """

    size_px: tuple[int, int]
    markers: tuple[Marker, ...]
    position_m: Array | None = None
    position_u_m: float = 0.10
    field_of_view_deg: float | None = None
    field_of_view_u_deg: float | None = None
    lens: Lens | None = None
    level_u_deg: float | None = None
    plumbs: tuple[Plumb, ...] = ()
    wide: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "size_px", (int(self.size_px[0]), int(self.size_px[1])))
        object.__setattr__(self, "markers", tuple(self.markers))
        object.__setattr__(self, "plumbs", tuple(self.plumbs))
        if self.position_m is not None:
            object.__setattr__(self, "position_m", np.asarray(self.position_m, float).reshape(3))
        if self.lens is not None:
            try:
                scaled = self.lens.scaled_to(self.size_px)
            except InputError as error:
                raise error.at(CameraField("lens")) from None
            object.__setattr__(self, "lens", scaled)

    @property
    def picked(self) -> tuple[Marker, ...]:
        """The markers whose pixel is known."""
        return tuple(marker for marker in self.markers if marker.pixel is not None)

    @property
    def placed(self) -> bool:
        """Whether the camera's position is known well enough to start an adjustment there."""
        if self.position_m is None or not self.picked:
            return self.position_m is not None
        middle = np.mean([marker.ground_m for marker in self.picked], axis=0)
        away_m = float(np.linalg.norm(self.position_m - middle))
        return self.position_u_m < LOOSE_SHARE * away_m

    @property
    def view_u_deg(self) -> float:
        """Standard uncertainty of the field of view; NaN where none was given."""
        if self.field_of_view_deg is None:
            return float("nan")
        if self.field_of_view_u_deg is None:
            return 0.01 * self.field_of_view_deg
        return self.field_of_view_u_deg


def check(site: Site) -> None:
    """Raise every fault of the site that shows without solving.

    Raises
    ------
    InputErrors
    """
    faults = [*value_faults(site), *_layout_faults(site)]
    if faults:
        raise InputErrors(faults)


def value_faults(site: Site) -> list[InputError]:
    """Return the faults of single values, whether or not they determine a camera."""
    return [*_marker_faults(site), *_camera_faults(site)]


def spread_of(points: Array) -> Array:
    """Return the standard deviations of points, shape (N, 3), along their principal axes."""
    centred = points - points.mean(axis=0)
    return np.asarray(np.linalg.svd(centred, compute_uv=False) / np.sqrt(len(points)), float)


def is_line(points: Array) -> bool:
    """Return whether points lie along one line, to a hundredth of its length."""
    spread = spread_of(points)
    return len(spread) < 2 or bool(spread[1] < LINE_SHARE * spread[0])


def _marker_faults(site: Site) -> list[InputError]:
    width, height = site.size_px
    faults = []
    turned_frame = _picked_turned(site)
    if turned_frame:
        faults.append(
            InputError(
                f"the pixels do not fit the frame of {width} x {height}, but one of {height} x "
                f"{width}: they were picked on a picture turned by a quarter",
                remedy="pick the markers again on a frame of lobmeter still",
            )
        )
    for name, count in Counter(marker.name for marker in site.markers).items():
        if count > 1:
            faults.append(
                InputError(f'{count} markers have the name "{name}"', remedy="name each apart")
            )
    for marker in site.markers:
        if not np.all(np.isfinite(marker.ground_m)):
            faults.append(
                InputError(
                    "ground_m must be three finite numbers",
                    where=MarkerField(marker.name, "ground_m"),
                )
            )
        for what, value in (("u_m", marker.u_m), ("pixel_u", marker.pixel_u)):
            if not (np.isfinite(value) and value > 0):
                faults.append(
                    InputError(
                        f"{what} must be above zero, not {value}",
                        where=MarkerField(marker.name, what),
                    )
                )
        if marker.pixel is None:
            continue
        column, row = marker.pixel
        if turned_frame:
            continue
        turned = -0.5 <= row <= width - 0.5 and -0.5 <= column <= height - 0.5
        if not (-0.5 <= column <= width - 0.5 and -0.5 <= row <= height - 0.5):
            faults.append(
                InputError(
                    f"pixel [{column:g}, {row:g}] lies outside the frame of {width} x {height}",
                    where=MarkerField(marker.name, "pixel"),
                    remedy=("column and row swapped? else " if turned else "")
                    + "pick the marker again on a frame of this clip",
                )
            )
    for plumb in site.plumbs:
        if np.hypot(*(plumb.upper_px - plumb.lower_px)) < 5.0 * plumb.pixel_u:
            faults.append(
                InputError(
                    "its two pixels are too close together to show a direction",
                    where=f'plumb "{plumb.name}"',
                    remedy="pick its lowest and its highest point",
                )
            )
    return faults


def _picked_turned(site: Site) -> bool:
    """Return whether several pixels lie outside the frame, and all inside the frame turned."""
    pixels = np.array([marker.pixel for marker in site.picked]).reshape(-1, 2)
    inside = np.all((pixels >= -0.5) & (pixels <= np.array(site.size_px) - 0.5), axis=1)
    turned = np.all((pixels >= -0.5) & (pixels <= np.array(site.size_px[::-1]) - 0.5))
    return bool(np.sum(~inside) > 1 and turned)


def _camera_faults(site: Site) -> list[InputError]:
    faults = []
    if site.position_m is not None and not np.all(np.isfinite(site.position_m)):
        faults.append(
            InputError("position_m must be three finite numbers", where=CameraField("position_m"))
        )
    if not site.position_u_m > 0:
        faults.append(
            InputError("position_u_m must be above zero", where=CameraField("position_u_m"))
        )
    view = site.field_of_view_deg
    if view is not None and not NARROWEST_DEG <= view <= WIDEST_DEG:
        faults.append(
            InputError(
                f"field_of_view_deg = {view:g} cannot be the angle between the left and right "
                f"edges of a phone's frame",
                where=CameraField("field_of_view_deg"),
                remedy=f"give it in degrees, {NARROWEST_DEG:g} to {WIDEST_DEG:g} (a phone's main "
                "camera sees about 65), or leave it out",
            )
        )
    elif view is not None and not site.view_u_deg > 0:
        faults.append(
            InputError(
                "field_of_view_u_deg must be above zero", where=CameraField("field_of_view_u_deg")
            )
        )
    if site.level_u_deg is not None and not site.level_u_deg > 0:
        faults.append(
            InputError("level_u_deg must be above zero", where=CameraField("level_u_deg"))
        )
    return faults


def _layout_faults(site: Site) -> list[InputError]:
    picked = site.picked
    if len(picked) > MOST_MARKERS:
        return [
            InputError(
                f"{len(picked)} markers have a pixel, and {MOST_MARKERS} at most are used",
                remedy="leave out the pixels of those that lie closest to others",
            )
        ]
    needed = 2 if site.position_m is not None else 3
    if len(picked) < needed:
        found = {0: "no marker has", 1: "only one marker has"}.get(len(picked), "only two have")
        return [
            Undetermined(
                f"{found} a pixel, and {needed} are needed"
                + ("" if needed == 2 else " where the camera's position was not taped"),
                remedy="pick more markers, the farther apart the better"
                if len(picked) == len(site.markers)
                else "pick the others, the farther apart the better, or take them out, and gravity "
                "is the scale",
            )
        ]
    points = np.array([marker.ground_m for marker in picked])
    pixels = np.array([marker.pixel for marker in picked])
    if np.ptp(points, axis=0).max() < SAME_PLACE_M:
        return [
            InputError(
                "all markers lie at the same place on the ground",
                remedy="give each marker its own ground_m",
            )
        ]
    if np.ptp(pixels, axis=0).max() < SAME_PIXEL_PX:
        return [
            InputError("all markers have the same pixel", remedy="pick each marker where it is")
        ]
    if site.position_m is None and is_line(points):
        return [
            Undetermined(
                "the markers lie along one line and the camera's position is not known, so the "
                "camera could stand anywhere on a circle around that line",
                remedy="tape the camera's position, or stand a pole of known height at a marker "
                "and pick its top too",
            )
        ]
    return []
