"""The luma of single pictures and of clips' frames, one after the other."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError, InputErrors
from tracker.video.facts import ClipFacts, inspect
from tracker.video.reading import frames

Luma = NDArray[np.uint8]
Progress = Callable[[str, int, int], None]

STILLS = (".jpg", ".jpeg", ".png", ".bmp", ".tif", ".tiff", ".webp")
"""Endings of files that hold one picture; everything else is opened as a clip."""

PROGRESS_EVERY = 8
"""Frames between two reports of progress."""


class Lumas:
    """The luma of every picture and of every frame of a list of files.

    Parameters
    ----------
    paths : sequence of Path
        Pictures and clips.
    progress : callable, optional
        Called with a file's name, how many of its frames are done, and how many it has.

    Attributes
    ----------
    count : int
        Pictures and frames that were given out so far.
    notes : list of str
        What was lost in reading clips, so far.
    stills : bool
        Whether any of the files is a single picture.

    Raises
    ------
    InputErrors
        With every file that cannot be opened.
    """

    def __init__(self, paths: Sequence[Path], progress: Progress | None = None) -> None:
        self.count = 0
        self.notes: list[str] = []
        self._progress = progress
        self._sources: list[Path | ClipFacts] = []
        faults: list[InputError] = []
        for path in paths:
            try:
                self._sources.append(_opened(path))
            except InputError as error:
                faults.extend(error.parts)
        if faults:
            raise InputErrors(faults)
        self.stills = any(isinstance(source, Path) for source in self._sources)

    def __iter__(self) -> Iterator[Luma]:
        stills = sum(isinstance(source, Path) for source in self._sources)
        seen = 0
        for source in self._sources:
            if isinstance(source, Path):
                seen += 1
                self._report("pictures", seen, stills)
                self.count += 1
                yield read_still(source)
            else:
                yield from self._frames(source)

    def _frames(self, facts: ClipFacts) -> Iterator[Luma]:
        for frame in frames(facts, on_note=self.notes.append):
            if frame.index % PROGRESS_EVERY == 0:
                self._report(facts.path.name, frame.index, facts.frame_count)
            if not frame.suspect:
                self.count += 1
                yield frame.luma

    def _report(self, name: str, done: int, of: int) -> None:
        if self._progress is not None:
            self._progress(name, done, of)


def read_still(path: Path) -> Luma:
    """Return the luma of a picture, turned as its file asks.

    Raises
    ------
    InputError
        If the file cannot be read or holds no picture.
    """
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
