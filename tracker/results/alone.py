"""One program at a time: locks on a folder between programs of one machine."""

import hashlib
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from calibration.errors import InputError

PATIENCE_S = 20.0
"""Time that a program waits for another that is just writing, s. Writing takes well under a second;
common practice, no source."""


@contextmanager
def alone(
    folder: Path, what: str, patience_s: float = PATIENCE_S, purpose: str = ""
) -> Iterator[None]:
    """Hold a folder against other programs; who holds it already goes on.

    Parameters
    ----------
    folder : Path
    what : str
        What the other program is doing, as in "another run is writing these results".
    patience_s : float
    purpose : str
        Programs with different purposes do not keep each other out.

    Raises
    ------
    InputError
        Where another program does not let go of it.
    """
    from filelock import FileLock, Timeout

    named = f"{folder.resolve()}\0{purpose}" if purpose else str(folder.resolve())
    key = hashlib.sha256(named.encode("utf-8", "surrogatepass")).hexdigest()[:24]
    place = Path(tempfile.gettempdir()) / f"lobmeter-{key}.lock"
    lock = FileLock(place, is_singleton=True)
    try:
        lock.acquire(timeout=patience_s)
    except Timeout:
        remedy = "wait until it is done, then start again"
        raise InputError(what, where=str(folder), remedy=remedy) from None
    except OSError as error:
        said = f"its lock {place} cannot be used: {error.strerror or error}"
        remedy = "have the person whose file it is remove it, once their program has ended"
        raise InputError(said, where=str(folder), remedy=remedy) from None
    try:
        yield
    finally:
        lock.release()
