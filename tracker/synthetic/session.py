"""A whole session folder from a recipe and a seed: clips, `session.toml` and `truth.json`."""

import json
from collections.abc import Callable
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from tracker.synthetic import draw
from tracker.synthetic.clip import film
from tracker.synthetic.draw import DrawnSession, draw_session
from tracker.synthetic.recipes import WHEELS, Recipe
from tracker.synthetic.truth import clip_truth, write_truth

Progress = Callable[[str, int, int], None]

DAY = date(2026, 5, 17)
"""The date on which every drawn session is said to be filmed."""


def make_session(
    folder: Path, recipe: Recipe, seed: int, progress: Progress | None = None
) -> dict[str, Any]:
    """Draw, film and write one session.

    Parameters
    ----------
    folder : Path
        Made if it is not there; files of an earlier run are replaced.
    recipe : Recipe
    seed : int
    progress : callable, optional
        Called with the clip's file, how many of its frames are drawn, and how many there are.

    Returns
    -------
    dict
        What was written to `truth.json`.
    """
    drawn = draw_session(recipe, seed)
    clips = []
    for clip in drawn.clips:
        path = folder / clip.file
        path.parent.mkdir(parents=True, exist_ok=True)
        report = None if progress is None else partial(progress, clip.file)
        filmed = film(clip.take, path, clip.encoding, report)
        clips.append(clip_truth(clip.file, clip.setup, clip.take, clip.encoding, filmed))
    truth = {"recipe": recipe.name, "seed": seed, "clips": clips}
    (folder / "session.toml").write_text(session_toml(drawn), encoding="utf-8", newline="\n")
    write_truth(folder / "truth.json", truth)
    return truth


def session_toml(drawn: DrawnSession) -> str:
    """Return `session.toml` as the person of this session would have written it."""
    blocks = [
        _table(
            "",
            name=f"Fen Lane, {drawn.recipe.name.replace('_', ' ')} {drawn.seed}",
            date=DAY,
            notes="catch-practice feeder of the village club; drawn, not filmed",
        ),
        *_surroundings(drawn),
        _table("camera", **_camera(drawn)),
        *_markers(drawn),
    ]
    for setup in drawn.recipe.setups:
        diameter, mass = WHEELS[setup]
        tables = dict(drawn.recipe.launcher)
        wheel = {**tables.pop("wheel", {}), "diameter_mm": diameter, "mass_g": mass}
        blocks.append(_table("[setup]", name=setup))
        blocks += [
            _table(f"setup.{part}", **held) for part, held in {"wheel": wheel, **tables}.items()
        ]
    for clip in drawn.clips:
        blocks.append(_table("[clip]", file=clip.file, setup=clip.setup))
    return "\n".join(blocks)


def _surroundings(drawn: DrawnSession) -> list[str]:
    """Return the tables of ball, air and release."""
    notes, weather = drawn.notes, drawn.weather
    return [
        _table("ball", type="tennis"),
        _table(
            "air",
            temperature_c=weather.temperature_c,
            pressure_hpa=weather.pressure_hpa,
            humidity_percent=weather.humidity_percent,
            wind_along_mps=float(notes.wind_mps[0]),
            wind_across_mps=float(notes.wind_mps[1]),
            wind_u_mps=draw.WIND_U_MPS,
        ),
        _table(
            "release",
            height_m=float(notes.release_m[2]),
            along_m=float(notes.release_m[0]),
            across_m=float(notes.release_m[1]),
            u_m=draw.RELEASE_U_M,
            angle_deg=round(drawn.set_angle_deg),
        ),
    ]


def _camera(drawn: DrawnSession) -> dict[str, Any]:
    """Return the fields of the camera's table."""
    notes, filming = drawn.notes, drawn.recipe.filming
    camera: dict[str, Any] = {
        "field_of_view_deg": notes.field_of_view_deg,
        "field_of_view_u_deg": round(notes.field_of_view_deg * draw.VIEW_U_SHARE, 2),
        "position_m": [float(value) for value in notes.camera_position_m],
        "position_u_m": draw.POSITION_U_M,
        "level": True,
        "level_u_deg": drawn.recipe.stand.level_sd_deg,
    }
    readout = drawn.clips[0].take.sensor.readout_s
    if readout > 0.0:
        camera["readout_s"] = readout
    if filming.playing_fps is not None and not filming.tag_rate:
        camera["capture_fps"] = filming.fps
    return camera


def _markers(drawn: DrawnSession) -> list[str]:
    """Return a table for each marker."""
    notes = drawn.notes
    return [
        _table(
            "[marker]",
            name=marker.name,
            ground_m=[float(value) for value in ground],
            u_m=draw.TAPE_U_M,
            pixel=[float(value) for value in pixel],
            pixel_u=draw.PICK_U_PX,
        )
        for marker, ground, pixel in zip(
            drawn.markers, notes.marker_ground_m, notes.marker_pixel, strict=True
        )
    ]


def _table(head: str, **values: Any) -> str:
    """Return a TOML table: a head in brackets, then a line for each value.

    JSON writes strings, numbers, flags and lists of numbers as TOML does; a date is bare.
    """
    lines = [f"[{head}]"] if head else []
    for name, value in values.items():
        written = value.isoformat() if isinstance(value, date) else json.dumps(value)
        lines.append(f"{name} = {written}")
    return "\n".join(lines) + "\n"
