"""A lens measured from pictures of a printed board, and the board itself."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError, InputErrors
from calibration.lens import Board, LensMeasurement, measure
from tracker.report.board_sheet import board_pdf
from tracker.results.files import put_in_place
from tracker.session import lens_toml
from tracker.video import ClipFacts, frames, inspect

Picture = NDArray[np.uint8]
Progress = Callable[[str, int, int], None]

STILLS = (".jpg", ".jpeg", ".png", ".bmp", ".tif", ".tiff", ".webp")
"""Endings of files that hold one picture; everything else is opened as a clip."""

KINDS = ("checkerboard", "charuco")
SQUARE_MM = (1.0, 1000.0)
MOST_SQUARES = 50
TAG_SHARE = 0.75
"""Side of a tag as a share of its square, where nobody says: leaves a white edge around it."""


@dataclass(frozen=True)
class BoardRequest:
    """A board as a person describes it.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    columns, rows : int
        Squares, not corners.
    square_mm : float
    tag_mm : float or None
    """

    kind: str = KINDS[0]
    columns: int = 9
    rows: int = 6
    square_mm: float = 25.0
    tag_mm: float | None = None


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


def board_of(request: BoardRequest) -> Board:
    """Return the board that a person describes.

    Raises
    ------
    InputError
        If there is no such board.
    """
    if request.kind not in KINDS:
        raise InputError(
            f'there is no board "{request.kind}"', where="--board", remedy=f"use {_listed(KINDS)}"
        )
    if not SQUARE_MM[0] <= request.square_mm <= SQUARE_MM[1]:
        raise InputError(
            f"{request.square_mm:g} is no side of a square",
            where="--square-mm",
            remedy=f"give millimetres, {SQUARE_MM[0]:g} to {SQUARE_MM[1]:g}",
        )
    if max(request.columns, request.rows) > MOST_SQUARES:
        raise InputError(
            f"a board of {request.columns} x {request.rows} squares is too large",
            where="--board",
            remedy=f"take {MOST_SQUARES} at most each way",
        )
    tag = request.tag_mm
    if request.kind == KINDS[0] and tag is not None:
        raise InputError(
            "a checkerboard has no tags", where="--tag-mm", remedy="leave it out or use charuco"
        )
    if request.kind != KINDS[0] and tag is None:
        tag = TAG_SHARE * request.square_mm
    try:
        return Board(request.columns, request.rows, request.square_mm, tag)
    except InputError as error:
        raise InputError(error.what, where=error.where or "--board", remedy=error.remedy) from None


def print_board(request: BoardRequest, to: Path) -> Path:
    """Write a board to print, and return where it lies.

    Parameters
    ----------
    request : BoardRequest
    to : Path
        A new file that ends in .pdf.

    Raises
    ------
    InputError
        If the board does not fit the page, or the file is there already.
    """
    board = board_of(request)
    if to.suffix.lower() != ".pdf":
        raise InputError("is no PDF", where=str(to), remedy="give a name that ends in .pdf")
    _refuse_existing(to, "--print-board")
    try:
        page = board_pdf(board)
    except InputError as error:
        raise InputError(error.what, where="--print-board", remedy=error.remedy) from None
    put_in_place(to.parent, {to.name: page})
    return to


def measure_lens(
    sources: Sequence[Path],
    request: BoardRequest,
    to: Path,
    names: tuple[str, str] = ("", ""),
    progress: Progress | None = None,
) -> MeasuredLens:
    """Measure a lens and write its file.

    Parameters
    ----------
    sources : sequence of Path
        Clips and single pictures of the board, all of one size.
    request : BoardRequest
    to : Path
        A new lens file.
    names : tuple of str
        Device and zoom that the lens holds for.
    progress : callable, optional
        Told the file, how many of its frames are done, and how many there are.

    Raises
    ------
    InputError
        If a source cannot be read, the board is not seen well enough, or the lens file is
        there already.
    """
    board = board_of(request)
    _refuse_existing(to, "--to")
    taken = _Pictures(sources, progress)
    try:
        found = measure(taken, board, device=names[0], zoom=names[1])
    except InputError as error:
        where = error.where or (str(sources[0]) if len(sources) == 1 else "")
        raise InputError(error.what, where=where, remedy=error.remedy) from None
    _refuse_existing(to, "--to")
    put_in_place(to.parent, {to.name: lens_toml(found.lens).encode("utf-8", "replace")})
    notes = list(dict.fromkeys((*taken.notes, *found.notes)))
    if taken.stills:
        notes.append(
            "photographs often show more than the same camera's clips: this lens holds for "
            f"pictures of {found.lens.size_px[0]} x {found.lens.size_px[1]} pixels or of that shape"
        )
    return MeasuredLens(found, taken.count, tuple(notes), to)


class _Pictures:
    """The luma of single pictures and of clips' frames, one after the other."""

    def __init__(self, sources: Sequence[Path], progress: Progress | None) -> None:
        """Open every clip's header and look for every picture, telling all faults at once."""
        self.count = 0
        self.notes: list[str] = []
        self._progress = progress
        self._sources: list[Path | ClipFacts] = []
        faults: list[InputError] = []
        for path in sources:
            try:
                self._sources.append(_opened(path))
            except InputError as error:
                faults.extend(error.errors if isinstance(error, InputErrors) else [error])
        if faults:
            raise InputErrors(faults)
        self.stills = any(isinstance(source, Path) for source in self._sources)

    def __iter__(self) -> Iterator[Picture]:
        stills = sum(isinstance(source, Path) for source in self._sources)
        seen = 0
        for source in self._sources:
            if isinstance(source, Path):
                seen += 1
                self._tell("pictures", seen, stills)
                self.count += 1
                yield _still(source)
            else:
                yield from self._film(source)

    def _film(self, facts: ClipFacts) -> Iterator[Picture]:
        for frame in frames(facts, on_note=self.notes.append):
            if frame.index % 8 == 0:
                self._tell(facts.path.name, frame.index, facts.frame_count)
            if not frame.suspect:
                self.count += 1
                yield frame.luma

    def _tell(self, name: str, done: int, of: int) -> None:
        if self._progress is not None:
            self._progress(name, done, of)


def _opened(path: Path) -> Path | ClipFacts:
    if path.is_dir():
        raise InputError(
            "is a folder", where=str(path), remedy="give the clip or the pictures in it by name"
        )
    if path.suffix.lower() not in STILLS:
        return inspect(path)
    if not path.is_file():
        raise InputError("there is no such file", where=str(path))
    return path


def _still(path: Path) -> Picture:
    """Read the luma of a picture, turned as its file asks."""
    import cv2

    try:
        content = np.frombuffer(path.read_bytes(), np.uint8)
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        raise InputError(f"cannot be read ({reason})", where=str(path)) from None
    # Read by ourselves: OpenCV opens no file whose name Windows' code page lacks.
    found = cv2.imdecode(content, cv2.IMREAD_GRAYSCALE) if len(content) else None
    if found is None:
        raise InputError("is no picture that can be read", where=str(path))
    return np.asarray(found, np.uint8)


def _refuse_existing(path: Path, option: str) -> None:
    if path.is_dir():
        raise InputError("is a folder", where=str(path), remedy=f"give a file's name with {option}")
    if path.exists():
        raise InputError(
            "is there already and stays as it is",
            where=str(path),
            remedy=f"give another name with {option}, or move it away",
        )


def _listed(words: Sequence[str]) -> str:
    return " or ".join(words)
