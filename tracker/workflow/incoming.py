"""Clips that come in by pieces, from a browser or a phone: kept until they are whole.

A clip that was cut off goes on where it stopped, also after a restart: its pieces lie in a folder
under a key made of its name, its size and its time.
"""

import hashlib
import json
import os
import re
import shutil
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from calibration.errors import InputError
from tracker.results import put_in_place

MOST_CLIP_BYTES = 64 * 2**30
"""Largest clip, bytes: two hours of 4K at 60 Mbit/s. Common practice, no source."""
SPARE_BYTES = 500_000_000
"""Space that stays free on the disk, bytes. Common practice, no source."""
LONGEST_NAME = 100
"""Bytes of a file's name in UTF-8 without its ending: every file system takes these. Common
practice, no source."""
RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")
"""Names that Windows keeps for devices."""


@dataclass(frozen=True)
class Announced:
    """What a sender says of a clip before its first piece.

    Attributes
    ----------
    name : str
        As the sender has it; never used as a path.
    size : int
        Bytes.
    modified_ms : int
        When the file was made, ms since 1970; 0 where nobody says.
    into : str
        What it is for: a session's number, or nothing for a new session.
    """

    name: str
    size: int
    modified_ms: int = 0
    into: str = ""

    @property
    def key(self) -> str:
        """The key of its pieces."""
        said = json.dumps([self.name, self.size, self.modified_ms, self.into])
        return hashlib.sha256(said.encode("utf-8", "surrogatepass")).hexdigest()[:32]


@dataclass(frozen=True)
class Incoming:
    """A clip as far as it has come.

    Attributes
    ----------
    folder : Path
        Where the pieces lie.
    announced : Announced
    """

    folder: Path
    announced: Announced

    @property
    def part(self) -> Path:
        """The file of its pieces."""
        return self.folder / f"{self.announced.key}.part"

    @property
    def received(self) -> int:
        """Bytes that have come."""
        return self.part.stat().st_size if self.part.is_file() else 0

    @property
    def whole(self) -> bool:
        """Whether all of it has come."""
        return self.received == self.announced.size


def announce(folder: Path, announced: Announced) -> Incoming:
    """Begin a clip, or find how far it came earlier.

    Raises
    ------
    InputError
        Where it is empty, too large, or the disk has no room for it.
    """
    shown = safe_name(announced.name)
    if not 0 < announced.size <= MOST_CLIP_BYTES:
        what = "is empty" if announced.size <= 0 else "is too large"
        remedy = "send the clip itself" if announced.size <= 0 else "cut it into shorter clips"
        raise InputError(what, where=shown, remedy=remedy)
    folder.mkdir(parents=True, exist_ok=True)
    incoming = Incoming(folder, announced)
    left = announced.size - incoming.received
    if shutil.disk_usage(folder).free < left + SPARE_BYTES:
        raise InputError("there is no room on the disk for it", where=shown, remedy="make room")
    said = json.dumps(asdict(announced)).encode("utf-8")
    put_in_place(folder, {f"{announced.key}.json": said})
    incoming.part.touch()
    return incoming


def find(folder: Path, key: str) -> Incoming:
    """Return a clip that was begun.

    Raises
    ------
    InputError
        Where there is none.
    """
    try:
        if not re.fullmatch(r"[0-9a-f]{32}", key):
            raise ValueError
        said = json.loads((folder / f"{key}.json").read_text(encoding="utf-8"))
        return Incoming(folder, Announced(**said))
    except (OSError, ValueError, TypeError):
        raise InputError("no such clip is coming in", where=key[:32]) from None


def unfinished(folder: Path) -> tuple[Incoming, ...]:
    """Return the clips of which a part has come, by name."""
    found = []
    for path in folder.glob("*.part"):
        try:
            incoming = find(folder, path.stem)
        except InputError:
            continue
        if 0 < incoming.received < incoming.announced.size:
            found.append(incoming)
    return tuple(sorted(found, key=lambda each: each.announced.name))


def append(incoming: Incoming, at: int, piece: bytes) -> int:
    """Add a piece; return how many bytes have come.

    Raises
    ------
    InputError
        Where the piece does not follow the last one, reaches beyond the clip, or cannot be written.
    """
    received, name = incoming.received, safe_name(incoming.announced.name)
    if at != received:
        raise InputError(f"{received} bytes have come, the piece begins at {at}", where=name)
    if received + len(piece) > incoming.announced.size:
        raise InputError("more comes than was announced", where=name)
    try:
        # At its own place: a piece that is sent twice at once is there once.
        with incoming.part.open("r+b") as file:
            file.seek(at)
            file.write(piece)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        raise InputError(f"cannot be written ({reason})", where=name, remedy="make room") from None
    return received + len(piece)


def deliver(incomings: Sequence[Incoming], folder: Path) -> tuple[Path, ...]:
    """Move whole clips into a folder, under their names and with their times.

    Raises
    ------
    InputError
        Where one is not whole; then none is moved.
    """
    for incoming in incomings:
        if not incoming.whole:
            raise InputError(
                f"{incoming.received} of {incoming.announced.size} bytes have come",
                where=safe_name(incoming.announced.name),
                remedy="send it again; it goes on where it stopped",
            )
    folder.mkdir(parents=True, exist_ok=True)
    placed = []
    for incoming in incomings:
        target = free_name(folder / safe_name(incoming.announced.name))
        if incoming.announced.modified_ms > 0:
            seconds = incoming.announced.modified_ms / 1000.0
            os.utime(incoming.part, (seconds, seconds))
        shutil.move(incoming.part, target)
        forget(incoming)
        placed.append(target)
    return tuple(placed)


def forget(incoming: Incoming) -> None:
    """Remove the pieces of a clip."""
    incoming.part.unlink(missing_ok=True)
    incoming.part.with_suffix(".json").unlink(missing_ok=True)


def safe_name(name: str) -> str:
    """Return a file's name that every system takes, without any folder."""
    last = re.split(r"[/\\]", name)[-1]
    plain = "".join("" if unicodedata.category(letter)[0] == "C" else letter for letter in last)
    plain = re.sub(r'[<>:"|?*]', "-", unicodedata.normalize("NFC", plain)).strip(" .")
    if not plain:
        return "clip.mp4"
    stem, dot, ending = plain.rpartition(".")
    if not dot or len(ending) > 8:
        stem, dot, ending = plain, ".", "mp4"
    stem = stem.encode()[:LONGEST_NAME].decode(errors="ignore").rstrip(" .") or "clip"
    found = f"{stem}{dot}{ending}"
    return f"clip-{found}" if RESERVED.fullmatch(found) else found


def free_name(path: Path) -> Path:
    """Return a path that is not taken: itself, or with a number behind its name."""
    found, number = path, 2
    while found.exists():
        found = path.with_name(f"{path.stem}-{number}{path.suffix}")
        number += 1
    return found


def announced_from(said: Mapping[str, str], size: int) -> Announced:
    """Return what a sender's own words say, whatever they hold.

    Parameters
    ----------
    said : mapping of str to str
        ``filename``, ``modified`` and ``into``; any may be missing or wrong.
    size : int
    """
    modified = said.get("modified", "")
    return Announced(
        name=said.get("filename", "")[:1000],
        size=size,
        modified_ms=int(modified) if re.fullmatch(r"\d{1,15}", modified) else 0,
        into=said.get("into", "")[:20],
    )
