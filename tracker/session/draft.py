"""The text of a new ``session.toml``: what is known filled in, the rest as lines to complete."""

import json
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from tracker.session.answers import to_millimetre


@dataclass(frozen=True)
class DraftClip:
    """One clip of a new session.

    Attributes
    ----------
    file : str
        Relative to the session's folder, with ``/``.
    setup : str
    about : str
        What its file states, in a few words.
    """

    file: str
    setup: str
    about: str


@dataclass(frozen=True)
class Draft:
    """A new session as far as it is known.

    Attributes
    ----------
    name : str
    clips : sequence of DraftClip
    filmed : date or None
    ball : str
    values : mapping of str to float
        Numbers by table and field, ``"release.height_m"``.
    position_m : tuple of float or None
        Along, across, up of the camera.
    notes : str
    """

    name: str
    clips: Sequence[DraftClip]
    filmed: date | None = None
    ball: str = "tennis"
    values: Mapping[str, float] = field(default_factory=dict)
    position_m: tuple[float, float, float] | None = None
    notes: str = ""


def draft_toml(draft: Draft) -> str:
    """Return the text of ``session.toml``.

    Parameters
    ----------
    draft : Draft
    """
    day = draft.filmed
    position = None if draft.position_m is None else to_millimetre(draft.position_m)
    lines = [
        f"name = {_quoted(draft.name)}",
        f"date = {day.isoformat()}" if day else "# date = 2026-05-17",
        f"notes = {_quoted(draft.notes)}" if draft.notes else '# notes = "weather, who fired"',
        "",
        "[ball]",
        f"type = {_quoted(draft.ball)}",
        "",
        "[air]                      # what is left out takes the standard atmosphere and a wider u",
        *(
            _line(draft, f"air.{name}", example)
            for name, example in (
                ("temperature_c", "18.0"),
                ("pressure_hpa", "1012.0"),
                ("wind_along_mps", "0.5          # positive blows downrange"),
                ("wind_across_mps", "0.0         # positive blows to the left, looking downrange"),
                ("wind_u_mps", "0.5"),
            )
        ),
        "",
        "[release]",
        _line(
            draft, "release.height_m", "0.80               # needed as soon as there are markers"
        ),
        _line(draft, "release.angle_deg", "42.0              # as set on the launcher"),
        "",
        "[camera]",
        _line(draft, "camera.field_of_view_deg", "69.0       # between the left and right edges"),
        "# position_m = [20.0, -38.0, 1.4]   # along, across (right of the line: negative), up"
        if position is None
        else f"position_m = {position}",
        "level = true" if draft.values.get("camera.level") else "# level = true",
        "",
        "# Four or more markers make a good camera: tape each one's place, and pick its pixel on a",
        "# frame (lobmeter still CLIP writes one with a grid). Take the # away line by line.",
        "# [[marker]]",
        '# name = "10 m cone"',
        "# ground_m = [10.0, 0.0, 0.0]       # along, across, up, from the ground below release",
        "# pixel = [588.4, 727.7]            # column, row",
    ]
    return "\n".join([*lines, *_setups_and_clips(draft)]) + "\n"


def _setups_and_clips(draft: Draft) -> list[str]:
    """Return the lines of a table for each setup and for each clip."""
    lines = []
    for setup in dict.fromkeys(clip.setup for clip in draft.clips):
        lines += [
            "",
            "[[setup]]",
            f"name = {_quoted(setup)}",
            "# [setup.wheel]              # how the launcher is built, for predictions",
            "# diameter_mm = 140.0",
            "# mass_g = 210.0",
        ]
    for clip in draft.clips:
        lines += [
            "",
            "[[clip]]",
            f"file = {_quoted(clip.file)}   # {_remark(clip.about)}",
            f"setup = {_quoted(clip.setup)}",
        ]
    return lines


def _line(draft: Draft, key: str, example: str) -> str:
    """Return a field with its value, or as a line to complete."""
    name = key.split(".")[1]
    value = draft.values.get(key)
    return f"# {name} = {example}" if value is None else f"{name} = {value:g}"


def _remark(text: str) -> str:
    """Return what a file says of itself as a comment: whatever it holds, it stays one line."""
    return "".join(" " if unicodedata.category(one)[0] in "CZ" else one for one in text)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
