"""Everything known about a site as observations with standard uncertainties."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera, distort_with_jacobians, undistort
from calibration.lens import PARAMETERS as LENS_PARAMETERS
from calibration.markers import Plumb
from calibration.site.stand import Site

Array = NDArray[np.float64]

CAMERA_SIZE = 14
"""Parameters of a camera: direction 3, position 3, focal length, principal point 2, lens 5."""

# Priors of a lens of which nothing is stated. Common practice, no source.
USUAL_VIEW_RAD = np.radians(65.0)
"""Field of view over the longer side, rad: a phone's main camera has 60 to 70 degrees."""

USUAL_LOG_FOCAL_SD, LONG_LOG_FOCAL_SD = 0.4, 0.8
"""Of the focal length's logarithm, towards wider and towards narrower views: phones that film a
field have 15 to 110 degrees, since far stands are filmed with a longer lens or a zoom."""

STATED_VIEW_LOG_FOCAL_SD = 3.0
"""The same where a field of view is stated, which then replaces the usual one altogether."""

CENTRE_SD_SHARE = 0.006
"""Of the principal point, as a share of the frame's longer side."""

USUAL_DISTORTION_SD = (0.02, 0.01, 0.0007, 0.0007)
"""Of k1, k2, p1, p2: what is left after a phone has corrected its own picture."""

WIDE_DISTORTION_SD = (0.15, 0.08, 0.002, 0.002)
"""Of the same where nothing is corrected, as in action cameras, camcorders and compact cameras at
their wide end: lines bend by some 5 to 10 % at the frame's edge. Common practice, no source."""

FIXED_SD = 1e-6
"""Of k3, which is held at zero; added to a lens file's variances as well, to keep them regular."""


class Observed(NamedTuple):
    """What one row of the adjustment observed: its kind, its marker (or -1) and its axis."""

    kind: str
    marker: int
    axis: str


@dataclass(frozen=True)
class Posed:
    """State of the adjustment: the camera and the true places of the markers."""

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


def flats(camera: Camera, pixels: Array) -> tuple[Array, Array]:
    """Return the rays of pixels in camera axes and their derivative by the camera.

    Parameters
    ----------
    camera : Camera
    pixels : ndarray, shape (N, 2)

    Returns
    -------
    ndarray, shape (N, 3)
        Right, down, forward, with forward 1; NaN where the lens cannot see so far aside.
    ndarray, shape (N, 3, 14)
    """
    bent = (pixels - camera.centre_px) / camera.focal_px
    flat = undistort(bent, camera.distortion)
    _, by_flat, by_coefficients = distort_with_jacobians(flat, camera.distortion)
    # The pixel stays while the camera changes: the ray makes up for what is bent otherwise.
    by_camera = np.zeros((len(flat), 2, CAMERA_SIZE))
    by_camera[:, :, 6] = bent
    by_camera[:, 0, 7] = by_camera[:, 1, 8] = 1.0 / camera.focal_px
    by_camera[:, :, 9:14] = by_coefficients
    change = np.zeros((len(flat), 3, CAMERA_SIZE))
    if np.all(np.isfinite(flat)):
        change[:, :2] = -np.linalg.solve(by_flat, by_camera)
    return np.column_stack([flat, np.where(np.isfinite(flat[:, :1]), 1.0, np.nan)]), change


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
    middle = (height - 1) / 2.0
    (left, right), change = flats(camera, np.array([[-0.5, middle], [width - 0.5, middle]]))
    dot, cross = float(left @ right), np.cross(left, right)
    sine = float(np.linalg.norm(cross))
    by_cross = np.cross(change[0].T, right) + np.cross(left, change[1].T)
    by_dot = change[0].T @ right + change[1].T @ left
    slope = (dot * by_cross @ (cross / sine) - sine * by_dot) / (dot**2 + sine**2)
    return float(np.arctan2(sine, dot)), slope


def plumb_gap(camera: Camera, plumb: Plumb) -> tuple[float, Array]:
    """Return how far an upright thing's upper pixel lies beside the plumb line of its lower one.

    Returns
    -------
    float
        Pixels, positive on one side and negative on the other.
    ndarray, shape (14,)
        Derivative by the camera's parameters.
    """
    (lower, upper), change = flats(camera, np.stack([plumb.lower_px, plumb.upper_px]))
    down = -camera.rotation[:, 2]
    by_down = np.zeros((CAMERA_SIZE, 3))
    by_down[:3] = np.cross(np.eye(3), down)
    line = np.cross(lower, down)
    by_line = np.cross(change[0].T, down) + np.cross(lower, by_down)
    size = float(np.hypot(line[0], line[1]))
    by_size = by_line[:, :2] @ line[:2] / size
    share = float(line @ upper) / size
    by_share = (by_line @ upper + change[1].T @ line) / size - share / size * by_size
    slope = camera.focal_px * by_share
    slope[6] += camera.focal_px * share
    return camera.focal_px * share, slope


class Observations:
    """The rows of a site's adjustment: what was observed, how well, and what a state predicts.

    Parameters
    ----------
    site : Site
    bends : tuple of float, optional
        Standard uncertainties of k1, k2, p1, p2 about zero where there is no lens; by default those
        of a phone, or of a wide lens where the site says so.

    Attributes
    ----------
    rows : tuple of Observed
    uncertainty : ndarray, shape (M,) or (M, M)
    longer_share : float
        Weight of a departure of the focal length's logarithm towards a longer lens, over that of
        one towards a shorter lens.
    """

    def __init__(self, site: Site, bends: tuple[float, ...] | None = None) -> None:
        self.site = site
        self.markers = site.picked
        self.pixels = np.array([marker.pixel for marker in self.markers]).reshape(-1, 2)
        self.taped = np.array([marker.ground_m for marker in self.markers]).reshape(-1, 3)
        self.lens_values, lens_covariance = _lens_knowledge(site, bends)
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
        unstated = site.lens is None and site.field_of_view_deg is None
        self.longer_share = USUAL_LOG_FOCAL_SD / LONG_LOG_FOCAL_SD if unstated else 1.0
        self.has_view = site.lens is None and site.field_of_view_deg is not None
        if self.has_view:
            rows.append(Observed("view", -1, "angle"))
            sds.append(np.radians(site.view_u_deg))
        if site.level_u_deg is not None:
            rows.append(Observed("level", -1, "roll"))
            sds.append(np.radians(site.level_u_deg))
        for plumb in site.plumbs:
            rows.append(Observed("plumb", -1, plumb.name))
            sds.append(plumb.pixel_u * np.sqrt(2.0))
        self.rows = tuple(rows)
        self.uncertainty = np.array(sds)
        if site.lens is not None:
            full = np.diag(self.uncertainty**2)
            full[self.lens_at, self.lens_at] = lens_covariance
            self.uncertainty = full

    def blunted(self, factor: float) -> Array:
        """Return the uncertainties with those of the pixels enlarged, for a first approximation."""
        count = 2 * len(self.markers)
        scale = np.ones(len(self.rows))
        scale[:count] = factor
        if self.uncertainty.ndim == 1:
            return np.asarray(scale * self.uncertainty, float)
        return np.asarray(scale[:, None] * self.uncertainty * scale[None, :], float)

    def model(self, state: Posed) -> tuple[Array, Array]:
        """Return residuals (observed less computed) and the Jacobian of what is computed."""
        camera, points = state.camera, state.points
        count, size = len(self.markers), CAMERA_SIZE + 3 * len(self.markers)
        pixels, by_point, by_camera = camera.project_with_jacobians(points)
        lens_gap = self.lens_values - lens_vector(camera)
        share = self.longer_share if lens_gap[0] < 0.0 else 1.0
        lens_gap[0] *= share
        residuals = [
            (self.pixels - pixels).ravel(),
            (self.taped - points).ravel(),
            lens_gap,
        ]
        jacobian = np.zeros((len(self.rows), size))
        jacobian[: 2 * count, :CAMERA_SIZE] = by_camera.reshape(-1, CAMERA_SIZE)
        for i in range(count):
            at = CAMERA_SIZE + 3 * i
            jacobian[2 * i : 2 * i + 2, at : at + 3] = by_point[i]
        jacobian[2 * count : 5 * count, CAMERA_SIZE:] = np.eye(3 * count)
        jacobian[self.lens_at, 6:CAMERA_SIZE] = np.eye(8)
        jacobian[self.lens_at.start, 6] = share
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
            at += 1
        for plumb in self.site.plumbs:
            gap, change = plumb_gap(camera, plumb)
            residuals.append(np.array([-gap]))
            jacobian[at, :CAMERA_SIZE] = change
            at += 1
        return np.concatenate(residuals), jacobian


def lens_vector(camera: Camera) -> Array:
    """Return a camera's last eight parameters, shape (8,): log focal, centre, distortion."""
    return np.concatenate([[np.log(camera.focal_px)], camera.centre_px, camera.distortion])


def _lens_knowledge(site: Site, bends: tuple[float, ...] | None) -> tuple[Array, Array]:
    """Return the values and the covariance of what is known of the lens."""
    if site.lens is not None:
        lens = site.lens
        values = np.concatenate([[np.log(lens.focal_px)], lens.centre_px, lens.distortion])
        return values, lens.covariance + FIXED_SD**2 * np.eye(8)
    width, height = site.size_px
    values = np.zeros(8)
    values[0] = np.log(usual_focal_px(site.size_px))
    values[1:3] = (width - 1) / 2.0, (height - 1) / 2.0
    stated = site.field_of_view_deg is not None
    focal_sd = STATED_VIEW_LOG_FOCAL_SD if stated else USUAL_LOG_FOCAL_SD
    centre_sd = CENTRE_SD_SHARE * max(site.size_px)
    if bends is None:
        bends = WIDE_DISTORTION_SD if site.wide else USUAL_DISTORTION_SD
    sds = np.array([focal_sd, centre_sd, centre_sd, *bends, FIXED_SD])
    return values, np.diag(sds**2)
