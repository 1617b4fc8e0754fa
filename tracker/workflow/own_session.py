"""A session of its own for one clip, from the session file of the folder that it lies in."""

from collections.abc import Iterator
from itertools import count
from pathlib import Path

from tracker.results import put_in_place
from tracker.session import SESSION_FILE, FieldChange, Session, read_session, revised
from tracker.video.origin import origin_of


def own_session(folder: Path, clip: Path) -> Path:
    """Return the folder of a clip's own session; made from that of `folder` where there is none.

    It has the clip's name and states what the session file of `folder` states, with this clip in
    place of any other and the last setup. A person may change it as any session.

    Parameters
    ----------
    folder : Path
        Holds a ``session.toml`` and the clip.
    clip : Path

    Raises
    ------
    InputError
        Where the session file, or one that is there already, has faults.
    """
    for place in _places(folder, clip):
        if not place.exists():
            break
        if (place / SESSION_FILE).is_file():
            session = read_session(place, filmed=False)
            if any(each.path.resolve() == clip.resolve() for each in session.clips):
                return place
    template = read_session(folder, filmed=False)
    text = (folder / SESSION_FILE).read_bytes().decode("utf-8-sig")
    lens = template.camera.lens
    contents = {SESSION_FILE: revised(text, _changes(template, clip)).encode("utf-8")}
    if lens is not None:
        contents[lens.name] = lens.read_bytes()
    put_in_place(place, contents)
    return place


def _places(folder: Path, clip: Path) -> Iterator[Path]:
    """Give folders that may be the clip's: of its name, with its ending, with a number."""
    yield folder / clip.stem
    named = f"{clip.stem}-{clip.suffix[1:].lower()}"
    yield folder / named
    yield from (folder / f"{named}-{number}" for number in count(2))


def _changes(template: Session, clip: Path) -> list[FieldChange]:
    changes = [
        FieldChange(("name",), f"{template.name}, {clip.stem}"),
        FieldChange(("clip",), None),
    ]
    filmed = origin_of(clip).filmed
    if template.date is None and filmed is not None:
        changes.append(FieldChange(("date",), filmed.date()))
    if template.camera.lens is not None:
        changes.append(FieldChange(("camera", "lens"), template.camera.lens.name))
    setups = [*(each.name for each in template.setups), *(each.setup for each in template.clips)]
    if not setups:
        setups = ["setup 1"]
        changes.append(FieldChange(("setup", 0), {"name": setups[0]}))
    stated = {"file": f"../{clip.name}", "setup": setups[-1]}
    return [*changes, FieldChange(("clip", 0), stated)]
