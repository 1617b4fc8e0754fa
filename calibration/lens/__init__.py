"""A lens that was measured once with a printed board and can be used again."""

from calibration.lens.board import Board, Sheet, Sighting
from calibration.lens.lens import PARAMETERS, Lens
from calibration.lens.measurement import LensMeasurement, measure
from calibration.lens.notation import board_from, board_text

__all__ = [
    "PARAMETERS",
    "Board",
    "Lens",
    "LensMeasurement",
    "Sheet",
    "Sighting",
    "board_from",
    "board_text",
    "measure",
]
