"""What was measured of a clip, kept until the clip, the session, the options or the program change.

The entries lie in the person's own cache folder, never in a session's: they are read with pickle,
which must not be fed with a file that somebody else made.
"""

import hashlib
import logging
import os
import pickle
from collections.abc import Iterable
from contextlib import suppress
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

LOG = logging.getLogger(__name__)

FOLDER_VARIABLE = "LOBMETER_CACHE"
"""Environment variable that names another folder; empty keeps nothing."""

LIBRARIES = ("av", "numpy", "opencv-python-headless", "scipy")
"""Libraries whose version may change a figure's last digit."""

MOST_BYTES = 1_000_000_000
"""Size of the whole cache, bytes; the entries that were not used for longest go first. A clip takes
about a megabyte; common practice, no source."""


def cache_folder() -> Path | None:
    """Return the folder of the cache, None where it is switched off."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named is not None:
        return Path(named) if named else None
    from platformdirs import user_cache_path

    return user_cache_path("lobmeter") / "clips"


def key_of(parts: Iterable[str]) -> str:
    """Return the key of an entry: a digest of the program and of everything that goes into it.

    Parameters
    ----------
    parts : iterable of str
        Digests of files, and the representations of what a person stated.
    """
    digest = hashlib.sha256(program_digest().encode("ascii"))
    for part in parts:
        digest.update(len(part).to_bytes(8, "big") + part.encode("utf-8", "surrogatepass"))
    return digest.hexdigest()


@cache
def program_digest() -> str:
    """Return a digest of the program's source and of the libraries that it computes with."""
    from importlib.metadata import PackageNotFoundError, version

    digest = hashlib.sha256()
    for package in ("calibration", "tracker"):
        root = Path(str(files(package)))
        for path in sorted(root.rglob("*.py")):
            digest.update(path.relative_to(root).as_posix().encode("utf-8"))
            digest.update(hashlib.sha256(path.read_bytes()).digest())
    for library in LIBRARIES:
        try:
            digest.update(f"{library} {version(library)}".encode())
        except PackageNotFoundError:
            continue
    return digest.hexdigest()


def load(folder: Path | None, key: str) -> Any:
    """Return what was kept under a key, None where there is nothing that can be read."""
    if folder is None:
        return None
    path = folder / key
    try:
        with path.open("rb") as file:
            found = pickle.load(file)
    except FileNotFoundError:
        return None
    except Exception as error:  # a torn or outdated entry may raise anything
        LOG.info("%s: unreadable, measured again (%s)", path, error)
        with suppress(OSError):
            path.unlink()
        return None
    # In a folder that may only be read it stays as old as it is.
    with suppress(OSError):
        os.utime(path)
    return found


def store(folder: Path | None, key: str, value: Any) -> None:
    """Keep a value under a key; where that fails, it is measured again the next time."""
    if folder is None:
        return
    part = folder / f"{key}.{os.getpid()}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with part.open("wb") as file:
            pickle.dump(value, file, protocol=pickle.HIGHEST_PROTOCOL)
        part.replace(folder / key)
        _prune(folder)
    except (OSError, pickle.PicklingError, AttributeError, TypeError) as error:
        LOG.info("%s: cannot be kept (%s)", folder / key, error)
        with suppress(OSError):
            part.unlink()


def _prune(folder: Path) -> None:
    """Remove the entries that were not used for longest, until the rest is small enough."""
    entries = [(path.stat().st_mtime, path.stat().st_size, path) for path in folder.iterdir()]
    left = sum(size for _, size, _ in entries)
    for _, size, path in sorted(entries, key=lambda entry: entry[0]):
        if left <= MOST_BYTES:
            return
        path.unlink(missing_ok=True)
        left -= size
