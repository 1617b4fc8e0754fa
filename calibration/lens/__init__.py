"""A lens that was measured once with a printed board and can be used again."""

from typing import TYPE_CHECKING

from calibration.later import later
from calibration.lens.lens import PARAMETERS, Lens

if TYPE_CHECKING:
    from calibration.lens.board import Board, Sheet, Sighting
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

__getattr__ = later(
    __name__,
    {
        "board": "Board Sheet Sighting",
        "measurement": "LensMeasurement measure",
        "notation": "board_from board_text",
    },
)
