"""A board to print at full size, with a ruler line that shows whether it was."""

import io

from calibration.lens import Board, board_text
from tracker.report.look import INK

A4_MM = (297.0, 210.0)
"""Width and height of A4 lying on its side (ISO 216)."""
MM_PER_INCH = 25.4
"""By definition."""


def board_pdf(board: Board) -> bytes:
    """Return a PDF page, A4 lying on its side, with a board at its true size.

    Parameters
    ----------
    board : Board

    Raises
    ------
    InputError
        If the board does not fit the page.
    """
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure

    sheet = board.sheet(A4_MM)
    size = (A4_MM[0] / MM_PER_INCH, A4_MM[1] / MM_PER_INCH)
    figure = Figure(figsize=size, facecolor="white")
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.imshow(
        sheet.picture,
        cmap="gray",
        vmin=0,
        vmax=255,
        interpolation="none",
        aspect="auto",
        extent=(0.0, A4_MM[0], A4_MM[1], 0.0),
    )
    axes.set_xlim(0.0, A4_MM[0])
    axes.set_ylim(A4_MM[1], 0.0)
    below = float(sheet.ruler_px[0, 1]) / sheet.dots_per_mm + 2.0
    axes.text(
        A4_MM[0] / 2.0, below, caption(board), ha="center", va="top", fontsize=8, color=INK,
        linespacing=1.4,
    )  # fmt: skip
    file = io.BytesIO()
    FigureCanvasPdf(figure).print_figure(
        file, format="pdf", metadata={"CreationDate": None, "Title": "Board for measuring a lens"}
    )
    return file.getvalue()


def caption(board: Board) -> str:
    """Return the words under the ruler line: what to check, and what to type afterwards."""
    return (
        "The line must measure 100 mm: print at 100 %, not fitted to the page. "
        "Keep the sheet flat on something stiff.\n"
        f"lobmeter lens CLIP --board {board_text(board)}"
    )
