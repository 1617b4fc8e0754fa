"""A board in a few characters, as they stand under a printed one: ``charuco:9x6:25:18.75``."""

import re
from dataclasses import dataclass
from math import isfinite

from calibration.errors import InputError
from calibration.lens.board import Board

CHECKERBOARD, CHARUCO = KINDS = ("checkerboard", "charuco")

USUAL_COLUMNS, USUAL_ROWS, USUAL_SQUARE_MM = 9, 6, 25.0
"""Board when nothing else is stated: squares each way, and their side in mm. It fits A4."""

SQUARE_MM = (1.0, 1000.0)
"""Sides of a square, mm, from what a printer resolves to what stands in front of a house."""

MOST_SQUARES = 50
"""Squares each way: more cannot be resolved in a frame (common practice, no source)."""

TAG_SHARE = 0.75
"""Side of a tag as a share of its square where nothing is stated: it leaves a white edge."""

FORM = "KIND:COLUMNSxROWS:SQUARE_MM, or with :TAG_MM after it"

_SIZE = re.compile(r"(\d{1,6})x(\d{1,6})")


@dataclass(frozen=True)
class _Parts:
    kind: str
    columns: int
    rows: int
    square_mm: float
    tag_mm: float | None


def board_from(text: str) -> Board:
    """Return the board that a person describes.

    Parameters
    ----------
    text : str
        ``KIND:COLUMNSxROWS:SQUARE_MM:TAG_MM``; parts at the end may be left out. The kind is one
        of `KINDS`, columns and rows are squares, sides are in mm; only charuco has tags.

    Raises
    ------
    InputError
        If there is no such board.
    """
    parts = _parts(text)
    if not SQUARE_MM[0] <= parts.square_mm <= SQUARE_MM[1]:
        raise InputError(
            f"{parts.square_mm:g} is no side of a square",
            remedy=f"give millimetres, {SQUARE_MM[0]:g} to {SQUARE_MM[1]:g}",
        )
    if max(parts.columns, parts.rows) > MOST_SQUARES:
        raise InputError(
            f"a board of {parts.columns} x {parts.rows} squares is too large",
            remedy=f"take {MOST_SQUARES} at most each way",
        )
    tag_mm = parts.tag_mm
    if parts.kind == CHECKERBOARD and tag_mm is not None:
        raise InputError("a checkerboard has no tags", remedy="leave their side out or use charuco")
    if parts.kind == CHARUCO and tag_mm is None:
        tag_mm = TAG_SHARE * parts.square_mm
    return Board(parts.columns, parts.rows, parts.square_mm, tag_mm)


def board_text(board: Board) -> str:
    """Return a board as `board_from` reads it."""
    kind = CHECKERBOARD if board.tag_mm is None else CHARUCO
    tag = "" if board.tag_mm is None else f":{board.tag_mm:g}"
    return f"{kind}:{board.columns}x{board.rows}:{board.square_mm:g}{tag}"


def _parts(text: str) -> _Parts:
    kind, *rest = text.strip().split(":")
    if kind not in KINDS:
        raise InputError(f'there is no board "{kind[:40]}"', remedy=f"use {' or '.join(KINDS)}")
    columns, rows = USUAL_COLUMNS, USUAL_ROWS
    if rest:
        size = _SIZE.fullmatch(rest[0])
        if size is None or len(rest) > 3:
            raise InputError(f'"{text[:40]}" describes no board', remedy=f"write {FORM}")
        columns, rows = int(size[1]), int(size[2])
    square_mm = _millimetres(rest[1]) if len(rest) > 1 else USUAL_SQUARE_MM
    return _Parts(kind, columns, rows, square_mm, _millimetres(rest[2]) if len(rest) > 2 else None)


def _millimetres(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not isfinite(value):
        raise InputError(f'"{text[:40]}" is no length', remedy=f"write {FORM}")
    return value
