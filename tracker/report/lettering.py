"""How wide text is, and how it is folded to a width, before any of it is drawn."""

from functools import lru_cache

POINTS_PER_INCH = 72.0
"""Typographic points to an inch, by definition."""

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
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    face = FontProperties(size=size, weight=weight)
    width, _, _ = text_to_path.get_text_width_height_descent(text, face, ismath=False)
    return float(width) / POINTS_PER_INCH


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
