"""What depends on more than one field of ``session.toml``, or on the files that it names.

The checks read the values as they were written, so that they find their faults beside those of
single fields: all are reported at once.
"""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

from calibration.errors import NEAR_FILE, nearest
from tracker.session.document import Faults
from tracker.session.kinds import listed, shown
from tracker.session.lines import Place
from tracker.session.schema import ReleaseSchema
from tracker.session.validate import tables_of

LONGEST_SHOWN = 255
"""Characters of a file's name that a sentence repeats: the most that usual file systems take."""

CUSTOM_BALL = ("mass_g", "diameter_mm", "drag_coefficient")


def check_session(values: Mapping[str, Any], folder: Path, filmed: bool, faults: Faults) -> None:
    """Find the faults between fields.

    Parameters
    ----------
    values : mapping
        As tomllib read them.
    folder : Path
        The session's folder.
    filmed : bool
        Whether the clips must be there.
    faults : Faults
        Where the faults go.
    """
    _check_ball(_table(values, "ball"), faults)
    _check_air(_table(values, "air"), faults)
    if has_markers(values) and not _names_height(_table(values, "release")):
        place = ("release", "height_m")
        faults.add(place, "is missing", "give the height at which the ball leaves, in metres")
    lens = _table(values, "camera").get("lens")
    if isinstance(lens, str) and lens.strip():
        _check_file(("camera", "lens"), lens, folder, True, faults)
    _check_names(values, "marker", (), faults)
    _check_names(values, "setup", (), faults)
    _check_ground(values, (), (), faults)
    _check_clips(values, folder, filmed, faults)
    _check_setup(("planned",), _table(values, "planned"), _setup_names(values), faults)


def has_markers(values: Mapping[str, Any]) -> bool:
    """Return whether any marker was written down, whatever is wrong with it."""
    return "marker" in values or any("marker" in clip for _, clip in tables_of(values, "clip"))


def _names_height(release: Mapping[str, Any]) -> bool:
    """Return whether a release states its height, if under a misspelt name: one slip, one fault."""
    listed_ = list(ReleaseSchema.entries())
    misspelt = [nearest(name, listed_) for name in release if name not in listed_]
    return "height_m" in release or "height_m" in misspelt


def _check_ball(ball: Mapping[str, Any], faults: Faults) -> None:
    kind = ball.get("type")
    if isinstance(kind, str) and kind.strip().lower() == "custom":
        for name in CUSTOM_BALL:
            if name not in ball:
                remedy = "a custom ball needs all three of its figures"
                faults.add(("ball", name), "is missing", remedy)


def _check_air(air: Mapping[str, Any], faults: Faults) -> None:
    if "pressure_hpa" in air and "altitude_m" in air:
        what = "stands beside pressure_hpa, and each gives the density of the air"
        faults.add(("air", "altitude_m"), what, "keep one of the two")


def _check_names(values: Mapping[str, Any], kind: str, above: Place, faults: Faults) -> None:
    """Find names that stand twice in a list of tables."""
    seen: set[str] = set()
    for index, table in tables_of(values, kind):
        name = table.get("name")
        if not isinstance(name, str) or not name.strip():
            continue
        if name in seen:
            place = (*above, kind, index, "name")
            faults.add(place, f'"{name}" names two {kind}s', f"give each {kind} its own name")
        seen.add(name)


def _check_ground(
    values: Mapping[str, Any], above: Place, known: Sequence[str], faults: Faults
) -> None:
    """Find markers without a place on the ground that no marker of the session gives."""
    for index, marker in tables_of(values, "marker"):
        if "ground_m" not in marker and marker.get("name") not in known:
            place = (*above, "marker", index, "ground_m")
            faults.add(place, "is missing", "give [along, across, up]")


def _check_clips(values: Mapping[str, Any], folder: Path, filmed: bool, faults: Faults) -> None:
    if filmed and "clip" not in values:
        remedy = "name each video file and its setup in a [[clip]] table"
        faults.add(("[[clip]]",), "is missing", remedy)
    setups = _setup_names(values)
    names = [str(one["name"]) for _, one in tables_of(values, "marker") if one.get("name")]
    seen: set[Path] = set()
    for index, clip in tables_of(values, "clip"):
        place: Place = ("clip", index)
        file = clip.get("file")
        _check_setup(place, clip, setups, faults)
        _check_names(clip, "marker", place, faults)
        _check_ground(clip, place, names, faults)
        if isinstance(file, str) and file.strip():
            _check_file((*place, "file"), file, folder, filmed, faults)
            path = folder / file
            if path in seen:
                what = f"{shown(file)} stands in two [[clip]] tables"
                faults.add((*place, "file"), what, "keep one of them")
            seen.add(path)


def _setup_names(values: Mapping[str, Any]) -> list[str]:
    return [str(one["name"]) for _, one in tables_of(values, "setup") if one.get("name")]


def _check_setup(
    place: Place, table: Mapping[str, Any], setups: Sequence[str], faults: Faults
) -> None:
    """Find a table's `setup` that names no setup."""
    setup = table.get("setup")
    if isinstance(setup, str) and setup.strip() and setup not in setups:
        names = list(dict.fromkeys(setups))
        near = nearest(setup, names)
        known = f"the setups are {listed([shown(name) for name in names])}"
        if near is not None:
            known = (
                f'write "{near}"'
                if len(names) == 1
                else f"did you mean {shown(near)}? T{known[1:]}"
            )
        elif not names:
            known = "there is no [[setup]] yet"
        faults.add((*place, "setup"), f"{shown(setup)} is the name of no [[setup]]", known)


def _check_file(place: Place, written: str, folder: Path, needed: bool, faults: Faults) -> None:
    """Find what is wrong with a file that a field names relative to the session's folder."""
    plain = "".join(letter if ord(letter) >= 32 else "\\" for letter in written)
    name = plain if len(plain) <= LONGEST_SHOWN else f"{plain[:LONGEST_SHOWN]}..."
    if PurePosixPath(written).is_absolute() or PureWindowsPath(written).is_absolute():
        remedy = "put it into the session's folder and name it from there"
        faults.add(place, f'"{name}" is not relative to the session\'s folder', remedy)
    elif _is(Path.is_dir, folder / plain):
        faults.add(place, f'"{name}" is a folder', "name a file")
    elif plain != written:
        faults.add(place, "has a backslash in its path", "write / between folder and file")
    elif needed and not _is(Path.is_file, folder / written):
        remedy = "write / between folder and file"
        if "\\" not in written:
            near = _near(folder, written)
            remedy = f"did you mean {near}?" if near else "check its name"
        faults.add(place, f'there is no file "{name}" in the session\'s folder', remedy)


def _near(folder: Path, written: str) -> str | None:
    """Return the file within the folder whose name is nearly what was written, None for none."""
    place = PurePosixPath(written)
    beside = folder / place.parent
    names = [each.name for each in beside.iterdir()] if _is(Path.is_dir, beside) else []
    near = nearest(place.name, names, NEAR_FILE)
    return None if near is None else place.with_name(near).as_posix()


def _is(kind: Callable[[Path], bool], path: Path) -> bool:
    """Return whether a path is of a kind; a name that no file system takes is of none."""
    try:
        return kind(path)
    except OSError:
        return False


def _table(values: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    table = values.get(name)
    return table if isinstance(table, dict) else {}
