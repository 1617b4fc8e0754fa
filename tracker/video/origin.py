"""Which device filmed a clip, and when, as the file's own tags state it."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from tracker.video.listing import open_clip

MAKERS = ("com.apple.quicktime.make", "com.android.manufacturer", "make")
MODELS = ("com.apple.quicktime.model", "com.android.model", "model")
DATES = ("com.apple.quicktime.creationdate", "creation_time", "date")


@dataclass(frozen=True)
class ClipOrigin:
    """What a file states about its making.

    Attributes
    ----------
    device : str
        Maker and model; empty where the file does not state them.
    filmed : datetime or None
        In local time where the file states an offset or UTC.
    """

    device: str = ""
    filmed: datetime | None = None


def origin_of(path: Path) -> ClipOrigin:
    """Return the device and the time that a video file states.

    Raises
    ------
    InputError
        Where the file is no video.
    """
    with open_clip(path) as container:
        tags = {**container.streams.video[0].metadata, **container.metadata}
    tags = {name.lower(): value for name, value in tags.items()}
    return origin_from(tags)


def origin_from(tags: dict[str, str]) -> ClipOrigin:
    """Return the device and the time among the tags of a file, by their names in lower case."""
    maker = next((tags[name].strip() for name in MAKERS if tags.get(name, "").strip()), "")
    model = next((tags[name].strip() for name in MODELS if tags.get(name, "").strip()), "")
    device = model if model.lower().startswith(maker.lower()) else f"{maker} {model}".strip()
    for name in DATES:
        try:
            filmed = datetime.fromisoformat(tags[name].strip())
            filmed = filmed.astimezone() if filmed.tzinfo else filmed
        except (KeyError, ValueError, OverflowError, OSError):
            # The last two: a year that this system's clock does not have in local time.
            continue
        # A camera whose clock was never set states 1904 or 1970, the zero of its file format.
        if filmed.year > 1980:
            return ClipOrigin(device, filmed)
    return ClipOrigin(device)
