"""Edits and logbook killed at every call that touches a file: nothing that was entered is lost."""

import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import filelock
import pytest
import sqlalchemy as sa

from tests.killing import Killed, Killer, Unlocked
from tests.tracker.logged_sessions import logged, many
from tests.tracker.rows_only import SAMPLE, with_rows
from tracker.logbook import Added
from tracker.logbook.logbook import open_logbook
from tracker.session import FieldChange, Verdict
from tracker.session.history import text_of
from tracker.workflow import deciding, edit
from tracker.workflow.edit import digest_of, edit_review, edit_session
from tracker.workflow.review import Wanted

FILES = ("session.toml", "review.toml")

REJECT = Wanted(shot=1, verdict=Verdict.REJECT, reason="it touched the net")
ACCEPT = Wanted(shot=1, verdict=Verdict.ACCEPT, reason="it did not")


def height(folder: Path, metres: float) -> None:
    change = FieldChange(("release", "height_m"), metres)
    edit_session(folder, digest_of(folder), f"height {metres} m", [change])


def by_page(folder: Path) -> None:
    edit_review(folder, digest_of(folder), "accepted", lambda: deciding.decide_shot(folder, ACCEPT))


EDITS: dict[str, Callable[[Path], object]] = {
    "decide": lambda folder: deciding.decide_shot(folder, ACCEPT),
    "undo a decision": deciding.undo,
    "field of the page": lambda folder: height(folder, 1.3),
    "decision of the page": by_page,
    "undo of the page": edit.undo,
    "redo of the page": edit.redo,
}


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session with a row, a decision, an edited field, and an edit that was undone."""
    folder = tmp_path_factory.mktemp("prepared")
    with_rows(folder)
    deciding.decide_shot(folder, REJECT)
    height(folder, 1.1)
    height(folder, 1.2)
    edit.undo(folder)
    return folder


def texts(folder: Path) -> tuple[str, ...]:
    return tuple(text_of(folder, name) for name in FILES)


def undone_one_by_one(folder: Path) -> list[tuple[str, ...]]:
    """Return the texts after each undo, until nothing is left to undo."""
    seen = [texts(folder)]
    while edit.last_made(folder) is not None:
        edit.undo(folder)
        seen.append(texts(folder))
    return seen


FEW = ("decide", "field of the page")


@pytest.mark.parametrize(
    "name",
    [each if each in FEW else pytest.param(each, marks=pytest.mark.long) for each in EDITS],
)
def test_an_edit_killed_anywhere_is_made_or_not_and_can_be_undone(
    prepared: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    whole = Path(shutil.copytree(prepared, tmp_path / "whole"))
    EDITS[name](whole)
    before, after = texts(prepared), texts(whole)
    began = ((SAMPLE / "session.toml").read_text("utf-8"), "")
    seen = []
    for calls in range(100):
        folder = Path(shutil.copytree(prepared, tmp_path / f"{calls}"))
        with monkeypatch.context() as patch:
            patch.setattr(filelock, "FileLock", lambda *_, **__: Unlocked())
            Killer(patch, calls)
            try:
                EDITS[name](folder)
                went_on = True
            except Killed:
                went_on = False
        assert texts(folder) in (before, after)
        seen.append(texts(folder) == after)
        # What a person does next works, and leads back to the beginning step by step.
        height(folder, 9.0)
        steps = undone_one_by_one(folder)
        assert steps[1] == (before, after)[seen[-1]]
        assert steps[-1] == began
        kept = {*FILES, "results", "edits.jsonl"}
        assert {path.name for path in folder.iterdir()} <= kept
        if went_on:
            break
    assert went_on and seen == sorted(seen) and len(seen) > 5
    assert seen[-1] and not seen[0]


def test_a_logbook_whose_program_is_killed_anywhere_holds_whole_sessions(tmp_path: Path) -> None:
    """The files as they are at every statement are those that a killed program leaves."""
    place = tmp_path / "book"
    place.mkdir()
    url = str(place / "book.sqlite3")
    first, second = many(2)
    again = replace(first, shots=first.shots[:7])
    with open_logbook(url) as book:
        book.add(first)
        moments = []

        def copied(*_: object) -> None:
            moments.append(Path(shutil.copytree(place, tmp_path / f"{len(moments)}")))

        for moment in ("before_cursor_execute", "after_cursor_execute", "commit"):
            sa.event.listen(book._engine, moment, copied)
        assert [book.add(second), book.add(again)] == [Added.NEW, Added.UPDATED]
        copied()
    states = []
    for moment in moments:
        with sqlite3.connect(moment / "book.sqlite3") as raw:
            assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
        with open_logbook(str(moment / "book.sqlite3")) as book:
            states.append(tuple(each.shots for each in reversed(book.summaries())))
    assert list(dict.fromkeys(states)) == [(15,), (15, 15), (7, 15)]
    assert len(states) > 30
    with open_logbook(str(moments[12] / "book.sqlite3")) as book:
        assert [book.add(second), book.add(logged(5))] == [Added.NEW, Added.NEW]
