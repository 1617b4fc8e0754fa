"""Priors of a flight fit as whitened rows: residuals and slopes."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera, by_turn
from tracker.fitting.normal_equations import information_root
from tracker.fitting.parameters import CAMERA_AT

Array = NDArray[np.float64]

CameraRows = Callable[[Camera], tuple[Array, Array]]
"""Returns what is known of a camera, about a given one: whitened residuals, shape (M,), and the
derivative of what is computed by a small move of the camera, shape (M, 14)."""


class Prior(Protocol):
    """What is known of the parameters before any position is seen."""

    @property
    def count(self) -> int:
        """Number of rows."""
        ...

    def rows(self, at: Array) -> tuple[Array, Array]:
        """Return whitened residuals, shape (M,), and slopes, shape (M, P), at parameters.

        The residuals are not finite where the parameters cannot be.
        """
        ...

    def information(self, at: Array) -> Array:
        """Return the inverse covariance of the prior near parameters, shape (P, P)."""
        ...


@dataclass(frozen=True)
class NormalPrior:
    """A normal prior of all parameters.

    Attributes
    ----------
    mean : ndarray, shape (P,)
    root : ndarray, shape (M, P)
        Its product with itself is the inverse covariance.
    """

    mean: Array
    root: Array

    @classmethod
    def of(cls, mean: Array, information: Array) -> Self:
        """Return the prior of a mean, shape (P,), and an inverse covariance, shape (P, P)."""
        return cls(mean, information_root(information))

    @property
    def count(self) -> int:
        """Number of rows."""
        return len(self.root)

    def rows(self, at: Array) -> tuple[Array, Array]:
        """Return whitened residuals and slopes at parameters, shape (P,)."""
        return self.root @ (self.mean - at), self.root

    def information(self, at: Array) -> Array:
        """Return the inverse covariance, the same everywhere, shape (P, P)."""
        information: Array = self.root.T @ self.root
        return information


class CameraPrior:
    """A prior that is normal but for the camera, which is held against what is known of it.

    Along the valley in which distance and focal length compensate each other no normal law
    describes what markers and habit say of a camera: its rows are computed anew at every step.

    Parameters
    ----------
    normal : NormalPrior
        Of the other parameters; without rows for the camera.
    camera : Camera
        About which the camera's parameters are moves.
    known : callable
    """

    def __init__(self, normal: NormalPrior, camera: Camera, known: CameraRows) -> None:
        self._normal, self._camera, self._known = normal, camera, known
        self._camera_rows = len(known(camera)[0])

    @property
    def count(self) -> int:
        """Number of rows."""
        return self._normal.count + self._camera_rows

    def rows(self, at: Array) -> tuple[Array, Array]:
        """Return whitened residuals and slopes at parameters, shape (P,)."""
        gap, slope = self._normal.rows(at)
        move = at[CAMERA_AT:]
        off, by_camera = self._known(self._camera.perturbed(move))
        own = np.zeros((len(off), len(at)))
        own[:, CAMERA_AT:] = by_camera
        own[:, CAMERA_AT : CAMERA_AT + 3] = by_camera[:, :3] @ by_turn(move[:3])
        return np.concatenate([gap, off]), np.concatenate([slope, own])

    def information(self, at: Array) -> Array:
        """Return the inverse covariance of the normal law near parameters, shape (P, P)."""
        slope = self.rows(at)[1]
        information: Array = slope.T @ slope
        return information
