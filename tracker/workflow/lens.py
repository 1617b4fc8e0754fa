"""A lens measured from pictures of a printed board, and the board itself."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError
from calibration.lens import Board, LensMeasurement, board_from, measure
from tracker.report.board_sheet import board_pdf
from tracker.results.files import put_in_place
from tracker.session import lens_toml
from tracker.video import Lumas

Progress = Callable[[str, int, int], None]

BOARD = "--board"
"""The option that describes a board."""


@dataclass(frozen=True)
class MeasuredLens:
    """A lens and the file that holds it.

    Attributes
    ----------
    measurement : LensMeasurement
    looked_at : int
        Pictures and frames in which the board was looked for.
    notes : tuple of str
        Sentences that a person should read.
    path : Path
    """

    measurement: LensMeasurement
    looked_at: int
    notes: tuple[str, ...]
    path: Path


def print_board(board: str, to: Path) -> Path:
    """Write a board to print, and return its path.

    Parameters
    ----------
    board : str
        As `calibration.lens.board_from` reads it.
    to : Path
        A new file that ends in .pdf.

    Raises
    ------
    InputError
        If there is no such board, it does not fit the page, or the file exists.
    """
    wanted = _board(board)
    if to.suffix.lower() != ".pdf":
        raise InputError("is no PDF", where=str(to), remedy="give a name that ends in .pdf")
    _refuse_existing(to, "--print-board")
    try:
        page = board_pdf(wanted)
    except InputError as error:
        raise error.at("--print-board") from None
    put_in_place(to.parent, {to.name: page})
    return to


def measure_lens(
    sources: Sequence[Path],
    board: str,
    to: Path,
    names: tuple[str, str] = ("", ""),
    progress: Progress | None = None,
) -> MeasuredLens:
    """Measure a lens and write its file.

    Parameters
    ----------
    sources : sequence of Path
        Clips and single pictures of the board, all of one size.
    board : str
        As `calibration.lens.board_from` reads it.
    to : Path
        A new lens file.
    names : tuple of str
        Device and zoom that the lens holds for.
    progress : callable, optional
        Called with the file, how many of its frames are done, and how many there are.

    Raises
    ------
    InputError
        If a source cannot be read, the board is not seen well enough, or the lens file exists.
    """
    wanted = _board(board)
    _refuse_existing(to, "--to")
    pictures = Lumas(sources, progress)
    try:
        found = measure(pictures, wanted, device=names[0], zoom=names[1])
    except InputError as error:
        raise (error if error.where or len(sources) != 1 else error.at(str(sources[0]))) from None
    _refuse_existing(to, "--to")
    put_in_place(to.parent, {to.name: lens_toml(found.lens).encode("utf-8", "replace")})
    notes = list(dict.fromkeys((*pictures.notes, *found.notes)))
    if pictures.stills:
        notes.append(
            "photographs often show more than the same camera's clips: this lens holds for "
            f"pictures of {found.lens.size_px[0]} x {found.lens.size_px[1]} pixels or of that shape"
        )
    return MeasuredLens(found, pictures.count, tuple(notes), to)


def _board(text: str) -> Board:
    try:
        return board_from(text)
    except InputError as error:
        raise error.at(BOARD) from None


def _refuse_existing(path: Path, option: str) -> None:
    if path.is_dir():
        raise InputError("is a folder", where=str(path), remedy=f"give a file's name with {option}")
    if path.exists():
        raise InputError(
            "is there already and stays as it is",
            where=str(path),
            remedy=f"give another name with {option}, or move it away",
        )
