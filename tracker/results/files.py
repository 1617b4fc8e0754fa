"""Writing files so that a reader sees the earlier one or the new one, never a part of it."""

import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from calibration.errors import InputError

STAGING = ".new-"
"""Beginning of the name of a folder in which files are written before they are put in place."""


def put_in_place(folder: Path, contents: Mapping[str, bytes], held: bool = False) -> None:
    """Write files into a folder, each of them whole; other files stay.

    Everything is written and flushed beside the folder's files first; only then is each renamed
    over the earlier one. When a rename fails, those that were done are undone.

    Parameters
    ----------
    folder : Path
        Made when it is not there.
    contents : mapping
        Bytes of each file by its name.
    held : bool
        Whether the caller holds the folder against others (`tracker.results.alone`): then what an
        earlier one that was killed has left beside the files goes.

    Raises
    ------
    InputError
        Where the folder or a file in it cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        staging = _held_staging(folder) if held else _own_staging(folder)
    except OSError as error:
        raise cannot_write(folder, error) from None
    try:
        for name, content in contents.items():
            write_flushed(staging / name, content, shown=folder / name)
        _replace(folder, staging, list(contents))
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def _own_staging(folder: Path) -> Path:
    return Path(tempfile.mkdtemp(prefix=STAGING, dir=folder))


def _held_staging(folder: Path) -> Path:
    staging = folder / f"{STAGING}held"
    shutil.rmtree(staging, ignore_errors=True)
    staging.mkdir()
    return staging


@contextmanager
def staged_file(path: Path) -> Iterator[Path]:
    """Give a place to write a large file to, which gets its name once it is whole.

    A run that is killed leaves a hidden folder, which the next measurement drops.

    Parameters
    ----------
    path : Path
        Where it shall appear.
    """
    staging = _own_staging(path.parent)
    try:
        yield staging / path.name
        (staging / path.name).replace(path)
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def write_flushed(path: Path, content: bytes, shown: Path | None = None) -> None:
    """Write a file and flush it to the disk.

    Raises
    ------
    InputError
        Where it cannot be written; it names `shown` where that is given.
    """
    try:
        with path.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise cannot_write(shown or path, error) from None


def copy_file(source: Path, target: Path) -> None:
    """Copy a file, as a second name of the same bytes where the file system has such."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)


def json_of(path: Path) -> Any:
    """Return what a JSON file holds.

    Raises
    ------
    OSError, ValueError
        Where it cannot be read or is not JSON; one that nests too deep to be read is none.
    """
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except RecursionError:
        raise ValueError(f"{path.name} nests too deep") from None


def cannot_write(path: Path, error: OSError) -> InputError:
    """Return the sentence for a file or folder that cannot be written."""
    reason = (error.strerror or "unknown").lower()
    return InputError(
        f"cannot be written ({reason})",
        where=str(path),
        remedy="close the program that has it open, or check the folder's rights and free space",
    )


def _replace(folder: Path, staging: Path, names: list[str]) -> None:
    """Rename staged files over the earlier ones, which come back where one cannot be replaced."""
    kept = staging / "earlier"
    kept.mkdir()
    done: list[str] = []
    name = ""
    try:
        for name in names:
            if (folder / name).exists():
                copy_file(folder / name, kept / name)
            (staging / name).replace(folder / name)
            done.append(name)
    except OSError as error:
        for earlier in done:
            if (kept / earlier).exists():
                (kept / earlier).replace(folder / earlier)
            else:
                (folder / earlier).unlink(missing_ok=True)
        raise cannot_write(folder / name, error) from None
