"""The command line as a person meets it: help, and every kind of bad input."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from tests.faces.commands_page import PAGE, each_command, page
from tests.fen_lane import SESSION
from tracker.cli import INTERRUPTED
from tracker.cli.commands import Commands
from tracker.cli.program import program
from tracker.video import ClipWriter

COMMANDS = [name for name, _ in each_command(typer.main.get_command(program).commands)]  # type: ignore[attr-defined]


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A tiny clip in which nothing happens."""
    path = tmp_path_factory.mktemp("clip") / "140mm.mp4"
    grey = np.full((180, 320, 3), 120, np.uint8)
    with ClipWriter(path, (320, 180), 60) as writer:
        for _ in range(12):
            writer.write_bgr(grey)
    return path


@pytest.fixture
def session(tmp_path: Path, clip: Path) -> Path:
    folder = tmp_path / "fen lane"
    (folder / "clips").mkdir(parents=True)
    shutil.copyfile(clip, folder / "clips" / "140mm.mp4")
    (folder / "session.toml").write_text(SESSION, encoding="utf-8")
    results = folder / "results"
    results.mkdir()
    (results / "shots.csv").write_text("an earlier run\n", encoding="utf-8")
    return folder


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(program, list(words))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


def changed(before: str, after: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        assert before in SESSION
        text = SESSION.replace(before, after)
        (folder / "session.toml").write_text(text, encoding="utf-8")

    return change


def without_clip(folder: Path) -> None:
    (folder / "clips" / "140mm.mp4").unlink()


def unreadable(folder: Path) -> None:
    (folder / "clips" / "140mm.mp4").write_bytes(b"this is no video at all" * 100)


def empty(folder: Path) -> None:
    (folder / "clips" / "140mm.mp4").write_bytes(b"")


def truncated(folder: Path) -> None:
    path = folder / "clips" / "140mm.mp4"
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 9 // 10])


def without_session(folder: Path) -> None:
    (folder / "session.toml").unlink()


def all_at_one_place(folder: Path) -> None:
    text = re.sub(r"ground_m = .*", "ground_m = [10.0, 0.0, 0.0]", SESSION)
    (folder / "session.toml").write_text(text, encoding="utf-8")


MARKERS = SESSION[SESSION.index("[[marker]]") : SESSION.index("[[setup]]")]
LAST_TWO = MARKERS[MARKERS.index('[[marker]]\nname = "20') :]

BAD = {
    "missing session": (without_session, "fen lane", "session.toml"),
    "missing clip": (without_clip, "session.toml", '[[clip]] 1 "clips/140mm.mp4", file'),
    "unreadable video": (unreadable, "clips/140mm.mp4", "video"),
    "empty video": (empty, "clips/140mm.mp4", ""),
    "truncated video": (truncated, "clips/140mm.mp4", "cut off"),
    "markers not picked": (changed("pixel = ", "# pixel = "), "session.toml", "[[marker]]"),
    "pixel outside": (
        changed("[260.0, 104.0]", "[460.0, 104.0]"),
        'session.toml, [[marker]] 2 "20 m cone"',
        "pixel [460, 104] lies outside",
    ),
    "pixel negative": (changed("[260.0, ", "[-26.0, "), "session.toml", '"20 m cone", pixel'),
    "wrong type": (changed("= 0.8", '= "0.8"'), "session.toml", "[release], height_m"),
    "unknown key": (changed("height_m", "hieght_m"), "session.toml", "[release], hieght_m"),
    "missing key": (changed("height_m = 0.8", ""), "session.toml", "[release], height_m"),
    "unknown setup": (
        changed('setup = "140 mm wheels"', 'setup = "100 mm wheels"'),
        "session.toml",
        '[[clip]] 1 "clips/140mm.mp4", setup',
    ),
    "unknown launcher field": (
        changed("\n[[clip]]", "\n[setup.wheel]\ndiametre_mm = 140.0\n\n[[clip]]"),
        'session.toml, line 28, [[setup]] 1 "140 mm wheels", [setup.wheel], diametre_mm',
        "did you mean diameter_mm?",
    ),
    "not TOML": (
        changed("height_m = 0.8", "height_m = 0,8"),
        "session.toml, line 4, height_m",
        "write height_m = 0.8",
    ),
    "all at one place": (all_at_one_place, "session.toml, [[marker]]", "the same place"),
}


FEW = {"no markers": MARKERS, "too few markers": LAST_TWO}


@pytest.mark.parametrize("case", FEW)
def test_too_few_markers_are_refused_by_calibrate_and_leave_gravity_to_measure(
    session: Path, case: str
) -> None:
    changed(FEW[case], "")(session)
    code, _, errors = run("calibrate", str(session))
    assert code == 2 and "session.toml, [[marker]]" in errors
    code, shown, errors = run("check", str(session))
    assert code == 0, errors
    assert "pick more markers" in shown and "gravity" in shown
    code, shown, errors = run("measure", str(session))
    assert code == 1, errors
    assert "no shot" in shown and "gravity" in shown
    assert len((session / "results" / "shots.csv").read_text(encoding="utf-8").splitlines()) == 1


def test_the_height_of_the_release_may_be_left_out_only_without_markers(session: Path) -> None:
    changed("[release]\nheight_m = 0.8\n", "")(session)
    assert run("measure", str(session))[0] == 2
    text = (session / "session.toml").read_text(encoding="utf-8").replace(MARKERS, "")
    (session / "session.toml").write_text(text, encoding="utf-8")
    code, shown, errors = run("measure", str(session))
    assert code == 1, errors
    assert "0.3 to 2 m" in " ".join(shown.split())


def test_a_video_file_alone_is_measured_beside_itself(clip: Path, tmp_path: Path) -> None:
    video = tmp_path / "evening.mp4"
    shutil.copyfile(clip, video)
    code, shown, errors = run("measure", str(video), "--ball", "baseball")
    words = " ".join(shown.split())
    assert code == 1, errors
    assert "No session.toml" in words and "lobmeter new" in words
    assert "baseball" in words and "no shot" in words
    assert (tmp_path / "evening-results" / "shots.csv").is_file()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["evening-results", "evening.mp4"]


BARE = {
    "no such ball": (("--ball", "pumpkin"), "--ball", "ball table"),
    "no such rate": (("--capture-fps", "0.2"), "--capture-fps", "out of range; give 1 to 100000"),
}


@pytest.mark.parametrize("case", BARE)
def test_a_wrong_option_for_a_video_file_is_a_sentence(
    clip: Path, tmp_path: Path, case: str
) -> None:
    words, where, what = BARE[case]
    video = tmp_path / "evening.mp4"
    shutil.copyfile(clip, video)
    code, _, errors = run("measure", str(video), *words)
    assert code == 2
    assert where in errors and what in errors and errors.strip().endswith(".")
    assert [path.name for path in tmp_path.iterdir()] == ["evening.mp4"]


def test_a_file_that_is_no_video_is_refused(tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("wind from the left", encoding="utf-8")
    code, _, errors = run("measure", str(notes))
    assert code == 2 and "notes.txt" in errors
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_the_options_of_a_bare_video_are_refused_beside_a_session(session: Path) -> None:
    code, _, errors = run("measure", str(session), "--ball", "tennis")
    assert code == 2 and "--ball" in errors and "session.toml" in errors


@pytest.mark.parametrize("command", ["check", "measure"])
@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_reported_in_sentences_and_nothing_is_overwritten(
    session: Path, case: str, command: str
) -> None:
    spoil, where, what = BAD[case]
    spoil(session)
    code, _, errors = run(command, str(session))
    assert code == 2
    sentences = errors.strip().splitlines()
    assert any(where in one and what in one for one in sentences), errors
    assert all(one.endswith(".") for one in sentences)
    assert "Traceback" not in errors
    results = session / "results"
    assert [path.name for path in results.iterdir()] == ["shots.csv"]
    assert (results / "shots.csv").read_text(encoding="utf-8") == "an earlier run\n"


def test_a_fault_in_the_last_session_stops_the_first(session: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    code, _, errors = run("measure", str(session), str(other))
    assert code == 2
    assert "session.toml" in errors
    assert (session / "results" / "shots.csv").read_text(encoding="utf-8") == "an earlier run\n"


def test_a_clip_without_shots_gives_a_table_without_rows(session: Path) -> None:
    code, shown, errors = run("measure", str(session))
    assert code == 1, errors
    assert "no shot" in shown
    lines = (session / "results" / "shots.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1
    assert lines[0].startswith("clip,setup,shot,release_s,exit_speed_mps")
    assert sorted(path.name for path in (session / "results").iterdir()) == [
        "140mm-explained.jpg",
        "README.txt",
        "digests.json",
        "shots-edited-1.csv",
        "shots.csv",
        "shots.json",
        "tracks.csv",
    ]
    kept = session / "results" / "shots-edited-1.csv"
    assert kept.read_text(encoding="utf-8") == "an earlier run\n"
    assert "shots-edited-1.csv" in " ".join(shown.split())


def test_measuring_twice_gives_the_same_bytes(session: Path) -> None:
    run("measure", str(session))
    first = {path.name: path.read_bytes() for path in (session / "results").iterdir()}
    run("measure", str(session))
    assert {path.name: path.read_bytes() for path in (session / "results").iterdir()} == first


def test_check_reports_what_the_calibration_allows_and_what_to_add(session: Path) -> None:
    changed("pixel = [71.8, 102.4]\n", "")(session)
    code, shown, errors = run("check", str(session))
    assert code == 0, errors
    helping = shown.partition("What would help, the most first:")[2]
    assert helping.count("\n- ") == 3 and "temperature_c" not in helping
    assert '[[marker]] "gate post": no pixel yet' in " ".join(helping.split())[:80]
    assert "more: lobmeter check" in helping and " --all" in helping
    code, shown, errors = run("check", str(session), "--all")
    assert code == 0, errors
    assert "--all" not in shown
    assert "320 x 180, 60 frames a second" in shown
    assert "a landing at 20 m" in shown
    assert '"gate post"' in shown
    assert "temperature_c" in shown
    assert sorted(path.name for path in (session / "results").iterdir()) == ["shots.csv"]


def test_check_with_a_question_is_not_ready_and_ends_with_1(session: Path) -> None:
    changed("height_m = 0.8", "height_m = 2.6")(session)
    code, shown, errors = run("check", str(session))
    words = " ".join(shown.split())
    assert code == 1, errors
    assert "If it is in feet, write 0.79" in words
    assert words.startswith("Answer the question below, then: lobmeter measure")
    assert "Ready" not in words


def test_check_says_what_a_prediction_lacks_without_refusing_the_session(session: Path) -> None:
    code, shown, _ = run("check", str(session), "--all")
    assert code == 0 and "nothing says how the launcher was built" in " ".join(shown.split())
    changed("\n[[clip]]", "\n[setup.wheel]\ndiameter_mm = 140.0\n\n[[clip]]")(session)
    code, shown, faults = run("check", str(session), "--all")
    words = " ".join(shown.split())
    assert code == 0, faults
    assert "wheel] mass_g: is missing" in words and "motor" in words
    assert words.count("No prediction:") >= 2


@pytest.mark.parametrize("words", [[], *[command.split() for command in COMMANDS]])
def test_help_fits_any_terminal(words: list[str]) -> None:
    code, shown, _ = run(*words, "--help")
    assert code == 0
    assert shown.startswith("Usage: ")
    shown.encode("ascii")
    assert max(len(line) for line in shown.splitlines()) <= 80


def test_every_command_and_option_is_explained() -> None:
    assert {"demo", "check", "measure"} <= set(COMMANDS)
    text = PAGE.read_text(encoding="utf-8")
    assert text == page(), "run python -m tests.faces.commands_page"
    for command in COMMANDS:
        assert re.search(rf"^## {command}\b", text, re.M)
    assert "| None |" not in text


def test_a_command_imports_no_other_and_python_seldom_looks_for_garbage() -> None:
    code = (
        "import gc, sys\n"
        "from tracker.cli import main\n"
        "sys.argv = ['lobmeter', 'check', '--help']\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print([name for name in NAMES if f'tracker.cli.{name}' in sys.modules])\n"
        "print(gc.get_threshold()[0])"
    ).replace("NAMES", str(tuple(Commands())))
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.splitlines()[-2:] == ["['check']", "10000"]


LOADING = "p.run = lambda: exec('raise KeyboardInterrupt')"
PARSING = "p.TyperGroup.make_context = lambda *a, **k: exec('raise KeyboardInterrupt')"
ENDING = "atexit.register(signal.raise_signal, signal.SIGINT)"


@pytest.mark.parametrize(("when", "code"), [(LOADING, 130), (PARSING, 130), (ENDING, 0)])
def test_an_interruption_at_any_time_says_a_word_or_comes_too_late(
    when: str, code: int, tmp_path: Path
) -> None:
    # Run as ``python -m tracker.cli`` is, which Python itself ends otherwise than a script.
    text = f"import atexit, signal, tracker.cli.program as p; {when}\n"
    (tmp_path / "run_main.py").write_text(f"{text}from tracker.cli import main; main()\n")
    done = subprocess.run(
        [sys.executable, "-m", "run_main", "--version"],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (code, f"{INTERRUPTED}\n" if code else "")


def test_commands_are_a_mapping_as_their_library_wants_it() -> None:
    commands = Commands()
    assert next(iter(commands)) == "demo"
    assert len(commands) == len(set(commands)) == 19
    assert commands["open"] is commands["open"]
    assert commands.get("opne") is None
    del commands["open"]
    assert "open" not in commands
    commands["open"] = commands["check"]
    assert commands["open"].name == "check"


def test_the_program_starts_quickly_and_loads_nothing_heavy() -> None:
    code = (
        "import sys; from tracker.cli.commands import Commands; dict(Commands())\n"
        "print(','.join(sorted(sys.modules)))"
    )
    shown = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout
    heavy = {"numpy", "scipy", "pandas", "cv2", "av", "matplotlib", "filterpy", "rich.progress"}
    assert not heavy & set(shown.strip().split(","))


def test_a_console_of_one_byte_characters_is_no_obstacle(session: Path) -> None:
    text = SESSION.replace('"Fen Lane"', '"Fen Lane \u4e2d \u2192"')
    (session / "session.toml").write_text(text, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", "from tracker.cli import main; main()", "check", str(session)],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Fen Lane ? ?" in done.stdout.decode("cp1252")


def test_the_version_is_that_of_the_distribution() -> None:
    from importlib.metadata import version

    assert run("--version")[1].strip() == f"lobmeter {version('lobmeter')}"
