"""How wide text is, and how it is folded to a width, before any of it is drawn."""

from functools import cache, lru_cache
from importlib.util import find_spec
from itertools import accumulate
from pathlib import Path
from typing import TYPE_CHECKING
from unicodedata import category

if TYPE_CHECKING:
    from cv2 import FontFace

POINTS_PER_INCH = 72.0
"""Typographic points to an inch, by definition."""

FILES = {"normal": "DejaVuSans.ttf", "bold": "DejaVuSans-Bold.ttf"}
"""The pictures' typeface by weight; matplotlib carries the files, and draws with them too."""

MEASURED_SIZE = 300
"""OpenCV's size of letters at which a width is measured: large, since widths are whole pixels,
and no larger, since the letters are drawn for it."""

PAST_LETTERS_PX = 1
"""How much wider a text measures than its letters move the pen, px: the same for one letter or two.
"""

NO_LETTERS = {"Cc", "Cn", "Co", "Cs"}
"""Categories of what is no letter: control codes, and codes without a meaning that all share."""

OPENCV_PER_EM = 0.9293
"""OpenCV's measure of a size over the size of the letters: measured, an n of DejaVu Sans being 1298
units of 2048 wide (its table hmtx)."""

LINE_SPACING = 1.3
"""Height of a line over the size of its letters; common practice, no source."""


def line_inches(size: float) -> float:
    """Return the height of one line of text of a size in points, inches."""
    return size * LINE_SPACING / POINTS_PER_INCH


@lru_cache(maxsize=2000)
def width_inches(text: str, size: float, weight: str = "normal") -> float:
    """Return the width of a text in the pictures' own typeface, inches.

    Parameters
    ----------
    text : str
    size : float
        Points.
    weight : str
        ``"normal"`` or ``"bold"``.
    """
    return sum(_advance(letter, weight) for letter in printable(text)) * size / POINTS_PER_INCH


def printable(text: str) -> str:
    """Return a text as it is drawn, as long as it is: what is no letter has a sign for it.

    OpenCV ends the whole program at half of a surrogate pair, which stands in file names that are
    no UTF-8.
    """
    return "".join(
        "\N{REPLACEMENT CHARACTER}" if category(letter) in NO_LETTERS else letter for letter in text
    )


def letter_places(text: str, size_px: float, weight: str = "normal") -> list[float]:
    """Return where each letter of a text begins and where the last one ends, px.

    OpenCV itself cuts every width to whole pixels: words of small letters get a tenth too narrow.
    """
    wide = [size_px * _advance(letter, weight) for letter in printable(text)]
    return list(accumulate(wide, initial=0.0))


@lru_cache(maxsize=4000)
def _advance(letter: str, weight: str) -> float:
    """Return the width of a letter in sizes of letters."""
    import cv2

    wide = cv2.getTextSize((1, 1), letter, (0, 0), _face(weight), MEASURED_SIZE)[2]
    return float(wide - PAST_LETTERS_PX) / MEASURED_SIZE * OPENCV_PER_EM


def typeface(size_px: float, weight: str = "normal") -> tuple["FontFace", int]:
    """Return the face of a weight, and the number for OpenCV that gives letters of a size, px."""
    return _face(weight), max(1, round(size_px * OPENCV_PER_EM))


@cache
def _face(weight: str) -> "FontFace":
    """Return a face; OpenCV's own where matplotlib's files are missing."""
    import cv2

    found = find_spec("matplotlib")
    folder = Path(found.origin).parent if found is not None and found.origin else Path()
    face = cv2.FontFace()
    if not face.set(str(folder / "mpl-data" / "fonts" / "ttf" / FILES[weight])):
        face.set("sans")
    return face


def folded(text: str, inches: float, size: float, weight: str = "normal") -> list[str]:
    """Return the lines of a text, each no wider than that; nothing is left out.

    Lines break between words; a word that is too wide for a line breaks between letters.

    Parameters
    ----------
    text : str
    inches : float
    size : float
        Points.
    weight : str
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        joined = f"{line} {word}" if line else word
        if width_inches(joined, size, weight) <= inches:
            line = joined
            continue
        if line:
            lines.append(line)
        line = word
        while width_inches(line, size, weight) > inches and len(line) > 1:
            kept = _letters_within(line, inches, size, weight)
            lines.append(line[:kept])
            line = line[kept:]
    return [*lines, line] if line else lines


def _letters_within(word: str, inches: float, size: float, weight: str) -> int:
    """Return how many letters of a word fit a width, at least one."""
    fits, too_many = 1, len(word)
    while too_many - fits > 1:
        middle = (fits + too_many) // 2
        if width_inches(word[:middle], size, weight) <= inches:
            fits = middle
        else:
            too_many = middle
    return fits
