"""What a person asked of a place to film from, read and checked, every fault told at once."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from calibration.errors import InputError, InputErrors

Numbers = tuple[float, ...]

FIGURES = ("carry_m", "exit_speed_mps", "launch_angle_deg", "azimuth_deg")
"""What a stand can be judged by: columns of shots.csv."""

CLEAR_M = 10.0
"""How far from the firing line nobody stands where nobody says (common practice, no source)."""

FIELD_M = (-500.0, 500.0)


@dataclass(frozen=True)
class Asked:
    """The options as they were typed; None or empty where one was left out.

    Attributes
    ----------
    session : Path or None
    setup : str
    position, aim, size, shutter, wind, search : str
        ``"20,-38,1.6"``, ``"20,0,3"``, ``"1920x1080"``, ``"1/1000"``, ``"0.5,-1"``,
        ``"0:40,-45:-20,1:3"``.
    markers : tuple of str
        ``"10,0"`` or ``"10,0,2"`` each.
    position_u_m, view_deg, view_u_deg, fps, readout_s, level_u_deg, pick_u_px : float or None
    speed_mps, speed_u_mps, angle_deg, angle_u_deg, height_m, wind_u_mps : float or None
    contrast, noise, clear_m : float or None
    lens : Path or None
    ball : str
    of : str
    to : Path or None
    """

    session: Path | None = None
    setup: str = ""
    position: str = ""
    position_u_m: float | None = None
    aim: str = ""
    view_deg: float | None = None
    view_u_deg: float | None = None
    lens: Path | None = None
    size: str = ""
    fps: float | None = None
    shutter: str = ""
    readout_s: float | None = None
    level_u_deg: float | None = None
    markers: tuple[str, ...] = ()
    pick_u_px: float | None = None
    speed_mps: float | None = None
    speed_u_mps: float | None = None
    angle_deg: float | None = None
    angle_u_deg: float | None = None
    height_m: float | None = None
    ball: str = ""
    wind: str = ""
    wind_u_mps: float | None = None
    contrast: float | None = None
    noise: float | None = None
    search: str = ""
    clear_m: float | None = None
    of: str = "carry_m"
    to: Path | None = None


@dataclass(frozen=True)
class Read:
    """The typed ones as numbers, shapes as their names say; None where left out."""

    position_m: Numbers | None
    aim_m: Numbers | None
    size_px: tuple[int, int] | None
    shutter_s: float | None
    markers_m: tuple[Numbers, ...]
    wind_mps: Numbers | None
    box_m: tuple[Numbers, ...] | None


_LIMITS = {
    "position_u_m": ("--position-u", 0.0, 100.0),
    "view_deg": ("--view", 5.0, 150.0),
    "view_u_deg": ("--view-u", 1e-3, 60.0),
    "fps": ("--fps", 10.0, 10000.0),
    "readout_s": ("--readout", 0.0, 0.2),
    "level_u_deg": ("--level-u", 0.001, 45.0),
    "pick_u_px": ("--pick-u", 0.01, 100.0),
    "speed_mps": ("--speed", 1.0, 100.0),
    "speed_u_mps": ("--speed-u", 0.0, 50.0),
    "angle_deg": ("--angle", -60.0, 89.0),
    "angle_u_deg": ("--angle-u", 0.0, 30.0),
    "height_m": ("--height", 0.02, 30.0),
    "wind_u_mps": ("--wind-u", 1e-3, 20.0),
    "contrast": ("--contrast", 1.0, 255.0),
    "noise": ("--noise", 0.1, 100.0),
    "clear_m": ("--clear", 0.0, 500.0),
}


@dataclass
class _Reader:
    faults: list[InputError] = field(default_factory=list)

    def fault(self, option: str, what: str, remedy: str) -> None:
        self.faults.append(InputError(what, where=option, remedy=remedy))

    def numbers(
        self, option: str, text: str, counts: Sequence[int], span: Numbers, example: str
    ) -> Numbers | None:
        """Return numbers between commas, as many as one of `counts`; None for none or a fault."""
        if not text.strip():
            return None
        try:
            found = tuple(float(part) for part in text.split(","))
        except ValueError:
            found = ()
        if len(found) not in counts or not all(math.isfinite(value) for value in found):
            many = " or ".join(str(count) for count in counts)
            self.fault(option, f'"{text}" is not {many} numbers', f"write it as {example}")
            return None
        beyond = [value for value in found if not span[0] <= value <= span[1]]
        if beyond:
            self.fault(option, f"{beyond[0]:g} is out of range", f"give {span[0]:g} to {span[1]:g}")
            return None
        return found

    def size(self, text: str) -> tuple[int, int] | None:
        if not text.strip():
            return None
        parts = text.lower().replace("×", "x").split("x")
        if len(parts) != 2 or not all(part.strip().isdecimal() for part in parts):
            self.fault("--size", f'"{text}" is no size of a frame', "write it as 1920x1080")
            return None
        width, height = int(parts[0]), int(parts[1])
        if not (64 <= width <= 16384 and 64 <= height <= 16384):
            self.fault("--size", f'"{text}" is out of range', "give 64 to 16384 pixels each way")
            return None
        return width, height

    def seconds(self, text: str) -> float | None:
        if not text.strip():
            return None
        above, slash, below = text.partition("/")
        try:
            value = float(above) / float(below) if slash else float(text)
        except (ValueError, ZeroDivisionError):
            value = math.nan
        if not 1e-5 <= value <= 1.0:
            self.fault("--shutter", f'"{text}" is no shutter time', "write it as 1/1000 or 0.001")
            return None
        return value

    def box(self, text: str) -> tuple[Numbers, ...] | None:
        """Return ranges of along, across and up."""
        if not text.strip():
            return None
        example = "0:40,-45:-20,1:3 (along, across, up in metres; one number holds it fixed)"
        spans = []
        for part in text.split(","):
            try:
                ends = [float(end) for end in part.split(":")]
            except ValueError:
                ends = []
            if len(ends) == 1:
                ends = ends * 2
            if len(ends) != 2 or not all(math.isfinite(end) for end in ends):
                self.fault("--search", f'"{part}" is no range', f"write it as {example}")
                return None
            spans.append((min(ends), max(ends)))
        if len(spans) != 3:
            self.fault("--search", f'"{text}" is not three ranges', f"write it as {example}")
            return None
        low, high = FIELD_M
        if any(span[0] < low or span[1] > high for span in spans):
            self.fault("--search", "reaches too far", f"stay within {low:g} to {high:g} m")
            return None
        if spans[2][0] < 0.0:
            self.fault("--search", "a camera cannot stand below the ground", "give up from 0 on")
            return None
        return tuple(spans)


def read(asked: Asked) -> Read:
    """Return what was typed as numbers.

    Raises
    ------
    InputErrors
        With every option that is not what it should be.
    """
    reader = _Reader()
    for name, (option, low, high) in _LIMITS.items():
        value = getattr(asked, name)
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            reader.fault(option, f"{value:g} is out of range", f"give {low:g} to {high:g}")
    if asked.of not in FIGURES:
        known = ", ".join(FIGURES)
        reader.fault("--of", f"{asked.of!r} is not foretold", f"use one of {known}")
    if asked.view_deg is not None and asked.lens is not None:
        reader.fault("--view, --lens", "both tell how wide the camera sees", "keep one")
    if asked.search and asked.position:
        reader.fault("--search, --position", "a place is given or searched for", "keep one")
    if asked.search and asked.aim:
        reader.fault("--search, --aim", "the search aims by itself", "leave --aim out")
    if asked.to is not None and asked.to.suffix.lower() != ".png":
        reader.fault("--to", f'"{asked.to.name}" is no name of a picture', "end it in .png")
    found = Read(
        position_m=reader.numbers("--position", asked.position, (3,), FIELD_M, "20,-38,1.6"),
        aim_m=reader.numbers("--aim", asked.aim, (3,), FIELD_M, "20,0,3"),
        size_px=reader.size(asked.size),
        shutter_s=reader.seconds(asked.shutter),
        markers_m=tuple(
            (*numbers, 0.0)[:3]
            for text in asked.markers
            if (numbers := reader.numbers("--marker", text, (2, 3), FIELD_M, "10,0 or 10,0,2"))
        ),
        wind_mps=reader.numbers("--wind", asked.wind, (2,), (-40.0, 40.0), "0.5,-1"),
        box_m=reader.box(asked.search),
    )
    if found.position_m is not None and found.position_m[2] < 0.0:
        reader.fault("--position", "a camera cannot stand below the ground", "give up from 0 on")
    if reader.faults:
        raise InputErrors(reader.faults)
    return found
