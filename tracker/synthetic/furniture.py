"""What stands still on the field: the launcher, cones and poles."""

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.synthetic.plate import Plate
from tracker.synthetic.scene import FieldMarker, Scene
from tracker.synthetic.sprite import Shape, disc, lay, limb, paint, upright

Array = NDArray[np.float64]

ORANGE = np.array([0.62, 0.13, 0.02])
WHITE = np.array([0.75, 0.75, 0.74])
WOOD = np.array([0.30, 0.19, 0.10])
STEEL = np.array([0.20, 0.21, 0.22])
TYRE = np.array([0.035, 0.035, 0.038])
BLUE = np.array([0.05, 0.12, 0.38])
"""Reflectances: red, green, blue in linear light, chosen by eye from weathered things outdoors."""


def furnish(plate: Plate, scene: Scene, camera: Camera, psf_px: float) -> None:
    """Draw the markers and the launcher on the plate, far ones first."""
    things = [(marker.ground_m, marker_shapes(marker, scene, camera)) for marker in scene.markers]
    if scene.launcher_release_m is not None:
        things.append((scene.launcher_release_m, launcher_shapes(scene)))
    things.sort(key=lambda thing: -float(camera.in_camera(thing[0])[0, 2]))
    for _, shapes in things:
        patch = paint(shapes, camera, psf_px)
        if patch is not None:
            lay(plate, patch)


def marker_shapes(marker: FieldMarker, scene: Scene, camera: Camera) -> list[Shape]:
    """Return the shapes of a cone on its foot or of a pole below its top, facing the camera."""
    face = scene.light.on(_toward(camera, marker.ground_m))
    sideways = np.cross(_toward(camera, marker.ground_m), [0.0, 0.0, 1.0])
    flat: list[tuple[list[tuple[float, float]], Array]]
    if marker.kind == "cone":
        flat = [
            ([(-0.14, -0.01), (0.14, -0.01), (0.14, 0.02), (-0.14, 0.02)], ORANGE),
            ([(-0.10, 0.02), (0.10, 0.02), (0.025, 0.33), (-0.025, 0.33)], ORANGE),
            ([(-0.073, 0.13), (0.073, 0.13), (0.054, 0.21), (-0.054, 0.21)], WHITE),
        ]
    else:
        height = marker.ground_m[2]
        bands = np.linspace(-height, 0.0, max(2, round(height / 0.25)) + 1)
        flat = [
            ([(-0.02, low), (0.02, low), (0.02, high), (-0.02, high)], tint)
            for low, high, tint in zip(
                bands[:-1],
                bands[1:],
                [WHITE if i % 2 else ORANGE for i in range(len(bands))],
                strict=False,
            )
        ]
    return [
        Shape(upright(marker.ground_m, sideways, corners), face * tint) for corners, tint in flat
    ]


def launcher_shapes(scene: Scene) -> list[Shape]:
    """Return the launcher in the upright plane of the firing line, its muzzle at the release."""
    release = np.array(scene.launcher_release_m, float)
    rise = np.radians(scene.launcher_angle_deg)
    ahead = np.array([np.cos(rise), np.sin(rise)])
    normal = np.array([-ahead[1], ahead[0]])
    wheel = 0.5 * scene.launcher_wheel_m
    nip = -0.10 * ahead
    foot = -release[2]
    pieces: list[tuple[Array, Array]] = []
    # Battery and control box on the stand's foot.
    pieces.append((_box(-0.52, foot + 0.02, 0.24, 0.17), BLUE))
    pieces.append((_box(-0.18, foot + 0.02, 0.16, 0.12), TYRE))
    for toe, top in (((-0.70, foot), (-0.22, -0.16)), ((0.12, foot), (-0.16, -0.16))):
        pieces.append((limb(toe, top, 0.055), WOOD))
    pieces.append((limb((-0.78, foot + 0.02), (0.20, foot + 0.02), 0.05), WOOD))
    # Feed trough, side plate, two wheels with hubs and motors.
    pieces.append((limb(nip - 0.72 * ahead - 0.045 * normal, nip, 0.02), STEEL))
    pieces.append((limb(nip - 0.72 * ahead + 0.045 * normal, nip - 0.25 * ahead, 0.012), STEEL))
    plate = nip + np.array(
        [
            s * 0.11 * ahead + t * (wheel + 0.10) * normal
            for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]
    )
    pieces.append((plate, WOOD * 1.25))
    for side in (-1.0, 1.0):
        middle = nip + side * (wheel + 0.028) * normal
        pieces.append((disc(middle, (wheel, wheel), 40), TYRE))
        pieces.append((disc(middle, (0.72 * wheel, 0.72 * wheel), 40), WHITE * 0.8))
        pieces.append((disc(middle, (0.022, 0.022)), STEEL))
    level = scene.light.on(np.array([0.0, -np.sign(scene.hedge_across_m), 0.0]))
    return [
        Shape(upright(release, (1.0, 0.0, 0.0), corners), level * tint) for corners, tint in pieces
    ]


def _box(left: float, low: float, width: float, height: float) -> Array:
    """Return the corners of an upright rectangle, shape (4, 2)."""
    return np.array(
        [(left, low), (left + width, low), (left + width, low + height), (left, low + height)]
    )


def _toward(camera: Camera, point: tuple[float, float, float]) -> Array:
    """Return the level unit direction from a point to the camera."""
    gap = camera.position[:2] - np.array(point[:2])
    return np.append(gap / np.linalg.norm(gap), 0.0)
