"""Changes of a clip's markers as changes of ``session.toml``."""

import re
from collections.abc import Collection, Sequence
from dataclasses import replace

from tracker.session import ClipEntry, FieldChange, MarkerEntry, Session, to_millimetre
from tracker.session.lines import Place

SPACING_M = 10.0
"""Spacing of markers down the firing line, m: README's advice."""

SAME_M = 1.0
"""Markers nearer to each other than this along the line are one, m (common practice, no source)."""

NOMINAL_M = 0.5
"""Distance from the place that a marker is called by up to which it still has that name, m (common
practice, no source)."""

_BY_PLACE = re.compile(r"(-?\d+(?:\.\d+)?) m(?: \(\d+\))?")

PICKED_CLOSE_U = 0.3
"""Standard uncertainty of a pixel picked under magnification, px (common practice, no source; as in
`calibration.site.remedies`)."""

Pixel = tuple[float, float]


def pick(
    session: Session, clip: ClipEntry, name: str, pixel: Pixel, pixel_u: float | None = None
) -> list[FieldChange]:
    """Return the changes that give a marker a pixel.

    Parameters
    ----------
    session : Session
    clip : ClipEntry
    name : str
        The marker's.
    pixel : (float, float)
        Column and row; tenths are kept.
    pixel_u : float, optional
        Its standard uncertainty; the usual one when left out.
    """
    at = (*list_of(session, clip), _number(clip, name))
    written = [round(value, 1) for value in pixel]
    return [FieldChange((*at, "pixel"), written), FieldChange((*at, "pixel_u"), pixel_u)]


def unpick(session: Session, clip: ClipEntry, name: str) -> list[FieldChange]:
    """Return the changes that take a marker's pixel away; the marker stays."""
    at = (*list_of(session, clip), _number(clip, name))
    return [FieldChange((*at, "pixel"), None), FieldChange((*at, "pixel_u"), None)]


def remove(session: Session, clip: ClipEntry, name: str) -> list[FieldChange]:
    """Return the change that removes a marker."""
    return [FieldChange((*list_of(session, clip), _number(clip, name)), None)]


def rename(session: Session, clip: ClipEntry, name: str, wanted: str) -> list[FieldChange]:
    """Return the change that gives a marker another name."""
    return [FieldChange((*list_of(session, clip), _number(clip, name), "name"), wanted)]


def retape(
    session: Session, clip: ClipEntry, name: str, ground_m: Sequence[float]
) -> list[FieldChange]:
    """Return the changes that put a marker at another place of the ground.

    One that is still called by the place that it had is called by its new one.
    """
    at = (*list_of(session, clip), _number(clip, name))
    place = to_millimetre(ground_m)
    changes = [FieldChange((*at, "ground_m"), place)]
    wanted = renamed(clip.markers, name, place[0])
    return changes if wanted == name else [*changes, FieldChange((*at, "name"), wanted)]


def renamed(markers: Sequence[MarkerEntry], name: str, along_m: float) -> str:
    """Return what a marker is called once it stands elsewhere along the line.

    One that is called by its place, to half a metre, gets a name by the new one.
    """
    now = next(entry.ground_m[0] for entry in markers if entry.name == name)
    called = _BY_PLACE.fullmatch(name)
    if called is None or abs(float(called[1]) - now) >= NOMINAL_M:
        return name
    if abs(float(called[1]) - along_m) < NOMINAL_M:
        return name
    taken = {entry.name for entry in markers if entry.name != name}
    return _free_name(round(along_m, 1), taken)


def add(session: Session, clip: ClipEntry, marker: MarkerEntry) -> list[FieldChange]:
    """Return the change that adds a marker."""
    at = (*list_of(session, clip), len(clip.markers))
    return [FieldChange(at, {"name": marker.name, "ground_m": list(marker.ground_m)})]


def apart(session: Session, clip: ClipEntry) -> list[FieldChange]:
    """Return the changes that give a clip the session's markers as its own, to be picked anew."""
    at = ("clip", _place(session, clip), "marker")
    return [
        FieldChange((*at, number), _written(replace(one, pixel=None)))
        for number, one in enumerate(session.markers)
    ]


def given(session: Session, clip: ClipEntry, files: Collection[str]) -> list[FieldChange]:
    """Return the changes that give other clips a clip's markers with its picks as their own."""
    return [
        FieldChange(("clip", number, "marker", at), _written(marker))
        for number, other in enumerate(session.clips)
        if other.file in files
        for at, marker in enumerate(clip.markers)
    ]


def _written(marker: MarkerEntry) -> dict[str, object]:
    usual = MarkerEntry(marker.name, marker.ground_m)
    made: dict[str, object] = {"name": marker.name, "ground_m": to_millimetre(marker.ground_m)}
    if marker.u_m != usual.u_m:
        made["u_m"] = marker.u_m
    if marker.pixel is not None:
        made["pixel"] = [round(value, 1) for value in marker.pixel]
        if marker.pixel_u != usual.pixel_u:
            made["pixel_u"] = marker.pixel_u
    return made


def rejoin(session: Session, clip: ClipEntry) -> list[FieldChange]:
    """Return the change that gives a clip the session's markers and picks again."""
    return [FieldChange(("clip", _place(session, clip), "marker"), None)]


def list_of(session: Session, clip: ClipEntry) -> Place:
    """Return where a clip's markers stand in ``session.toml``: the session's list or its own."""
    number = _place(session, clip)
    if session.clips[number].markers == session.markers:
        return ("marker",)
    return ("clip", number, "marker")


def _place(session: Session, clip: ClipEntry) -> int:
    return next(i for i, one in enumerate(session.clips) if one.file == clip.file)


def next_to(markers: Sequence[MarkerEntry]) -> MarkerEntry:
    """Return a marker to start from: the usual next one down the firing line, not picked."""
    along = [entry.ground_m[0] for entry in markers]
    places = [SPACING_M * step for step in range(len(along) + 1)]
    free = next(at for at in places if all(abs(at - other) > SAME_M for other in along))
    return MarkerEntry(_free_name(free, {entry.name for entry in markers}), (free, 0.0, 0.0))


def _free_name(along_m: float, taken: Collection[str]) -> str:
    """Return a name by a place along the line that no other marker has."""
    name, number = f"{along_m:g} m", 2
    while name in taken:
        name, number = f"{along_m:g} m ({number})", number + 1
    return name


def _number(clip: ClipEntry, name: str) -> int:
    return next(i for i, entry in enumerate(clip.markers) if entry.name == name)
