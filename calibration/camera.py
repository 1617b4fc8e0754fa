"""The camera: position, direction and lens with their covariance."""

from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

PARAMETERS = (
    "turn_x",
    "turn_y",
    "turn_z",
    "along",
    "across",
    "up",
    "log_focal",
    "centre_column",
    "centre_row",
    "k1",
    "k2",
    "p1",
    "p2",
    "k3",
)
"""Order of the camera's parameters in every covariance and Jacobian.

``turn`` is a small rotation in radians about the camera's own axes, applied after the
rotation that the camera holds; ``along``, ``across``, ``up`` move its centre (metres);
``log_focal`` is the natural logarithm of the focal length; the centre is in pixels.
"""


FRAME_MARGIN_PX = 1.0
"""What lies nearer to the frame's edge counts as outside, px: its picture is cut off. Common
practice, no source."""


UNDISTORT_STEPS = 14
"""Most of Newton's steps from a bent place to its ray. A lens that sees the place takes four to
eight; one that folds its picture there wanders for long, and ends where no light comes from."""


@dataclass(frozen=True)
class Camera:
    """A pinhole camera with radial and tangential distortion.

    Parameters
    ----------
    rotation : ndarray, shape (3, 3)
        Turns ground axes (along, across, up) into camera axes (right, down, forward).
    position : ndarray, shape (3,)
        Centre of projection in ground coordinates, m.
    focal_px : float
        Focal length in pixels.
    centre_px : ndarray, shape (2,)
        Principal point ``(column, row)``; the centre of the top-left pixel is ``(0, 0)``.
    size_px : tuple of int
        Width and height of the frame as it is shown.
    distortion : ndarray, shape (5,)
        ``k1, k2, p1, p2, k3`` as in the OpenCV calib3d documentation.
    covariance : ndarray, shape (14, 14)
        Covariance of the parameters in the order of `PARAMETERS`.
    """

    rotation: Array
    position: Array
    focal_px: float
    centre_px: Array
    size_px: tuple[int, int]
    distortion: Array = field(default_factory=lambda: np.zeros(5))
    covariance: Array = field(default_factory=lambda: np.zeros((14, 14)))

    def in_camera(self, points: ArrayLike) -> Array:
        """Return ground points, shape (N, 3) in m, in camera axes (right, down, forward)."""
        return (np.asarray(points, float).reshape(-1, 3) - self.position) @ self.rotation.T

    def project(self, points: ArrayLike) -> Array:
        """Project ground points to pixels.

        Parameters
        ----------
        points : array_like, shape (N, 3)
            Ground coordinates, m.

        Returns
        -------
        ndarray, shape (N, 2)
            Column and row; NaN for a point that is not in front of the camera.
        """
        seen = self.in_camera(points)
        depth = np.where(seen[:, 2] > 1e-6, seen[:, 2], np.nan)
        bent = distort(seen[:, :2] / depth[:, None], self.distortion)
        return self.focal_px * bent + self.centre_px

    def project_with_jacobians(self, points: ArrayLike) -> tuple[Array, Array, Array]:
        """Project ground points and differentiate.

        Parameters
        ----------
        points : array_like, shape (N, 3)
            Ground coordinates, m.

        Returns
        -------
        pixels : ndarray, shape (N, 2)
        by_point : ndarray, shape (N, 2, 3)
            Derivative by the ground coordinates, px/m.
        by_camera : ndarray, shape (N, 2, 14)
            Derivative by the camera's parameters in the order of `PARAMETERS`.
        """
        seen = self.in_camera(points)
        count = len(seen)
        depth = np.where(seen[:, 2] > 1e-6, seen[:, 2], np.nan)
        flat = seen[:, :2] / depth[:, None]
        bent, by_flat, by_coefficients = distort_with_jacobians(flat, self.distortion)
        pixels = self.focal_px * bent + self.centre_px

        flat_by_seen = np.zeros((count, 2, 3))
        flat_by_seen[:, 0, 0] = flat_by_seen[:, 1, 1] = 1.0 / depth
        flat_by_seen[:, :, 2] = -flat / depth[:, None]
        by_seen = self.focal_px * by_flat @ flat_by_seen

        by_point = by_seen @ self.rotation
        by_camera = np.zeros((count, 2, len(PARAMETERS)))
        by_camera[:, :, 0:3] = -by_seen @ _cross_matrices(seen)
        by_camera[:, :, 3:6] = -by_point
        by_camera[:, :, 6] = self.focal_px * bent
        by_camera[:, 0, 7] = by_camera[:, 1, 8] = 1.0
        by_camera[:, :, 9:14] = self.focal_px * by_coefficients
        return pixels, by_point, by_camera

    def in_frame(self, pixels: ArrayLike) -> NDArray[np.bool_]:
        """Return which pixels, shape (..., 2), lie in the frame, off its edge, shape (...).

        NaN lies outside.
        """
        last = np.array(self.size_px) - 1.0
        places = np.asarray(pixels, float)
        with np.errstate(invalid="ignore"):
            inside: NDArray[np.bool_] = np.all(
                (places > FRAME_MARGIN_PX) & (places < last - FRAME_MARGIN_PX), axis=-1
            )
        return inside

    def rays(self, pixels: ArrayLike) -> Array:
        """Return unit directions in ground axes, shape (N, 3), of pixels, shape (N, 2)."""
        bent = (np.asarray(pixels, float).reshape(-1, 2) - self.centre_px) / self.focal_px
        flat = undistort(bent, self.distortion)
        forward = np.column_stack([flat, np.ones(len(flat))]) @ self.rotation
        return np.asarray(forward / np.linalg.norm(forward, axis=1, keepdims=True), float)

    def on_plane(self, pixels: ArrayLike, point: ArrayLike, normal: ArrayLike) -> Array:
        """Return where the pixels' rays meet a plane.

        Parameters
        ----------
        pixels : array_like, shape (N, 2)
        point, normal : array_like, shape (3,)
            A point of the plane (m) and its normal.

        Returns
        -------
        ndarray, shape (N, 3)
            Ground coordinates, m; NaN where the ray misses the plane or meets it behind.
        """
        directions = self.rays(pixels)
        normal = np.asarray(normal, float)
        slant = directions @ normal
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = ((np.asarray(point, float) - self.position) @ normal) / slant
        distance = np.where(distance > 0, distance, np.nan)
        return self.position + distance[:, None] * directions

    def on_ground(self, pixels: ArrayLike) -> Array:
        """Return where the pixels' rays meet the level ground of the origin, shape (N, 3)."""
        return self.on_plane(pixels, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0))

    def perturbed(self, change: ArrayLike) -> Self:
        """Return the camera with its parameters moved by `change`, shape (14,)."""
        step = np.asarray(change, float)
        return replace(
            self,
            rotation=rotation_from_vector(step[:3]) @ self.rotation,
            position=self.position + step[3:6],
            focal_px=float(self.focal_px * np.exp(step[6])),
            centre_px=self.centre_px + step[7:9],
            distortion=self.distortion + step[9:14],
        )

    def with_covariance(self, covariance: ArrayLike) -> Self:
        """Return the same camera with another covariance, shape (14, 14)."""
        return replace(self, covariance=np.asarray(covariance, float))

    def resized(self, size_px: tuple[int, int]) -> Self:
        """Return the camera of the same pictures made larger or smaller to another size.

        Parameters
        ----------
        size_px : tuple of int
            Width and height; their ratio may differ by the rounding to whole pixels.
        """
        factor = np.array(size_px, float) / np.array(self.size_px, float)
        scale = np.ones(len(PARAMETERS))
        scale[7:9] = factor
        return replace(
            self,
            focal_px=float(self.focal_px * factor.mean()),
            centre_px=(self.centre_px + 0.5) * factor - 0.5,
            size_px=size_px,
            covariance=self.covariance * np.outer(scale, scale),
        )


def looking_at(
    position: ArrayLike,
    target: ArrayLike,
    focal_px: float,
    size_px: tuple[int, int],
    roll_rad: float = 0.0,
    distortion: ArrayLike = (0.0, 0.0, 0.0, 0.0, 0.0),
) -> Camera:
    """Return a camera at `position` that points at `target`, both in m.

    `roll_rad` turns the frame clockwise as seen by the camera, about the line of sight.
    The principal point is the middle of the frame.
    """
    centre = np.asarray(position, float)
    forward = np.asarray(target, float) - centre
    forward = forward / np.linalg.norm(forward)
    right = np.cross(forward, (0.0, 0.0, 1.0))
    right = right / np.linalg.norm(right)
    down = np.cross(forward, right)
    upright = np.stack([right, down, forward])
    return Camera(
        rotation=rotation_from_vector((0.0, 0.0, -roll_rad)) @ upright,
        position=centre,
        focal_px=float(focal_px),
        centre_px=np.array([(size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0]),
        size_px=size_px,
        distortion=np.asarray(distortion, float),
    )


def distort(flat: Array, coefficients: Array) -> Array:
    """Bend ideal image coordinates, shape (N, 2), by ``k1, k2, p1, p2, k3`` (OpenCV calib3d)."""
    x, y = flat[:, 0], flat[:, 1]
    k1, k2, p1, p2, k3 = coefficients
    r2 = x * x + y * y
    radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return np.column_stack(
        [
            x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        ]
    )


def undistort(bent: Array, coefficients: Array) -> Array:
    """Undo `distort` by Newton's method, shape (N, 2); NaN where it does not converge."""
    if not np.any(coefficients):
        return bent.copy()
    flat = bent.copy()
    for _ in range(UNDISTORT_STEPS):
        value, slope, _ = distort_with_jacobians(flat, coefficients)
        gap = bent - value
        with np.errstate(all="ignore"):
            determinant = slope[:, 0, 0] * slope[:, 1, 1] - slope[:, 0, 1] * slope[:, 1, 0]
            step = np.column_stack(
                [
                    slope[:, 1, 1] * gap[:, 0] - slope[:, 0, 1] * gap[:, 1],
                    slope[:, 0, 0] * gap[:, 1] - slope[:, 1, 0] * gap[:, 0],
                ]
            )
            step = step / determinant[:, None]
        flat = flat + step
        # The error of the next step is of the square of this one.
        if not np.any(np.abs(step) > 1e-9):
            break
    with np.errstate(invalid="ignore"):
        settled = np.all(np.abs(distort(flat, coefficients) - bent) < 1e-9, axis=1)
    flat[~settled] = np.nan
    return flat


def rotation_from_vector(vector: ArrayLike) -> Array:
    """Return the rotation matrix of a rotation vector in radians (Rodrigues' formula)."""
    turn = np.asarray(vector, float)
    angle = float(np.linalg.norm(turn))
    cross = _cross_matrices(turn.reshape(1, 3))[0]
    if angle < 1e-8:
        return np.asarray(np.eye(3) + cross + 0.5 * cross @ cross, float)
    found: Array = (
        np.eye(3) + np.sin(angle) / angle * cross + (1.0 - np.cos(angle)) / angle**2 * cross @ cross
    )
    return found


def by_turn(turn: Array) -> Array:
    """Return how a small turn grows out of a change of a rotation vector, shape (3, 3).

    The left Jacobian of the rotations (J. Stuelpnagel, SIAM Review 6, 422, 1964), to the third
    order: a camera's turn is a few hundredths.
    """
    x, y, z = turn
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    squared = cross @ cross
    share: Array = np.eye(3) + cross / 2.0 + squared / 6.0 - cross * float(turn @ turn) / 24.0
    return share


def _cross_matrices(vectors: Array) -> Array:
    """Return matrices, shape (N, 3, 3), that take the cross product from the left."""
    matrices = np.zeros((len(vectors), 3, 3))
    matrices[:, 0, 1], matrices[:, 0, 2] = -vectors[:, 2], vectors[:, 1]
    matrices[:, 1, 0], matrices[:, 1, 2] = vectors[:, 2], -vectors[:, 0]
    matrices[:, 2, 0], matrices[:, 2, 1] = -vectors[:, 1], vectors[:, 0]
    return matrices


def distort_with_jacobians(flat: Array, coefficients: Array) -> tuple[Array, Array, Array]:
    """Return `distort`, its derivative by the point (N, 2, 2) and by its coefficients (N, 2, 5)."""
    x, y = flat[:, 0], flat[:, 1]
    k1, k2, p1, p2, k3 = coefficients
    r2 = x * x + y * y
    radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
    slope = k1 + r2 * (2.0 * k2 + 3.0 * r2 * k3)
    by_flat = np.empty((len(flat), 2, 2))
    by_flat[:, 0, 0] = radial + 2.0 * x * x * slope + 2.0 * p1 * y + 6.0 * p2 * x
    by_flat[:, 0, 1] = 2.0 * x * y * slope + 2.0 * p1 * x + 2.0 * p2 * y
    by_flat[:, 1, 0] = by_flat[:, 0, 1]
    by_flat[:, 1, 1] = radial + 2.0 * y * y * slope + 6.0 * p1 * y + 2.0 * p2 * x
    by_coefficients = np.empty((len(flat), 2, 5))
    by_coefficients[:, :, 0] = flat * r2[:, None]
    by_coefficients[:, :, 1] = flat * (r2 * r2)[:, None]
    by_coefficients[:, 0, 2], by_coefficients[:, 1, 2] = 2.0 * x * y, r2 + 2.0 * y * y
    by_coefficients[:, 0, 3], by_coefficients[:, 1, 3] = r2 + 2.0 * x * x, 2.0 * x * y
    by_coefficients[:, :, 4] = flat * (r2 * r2 * r2)[:, None]
    return distort(flat, coefficients), by_flat, by_coefficients
