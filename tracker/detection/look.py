"""How a ball will look in a clip, from the calibration and what balls do."""

import numpy as np

from calibration.camera import Camera
from tracker.detection.finder import Look
from tracker.flight.forces import Forces
from tracker.flight.trajectory import fly_many


def look_for(
    camera: Camera,
    release_m: np.ndarray,
    diameter_m: float,
    drag: float,
    forces: Forces,
    frame_s: float,
) -> Look:
    """Return what to look for, from flights of every usual kind in this camera's view.

    Parameters
    ----------
    camera : Camera
    release_m : ndarray, shape (3,)
    diameter_m : float
    drag : float
        Drag coefficient.
    forces : Forces
    frame_s : float
        True time from one frame to the next.
    """
    speeds, angles = np.arange(6.0, 36.1, 3.0), np.radians(np.arange(0.0, 81.0, 8.0))
    turns = np.radians([-8.0, 0.0, 8.0])
    speed, angle, turn = (grid.ravel() for grid in np.meshgrid(speeds, angles, turns))
    launches = np.zeros((len(speed), 11))
    launches[:, 0:3] = release_m
    launches[:, 3] = speed * np.cos(angle) * np.cos(turn)
    launches[:, 4] = speed * np.cos(angle) * np.sin(turn)
    launches[:, 5] = speed * np.sin(angle)
    launches[:, 6] = drag
    step_s = 0.02
    _, states = fly_many(launches, forces, 5.0, step_s)
    width, height = camera.size_px
    pixels = camera.project(states[:, :, :3].reshape(-1, 3)).reshape(*states.shape[:2], 2)
    depth = camera.in_camera(states[:, :, :3].reshape(-1, 3))[:, 2].reshape(states.shape[:2])
    with np.errstate(invalid="ignore"):
        shows = (
            (states[:, :, 2] > 0.0)
            & (pixels[:, :, 0] >= 0)
            & (pixels[:, :, 0] < width)
            & (pixels[:, :, 1] >= 0)
            & (pixels[:, :, 1] < height)
        )
    if not np.any(shows[:-1] & shows[1:]):
        return Look(4.0, 10.0, 1, (0, 0, width, height))
    diameter = float(np.median(camera.focal_px * diameter_m / depth[shows]))
    moved = np.linalg.norm(np.diff(pixels, axis=0), axis=2) * (frame_s / step_s)
    moved = moved[shows[:-1] & shows[1:]]
    usual, fast = np.percentile(moved, [40, 75])
    margin = diameter + fast + 4.0
    left, top = np.floor(np.min(pixels[shows], axis=0) - margin).astype(int)
    right, bottom = np.ceil(np.max(pixels[shows], axis=0) + margin).astype(int)
    return Look(
        diameter_px=diameter,
        step_px=float(fast),
        lag=int(np.clip(round((diameter + 1.0) / max(usual, 0.1) + 0.4), 1, 8)),
        window=(max(0, left), max(0, top), min(width, right + 1), min(height, bottom + 1)),
        most=90 if diameter < 8.0 else 60,
    )
