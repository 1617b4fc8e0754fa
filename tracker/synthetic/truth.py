"""What truly happened in a clip, as plain values for `truth.json`."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.flight.figures import FIGURES
from tracker.synthetic.bound import TrueSighting
from tracker.synthetic.clip import Encoding, Filmed, Take
from tracker.synthetic.flight import FlownBall

Array = NDArray[np.float64]

TRUE_COLUMNS = ("release_s", *FIGURES)
"""The columns of `results/shots.csv` that a shot has a truth for."""


def shot_truth(shot: FlownBall, pace: float = 1.0) -> dict[str, float]:
    """Return the true values of a shot under the names of `results/shots.csv`.

    `pace` is the file's playing time for a second of life: 1 unless the file plays slower.
    """
    launch, landing = shot.launch, shot.landing
    level = float(np.hypot(landing[3], landing[4]))
    return {
        "release_s": launch.release_s * pace,
        "exit_speed_mps": launch.exit_speed_mps,
        "launch_angle_deg": launch.launch_angle_deg,
        "azimuth_deg": launch.azimuth_deg,
        "carry_m": shot.carry_m,
        "landing_along_m": float(landing[0]),
        "landing_across_m": float(landing[1]),
        "apex_m": float(shot.apex[2]),
        "flight_time_s": shot.landing_s - launch.release_s,
        "landing_speed_mps": float(np.linalg.norm(landing[3:])),
        "landing_angle_deg": float(np.degrees(np.arctan2(-landing[5], level))),
    }


def camera_truth(camera: Camera) -> dict[str, Any]:
    """Return the true camera as plain values."""
    return {
        "rotation": camera.rotation.tolist(),
        "position_m": camera.position.tolist(),
        "focal_px": camera.focal_px,
        "centre_px": camera.centre_px.tolist(),
        "size_px": list(camera.size_px),
        "distortion": camera.distortion.tolist(),
    }


def track_truth(sightings: Sequence[TrueSighting]) -> dict[str, list[Any]]:
    """Return the sightings of one shot as columns.

    ``bound_along_px`` and ``bound_across_px`` are Cramér-Rao standard deviations along and
    across the motion, ``bound_px2`` the whole covariance as column-column, column-row, row-row;
    ``None`` where the ball was not visible.
    """
    columns: dict[str, list[Any]] = {
        "frame": [], "time_s": [], "column_px": [], "row_px": [], "visible": [],
        "direction_deg": [], "bound_along_px": [], "bound_across_px": [], "bound_px2": [],
        "streak_px": [], "diameter_px": [], "strength": [],
    }  # fmt: skip
    for seen in sightings:
        along, across = _along_across(seen)
        bound = [seen.covariance[0, 0], seen.covariance[0, 1], seen.covariance[1, 1]]
        columns["frame"].append(seen.frame)
        columns["time_s"].append(round(seen.time_s, 9))
        columns["column_px"].append(_plain(seen.pixel[0], 6))
        columns["row_px"].append(_plain(seen.pixel[1], 6))
        columns["visible"].append(seen.visible)
        columns["direction_deg"].append(_plain(seen.direction_deg, 4))
        columns["bound_along_px"].append(_plain(along, 6))
        columns["bound_across_px"].append(_plain(across, 6))
        columns["bound_px2"].append([_plain(value, 9) for value in bound])
        columns["streak_px"].append(_plain(seen.streak_px, 4))
        columns["diameter_px"].append(_plain(seen.diameter_px, 4))
        columns["strength"].append(_plain(seen.strength, 3))
    return columns


def clip_truth(
    file: str,
    setup: str,
    take: Take,
    encoding: Encoding,
    filmed: Sequence[Filmed],
) -> dict[str, Any]:
    """Return everything true of one clip."""
    playing = encoding.playing_fps or take.sensor.fps
    shots = []
    for shot, facts in zip(take.shots, filmed, strict=True):
        seen = facts.sightings
        shots.append(
            {
                **shot_truth(shot, take.sensor.fps / playing),
                "landing_seen": _landing_seen(shot, take),
                "frames_visible": sum(sight.visible for sight in seen),
                "release_m": list(shot.launch.release_m),
                "landing_m": shot.landing[:3].tolist(),
                "true_release_s": shot.launch.release_s,
                "mass_g": shot.ball.mass_kg * 1000.0,
                "diameter_mm": shot.ball.diameter_m * 1000.0,
                "drag_coefficient": shot.ball.drag_coefficient,
                "lift_coefficient": shot.ball.lift_coefficient,
                "lift_fade": shot.ball.lift_fade,
                "spin_tilt_deg": shot.launch.spin_tilt_deg,
                "wind_mps": list(shot.air.wind_mps),
                "air_density_kgpm3": shot.air.density_kgpm3,
                "gravity_mps2": shot.air.gravity_mps2,
                "coding_loss": None if facts.coding_loss is None else round(facts.coding_loss, 4),
                "track": track_truth(seen),
            }
        )
    sensor = take.sensor
    turns = []
    if take.sway is not None:
        frames = np.arange(take.frame_count) / sensor.fps
        turns = [[_plain(part, 9) for part in take.sway.turn(time_s)] for time_s in frames]
    return {
        "file": file,
        "setup": setup,
        "frames": take.frame_count,
        "capture_fps": sensor.fps,
        "playing_fps": playing,
        "exposure_s": sensor.exposure_s,
        "readout_s": sensor.readout_s,
        "rotation_deg": sensor.rotation_deg,
        "psf_px": sensor.psf_px,
        "noise": sensor.noise,
        "grain_px": sensor.grain_px,
        "movers": [type(mover).__name__ for mover in take.movers],
        "camera": camera_truth(take.camera),
        "sway_turns_rad": turns,
        "shots": shots,
    }


def write_truth(path: Path, truth: dict[str, Any]) -> None:
    """Write `truth.json`: one line for each list of numbers."""
    path.write_text(_lines(truth) + "\n", encoding="utf-8", newline="\n")


def _landing_seen(shot: FlownBall, take: Take) -> bool:
    """Return whether the first bounce is in the frame and not in long grass."""
    pixel = take.camera.project(shot.landing[:3])[0]
    inside = np.all(pixel > -0.5) and np.all(pixel < np.array(take.camera.size_px) - 0.5)
    in_time = shot.landing_s < (take.frame_count - 1) / take.sensor.fps
    return bool(inside and in_time and take.scene.grass_height_m < shot.ball.diameter_m)


def _along_across(seen: TrueSighting) -> tuple[float, float]:
    """Return the bound's standard deviations along and across the motion."""
    turn = np.radians(seen.direction_deg)
    ahead = np.array([np.cos(turn), np.sin(turn)])
    aside = np.array([-ahead[1], ahead[0]])
    return (
        float(np.sqrt(ahead @ seen.covariance @ ahead)),
        float(np.sqrt(aside @ seen.covariance @ aside)),
    )


def _plain(value: float, digits: int) -> float | None:
    """Return a rounded number; None where it is none."""
    return round(float(value), digits) if np.isfinite(value) else None


def _lines(value: Any, depth: int = 0) -> str:
    """Return JSON indented by one space, with lists of plain values on one line."""
    pad = " " * (depth + 1)
    if isinstance(value, dict) and value:
        inner = [
            f"{pad}{json.dumps(key)}: {_lines(item, depth + 1)}" for key, item in value.items()
        ]
        return "{\n" + ",\n".join(inner) + "\n" + " " * depth + "}"
    if isinstance(value, list) and value and isinstance(value[0], dict):
        inner = [pad + _lines(item, depth + 1) for item in value]
        return "[\n" + ",\n".join(inner) + "\n" + " " * depth + "]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
