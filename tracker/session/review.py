"""``review.toml``: what a person decided about measured shots, kept apart from the results."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from tracker.session.document import Document, Faults, parse_document, read_document
from tracker.session.entries import Session
from tracker.session.lines import Place
from tracker.session.schema import DecisionSchema, ReviewSchema
from tracker.session.validate import nearest, validated

REVIEW_FILE = "review.toml"


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
    where : str
        File, line and table, for notes.
    """

    clip: str
    release_s: float
    verdict: Verdict | None = None
    setup: str | None = None
    reason: str = ""
    where: str = ""

    @property
    def words(self) -> str:
        """The decision in a few words."""
        said = [] if self.verdict is None else [f"{self.verdict.value}ed"]
        if self.setup is not None:
            said.append(f'moved to "{self.setup}"')
        why = f": {self.reason}" if self.reason else ""
        return " and ".join(said) + why


def read_review(session: Session) -> tuple[Decision, ...]:
    """Return the decisions of a session; none where there is no ``review.toml``.

    Raises
    ------
    InputErrors
        With every field that is not as docs/formats.md has it.
    """
    path = session.folder / REVIEW_FILE
    if session.bare or not path.is_file():
        return ()
    return _decisions(read_document(path), session)


def parse_review(text: str, session: Session) -> tuple[Decision, ...]:
    """Return the decisions of a text of ``review.toml``.

    Raises
    ------
    InputErrors
        With every field that is not as docs/formats.md has it.
    """
    return _decisions(parse_document(text.replace("\r\n", "\n"), REVIEW_FILE), session)


def _decisions(document: Document, session: Session) -> tuple[Decision, ...]:
    faults = Faults(document)
    written = validated(ReviewSchema, document, faults)
    for index, table in enumerate(written.decision if written is not None else ()):
        _check(table, ("decision", index), session, faults)
    faults.raise_any()
    assert written is not None
    return tuple(
        Decision(
            clip=table.clip,
            release_s=table.release_s,
            verdict=None if table.verdict is None else Verdict(table.verdict),
            setup=table.setup,
            reason=table.reason or "",
            where=document.where(("decision", index)),
        )
        for index, table in enumerate(written.decision)
    )


def _check(table: DecisionSchema, place: Place, session: Session, faults: Faults) -> None:
    """Find the faults between the fields of a decision."""
    if table.verdict is None and table.setup is None:
        faults.add(place, "decides nothing", "give verdict, setup or both")
    if table.verdict is not None and not (table.reason or "").strip():
        faults.add((*place, "reason"), "is missing", "say why, for whoever reads it later")
    names = [setup.name for setup in session.setups]
    if table.setup is not None and table.setup not in names:
        near = nearest(table.setup, names)
        guess = f"did you mean {near}? The" if near else "the"
        what = f'"{table.setup}" is the name of no [[setup]]'
        faults.add((*place, "setup"), what, f"{guess} setups are {', '.join(names)}")


def review_path(session: Session) -> Path:
    """Return where the decisions of a session are."""
    return session.folder / REVIEW_FILE
