"""Edits from a page: checked, recorded, undone and redone, never over somebody else's."""

import shutil
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import InputError
from tests.tracker.rows_only import SAMPLE, with_rows
from tracker.session import FieldChange, Verdict, parse_session, read_session, revised
from tracker.session import history as history_file
from tracker.workflow import deciding, edit
from tracker.workflow.deciding import decide_shot
from tracker.workflow.edit import ChangedElsewhere, digest_of, edit_review, edit_session, undoable
from tracker.workflow.look import look_at
from tracker.workflow.review import Wanted, review_session

HEIGHT = ("release", "height_m")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A session without its clip, which no edit looks at."""
    shutil.copy(SAMPLE / "session.toml", tmp_path)
    return tmp_path


def text_of(folder: Path) -> str:
    return (folder / "session.toml").read_text("utf-8")


def height(folder: Path, metres: float) -> str:
    """Change the height of the release."""
    what = f"height of release {metres} m"
    return edit_session(folder, digest_of(folder), what, [FieldChange(HEIGHT, metres)])


def test_an_edit_changes_one_field_and_keeps_the_rest(folder: Path) -> None:
    before = text_of(folder)
    height(folder, 1.25)
    assert read_session(folder, filmed=False).release.height_m == 1.25
    changed = [
        (old, new)
        for old, new in zip(before.splitlines(), text_of(folder).splitlines(), strict=True)
        if old != new
    ]
    assert [new for _, new in changed] == ["height_m = 1.25"]


def test_undo_and_redo_go_back_and_forth_byte_by_byte(folder: Path) -> None:
    texts = [text_of(folder)]
    for metres in (1.1, 1.2, 1.3):
        height(folder, metres)
        texts.append(text_of(folder))
    assert undoable(folder).undo == "height of release 1.3 m"
    assert [edit.undo(folder), text_of(folder)] == ["height of release 1.3 m", texts[2]]
    assert [edit.undo(folder), text_of(folder)] == ["height of release 1.2 m", texts[1]]
    assert undoable(folder).redo == "height of release 1.2 m"
    assert [edit.redo(folder), text_of(folder)] == ["height of release 1.2 m", texts[2]]
    edit.undo(folder)
    edit.undo(folder)
    assert text_of(folder) == texts[0]
    with pytest.raises(InputError, match="nothing to undo"):
        edit.undo(folder)
    height(folder, 1.4)
    assert undoable(folder).redo == ""


def test_two_tabs_do_not_undo_each_other(folder: Path) -> None:
    seen = digest_of(folder)
    height(folder, 1.1)
    with pytest.raises(ChangedElsewhere, match="changed elsewhere"):
        edit_session(folder, seen, "height 2 m", [FieldChange(HEIGHT, 2.0)])
    assert read_session(folder, filmed=False).release.height_m == 1.1
    assert undoable(folder).undo == "height of release 1.1 m"


def test_what_was_changed_elsewhere_since_is_not_undone(folder: Path) -> None:
    height(folder, 1.1)
    by_hand = text_of(folder) + "\n# mine\n"
    (folder / "session.toml").write_text(by_hand, "utf-8")
    with pytest.raises(InputError, match="changed elsewhere since"):
        edit.undo(folder)
    assert text_of(folder) == by_hand


def test_a_fault_is_refused_with_its_sentence_and_nothing_is_written(folder: Path) -> None:
    before = text_of(folder)
    with pytest.raises(InputError) as refused:
        height(folder, 1000.0)
    assert "[release], height_m" in str(refused.value)
    assert (text_of(folder), undoable(folder).undo) == (before, "")
    assert not (folder / "edits.jsonl").exists()


def test_a_setup_that_a_decision_names_keeps_its_name(folder: Path) -> None:
    decided = '[[decision]]\nclip = "a.mp4"\nrelease_s = 0.5\nsetup = "140 mm wheels"\n'
    (folder / "review.toml").write_text(decided, "utf-8")
    before = text_of(folder)
    changes = [FieldChange(("setup", 0, "name"), "140"), FieldChange(("clip", 0, "setup"), "140")]
    with pytest.raises(InputError, match=r'review.toml.*"140 mm wheels" is the name of no'):
        edit_session(folder, digest_of(folder), "clips/140mm.mp4 shows 140", changes)
    assert text_of(folder) == before
    height(folder, 1.25)


def test_a_file_with_faults_can_be_mended_field_by_field(folder: Path) -> None:
    broken = text_of(folder).replace("[ball]", '[ball]\nweight = "x"')
    (folder / "session.toml").write_text(broken, "utf-8")
    height(folder, 1.2)
    edit_session(folder, digest_of(folder), "mended", [FieldChange(("ball", "weight"), None)])
    assert read_session(folder, filmed=False).release.height_m == 1.2


def test_lists_that_a_person_wrote_in_braces_are_changed_as_those_with_headings() -> None:
    text = """\
clip = [{ file = "a.mp4", setup = "a" }]  # mine
setup = [{ name = "a" }]
marker = [{ name = "a", ground_m = [0, 0, 0] }]

[release]
height_m = 0.8
"""
    taped = {"name": "b", "ground_m": [10.0, 0.0, 0.0]}
    changes = [
        FieldChange(("marker", 1), taped),
        FieldChange(("clip", 0, "marker", 0), taped),
        FieldChange(("setup", 0, "wheel", "diameter_mm"), 140.0),
        FieldChange(("release", "height_m"), 0.9),
    ]
    assert tomllib.loads(revised(text, changes)) == {
        "release": {"height_m": 0.9},
        "marker": [{"name": "a", "ground_m": [0, 0, 0]}, taped],
        "clip": [{"file": "a.mp4", "setup": "a", "marker": [taped]}],
        "setup": [{"name": "a", "wheel": {"diameter_mm": 140.0}}],
    }


def test_a_file_that_another_editor_spoilt_is_a_sentence(folder: Path) -> None:
    height(folder, 1.1)
    written = (folder / "session.toml").read_bytes()
    for spoilt, number, said in (
        (b"# caf\xe9\n" + written, 1, "is not UTF-8 text"),
        (written + b"[air", written.count(b"\n") + 1, "brackets of a table do not match"),
    ):
        (folder / "session.toml").write_bytes(spoilt)
        (sentence,) = look_at(folder).faults
        assert sentence.startswith(f"session.toml, line {number}") and said in sentence
        with pytest.raises(InputError, match=said):
            height(folder, 1.2)
        assert (folder / "session.toml").read_bytes() == spoilt


def test_a_change_that_a_killed_program_only_recorded_is_passed_over(folder: Path) -> None:
    height(folder, 1.1)
    now = text_of(folder)
    lost = ("lost", "session.toml", (now, now.replace("1.1", "9.9")), history_file.Step.CHANGE)
    for _ in range(2):
        history_file.record(folder, *lost)
    assert undoable(folder).undo == "height of release 1.1 m"
    assert edit.undo(folder) == "height of release 1.1 m"
    assert "1.1" not in text_of(folder) and "9.9" not in text_of(folder)


def test_a_torn_line_of_the_history_is_skipped(folder: Path) -> None:
    height(folder, 1.1)
    with (folder / "edits.jsonl").open("ab") as file:
        file.write(b'\n{"at": "2026-05-17T20:00:00", "wh')
    height(folder, 1.2)
    assert undoable(folder).undo == "height of release 1.2 m"
    edit.undo(folder)
    assert edit.undo(folder) == "height of release 1.1 m"


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session with one row that no measurement made."""
    folder = tmp_path_factory.mktemp("measured")
    with_rows(folder)
    return folder


def test_decisions_of_page_and_command_share_one_history(measured: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(measured, tmp_path / "session"))
    wanted = Wanted(shot=1, verdict=Verdict.REJECT, reason="it touched the net")
    edit_review(folder, digest_of(folder), "shot 1 rejected", lambda: decide_shot(folder, wanted))
    height(folder, 1.3)
    edit.undo(folder)
    assert edit.undo(folder) == "shot 1 rejected"
    assert review_session(folder).rows[0][1] is None
    assert edit.redo(folder) == "shot 1 rejected"
    decision = review_session(folder).rows[0][1]
    assert decision is not None and decision.reason == "it touched the net"


def test_the_command_undoes_decisions_only_and_leaves_the_page_its_own(
    measured: Path, tmp_path: Path
) -> None:
    folder = Path(shutil.copytree(measured, tmp_path / "session"))
    first = decide_shot(folder, Wanted(shot=1, verdict=Verdict.REJECT, reason="a crow"))
    height(folder, 1.3)
    decided = (folder / "review.toml").read_bytes()
    decide_shot(folder, Wanted(shot=1, verdict=Verdict.ACCEPT, reason="no crow"))
    assert deciding.undo(folder).done.startswith("undone: ")
    assert (folder / "review.toml").read_bytes() == decided
    assert undoable(folder).undo == "height of release 1.3 m"
    assert deciding.undo(folder).done == f"undone: {first.done}"
    assert not (folder / "review.toml").exists()
    with pytest.raises(InputError, match="nothing to undo"):
        deciding.undo(folder)
    assert edit.undo(folder) == "height of release 1.3 m"


def test_a_decision_edited_by_hand_is_never_undone_unseen(measured: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(measured, tmp_path / "session"))
    decide_shot(folder, Wanted(shot=1, verdict=Verdict.REJECT, reason="a crow"))
    with (folder / "review.toml").open("a", encoding="utf-8") as file:
        file.write("# and more\n")
    with pytest.raises(InputError, match=r"review\.toml: was edited by hand"):
        deciding.undo(folder)


HOSTILE = st.text(min_size=1, max_size=60).filter(lambda text: text.strip() != "")


@given(name=HOSTILE, metres=st.floats(0.1, 99.0))
def test_whatever_a_name_holds_it_stays_one_text(name: str, metres: float) -> None:
    before = (SAMPLE / "session.toml").read_text("utf-8")
    changes = [
        FieldChange(("marker", 0, "name"), name),
        FieldChange(("notes",), name),
        FieldChange(HEIGHT, metres),
    ]
    try:
        after = revised(before, changes)
        session = parse_session(after, SAMPLE, filmed=False)
    except InputError as error:
        assert "name" in str(error) or "notes" in str(error)
        return
    assert (session.markers[0].name, session.notes) == (name, name)
    assert session.release.height_m == metres
    assert len(session.markers) == len(parse_session(before, SAMPLE, filmed=False).markers)


def test_tables_are_added_and_removed(folder: Path) -> None:
    before = read_session(folder, filmed=False)
    place = len(before.markers)
    added = {"name": "hedge gap", "ground_m": [30.0, 2.0, 0.0]}
    edit_session(folder, digest_of(folder), "added", [FieldChange(("marker", place), added)])
    assert read_session(folder, filmed=False).markers[-1].ground_m == (30.0, 2.0, 0.0)
    edit_session(
        folder,
        digest_of(folder),
        "picked",
        [FieldChange(("marker", place, "pixel"), [10.5, 20.25])],
    )
    assert read_session(folder, filmed=False).markers[-1].pixel == (10.5, 20.25)
    edit_session(folder, digest_of(folder), "removed", [FieldChange(("marker", place), None)])
    assert read_session(folder, filmed=False).markers == before.markers
    edit_session(folder, digest_of(folder), "air", [FieldChange(("air", "humidity_percent"), 61.0)])
    assert read_session(folder, filmed=False).air.humidity_percent == 61.0
