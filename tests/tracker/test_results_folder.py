"""The results folder is replaced as a whole, wherever a run is killed."""

import json
import os
import shutil
import threading
from pathlib import Path
from typing import Any
from unittest.mock import Mock

import filelock
import pytest

from calibration.errors import InputError
from tests.killing import Killed, Killer, Unlocked
from tracker.results import alone
from tracker.results import folder as results_folder
from tracker.results.computed import Replaced, command_of, gone_note, stated_by
from tracker.results.folder import DIGESTS, NOTE, folder_of, list_computed, recover, replace_results

FIRST = {"shots.csv": b"first", "shots.json": b"first", "a-shot-1.jpg": b"first"}
SECOND = {"shots.csv": b"second", "shots.json": b"second", "a-shot-2.jpg": b"second"}
OURS = {DIGESTS, NOTE}


def held(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name not in OURS}


def killed_after(
    calls: int, folder: Path, contents: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> bool:
    """Replace the results with a kill after some calls; whether it was killed."""
    with monkeypatch.context() as patch:
        patch.setattr(filelock, "FileLock", lambda *_, **__: Unlocked())
        Killer(patch, calls)
        try:
            replace_results(folder, contents)
        except Killed:
            return True
    return False


def test_whenever_it_is_killed_one_of_the_two_runs_is_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = []
    for calls in range(200):
        session = tmp_path / f"{calls}"
        folder = session / "results"
        replace_results(folder, FIRST)
        (folder / "my notes.txt").write_bytes(b"mine")
        (folder / "kept").mkdir()
        (folder / "kept" / "deep.txt").write_bytes(b"deep")
        went_on = not killed_after(calls, folder, SECOND, monkeypatch)
        if folder.exists():
            assert held_files(folder) in (FIRST, SECOND)
        assert folder_of(session) == folder
        assert held_files(folder) in (FIRST, SECOND)
        assert (folder / "my notes.txt").read_bytes() == b"mine"
        assert (folder / "kept" / "deep.txt").read_bytes() == b"deep"
        assert [path.name for path in session.iterdir()] == ["results"]
        seen.append(held_files(folder)["shots.csv"])
        replace_results(folder, SECOND)
        assert held_files(folder) == SECOND
        if went_on:
            break
    assert went_on
    assert len(seen) > 15
    assert seen == sorted(seen), "once the new results count, no later kill takes them back"
    assert {b"first", b"second"} == set(seen)


def held_files(folder: Path) -> dict[str, bytes]:
    """What a run wrote: neither a person's files nor ours."""
    names = {*FIRST, *SECOND}
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name in names}


def test_whenever_the_first_run_is_killed_there_is_all_of_it_or_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    outcomes = set()
    for calls in range(200):
        folder = tmp_path / f"{calls}" / "results"
        folder.parent.mkdir()
        killed = killed_after(calls, folder, FIRST, monkeypatch)
        recover(folder)
        outcomes.add(folder.exists())
        if folder.exists():
            assert held(folder) == FIRST
        else:
            assert list(folder.parent.iterdir()) == []
        if not killed:
            break
    assert outcomes == {True, False}


def test_whenever_the_mending_is_killed_the_next_one_ends_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for calls in range(30):
        folder = tmp_path / f"{calls}" / "results"
        replace_results(folder, FIRST)
        folder.rename(folder.with_name("results.lobmeter-old"))
        replace_results(folder, SECOND)
        shutil.copytree(folder, folder.with_name("results.lobmeter-new"))
        folder.rename(folder.with_name("results.lobmeter-old"))
        with monkeypatch.context() as patch:
            patch.setattr(filelock, "FileLock", lambda *_, **__: Unlocked())
            Killer(patch, calls)
            done = False
            try:
                recover(folder)
                done = True
            except Killed:
                pass
        recover(folder)
        assert held(folder) == SECOND
        assert [path.name for path in folder.parent.iterdir()] == ["results"]
        if done:
            return
    pytest.fail("the mending never ended")


def test_files_of_the_earlier_run_go_and_those_of_a_person_stay(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    assert replace_results(folder, FIRST).edited == ()
    (folder / "my notes.txt").write_bytes(b"mine")
    assert replace_results(folder, SECOND).edited == ()
    assert held(folder) == {**SECOND, "my notes.txt": b"mine"}
    assert replace_results(folder, SECOND).edited == ()


FILM = ("shots.csv",)


def computed(folder: Path, name: str, made_of: tuple[str, ...] = FILM) -> None:
    """Put a file into the results that a command made of them."""
    (folder / name).write_bytes(b"of the first run")
    again = command_of("report", [Path("/lane two")], "--pdf")
    list_computed(folder, [name], stated_by(folder, made_of), again)


def test_what_was_computed_from_the_earlier_run_goes_with_it_and_is_named(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    replace_results(folder, FIRST)
    (folder / "mine.html").write_bytes(b"of the first run")
    for name in ("report.html", "overlay.mp4"):
        computed(folder, name)
    (folder / "overlay.mp4").write_bytes(b"edited")
    replaced = replace_results(folder, SECOND, Path("fen lane"))
    assert held(folder) == {
        **SECOND,
        "mine.html": b"of the first run",
        "overlay-edited-1.mp4": b"edited",
    }
    note = gone_note(replaced.gone, Path("fen lane"))
    assert "report.html and overlay.mp4 (again: lobmeter report 'fen lane' " in note
    assert note.endswith("--pdf)")
    assert note in (folder / NOTE).read_text(encoding="utf-8")
    assert replace_results(folder, SECOND).gone == {}


def test_what_shows_the_same_rows_stays_however_often_they_are_measured(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    rows = {**FIRST, "shots.json": b'{"shots": [1], "pictures": ["a"]}'}
    replace_results(folder, rows)
    computed(folder, "film.mp4")
    computed(folder, "report.html", ("shots.csv", "shots.json", "tracks.csv"))
    (folder / "report.html").write_bytes(b"with a line of mine")
    explained = {**rows, "shots.json": b'{"shots": [1], "pictures": ["a", "b"]}'}
    for _ in range(2):
        assert replace_results(folder, explained) == Replaced()
        assert (folder / "film.mp4").read_bytes() == b"of the first run"
        assert (folder / "report.html").read_bytes() == b"with a line of mine"
    again = {**rows, "shots.json": b'{"shots": [2], "pictures": ["a"]}'}
    assert list(replace_results(folder, again).gone) == ["report.html"]
    assert (folder / "film.mp4").exists() and not (folder / "report.html").exists()
    assert list(replace_results(folder, {**again, "shots.csv": b"more"}).gone) == ["film.mp4"]


def test_many_files_of_one_command_are_counted() -> None:
    gone = {f"a-shot-{number}-flight.jpg": command_of("overlay") for number in range(1, 6)}
    note = gone_note(gone, Path("evening"))
    assert "is gone: a-shot-1-flight.jpg, a-shot-2-flight.jpg and 3 more (again: " in note
    assert note.endswith("(again: lobmeter overlay evening)")


def test_results_that_no_run_made_list_nothing(tmp_path: Path) -> None:
    (tmp_path / "report.html").write_bytes(b"page")
    list_computed(tmp_path, ["report.html"], {}, "")
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]


def test_an_edited_file_is_kept_beside_the_new_one(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    replace_results(folder, FIRST)
    (folder / "shots.csv").write_bytes(b"first, one row rejected by hand")
    assert replace_results(folder, SECOND).edited == ("shots-edited-1.csv",)
    assert held(folder)["shots.csv"] == b"second"
    assert held(folder)["shots-edited-1.csv"] == b"first, one row rejected by hand"
    (folder / "shots.csv").write_bytes(b"again")
    assert replace_results(folder, SECOND).edited == ("shots-edited-2.csv",)
    assert held(folder)["shots-edited-1.csv"] == b"first, one row rejected by hand"
    assert held(folder)["shots-edited-2.csv"] == b"again"


def test_a_file_of_unknown_origin_is_never_overwritten(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    folder.mkdir()
    (folder / "shots.csv").write_bytes(b"typed by hand")
    assert replace_results(folder, FIRST).edited == ("shots-edited-1.csv",)
    assert held(folder)["shots-edited-1.csv"] == b"typed by hand"


def test_what_was_edited_after_a_kill_is_not_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The complete new folder is there, and the earlier one still has the name."""
    folder = tmp_path / "results"
    replace_results(folder, FIRST)
    shutil.copytree(folder, folder.with_name("results.lobmeter-new"))
    (folder / "shots.csv").write_bytes(b"edited since")
    recover(folder)
    assert held(folder)["shots.csv"] == b"edited since"
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_a_folder_that_cannot_be_renamed_stays_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "results"
    replace_results(folder, FIRST)
    rename = os.rename

    def locked(source: Any, target: Any, **named: Any) -> None:
        if Path(source) == folder:
            raise PermissionError(13, "Permission denied")
        rename(source, target, **named)

    with monkeypatch.context() as patch:
        patch.setattr(os, "rename", locked)
        with pytest.raises(InputError, match=r"results: cannot be written \(permission denied\)"):
            replace_results(folder, SECOND)
    assert held(folder) == FIRST
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_a_full_disk_leaves_the_earlier_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "results"
    replace_results(folder, FIRST)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(InputError, match="no space left on device"):
            replace_results(folder, SECOND)
    assert held(folder) == FIRST
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_two_runs_on_one_session_do_not_meet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "results"
    monkeypatch.setattr(results_folder, "PATIENCE_S", 0.05)
    held_by, let_go = threading.Event(), threading.Event()

    def other() -> None:
        with results_folder._locked(folder):
            held_by.set()
            let_go.wait(20)

    program = threading.Thread(target=other)
    program.start()
    assert held_by.wait(20)
    try:
        with pytest.raises(InputError, match="another run is writing these results"):
            replace_results(folder, FIRST)
    finally:
        let_go.set()
        program.join()
    replace_results(folder, FIRST)


def test_who_holds_a_folder_already_goes_on(tmp_path: Path) -> None:
    reached = False
    with alone(tmp_path, "busy", 0.05), alone(tmp_path, "busy", 0.05):
        reached = True
    assert reached


def test_a_lock_that_somebody_else_owns_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    denied = Mock(side_effect=PermissionError(13, "Permission denied"))
    monkeypatch.setattr(filelock.FileLock, "acquire", denied)
    with pytest.raises(InputError, match=r"lobmeter-\w+\.lock cannot be used: Permission denied"):
        alone(tmp_path, "busy").__enter__()


def test_what_was_drawn_from_replaced_results_is_not_listed(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    replace_results(folder, FIRST)
    shown = stated_by(folder, FILM)
    with pytest.raises(InputError, match="measured again meanwhile"):
        list_computed(folder, ["gone.mp4"], shown, "")
    assert held(folder) == FIRST
    replace_results(folder, SECOND)
    (folder / "film.mp4").write_bytes(b"of the first run")
    with pytest.raises(InputError, match="measured again meanwhile"):
        list_computed(folder, ["film.mp4"], shown, "")


def test_the_digests_are_those_of_the_files(tmp_path: Path) -> None:
    import hashlib

    folder = tmp_path / "results"
    replace_results(folder, FIRST)
    document = json.loads((folder / DIGESTS).read_text(encoding="utf-8"))
    assert document["files"] == {
        name: hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in [*FIRST, NOTE]
    }
    assert "review.toml" in (folder / NOTE).read_text(encoding="utf-8")
