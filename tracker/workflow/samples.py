"""The sample sessions that come with the program, and copies of them."""

import shutil
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path

from calibration.errors import InputError
from tracker.session import SESSION_FILE

SAMPLES = "sample_clips"
USUAL_COPY = "lobmeter-demo"


def samples_folder() -> Path:
    """Return where the sample sessions lie: inside the installed package, or in the checkout.

    Raises
    ------
    InputError
        Where the program was installed without them.
    """
    package = Path(str(files("tracker.workflow")))
    for folder in (package / SAMPLES, package.parent.parent / SAMPLES):
        if any(folder.glob(f"*/{SESSION_FILE}")):
            return folder
    raise InputError(
        "the sample clips are not there",
        where=str(package / SAMPLES),
        remedy="install the program anew, or run it from a checkout",
    )


def copy_samples(to: Path | None, beside: Path, sessions: Sequence[str] = ()) -> list[Path]:
    """Copy the sample sessions, leaving every file that is already there as it is.

    Parameters
    ----------
    to : Path or None
        Folder for the copies; None for a folder of the usual name, or the first of the usual
        names with a number that holds nothing else.
    beside : Path
        Where the usual folder goes.
    sessions : sequence of str
        Which sample sessions; all of them when empty.

    Returns
    -------
    list of Path
        The folder of each session.

    Raises
    ------
    InputError
        Where `to` holds other files by the same names, or cannot be written.
    """
    source = samples_folder()
    names = sorted(
        path.relative_to(source)
        for path in source.rglob("*")
        if path.is_file() and _wanted(path.relative_to(source), sessions)
    )
    target = _free_folder(source, names, beside) if to is None else to
    taken = _differing(source, names, target)
    if taken:
        raise InputError(
            f"there is already another {taken[0].as_posix()} in it",
            where=str(target),
            remedy="choose an empty folder",
        )
    try:
        for name in names:
            if not (target / name).exists():
                (target / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(source / name, target / name)
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        raise InputError(f"cannot be written ({reason})", where=str(target)) from None
    return [target / name.parent for name in names if name.name == SESSION_FILE]


def _wanted(name: Path, sessions: Sequence[str]) -> bool:
    """Return whether a file of the samples is copied: no results, and only these sessions."""
    return "results" not in name.parts and (not sessions or name.parts[0] in sessions)


def _free_folder(source: Path, names: list[Path], beside: Path) -> Path:
    """Return the first usual folder that holds no other file by the name of a sample."""
    number = 1
    while True:
        folder = beside / (USUAL_COPY if number == 1 else f"{USUAL_COPY}-{number}")
        if not folder.exists() or (folder.is_dir() and not _differing(source, names, folder)):
            return folder
        number += 1


def _differing(source: Path, names: list[Path], target: Path) -> list[Path]:
    """Return the names of files that differ between target and source."""
    if target.exists() and not target.is_dir():
        return [Path(target.name)]
    return [
        name
        for name in names
        if (target / name).exists() and not _same(source / name, target / name)
    ]


def _same(one: Path, other: Path) -> bool:
    return (
        other.is_file()
        and one.stat().st_size == other.stat().st_size
        and one.read_bytes() == other.read_bytes()
    )
