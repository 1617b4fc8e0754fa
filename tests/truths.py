"""What `tracker.synthetic.truth` writes down, read back."""

import json
from pathlib import Path
from typing import Any

import numpy as np

from calibration.camera import Camera


def camera_from_truth(values: dict[str, Any]) -> Camera:
    """Return the camera that `camera_truth` wrote down."""
    return Camera(
        rotation=np.array(values["rotation"]),
        position=np.array(values["position_m"]),
        focal_px=values["focal_px"],
        centre_px=np.array(values["centre_px"]),
        size_px=(values["size_px"][0], values["size_px"][1]),
        distortion=np.array(values["distortion"]),
    )


def read_truth(path: Path) -> dict[str, Any]:
    """Return what `write_truth` wrote."""
    values: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return values
