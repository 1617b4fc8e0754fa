"""Simulated fields with known truth: what a person would tape and pick in four usual layouts."""

from dataclasses import dataclass, replace

import numpy as np

from calibration.camera import Camera, looking_at
from calibration.lens import Lens
from calibration.markers import Marker
from calibration.site import Site
from calibration.site.observations import horizontal_view

LAYOUTS = ("line and taped camera", "line and one pole", "rectangle", "line and lens file")


@dataclass(frozen=True)
class Field:
    """A site as somebody would write it down, and the truth behind it."""

    site: Site
    camera: Camera


def field(layout: str, rng: np.random.Generator, size: tuple[int, int] = (1920, 1080)) -> Field:
    """Draw a field: every error that the site's uncertainties speak of is drawn from them."""
    while True:
        drawn = _draw(layout, rng, size)
        if drawn is not None:
            return drawn


def _draw(layout: str, rng: np.random.Generator, size: tuple[int, int]) -> Field | None:
    width = size[0]
    focal = max(size) / 2.0 / np.tan(np.radians(65.0) / 2.0) * np.exp(0.15 * rng.normal())
    side = rng.choice([-1.0, 1.0])
    reach = 1.15 * 22.0 * focal / (width / 2.0) * rng.uniform(1.0, 1.35)
    position = np.array([20 + rng.uniform(-4, 4), side * reach, rng.uniform(1.2, 2.0)])
    aim = (20 + rng.uniform(-1, 1), 0.0, rng.uniform(1.0, 5.0))
    camera = looking_at(position, aim, focal, size, roll_rad=np.radians(rng.normal()))
    sds = np.array([0.02, 0.01, 0.0007, 0.0007, 0.0])
    camera = replace(
        camera,
        distortion=rng.normal(size=5) * sds,
        centre_px=camera.centre_px + rng.normal(size=2) * 0.006 * max(size),
    )
    ground = [(x, 0.0, 0.0) for x in (0.0, 10.0, 20.0, 30.0, 40.0)]
    if layout == "line and one pole":
        ground.append((20.0, 0.0, 2.0))
    if layout == "rectangle":
        near = -2.5 * side
        ground = [(0, 0, 0), (20, 0, 0), (40, 0, 0), (0, near * 4, 0), (40, near * 4, 0)]
    taped = np.array(ground, float)
    true = taped + 0.02 * rng.normal(size=taped.shape)
    pixels = camera.project(true) + rng.normal(size=(len(taped), 2))
    inside = (pixels > 0).all() and (pixels < np.array(size) - 1).all()
    if not inside:
        return None
    markers = tuple(
        Marker(f"marker {i}", taped[i], 0.02, pixels[i], 1.0) for i in range(len(taped))
    )
    known: dict = {}
    if layout != "rectangle":
        known["position_m"] = position + 0.1 * rng.normal(size=3)
    if layout == "line and one pole":
        known["field_of_view_deg"] = float(
            np.degrees(horizontal_view(camera)[0]) * (1.0 + 0.01 * rng.normal())
        )
        known["level_u_deg"] = 1.0
    if layout == "line and lens file":
        known["lens"] = _lens(camera, rng)
    return Field(Site(size, markers, **known), camera)


def _lens(camera: Camera, rng: np.random.Generator) -> Lens:
    sds = np.array([0.002, 2.0, 2.0, 0.003, 0.006, 0.0003, 0.0003, 1e-6])
    mixing = np.eye(8)
    mixing[4, 3] = -0.8
    mixing[0, 3] = 0.3
    root = sds[:, None] * mixing
    error = root @ rng.normal(size=8)
    return Lens(
        focal_px=float(camera.focal_px * np.exp(error[0])),
        centre_px=camera.centre_px + error[1:3],
        distortion=camera.distortion + error[3:],
        covariance=root @ root.T,
        size_px=camera.size_px,
    )
