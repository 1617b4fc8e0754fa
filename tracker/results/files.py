"""Putting finished files in place of earlier ones: all of them or none."""

import os
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from calibration.errors import InputError


def put_in_place(folder: Path, contents: Mapping[str, bytes], outdated: Iterable[str] = ()) -> None:
    """Write files into a folder so that a reader sees the earlier ones or all of the new ones.

    Everything is written and flushed beside the folder first; only then are the files
    renamed into it. When a rename fails, those that were done are undone.

    Parameters
    ----------
    folder : Path
        Made when it is not there.
    contents : mapping
        Bytes of each file by its name.
    outdated : iterable of str
        Names of files of an earlier run that go when the new ones are in place.

    Raises
    ------
    InputError
        Where the folder or a file in it cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".new-", dir=folder))
    except OSError as error:
        raise _cannot(folder, error) from None
    try:
        for name, content in contents.items():
            _write(staging / name, content)
        _swap(folder, staging, list(contents))
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    for name in outdated:
        if name not in contents and Path(name).name == name:
            (folder / name).unlink(missing_ok=True)


def _write(path: Path, content: bytes) -> None:
    try:
        with path.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise _cannot(path.parent.parent / path.name, error) from None


def _swap(folder: Path, staging: Path, names: list[str]) -> None:
    """Rename staged files into the folder, keeping the earlier ones until all are there."""
    kept = staging / "earlier"
    kept.mkdir()
    done: list[str] = []
    try:
        for name in names:
            if (folder / name).exists():
                (folder / name).replace(kept / name)
            done.append(name)
            (staging / name).replace(folder / name)
    except OSError as error:
        for earlier in done:
            (folder / earlier).unlink(missing_ok=True)
            if (kept / earlier).exists():
                (kept / earlier).replace(folder / earlier)
        raise _cannot(folder / name, error) from None


def _cannot(path: Path, error: OSError) -> InputError:
    reason = (error.strerror or "unknown").lower()
    return InputError(
        f"cannot be written ({reason})",
        where=str(path),
        remedy="close the program that has it open, or check the folder's rights and free space",
    )
