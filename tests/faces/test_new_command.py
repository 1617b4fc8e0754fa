"""`lobmeter new` and `lobmeter still`, from a video file to a session that can be checked."""

import io
from datetime import date, datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from calibration.errors import InputError, typed
from tests.faces.test_commands import run
from tracker.cli import new as new_command
from tracker.cli.program import program
from tracker.session import Draft, DraftClip, draft_toml, read_session
from tracker.video import ClipWriter
from tracker.video.origin import origin_from, origin_of
from tracker.workflow.new import films, left_out, questions, start_session
from tracker.workflow.still import write_still


def write(path: Path, tags: dict[str, str], level: int = 120) -> Path:
    with ClipWriter(path, (320, 180), 60, tags=tags, crf=10) as writer:
        for index in range(12):
            frame = np.full((180, 320, 3), level, np.uint8)
            frame[:, :, 0] = 10 * index
            writer.write_bgr(frame)
    return path


TAGS = {
    "com.apple.quicktime.make": "Maker",
    "com.apple.quicktime.model": "Phone 7",
    "com.apple.quicktime.creationdate": "2026-05-17T18:03:11+0100",
}


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    card = tmp_path / "card"
    card.mkdir()
    return write(card / "IMG 1.mp4", TAGS)


def test_the_file_states_its_device_and_date(clip: Path) -> None:
    origin = origin_of(clip)
    assert origin.device == "Maker Phone 7"
    assert origin.filmed is not None
    assert origin.filmed == datetime.fromisoformat("2026-05-17T18:03:11+01:00")


def test_tags_that_state_nothing_are_passed_over() -> None:
    assert origin_from({}).device == "" and origin_from({}).filmed is None
    never_set = origin_from({"creation_time": "1904-01-01T00:00:00Z", "make": " ", "model": "X"})
    assert never_set.filmed is None and never_set.device == "X"
    far = origin_from({"creation_time": "9999-12-31T23:59:59-12:00", "date": "2026-05-17"})
    assert far.filmed is not None and f"{far.filmed:%Y-%m-%d}" == "2026-05-17"
    named = origin_from({"make": "Maker", "model": "Maker One", "date": "2026-05-17"})
    assert named.device == "Maker One" and named.filmed == datetime(2026, 5, 17)


def test_without_a_terminal_what_is_unknown_is_left_as_lines_to_fill_in(
    clip: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "lane"
    code, shown, errors = run("new", str(folder), str(clip))
    assert code == 0, errors
    text = (folder / "session.toml").read_text(encoding="utf-8")
    assert 'name = "lane"' in text and "date = 2026-05-17" in text
    assert 'file = "../card/IMG 1.mp4"' in text
    assert "320 x 180, 60 frames a second, 0.2 s; Maker Phone 7; 2026-05-17" in text
    assert "# height_m = 0.80" in text and "# [[marker]]" in text
    assert "lobmeter check" in shown and "lobmeter still" in shown
    session = read_session(folder)
    assert [one.path.resolve() for one in session.clips] == [clip.resolve()]
    code, shown, errors = run("check", str(folder))
    assert code == 0, errors


def test_every_line_to_fill_in_is_a_field_once_the_sign_is_taken_away(
    clip: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "lane"
    run("new", str(folder), str(clip), "--copy")
    path = folder / "session.toml"
    lines = path.read_text(encoding="utf-8").splitlines()
    fields = [line.removeprefix("# ") if " = " in line or "# [" in line else line for line in lines]
    path.write_text("\n".join(fields), encoding="utf-8")
    session = read_session(folder)
    assert session.release.height_m == 0.8 and len(session.markers) == 1
    assert session.setups[0].parts["wheel"]["mass_g"] == 210.0
    assert session.camera.position_m == (20.0, -38.0, 1.4)


def test_answers_are_taken_in_any_unit_and_asked_again_when_they_are_none(
    clip: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = ["Fen Lane", "", "tenis", "tennis", "80", "2 ft 7 in", "39°", "17,3", "-95 ft"]
    given = iter([*answers, "170", "170 cm", ""])

    def prompt(text: str, default: str, show_default: bool) -> str:
        return next(given) or default

    monkeypatch.setattr("typer.prompt", prompt)
    folder = tmp_path / "lane"
    asked = questions(folder, films([clip]))
    taken: dict[str, Any] = {}
    assert not new_command._interrupted(asked, taken)
    start_session(folder, films([clip]), taken, copy=True)
    assert next(given, None) is None
    session = read_session(folder)
    assert session.name == "Fen Lane" and str(session.date) == "2026-05-17"
    assert session.release.height_m == pytest.approx(0.7874)
    assert session.release.angle_deg == 39.0
    assert session.camera.position_m == pytest.approx((17.3, -28.956, 1.7))
    assert session.clips[0].file == "clips/IMG 1.mp4" and session.clips[0].path.is_file()
    assert clip.is_file()


class Terminal(io.StringIO):
    """An input that a person types into."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("end", [typer.Abort, KeyboardInterrupt])
def test_what_was_answered_before_an_interruption_is_kept(
    clip: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end: type[BaseException]
) -> None:
    given = ["Fen Lane", "2026-05-18", "tennis", "0.83"]

    def prompt(text: str, default: str, show_default: bool) -> str:
        if not given:
            raise end
        return given.pop(0)

    monkeypatch.setattr("typer.prompt", prompt)
    monkeypatch.setattr("sys.stdin", Terminal())
    folder = tmp_path / "lane"
    with pytest.raises(typer.Exit) as left:
        new_command.new(folder, [clip])
    assert left.value.exit_code == 130
    session = read_session(folder)
    assert (session.name, session.release.height_m) == ("Fen Lane", 0.83)
    with pytest.raises(typer.Exit) as left:
        new_command.new(tmp_path / "other", [clip])
    assert left.value.exit_code == 130 and not (tmp_path / "other").exists()


def test_a_pipe_answers_where_it_is_asked_to(clip: Path, tmp_path: Path) -> None:
    def piped(folder: Path, *lines: str, option: str = "--ask") -> tuple[int, str]:
        words = ["new", str(folder), str(clip), *([option] if option else [])]
        result = CliRunner().invoke(program, words, input="".join(f"{line}\n" for line in lines))
        return result.exit_code, " ".join(result.output.split())

    folder = tmp_path / "lane"
    code, said = piped(folder, "Fen Lane", "", "tennis", "83 cm")
    assert code == 0
    assert "Height at which the ball leaves the launcher, m: 83 cm" in said
    assert "The answers ended after 4 of 9 questions" in said
    session = read_session(folder)
    assert (session.name, str(session.date)) == ("Fen Lane", "2026-05-17")
    assert session.release.height_m == pytest.approx(0.83)
    code, said = piped(tmp_path / "wrong", "Fen Lane", "", "tennis", "waist", "0.83")
    assert (
        code == 2 and 'answer 4, Height at which the ball leaves the launcher, m: "waist"' in said
    )
    assert not (tmp_path / "wrong").exists()
    for option in ("", "--no-ask"):
        assert piped(tmp_path / f"no{option}", "Fen Lane", option=option)[0] == 0
        assert read_session(tmp_path / f"no{option}").name == f"no{option}"


def test_a_clip_named_before_the_folder_gets_the_command_turned_round(
    clip: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "lane"
    code, _, errors = run("new", str(clip), str(folder))
    assert code == 2
    assert f"folder first, then the clips: lobmeter new {folder} {typed(clip)}." in errors
    code, _, errors = run("new", str(clip), str(clip))
    assert code == 2 and "lobmeter new FOLDER" in errors
    code, _, errors = run("new", str(folder), str(tmp_path))
    assert code == 2 and "is a folder, not a clip" in errors


def test_a_position_that_was_answered_in_part_is_said_to_be_left_out() -> None:
    assert left_out({}) is None
    assert left_out({"along": 0.0, "across": -30.0, "up": 1.4}) is None
    said = left_out({"along": 3.0, "across": None, "up": None})
    assert said is not None and "across and up was not answered" in said


@pytest.mark.parametrize("text", ["2026-05-17", "17.5.2026", " 17. 05. 2026 "])
def test_a_day_may_be_written_with_points(clip: Path, tmp_path: Path, text: str) -> None:
    (asked,) = [one for one in questions(tmp_path, films([clip])) if one.key == "date"]
    assert asked.parse(text) == date(2026, 5, 17)
    for wrong in ("31.2.2026", "17/5/2026", "17.5.26"):
        with pytest.raises(InputError, match="2026-05-17"):
            asked.parse(wrong)


def test_a_session_that_is_there_is_never_overwritten(
    clip: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "lane"
    run("new", str(folder), str(clip))
    (folder / "session.toml").write_text("name = 'mine'", encoding="utf-8")
    code, _, errors = run("new", str(folder), str(clip))
    assert code == 2 and "session.toml: is there already" in errors
    with monkeypatch.context() as patch, pytest.raises(InputError, match="there already"):
        patch.setattr("sys.stdin", Terminal())
        patch.setattr("typer.prompt", lambda *_, **__: pytest.fail("asked before it looked"))
        new_command.new(folder, [clip])
    assert (folder / "session.toml").read_text(encoding="utf-8") == "name = 'mine'"


def test_every_file_that_is_no_video_is_named(clip: Path, tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("left wind", encoding="utf-8")
    code, _, errors = run("new", str(tmp_path / "lane"), str(notes), str(clip), "gone.mp4")
    assert code == 2 and "notes.txt" in errors and "gone.mp4" in errors
    assert not (tmp_path / "lane").exists()


def test_two_clips_of_one_name_cannot_be_copied_together(clip: Path, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    other = write(tmp_path / "other" / clip.name, {})
    with pytest.raises(InputError, match="same name"):
        start_session(tmp_path / "lane", films([clip, other]), {}, copy=True)
    assert not (tmp_path / "lane").exists()


def test_odd_names_are_written_so_that_toml_reads_them_back(tmp_path: Path) -> None:
    clips = [DraftClip('clips/a "1".mp4', "wheels \\ 2", "1 s")]
    text = draft_toml(Draft("O'Hara's \"lane\"", clips, values={"release.height_m": 0.1 + 0.2}))
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    session = read_session(tmp_path, filmed=False)
    assert session.name == "O'Hara's \"lane\"" and session.clips[0].setup == "wheels \\ 2"
    assert session.clips[0].file == 'clips/a "1".mp4'


def test_a_still_is_the_frame_of_its_time_with_its_parts(clip: Path, tmp_path: Path) -> None:
    folder, time_s = write_still(clip, 0.101, tmp_path / "still")
    assert time_s == pytest.approx(6 / 60, abs=1e-6)
    names = {path.name for path in folder.iterdir()}
    assert names == {"whole.jpg", *(f"{row}{column}.jpg" for row in "ABC" for column in "1234")}
    whole = cv2.imread(str(folder / "whole.jpg"))
    assert whole is not None and whole.shape == (180 + 128, 320 + 128, 3)
    # Halfway between two grid lines the picture is the frame's.
    blue = float(whole[64 + 150, 64 + 155, 0])
    assert abs(blue - 60.0) < 12.0
    part = cv2.imread(str(folder / "B2.jpg"))
    assert part is not None and part.shape == (4 * 100 + 128, 4 * 120 + 128, 3)


@pytest.mark.campaign
def test_a_still_stands_beside_its_clip_and_a_time_outside_is_refused(clip: Path) -> None:
    code, _, errors = run("still", str(clip))
    assert code == 0, errors
    assert (clip.parent / "IMG 1-still" / "A1.jpg").is_file()
    code, _, errors = run("still", str(clip), "--at", "9")
    assert code == 2 and "--at: 9 s lies outside the clip; give 0 to 0.2." in errors
