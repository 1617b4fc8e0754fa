"""Intersection of the pixels' rays with the upright plane over the firing line, from a mesh."""

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera

Array = NDArray[np.float64]

MESH_PX = 8
"""Spacing of the mesh, px: the error of a bilinear interpolation is far below the spacing of the
flights that are tried."""


class PlaneMap:
    """Ground coordinates on the plane through the firing line, on a mesh of the frame.

    Undoing the lens for every candidate would cost more than finding it.

    Parameters
    ----------
    camera : Camera
    release_m : ndarray, shape (3,)
        A point of the plane.
    """

    def __init__(self, camera: Camera, release_m: Array) -> None:
        width, height = camera.size_px
        columns = np.arange(0, width + MESH_PX, MESH_PX)
        rows = np.arange(0, height + MESH_PX, MESH_PX)
        pixels = np.stack(np.meshgrid(columns, rows), axis=2).reshape(-1, 2)
        places = camera.on_plane(pixels, release_m, (0.0, 1.0, 0.0))
        self._mesh = places.reshape(len(rows), len(columns), 3)

    def places(self, pixels: Array) -> Array:
        """Return ground coordinates, shape (N, 3), of pixels, shape (N, 2); NaN off the plane.

        A pixel outside the frame takes the extrapolation of the nearest cell.
        """
        at = pixels / MESH_PX
        first = np.clip(np.floor(at).astype(int), 0, np.array(self._mesh.shape[1::-1]) - 2)
        column, row = first.T
        right, down = (at - first).T[:, :, None]
        upper = (1.0 - right) * self._mesh[row, column] + right * self._mesh[row, column + 1]
        lower = (1.0 - right) * self._mesh[row + 1, column] + right * self._mesh[
            row + 1, column + 1
        ]
        places: Array = (1.0 - down) * upper + down * lower
        return places
