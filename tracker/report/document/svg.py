"""A drawing as an SVG element whose text can be searched; every text in it is escaped."""

from collections.abc import Iterable
from xml.etree import ElementTree

from markupsafe import Markup

Point = tuple[float, float]

MARKS: dict[str, tuple[Point, ...]] = {
    "square": ((-0.88, -0.88), (0.88, -0.88), (0.88, 0.88), (-0.88, 0.88)),
    "triangle": ((0.0, -1.15), (1.05, 0.8), (-1.05, 0.8)),
    "diamond": ((0.0, -1.2), (1.2, 0.0), (0.0, 1.2), (-1.2, 0.0)),
    "wedge": ((0.0, 1.15), (1.05, -0.8), (-1.05, -0.8)),
    "cross": ((-0.4, -1.1), (0.4, -1.1), (0.4, -0.4), (1.1, -0.4), (1.1, 0.4), (0.4, 0.4),
              (0.4, 1.1), (-0.4, 1.1), (-0.4, 0.4), (-1.1, 0.4), (-1.1, -0.4), (-0.4, -0.4)),
}  # fmt: skip
"""Outlines of marks about their middle, of about the area of a circle of radius one."""


class SvgDrawing:
    """An SVG element that is drawn on, its origin at the left and the top.

    Parameters
    ----------
    width, height : float
        Of its coordinates; on the page it is as wide as there is room.
    title : str
        What it shows, for those who do not see it.
    kind : str
        A further class of the element.
    """

    def __init__(self, width: float, height: float, title: str, kind: str = "") -> None:
        self.width, self.height = width, height
        classes = f"chart {kind}" if kind else "chart"
        self._root = ElementTree.Element(
            "svg",
            {
                "viewBox": f"0 0 {width:g} {height:g}",
                "role": "img",
                "class": classes,
            },
        )
        ElementTree.SubElement(self._root, "title").text = title

    def line(self, points: Iterable[Point], style: str) -> None:
        """Draw a line through points."""
        self._add("polyline", style, points=_points(points))

    def area(self, points: Iterable[Point], style: str) -> None:
        """Draw a closed outline."""
        self._add("polygon", style, points=_points(points))

    def box(self, corner: Point, size: Point, style: str) -> None:
        """Draw a rectangle from its left upper corner."""
        self._add(
            "rect", style, x=_n(corner[0]), y=_n(corner[1]), width=_n(size[0]), height=_n(size[1])
        )

    def mark(self, shape: str, at: Point, style: str, size: float = 4.5) -> None:
        """Draw a mark: ``"circle"`` or one of `MARKS`."""
        if shape == "circle":
            self._add("circle", style, cx=_n(at[0]), cy=_n(at[1]), r=_n(size))
        else:
            self.area([(at[0] + size * x, at[1] + size * y) for x, y in MARKS[shape]], style)

    def text(self, at: Point, words: str, style: str = "", anchor: str = "start") -> None:
        """Write a text that starts, ends or has its middle at a point of its base line."""
        written = self._add("text", style, x=_n(at[0]), y=_n(at[1]), **{"text-anchor": anchor})
        written.text = words

    def markup(self) -> Markup:
        """Return the element as markup that a page takes as it is."""
        return Markup(ElementTree.tostring(self._root, encoding="unicode"))

    def _add(self, kind: str, style: str, **values: str) -> ElementTree.Element:
        return ElementTree.SubElement(self._root, kind, {"class": style, **values})


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _n(value: float) -> str:
    """Return a coordinate to a hundredth: finer than any screen or printer."""
    return f"{value:.2f}".rstrip("0").rstrip(".")
