"""``review.toml``: what a person decided about measured shots, kept apart from the results."""

from dataclasses import dataclass, fields
from enum import StrEnum
from itertools import pairwise
from pathlib import Path

from calibration.errors import nearest
from tracker.session.document import Document, Faults, parse_document, read_document
from tracker.session.entries import Session
from tracker.session.kinds import listed, shown
from tracker.session.lines import Place as Location
from tracker.session.schema import DecisionSchema, ReviewSchema
from tracker.session.stated import NOTHING_STATED, PICKED_U_PX, AddedShot, Place, StatedEnds
from tracker.session.validate import validated

REVIEW_FILE = "review.toml"

ENDS = tuple(each.name for each in fields(StatedEnds))
"""Fields of a decision that state where and when a shot was released or came down."""

DECIDES = (
    *("verdict", "setup", "landing_m", "landing_px", "landing_s"),
    *("release_px", "moved_release_s"),
)
"""Fields of which a decision has at least one."""

MOST_MOVED_S = 0.25
"""Furthest that a release may be moved, s: a decision is matched to its shot within this time."""


class Verdict(StrEnum):
    """What a person decided about a row."""

    REJECT = "reject"
    ACCEPT = "accept"


@dataclass(frozen=True)
class Decision:
    """``[[decision]]``: one shot, recognised by its clip and its time of release.

    Attributes
    ----------
    clip : str
        As in ``session.toml``.
    release_s : float
        As in ``shots.csv``.
    verdict : Verdict or None
        None leaves the row's quality as measured.
    setup : str or None
        Setup that the shot belongs to in place of its clip's.
    reason : str
        Why, in the person's words.
    ends : StatedEnds
        Where and when it was released or came down, as far as that is stated.
    where : str
        File, line and table, for notes.
    """

    clip: str
    release_s: float
    verdict: Verdict | None = None
    setup: str | None = None
    reason: str = ""
    ends: StatedEnds = NOTHING_STATED
    where: str = ""

    @property
    def words(self) -> str:
        """The decision in a few words."""
        said = [] if self.verdict is None else [f"{self.verdict.value}ed"]
        if self.setup is not None:
            said.append(f'moved to "{self.setup}"')
        said += self.ends.words
        why = f": {self.reason}" if self.reason else ""
        return " and ".join(said) + why

    def given(self) -> dict[str, object]:
        """Return the fields of ``review.toml``; None for those to be left out."""
        return {
            "clip": self.clip,
            "release_s": self.release_s,
            "verdict": None if self.verdict is None else self.verdict.value,
            "setup": self.setup,
            **self.ends.given(),
            "reason": self.reason or None,
        }


@dataclass(frozen=True)
class Review:
    """Everything that a person decided about a session.

    Attributes
    ----------
    decisions : tuple of Decision
    added : tuple of AddedShot
    """

    decisions: tuple[Decision, ...] = ()
    added: tuple[AddedShot, ...] = ()


def read_review(session: Session) -> Review:
    """Return what was decided about a session; nothing where there is no ``review.toml``.

    Raises
    ------
    InputErrors
        With every field that is not as docs/formats.md has it.
    """
    path = session.folder / REVIEW_FILE
    if session.bare or not path.is_file():
        return Review()
    return _review(read_document(path), session)


def parse_review(text: str, session: Session) -> Review:
    """Return what a text of ``review.toml`` decides.

    Raises
    ------
    InputErrors
        With every field that is not as docs/formats.md has it.
    """
    return _review(parse_document(text.replace("\r\n", "\n"), REVIEW_FILE), session)


def _review(document: Document, session: Session) -> Review:
    faults = Faults(document)
    written = validated(ReviewSchema, document, faults)
    for index, table in enumerate(written.decision if written is not None else ()):
        _check_decision(table, ("decision", index), session, faults)
    for number, added in enumerate(written.added if written is not None else ()):
        _check_setup(added.setup, ("added", number), session, faults)
        _check_times(added.places, ("added", number, "places"), faults)
    faults.raise_any()
    assert written is not None
    return Review(
        tuple(
            Decision(
                clip=table.clip,
                release_s=table.release_s,
                verdict=None if table.verdict is None else Verdict(table.verdict),
                setup=table.setup,
                reason=table.reason or "",
                ends=StatedEnds(**{k: v for k, v in table.given().items() if k in ENDS}),
                where=document.where(("decision", index)),
            )
            for index, table in enumerate(written.decision)
        ),
        tuple(
            AddedShot(
                clip=added.clip,
                places=tuple(Place(row[0], (row[1], row[2])) for row in added.places),
                px_u=PICKED_U_PX if added.px_u is None else added.px_u,
                setup=added.setup,
                reason=added.reason or "",
                where=document.where(("added", number)),
            )
            for number, added in enumerate(written.added)
        ),
    )


def _check_decision(
    table: DecisionSchema, place: Location, session: Session, faults: Faults
) -> None:
    """Find the faults between the fields of a decision."""
    if not any(getattr(table, name) is not None for name in DECIDES):
        remedy = "give verdict, setup, or where it landed or was released"
        faults.add(place, "decides nothing", remedy)
    if table.verdict is not None and not (table.reason or "").strip():
        faults.add((*place, "reason"), "is missing", "say why, for whoever reads it later")
    moved = table.moved_release_s
    if moved is not None and abs(moved - table.release_s) > MOST_MOVED_S:
        faults.add(
            (*place, "moved_release_s"),
            f"is {abs(moved - table.release_s):.2f} s from release_s",
            "reject the shot and add it anew by two places of the ball",
        )
    if table.landing_s is not None and table.landing_s <= table.release_s:
        faults.add((*place, "landing_s"), "is before the release", "give a later time")
    _check_setup(table.setup, place, session, faults)


def _check_setup(setup: str | None, place: Location, session: Session, faults: Faults) -> None:
    """Find a setup that the session has not."""
    names = [each.name for each in session.setups]
    if setup is not None and setup not in names:
        near = nearest(setup, names)
        guess = f"did you mean {near}? The" if near else "the"
        what = f"{shown(setup)} is the name of no [[setup]]"
        faults.add((*place, "setup"), what, f"{guess} setups are {listed(names)}")


def _check_times(places: list[list[float]], place: Location, faults: Faults) -> None:
    """Find places that are not in order of time."""
    times = [row[0] for row in places]
    if any(later <= earlier for earlier, later in pairwise(times)):
        faults.add(place, "are not in order of time", "give each place a later time")


def review_path(session: Session) -> Path:
    """Return where the decisions of a session are."""
    return session.folder / REVIEW_FILE
