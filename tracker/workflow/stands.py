"""Clips that share the markers' pixels, and whether the camera stood the same for all of them."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calibration.camera import looking_at
from calibration.errors import InputError
from tracker.session import ClipEntry, Session
from tracker.session.kinds import listed
from tracker.workflow.inputs import inspected

if TYPE_CHECKING:
    from calibration.steadiness import SteadyReference
    from tracker.video import ClipFacts
    from tracker.video.pixels import Image

STOOD_M, AIMED_M, VIEW = (0.0, -30.0, 1.5), (0.0, 0.0, 1.5), 0.75
"""Where a camera usually stands and what it looks at, m, and its focal length in widths of the
frame: that of no clip, but near enough to tell whether two pictures are of one view."""

MOVED_U = 3.0
"""Standard uncertainties of a picked pixel by which the background may lie elsewhere."""

FactsOf = Callable[[ClipEntry], "ClipFacts"]


@dataclass(frozen=True)
class Moved:
    """A clip whose camera did not stand as in the first clip with the same picks.

    Attributes
    ----------
    clip, reference : str
        Its file, and that of the first clip.
    difference : str
        What differs, behind "its".
    certain : bool
        Whether the picks are surely wrong for it; else its background was only not found again,
        which another light may cause too.
    one_position : bool
        Whether the session states where the camera stood, for all clips.
    """

    clip: str
    reference: str
    difference: str
    certain: bool
    one_position: bool

    @property
    def question(self) -> str:
        """What differs, and what to do, in words about the clip."""
        alone = (
            "; if the tripod itself was carried, make a session of this clip alone, since "
            "position_m holds for all"
            if self.one_position
            else ""
        )
        return (
            f"was the camera moved before this clip? Its {self.difference}, whose picked markers "
            f"it shares. Pick the markers anew for it (page Field, or [[clip.marker]]){alone}"
        )

    @property
    def sentence(self) -> str:
        """The same as a sentence that names the clip."""
        return f"{self.clip}: {self.question}."


def moved_clips(session: Session, facts_of: FactsOf) -> tuple[Moved, ...]:
    """Return the clips whose picture is not the one that the markers were picked on.

    Picks that clips share are those of the first of them. The first frames are compared by what
    follows a camera's motion through a clip.

    Parameters
    ----------
    session : Session
    facts_of : callable
        Given a clip; those for which it raises `InputError` are left out.
    """
    sharing = _sharing(session)
    if len(sharing) < 2:
        return ()
    first, *others = sharing
    picks = [each.pixel_u for each in session.markers if each.pixel is not None]
    found = []
    with suppress(InputError):
        background = _Background(first.file, facts_of(first))
        for clip in others:
            with suppress(InputError):
                differs = background.difference(facts_of(clip), MOVED_U * max(picks))
                if differs is not None:
                    one_position = session.camera.position_m is not None
                    found.append(Moved(clip.file, first.file, *differs, one_position))
    return tuple(found)


def moved_sentences(moved: Sequence[Moved]) -> tuple[str, ...]:
    """Return what differs, a sentence for all clips of which the same is to be said."""
    alike: dict[tuple[object, ...], list[Moved]] = {}
    for one in moved:
        alike.setdefault((one.reference, one.difference, one.one_position), []).append(one)
    return tuple(
        those[0].sentence if len(those) == 1 else _of_all(those) for those in alike.values()
    )


def _of_all(moved: Sequence[Moved]) -> str:
    first = moved[0]
    alone = (
        "; if the tripod itself was carried, make a session of these clips, since position_m holds "
        "for all"
        if first.one_position
        else ""
    )
    return (
        f"{listed([one.clip for one in moved])}: was the camera moved before these clips? In each "
        f"the {first.difference}, whose picked markers it shares. Pick the markers anew for one of "
        "them on the page Field, which then offers its picks for the others of the same view"
        f"{alone}."
    )


def of_the_same_view(
    session: Session, clip: ClipEntry, moved: Sequence[Moved], facts_of: FactsOf
) -> tuple[str, ...]:
    """Return which clips that share picks of another view show that of a clip, by their files.

    Parameters
    ----------
    session : Session
    clip : ClipEntry
        With picks of its own, as they are now.
    moved : sequence of Moved
    facts_of : callable
        Given a clip; those for which it raises `InputError` are left out.
    """
    picks = [each.pixel_u for each in clip.markers if each.pixel is not None]
    files = {one.clip for one in moved}
    found = []
    with suppress(InputError):
        background = _Background(clip.file, facts_of(clip))
        for other in session.clips if picks and background.followed else ():
            with suppress(InputError):
                if other.file in files and other.file != clip.file:
                    differs = background.difference(facts_of(other), MOVED_U * max(picks))
                    found += [] if differs else [other.file]
    return tuple(found)


def facts_once(session: Session) -> FactsOf:
    """Return what inspects each clip once, for `moved_clips` too.

    It raises `InputError` where a clip cannot be read, or shares pixels that were picked in frames
    of another size, which are surely wrong for it.
    """
    known: dict[str, ClipFacts] = {}

    def facts_of(clip: ClipEntry) -> "ClipFacts":
        if clip.file not in known:
            known[clip.file] = inspected(session, clip)
        found, sharing = known[clip.file], _sharing(session)
        first = next((known[one.file] for one in sharing if one.file in known), None)
        if first is None or clip not in sharing or first.size_px == found.size_px:
            return found
        raise InputError(
            f"its {_other_size(found.size_px, first.size_px, first.path.name)}, whose picked "
            "markers it shares",
            where=clip.file,
            remedy="pick the markers anew for it (page Field, or [[clip.marker]])",
        )

    return facts_of


def _sharing(session: Session) -> list[ClipEntry]:
    """Return the clips that share the session's picked markers; none where nothing is picked."""
    if all(each.pixel is None for each in session.markers):
        return []
    return [clip for clip in session.clips if clip.markers == session.markers]


def _other_size(size_px: tuple[int, int], first_px: tuple[int, int], first: str) -> str:
    width, height = size_px
    return f"frame is {width} x {height}, not {first_px[0]} x {first_px[1]} as that of {first}"


class _Background:
    """The background of the first clip, which others are held against."""

    def __init__(self, file: str, facts: "ClipFacts") -> None:
        self._file, self._size_px = file, facts.size_px
        self._reference = _followed(_first_luma(facts), facts)

    @property
    def followed(self) -> bool:
        """Whether there is anything in it that others can be held against."""
        return self._reference is not None

    def difference(self, facts: "ClipFacts", most_px: float) -> tuple[str, bool] | None:
        """Return what of a clip differs, and whether surely; None where nothing does."""
        if facts.size_px != self._size_px:
            return _other_size(facts.size_px, self._size_px, self._file), True
        luma = _first_luma(facts)
        # A picture in which nothing can be followed shows no motion.
        if self._reference is None or luma is None or _followed(luma, facts) is None:
            return None
        motion = self._reference.measured(luma)
        if motion.lost:
            return f"background is not found where it lies in {self._file}", False
        if motion.shift_px > most_px:
            off = f"{motion.shift_px:.0f} px from where it lies in {self._file}"
            return f"background lies {off}", True
        return None


def _first_luma(facts: "ClipFacts") -> "Image | None":
    from tracker.video import frames

    with suppress(InputError):
        return next((frame.luma.copy() for frame in frames(facts, span=(0, 0))), None)
    return None


def _followed(luma: "Image | None", facts: "ClipFacts") -> "SteadyReference | None":
    """Return what follows the background of a picture; None where nothing can be followed."""
    # Only sessions whose clips share picks need it.
    from calibration.steadiness import SteadyReference

    width, height = facts.size_px
    camera = looking_at(STOOD_M, AIMED_M, VIEW * max(width, height), facts.size_px)
    with suppress(InputError):
        return None if luma is None else SteadyReference(luma, camera, facts.rotation_deg)
    return None
