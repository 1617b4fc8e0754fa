"""Clips that appear in a folder: which are there, and which are written no further."""

from dataclasses import dataclass, field
from pathlib import Path

ENDINGS = frozenset((".mp4", ".mov", ".m4v", ".mkv", ".avi", ".webm", ".mts", ".m2ts", ".3gp"))
"""Endings that cameras and phones give to clips. A program that copies gives its unfinished file
another one, or a dot in front."""

PATIENCE = 6
"""Looks at a file that stays as it is before a clip that cannot be opened is complained of: a phone
that is out of reach goes on later. Common practice, no source."""

Stamp = tuple[int, int]
"""Size, bytes, and time of the last change, ns."""


@dataclass
class _Seen:
    """How often a file was found as it is."""

    stamp: Stamp
    looks: int = 1


@dataclass
class Settling:
    """The clips of a folder, from look to look.

    Attributes
    ----------
    folder : Path
    patience : int
        Looks before a clip that cannot be opened is complained of.
    """

    folder: Path
    patience: int = PATIENCE
    _seen: dict[Path, _Seen] = field(default_factory=dict)
    _done: dict[Path, Stamp] = field(default_factory=dict)

    def look(self) -> list[Path]:
        """Look into the folder; return the clips that are as they were at the last look, by name.

        Those that were `finished` are left out until they change. A name that is gone is
        forgotten.
        """
        there = {path: stamp for path in self.folder.iterdir() if (stamp := _stamp_of(path))}
        self._done = {path: stamp for path, stamp in self._done.items() if path in there}
        earlier, self._seen = self._seen, {}
        for path, stamp in there.items():
            if self._done.get(path) == stamp:
                continue
            known = earlier.get(path)
            same = known is not None and known.stamp == stamp
            self._seen[path] = _Seen(stamp, known.looks + 1 if known and same else 1)
        return sorted(path for path, seen in self._seen.items() if seen.looks > 1)

    def finish(self, clip: Path) -> None:
        """Leave a clip out of further looks until it changes."""
        seen = self._seen.pop(clip, None)
        if seen is not None:
            self._done[clip] = seen.stamp

    def exhausted(self, clip: Path) -> bool:
        """Return whether a clip stayed as it is for so many looks that it will hardly change."""
        return clip in self._seen and self._seen[clip].looks > self.patience

    @property
    def open(self) -> tuple[Path, ...]:
        """The clips that are not finished, by name."""
        return tuple(sorted(self._seen))


def _stamp_of(path: Path) -> Stamp | None:
    """Return a clip's size and time; None for what is no clip, is empty or is gone."""
    if path.name.startswith(".") or path.suffix.lower() not in ENDINGS:
        return None
    try:
        stat = path.stat()
        return (stat.st_size, stat.st_mtime_ns) if stat.st_size and path.is_file() else None
    except OSError:
        return None
