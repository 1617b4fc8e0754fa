"""``lobmeter still``: a frame to read pixels from."""

from pathlib import Path

from calibration.errors import InputError
from tracker.report.still_picture import still_pictures
from tracker.results import put_in_place
from tracker.video import inspect, picture


def write_still(clip: Path, at_s: float = 0.0, to: Path | None = None) -> tuple[Path, float]:
    """Write a frame with a grid, and enlarged parts of it; return the folder and the frame's time.

    Parameters
    ----------
    clip : Path
        A video file.
    at_s : float
        Playing time, s; the frame next to it is taken.
    to : Path, optional
        Folder; ``CLIP-still`` beside the clip when left out.

    Raises
    ------
    InputError
        Where the file is no video, or the time lies outside it.
    """
    facts = inspect(clip)
    if not 0.0 <= at_s <= facts.duration_s:
        raise InputError(
            f"{at_s:g} s lies outside the clip",
            where="--at",
            remedy=f"give 0 to {facts.duration_s:.1f}",
        )
    index = facts.frame_at(at_s)
    time_s = float(facts.file_times_s[index] - facts.file_times_s[0])
    folder = to or clip.parent / f"{clip.stem}-still"
    title = f"{clip.name}, frame {index} at {time_s:.3f} s"
    put_in_place(folder, still_pictures(picture(facts, index), title))
    return folder, time_s
