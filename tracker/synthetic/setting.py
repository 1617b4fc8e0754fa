"""What a clip's movers have to fit into."""

from dataclasses import dataclass

from calibration.camera import Camera
from tracker.synthetic.flight import FlownBall
from tracker.synthetic.scene import Scene


@dataclass(frozen=True)
class Setting:
    """What a mover has to fit into.

    Parameters
    ----------
    scene : Scene
    camera : Camera
    shots : tuple of FlownBall
    duration_s : float
    psf_px : float
    exposure_s : float
    """

    scene: Scene
    camera: Camera
    shots: tuple[FlownBall, ...]
    duration_s: float
    psf_px: float
    exposure_s: float

    def across(self, share: float) -> float:
        """Return a place across the field: 0 under the camera, 1 on the hedge."""
        near, far = self.camera.position[1], self.scene.hedge_across_m
        return float(near + share * (far - near))

    def edges(self, across_m: float) -> tuple[float, float]:
        """Return how far along the field is in the picture at a place across it."""
        width, height = self.camera.size_px
        sides = self.camera.on_plane(
            [[0.0, height / 2.0], [width - 1.0, height / 2.0]],
            (0.0, across_m, 0.0),
            (0.0, 1.0, 0.0),
        )
        return float(sides[:, 0].min()), float(sides[:, 0].max())
