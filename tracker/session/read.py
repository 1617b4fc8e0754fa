"""Reading ``session.toml``: every field checked, every fault told at once."""

import math
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

from calibration.errors import InputError
from tracker.flight.ball import ball_named
from tracker.session.entries import (
    AirEntry,
    BallEntry,
    CameraEntry,
    ClipEntry,
    MarkerEntry,
    ReleaseEntry,
    Session,
    SetupEntry,
    Triple,
)
from tracker.session.lines import Place, lines_of_keys
from tracker.session.table import Faults, Table

SESSION_FILE = "session.toml"

FIELD_M = (-2000.0, 2000.0)
"""No measured field is larger, m: a coordinate beyond it is a slip of the pen."""
USUAL_RELEASE_M = 1.0
"""Height of a release that nobody measured. Common practice, no source."""
SMALLEST_U = 1e-4
"""A standard uncertainty below this claims more than any tape or eye can give."""


def read_session(folder: Path, filmed: bool = True) -> Session:
    """Read and check the ``session.toml`` of a session's folder.

    Parameters
    ----------
    folder : Path
        The session's folder, or the ``session.toml`` in it.
    filmed : bool
        Whether its clips must be there; false for a session that is only being planned.

    Returns
    -------
    Session

    Raises
    ------
    InputError
        Where the file is missing or is not TOML.
    InputErrors
        With every field that is not as docs/formats.md has it.
    """
    folder = Path(folder)
    if folder.name == SESSION_FILE and folder.is_file():
        folder = folder.parent
    _refuse_missing(folder)
    values, places = read_toml(folder / SESSION_FILE)
    faults = Faults(SESSION_FILE, places)
    top = Table(values, (), "", faults)
    markers = _markers(top, ())
    setups = _setups(top)
    session = Session(
        folder=folder,
        name=top.text("name", default="") or folder.resolve().name,
        date=top.day("date"),
        notes=top.text("notes"),
        ball=_ball(top.table("ball")),
        air=_air(top.table("air")),
        release=_release(top.table("release"), _any_markers(values)),
        camera=_camera(top.table("camera"), folder),
        markers=markers,
        setups=setups,
        clips=_clips(top, folder, setups, markers, filmed),
    )
    top.close()
    faults.raise_any()
    return session


def read_toml(path: Path) -> tuple[dict[str, Any], dict[Place, int]]:
    """Return a parsed TOML file and the line of every key.

    Raises
    ------
    InputError
        Where the file cannot be read, is not UTF-8 or is not TOML.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise InputError(
            "is not UTF-8 text",
            where=f"{path.name}, line {line}",
            remedy="save it as UTF-8 in your editor",
        ) from None
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        raise InputError(f"cannot be read ({reason})", where=str(path)) from None
    text = text.replace("\r\n", "\n")
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax(str(error), text, path.name) from None
    except RecursionError:
        raise InputError("is nested too deeply", where=path.name) from None
    return values, lines_of_keys(text)


def _refuse_missing(folder: Path) -> None:
    if not folder.is_dir():
        what = "is not a folder" if folder.exists() else "there is no such folder"
        raise InputError(what, where=str(folder), remedy="give the folder that holds session.toml")
    if not (folder / SESSION_FILE).is_file():
        raise InputError(
            f"the folder holds no {SESSION_FILE}",
            where=str(folder),
            remedy="write one as docs/formats.md shows, or point at another folder",
        )


def _syntax(message: str, text: str, file: str) -> InputError:
    """Return tomllib's complaint as a sentence that names the line."""
    found = re.match(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", message)
    if found is None:
        return InputError(f"is not TOML ({message})", where=file)
    line = int(found[2]) if found[2] else text.count("\n") + 1
    shown = text.split("\n")[line - 1].strip()
    what = found[1][:1].lower() + found[1][1:]
    where = f"{file}, line {line}" + (f", column {found[3]}" if found[3] else "")
    quoted = f": {shown[:60]}" if shown else ""
    return InputError(f"is not TOML ({what}){quoted}", where=where, remedy="mend that line")


def _ball(table: Table) -> BallEntry:
    ball = BallEntry(
        type=table.text("type", default="") or "tennis",
        mass_g=table.number("mass_g", 0.5, 5000.0),
        diameter_mm=table.number("diameter_mm", 5.0, 500.0),
        drag_coefficient=table.number("drag_coefficient", 0.02, 2.0),
    )
    table.close()
    if ball.type.strip().lower() == "custom":
        for name in ("mass_g", "diameter_mm", "drag_coefficient"):
            if not table.has(name):
                table.fault(name, "is missing", "a custom ball needs all three of its figures")
        return ball
    try:
        ball_named(ball.type)
    except InputError as error:
        table.fault("type", error.what, error.remedy)
    return ball


def _air(table: Table) -> AirEntry:
    air = AirEntry(
        temperature_c=table.number("temperature_c", -40.0, 60.0),
        pressure_hpa=table.number("pressure_hpa", 500.0, 1100.0),
        altitude_m=table.number("altitude_m", -500.0, 6000.0),
        humidity_percent=table.number("humidity_percent", 0.0, 100.0),
        wind_along_mps=table.number("wind_along_mps", -40.0, 40.0),
        wind_across_mps=table.number("wind_across_mps", -40.0, 40.0),
        wind_u_mps=table.number("wind_u_mps", SMALLEST_U, 20.0),
    )
    table.close()
    if table.has("pressure_hpa") and table.has("altitude_m"):
        what = "stands beside pressure_hpa, and each gives the density of the air"
        table.fault("altitude_m", what, "keep one of the two")
    return air


def _any_markers(values: dict[str, Any]) -> bool:
    """Tell whether any marker was written down, whatever is wrong with it."""
    clips = values.get("clip")
    listed = clips if isinstance(clips, list) else []
    return "marker" in values or any("marker" in c for c in listed if isinstance(c, dict))


def _release(table: Table, needed: bool) -> ReleaseEntry:
    told = needed or table.has("height_m")
    release = ReleaseEntry(
        height_m=table.needed_number("height_m", 0.0, 100.0) if told else USUAL_RELEASE_M,
        along_m=table.number_or("along_m", *FIELD_M, 0.0),
        across_m=table.number_or("across_m", *FIELD_M, 0.0),
        u_m=table.number_or("u_m", SMALLEST_U, 10.0, 0.03),
        angle_deg=table.number("angle_deg", -90.0, 90.0),
        height_told=told,
    )
    table.close()
    return release


def _camera(table: Table, folder: Path) -> CameraEntry:
    position = table.numbers("position_m", "along, across, up", FIELD_M)
    lens = table.text("lens")
    camera = CameraEntry(
        lens=_file(table, "lens", lens, folder) if lens else None,
        field_of_view_deg=table.number("field_of_view_deg", 5.0, 150.0),
        field_of_view_u_deg=table.number("field_of_view_u_deg", SMALLEST_U, 60.0),
        position_m=_triple(position),
        position_u_m=table.number_or("position_u_m", SMALLEST_U, 100.0, 0.10),
        capture_fps=table.number("capture_fps", 1.0, 100000.0),
        readout_s=table.number("readout_s", 0.0, 0.2),
        level=table.flag("level", default=False),
        level_u_deg=table.number_or("level_u_deg", 0.001, 45.0, 1.0),
    )
    table.close()
    if table.has("lens") and not lens:
        table.fault("lens", "is empty", "name the lens file, or leave the line out")
    return camera


def _markers(parent: Table, known: Sequence[MarkerEntry]) -> tuple[MarkerEntry, ...]:
    """Read markers; one that has the name of a known one may leave its ground place out."""
    found: list[MarkerEntry] = []
    for table in parent.tables("marker", "name"):
        name = table.text("name", default=None)
        same = next((marker for marker in known if marker.name == name), None)
        ground = table.numbers("ground_m", "along, across, up", FIELD_M, needed=same is None)
        if ground is None and same is not None and not table.has("ground_m"):
            ground = same.ground_m
        pixel = table.numbers("pixel", "column, row", (-0.5, 100000.0))
        marker = MarkerEntry(
            name=name,
            ground_m=_triple(ground) or (math.nan, math.nan, math.nan),
            u_m=table.number_or("u_m", SMALLEST_U, 100.0, same.u_m if same else 0.02),
            pixel=None if pixel is None else (pixel[0], pixel[1]),
            pixel_u=table.number_or("pixel_u", 0.01, 1000.0, 1.0),
            where=f"{SESSION_FILE}, {table.label}",
        )
        table.close()
        if name and any(name == other.name for other in found):
            table.fault("name", f'"{name}" names two markers', "give each marker its own name")
        found.append(marker)
    return tuple(found)


def _setups(top: Table) -> tuple[SetupEntry, ...]:
    found: list[SetupEntry] = []
    for table in top.tables("setup", "name"):
        setup = SetupEntry(name=table.text("name", default=None), parts=table.parts())
        table.close()
        if setup.name and any(setup.name == other.name for other in found):
            table.fault("name", f'"{setup.name}" names two setups', "give each setup its own name")
        found.append(setup)
    return tuple(found)


def _clips(
    top: Table,
    folder: Path,
    setups: Sequence[SetupEntry],
    markers: tuple[MarkerEntry, ...],
    filmed: bool,
) -> tuple[ClipEntry, ...]:
    found: list[ClipEntry] = []
    names = [setup.name for setup in setups if setup.name]
    tables = top.tables("clip", "file")
    for table in tables:
        file = table.text("file", default=None)
        setup = table.text("setup", default=None)
        own = _markers(table, markers)
        table.close()
        path = _file(table, "file", file, folder, filmed) if file.strip() else folder
        if setup and setup not in names:
            known = f"the setups are {', '.join(names)}" if names else "there is no [[setup]] yet"
            table.fault("setup", f'"{setup}" is the name of no [[setup]]', known)
        if file and any(path == other.path for other in found):
            table.fault("file", f'"{file}" stands in two [[clip]] tables', "keep one of them")
        found.append(ClipEntry(file, path, setup, own or markers))
    if filmed and not tables and not top.has("clip"):
        top.fault(
            "[[clip]]", "is missing", "name each video file and its setup in a [[clip]] table"
        )
    return tuple(found)


def _file(table: Table, name: str, written: str, folder: Path, needed: bool = True) -> Path:
    """Return where a file lies that a field names relative to the session's folder."""
    path = folder / written
    if PurePosixPath(written).is_absolute() or PureWindowsPath(written).is_absolute():
        remedy = "put it into the session's folder and name it from there"
        table.fault(name, f'"{written}" is not relative to the session\'s folder', remedy)
    elif path.is_dir():
        table.fault(name, f'"{written}" is a folder', "name a file")
    elif needed and not path.is_file():
        remedy = "check its name"
        if "\\" in written:
            remedy = "write / between folder and file"
        table.fault(name, f'there is no file "{written}" in the session\'s folder', remedy)
    return path


def _triple(values: tuple[float, ...] | None) -> Triple | None:
    return None if values is None else (values[0], values[1], values[2])
