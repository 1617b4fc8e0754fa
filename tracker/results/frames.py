"""The results of sessions as tables for notebooks and comparisons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from types import UnionType
from typing import TYPE_CHECKING, Any, get_args, get_type_hints

from calibration.errors import InputError, InputErrors, typed
from tracker.records import SHOT_COLUMNS, Quality, Shot, TrackPoint
from tracker.results.files import json_of
from tracker.results.folder import RESULTS, recover
from tracker.results.rows import Provenance, read_provenance, read_shots
from tracker.results.tables import TRACK_COLUMNS

if TYPE_CHECKING:
    from pandas import DataFrame

NAMES = ("session", "clip", "setup", "quality")
"""Columns that hold one of a few names: categories."""


@dataclass(frozen=True)
class ResultFrames:
    """The results of one or more sessions.

    Attributes
    ----------
    shots : DataFrame
        ``session``, the columns of ``shots.csv`` and ``reasons``, the codes of the reasons with a
        space between them; one row a shot.
    tracks : DataFrame
        ``session``, ``setup`` and the columns of ``tracks.csv``, one row a position.
    inputs : DataFrame
        ``session``, ``lobmeter`` (the version), ``file`` and ``sha256`` of each file that the
        results were made from.
    """

    shots: DataFrame
    tracks: DataFrame
    inputs: DataFrame


def read(folders: str | Path | Iterable[str | Path]) -> ResultFrames:
    """Read the results of one or more sessions.

    Names (``session``, ``clip``, ``setup``, ``quality``) are categories, ``reason`` and
    ``reasons`` are text,
    ``shot``, ``frame`` and ``frames_seen`` are int64, ``landing_seen`` and ``used`` are bool, and
    every other column is float64 with NaN where nothing could be measured.

    Parameters
    ----------
    folders : path or iterable of path
        Each the folder of a session, or a results folder itself.

    Raises
    ------
    InputErrors
        With every session that has no results, and every fault of those that have.
    """
    import pandas as pd

    given = [folders] if isinstance(folders, str | Path) else list(folders)
    faults: list[InputError] = []
    parts: list[tuple[DataFrame, DataFrame, DataFrame]] = []
    names: set[str] = set()
    for one in given:
        folder = Path(one)
        try:
            results = _results_in(folder)
            name = _name(results, folder)
            if name in names:
                name = f"{name} ({folder})"
            names.add(name)
            parts.append(_read_one(results, name))
        except InputError as error:
            faults.extend(error.errors if isinstance(error, InputErrors) else [error])
    if faults:
        raise InputErrors(faults)
    if not parts:
        parts = [_frames([], [], Provenance(), "")]
    shots, tracks, inputs = (
        pd.concat([part[which] for part in parts], ignore_index=True) for which in range(3)
    )
    return ResultFrames(
        _typed(shots, Shot), _typed(tracks, TrackPoint), inputs.astype({"session": "category"})
    )


def _results_in(folder: Path) -> Path:
    """Return the results folder that a folder is or holds."""
    recover(folder / RESULTS)
    for results in (folder, folder / RESULTS):
        if (results / "shots.csv").is_file():
            return results
    if not folder.is_dir():
        raise InputError(
            "there is no such folder",
            where=str(folder),
            remedy="give the folder of a measured session",
        )
    raise InputError(
        "there are no results in it yet",
        where=str(folder),
        remedy=f"lobmeter measure {typed(folder)}",
    )


def _name(results: Path, folder: Path) -> str:
    """Return the session's name as its results have it, else the folder's name."""
    try:
        document = json_of(results / "shots.json")
        return str(document["session"])
    except (OSError, ValueError, KeyError, TypeError):
        return folder.resolve().name


def _read_one(results: Path, name: str) -> tuple[DataFrame, DataFrame, DataFrame]:
    import pandas as pd

    shots = read_shots(results / "shots.csv")
    path = results / "tracks.csv"
    try:
        points = pd.read_csv(path, dtype=_dtypes(TrackPoint, TRACK_COLUMNS))[list(TRACK_COLUMNS)]
    except FileNotFoundError:
        points = []
    except (OSError, ValueError, KeyError) as error:
        reason = str(error).splitlines()[0]
        raise InputError(
            f"cannot be read ({reason})", where=str(path), remedy="measure the session again"
        ) from None
    return _frames(shots, points, read_provenance(results / "shots.json"), name)


def _frames(
    shots: Iterable[Shot], points: Any, provenance: Provenance, name: str
) -> tuple[DataFrame, DataFrame, DataFrame]:
    """Return the frames of one session."""
    import pandas as pd

    rows = [
        {column: _plain(getattr(shot, column)) for column in SHOT_COLUMNS}
        | {"reasons": " ".join(reason.code.value for reason in shot.reasons)}
        for shot in shots
    ]
    frame = pd.DataFrame(rows, columns=[*SHOT_COLUMNS, "reasons"])
    frame.insert(0, "session", name)
    tracks = pd.DataFrame(points, columns=list(TRACK_COLUMNS))
    setups = {(row["clip"], row["shot"]): row["setup"] for row in rows}
    keys = zip(tracks["clip"], tracks["shot"], strict=True)
    tracks.insert(0, "setup", [setups.get((str(clip), int(shot)), "") for clip, shot in keys])
    tracks.insert(0, "session", name)
    files = [
        {"session": name, "lobmeter": provenance.version or "", "file": file, "sha256": digest}
        for file, digest in provenance.inputs.items()
    ]
    return frame, tracks, pd.DataFrame(files, columns=["session", "lobmeter", "file", "sha256"])


def _typed(frame: DataFrame, record: type) -> DataFrame:
    """Return a frame whose columns have the types of a record's fields."""
    import pandas as pd

    typed = frame.astype(_dtypes(record, frame.columns))
    for name in NAMES:
        if name == "quality" and name in typed:
            order = [quality.value for quality in Quality]
            typed[name] = pd.Categorical(typed[name], categories=order, ordered=True)
        elif name in typed:
            typed[name] = typed[name].astype("category")
    return typed


def _dtypes(record: type, columns: Iterable[str]) -> Mapping[str, str]:
    hints = get_type_hints(record)
    plain = {int: "int64", bool: "bool", float: "float64"}
    found = {}
    for column in columns:
        held = str if column == "reasons" else hints.get(column, str)
        kinds = get_args(held) if isinstance(held, UnionType) else (held,)
        found[column] = next((plain[kind] for kind in kinds if kind in plain), "str")
    return found


def _plain(value: Any) -> Any:
    return value.value if isinstance(value, Enum) else value
