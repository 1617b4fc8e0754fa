"""What stands on the field and how it is lit: plain facts, drawn elsewhere."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Light:
    """Sky light and sun, in display units: a white level card under it shows its irradiance.

    Parameters
    ----------
    sky : float
        Irradiance of the open sky on level ground.
    sun : float
        Irradiance of the sun on a surface that faces it; 0 under cloud.
    toward_sun : tuple of float
        Direction to the sun in ground axes; its length does not matter.
    ground : float
        Share of the light that the ground throws back up.
    """

    sky: float = 1.0
    sun: float = 0.0
    toward_sun: tuple[float, float, float] = (0.3, -0.5, 0.8)
    ground: float = 0.14

    def sun_direction(self) -> Array:
        """Return the unit vector towards the sun, shape (3,)."""
        toward = np.array(self.toward_sun, float)
        found: Array = toward / np.linalg.norm(toward)
        return found

    def on_level(self) -> float:
        """Return the irradiance of level ground."""
        return float(self.sky + self.sun * max(self.sun_direction()[2], 0.0))

    def on(self, normals: ArrayLike) -> Array:
        """Return the irradiance on surfaces with unit normals, shape (..., 3).

        Sky and ground are taken as even hemispheres, each seen in the share
        ``(1 ± up) / 2`` (Lambert's law over a hemisphere).
        """
        normal = np.asarray(normals, float)
        above = 0.5 * (1.0 + normal[..., 2])
        facing = np.maximum(normal @ self.sun_direction(), 0.0)
        below = self.ground * self.on_level() * (1.0 - above)
        return self.sky * above + below + self.sun * facing


@dataclass(frozen=True)
class FieldMarker:
    """A cone or a pole whose marked point stands at `ground_m`.

    A cone's marked point is the middle of its foot, a pole's is its top.
    """

    name: str
    kind: str
    ground_m: tuple[float, float, float]


@dataclass(frozen=True)
class Tree:
    """A tree behind the hedge: where along it, how tall and wide, m."""

    along_m: float
    height_m: float
    width_m: float
    seed: int


@dataclass(frozen=True)
class Scene:
    """A field.

    Parameters
    ----------
    seed : int
        Seed of every texture.
    light : Light
    hedge_across_m : float
        Where the hedge runs, parallel to the firing line.
    hedge_height_m : float
    grass : tuple of float
        Reflectance of the grass: red, green, blue.
    grass_height_m : float
        Grass taller than the ball hides it.
    cloud_cover : float
        0 for a clear sky, 1 for an overcast one.
    sky_level : float
        Linear light of the sky near the horizon.
    """

    seed: int
    light: Light = field(default_factory=Light)
    hedge_across_m: float = 22.0
    hedge_height_m: float = 3.0
    grass: tuple[float, float, float] = (0.105, 0.150, 0.045)
    grass_height_m: float = 0.0
    cloud_cover: float = 1.0
    sky_level: float = 0.62
    markers: tuple[FieldMarker, ...] = ()
    trees: tuple[Tree, ...] = ()
    launcher_release_m: tuple[float, float, float] | None = (0.0, 0.0, 0.8)
    launcher_angle_deg: float = 42.0
    launcher_wheel_m: float = 0.14
