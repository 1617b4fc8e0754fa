"""The tables of a TrueType file that say how wide its letters are (ISO/IEC 14496-22)."""

from dataclasses import dataclass
from pathlib import Path
from struct import Struct, unpack_from

import numpy as np
from numpy.typing import NDArray

FIRST_TABLE, TABLE = 12, Struct(">4sIII")
"""Where the list of a file's tables begins, and one line of it: name, sum, offset, length."""

ALL_OF_UNICODE = 12
"""Format of the table that holds the glyphs of all codes, in groups of codes in order."""


@dataclass(frozen=True)
class Widths:
    """How wide the letters of a typeface are, in sizes of letters.

    Attributes
    ----------
    groups : ndarray of int, shape (G, 3)
        First and last code of each group of letters, and the glyph of the first.
    advances : ndarray, shape (N,)
        By glyph; all further ones are as wide as the last.
    """

    groups: NDArray[np.int64]
    advances: NDArray[np.float64]

    def of(self, letter: str) -> float | None:
        """Return the width of a letter, None where the typeface has none."""
        code = ord(letter)
        at = int(np.searchsorted(self.groups[:, 0], code, side="right")) - 1
        first, last, glyph = self.groups[at].tolist()
        if at < 0 or code > last:
            return None
        return float(self.advances[min(glyph + code - first, len(self.advances) - 1)])


def widths_of(file: Path) -> Widths:
    """Return the widths of the letters in a TrueType file.

    Raises
    ------
    OSError, ValueError
        Where it cannot be read, or holds no such table.
    """
    data = file.read_bytes()
    count = unpack_from(">H", data, 4)[0]
    lines = [TABLE.unpack_from(data, FIRST_TABLE + TABLE.size * line) for line in range(count)]
    offsets = {name: offset for name, _, offset, _ in lines}
    if not {b"head", b"hhea", b"hmtx", b"cmap"} <= offsets.keys():
        raise ValueError(f"{file.name} has no widths")
    units = unpack_from(">H", data, offsets[b"head"] + 18)[0]
    wide = unpack_from(">H", data, offsets[b"hhea"] + 34)[0]
    pairs = np.frombuffer(data, ">u2", 2 * wide, offsets[b"hmtx"])
    return Widths(_groups(data, offsets[b"cmap"]), pairs[::2] / units)


def _groups(data: bytes, cmap: int) -> NDArray[np.int64]:
    """Return the groups of codes of a font's table of glyphs."""
    for line in range(unpack_from(">H", data, cmap + 2)[0]):
        place = cmap + unpack_from(">I", data, cmap + 8 + 8 * line)[0]
        if unpack_from(">H", data, place)[0] == ALL_OF_UNICODE:
            count = unpack_from(">I", data, place + 12)[0]
            return np.frombuffer(data, ">u4", 3 * count, place + 16).reshape(-1, 3).astype(np.int64)
    raise ValueError("the typeface lists no glyphs in groups")
