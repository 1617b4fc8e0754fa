"""The signs of a flight's events: one for each, wherever a flight is drawn."""

EVENTS = {"release": "^", "apex": "D", "landing": "v"}
"""By event the letter of its sign, as matplotlib names markers."""

CORNERS: dict[str, tuple[tuple[float, float], ...]] = {
    "^": ((0.0, -0.5), (-0.5, 0.5), (0.5, 0.5)),
    "v": ((0.0, 0.5), (-0.5, -0.5), (0.5, -0.5)),
    "D": ((0.0, -0.7), (0.7, 0.0), (0.0, 0.7), (-0.7, 0.0)),
    "s": ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)),
}
"""Corners of signs about their middle, to the right and down, in widths."""


def svg_path(sign: str, width: float) -> str:
    """Return a sign's outline about the origin as the data of an SVG path."""
    corners = [f"{width * right:g} {width * down:g}" for right, down in CORNERS[sign]]
    return f"M{'L'.join(corners)}Z"
