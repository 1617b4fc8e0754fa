"""Everything known about a site as observations with standard uncertainties."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lens import PARAMETERS as LENS_PARAMETERS
from calibration.site.stand import Site

Array = NDArray[np.float64]

CAMERA_SIZE = 14

# What is taken for granted where nothing is told. A phone's main camera sees 60 to 70 degrees
# over the longer side; most cameras that film sport see 35 to 110 (sd 0.4 of the logarithm).
# Distortion: what is left after a phone has corrected its own picture (common practice, no
# source).
USUAL_VIEW_RAD = np.radians(65.0)
USUAL_LOG_FOCAL_SD = 0.4
CENTRE_SD_SHARE = 0.006
USUAL_DISTORTION_SD = (0.02, 0.01, 0.0007, 0.0007)
FIXED_SD = 1e-6


class Observed(NamedTuple):
    """What one row of the adjustment observed: its kind, its marker (or -1) and its axis."""

    kind: str
    marker: int
    axis: str


@dataclass(frozen=True)
class Posed:
    """State of the adjustment: the camera and where the markers truly lie."""

    camera: Camera
    points: Array


def moved(state: Posed, step: Array) -> Posed:
    """Move camera and markers by a step, shape (14 + 3 N,)."""
    return Posed(
        camera=state.camera.perturbed(step[:CAMERA_SIZE]),
        points=state.points + step[CAMERA_SIZE:].reshape(-1, 3),
    )


def usual_focal_px(size_px: tuple[int, int]) -> float:
    """Return the focal length of a phone's main camera for frames of a size, px."""
    return float(max(size_px) / 2.0 / np.tan(USUAL_VIEW_RAD / 2.0))


def horizontal_view(camera: Camera) -> tuple[float, Array]:
    """Return the angle between the frame's left and right edges and its derivative.

    Returns
    -------
    float
        Radians, at mid height, lens distortion included.
    ndarray, shape (14,)
        Derivative by the camera's parameters.
    """
    width, height = camera.size_px
    edges = np.array([[-0.5, (height - 1) / 2.0], [width - 0.5, (height - 1) / 2.0]])
    own = Camera(
        rotation=np.eye(3),
        position=np.zeros(3),
        focal_px=camera.focal_px,
        centre_px=camera.centre_px,
        size_px=camera.size_px,
        distortion=camera.distortion,
    )
    rays = own.rays(edges)
    flat = rays / rays[:, 2:]
    _, by_flat, by_camera = own.project_with_jacobians(flat)
    flat_by_camera = np.zeros((2, 3, CAMERA_SIZE))
    try:
        flat_by_camera[:, :2, 6:] = -np.linalg.solve(by_flat[:, :, :2], by_camera[:, :, 6:])
    except np.linalg.LinAlgError:
        return float("nan"), np.full(CAMERA_SIZE, np.nan)
    left, right = flat
    dot, cross = float(left @ right), np.cross(left, right)
    sine = float(np.linalg.norm(cross))
    view = float(np.arctan2(sine, dot))
    normal = cross / sine
    change_cross = np.cross(flat_by_camera[0].T, right) + np.cross(left, flat_by_camera[1].T)
    change_dot = flat_by_camera[0].T @ right + flat_by_camera[1].T @ left
    change = (dot * change_cross @ normal - sine * change_dot) / (dot**2 + sine**2)
    return view, change


class Observations:
    """The rows of a site's adjustment: what was observed, how well, and what a state foretells.

    Parameters
    ----------
    site : Site

    Attributes
    ----------
    rows : tuple of Observed
    uncertainty : ndarray, shape (M,) or (M, M)
    """

    def __init__(self, site: Site) -> None:
        self.site = site
        self.markers = site.picked
        self.pixels = np.array([marker.pixel for marker in self.markers]).reshape(-1, 2)
        self.taped = np.array([marker.ground_m for marker in self.markers]).reshape(-1, 3)
        self.lens_values, lens_covariance = _lens_knowledge(site)
        count = len(self.markers)
        rows = [Observed("pixel", i, axis) for i in range(count) for axis in ("column", "row")]
        rows += [Observed("tape", i, a) for i in range(count) for a in ("along", "across", "up")]
        sds = [m.pixel_u for m in self.markers for _ in range(2)]
        sds += [m.u_m for m in self.markers for _ in range(3)]
        self.lens_at = slice(len(rows), len(rows) + 8)
        rows += [Observed("lens", -1, name) for name in LENS_PARAMETERS]
        sds += list(np.sqrt(np.diag(lens_covariance)))
        if site.position_m is not None:
            rows += [Observed("position", -1, axis) for axis in ("along", "across", "up")]
            sds += [site.position_u_m] * 3
        self.has_view = site.lens is None and site.field_of_view_deg is not None
        if self.has_view:
            rows.append(Observed("view", -1, "angle"))
            sds.append(np.radians(site.view_u_deg))
        if site.level_u_deg is not None:
            rows.append(Observed("level", -1, "roll"))
            sds.append(np.radians(site.level_u_deg))
        self.rows = tuple(rows)
        self.uncertainty = np.array(sds)
        if site.lens is not None:
            full = np.diag(self.uncertainty**2)
            full[self.lens_at, self.lens_at] = lens_covariance
            self.uncertainty = full

    @property
    def told(self) -> tuple[int, ...]:
        """Numbers of the rows that a person observed; the rest is taken for granted."""
        usual = self.site.lens is None
        return tuple(i for i, row in enumerate(self.rows) if not (usual and row.kind == "lens"))

    def model(self, state: Posed) -> tuple[Array, Array]:
        """Return residuals (observed less computed) and the Jacobian of what is computed."""
        camera, points = state.camera, state.points
        count, size = len(self.markers), CAMERA_SIZE + 3 * len(self.markers)
        pixels, by_point, by_camera = camera.project_with_jacobians(points)
        residuals = [
            (self.pixels - pixels).ravel(),
            (self.taped - points).ravel(),
            self.lens_values - lens_vector(camera),
        ]
        jacobian = np.zeros((len(self.rows), size))
        jacobian[: 2 * count, :CAMERA_SIZE] = by_camera.reshape(-1, CAMERA_SIZE)
        for i in range(count):
            at = CAMERA_SIZE + 3 * i
            jacobian[2 * i : 2 * i + 2, at : at + 3] = by_point[i]
        jacobian[2 * count : 5 * count, CAMERA_SIZE:] = np.eye(3 * count)
        jacobian[self.lens_at, 6:CAMERA_SIZE] = np.eye(8)
        at = self.lens_at.stop
        if self.site.position_m is not None:
            residuals.append(self.site.position_m - camera.position)
            jacobian[at : at + 3, 3:6] = np.eye(3)
            at += 3
        if self.has_view:
            view, change = horizontal_view(camera)
            residuals.append(np.array([np.radians(self.site.field_of_view_deg or 0.0) - view]))
            jacobian[at, :CAMERA_SIZE] = change
            at += 1
        if self.site.level_u_deg is not None:
            residuals.append(np.array([-camera.rotation[0, 2]]))
            jacobian[at, 1:3] = camera.rotation[2, 2], -camera.rotation[1, 2]
        return np.concatenate(residuals), jacobian


def lens_vector(camera: Camera) -> Array:
    """Return a camera's last eight parameters, shape (8,): log focal, centre, distortion."""
    return np.concatenate([[np.log(camera.focal_px)], camera.centre_px, camera.distortion])


def _lens_knowledge(site: Site) -> tuple[Array, Array]:
    """Return the values and the covariance of what is known of the lens."""
    if site.lens is not None:
        lens = site.lens
        values = np.concatenate([[np.log(lens.focal_px)], lens.centre_px, lens.distortion])
        return values, lens.covariance + FIXED_SD**2 * np.eye(8)
    width, height = site.size_px
    values = np.zeros(8)
    values[0] = np.log(usual_focal_px(site.size_px))
    values[1:3] = (width - 1) / 2.0, (height - 1) / 2.0
    # A field of view that was told replaces the usual one altogether.
    focal_sd = USUAL_LOG_FOCAL_SD if site.field_of_view_deg is None else 3.0
    centre_sd = CENTRE_SD_SHARE * max(site.size_px)
    sds = np.array([focal_sd, centre_sd, centre_sd, *USUAL_DISTORTION_SD, FIXED_SD])
    return values, np.diag(sds**2)
