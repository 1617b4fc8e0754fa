"""``lobmeter report``: from measured sessions to one file, and what it refuses."""

import os
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.tracker.invented_outings import session
from tracker.cli.program import program
from tracker.report.document import printing
from tracker.results.computed import computed_of
from tracker.results.folder import DIGESTS, replace_results, written_digests


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(program, ["report", *map(str, arguments)])
    assert "Traceback" not in result.output
    return result.exit_code, " ".join(result.output.split())


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sessions") / "evening"
    return session(folder, {"100 mm wheels": 3, "140 mm wheels": 3})


def test_the_report_lies_in_the_results_and_names_the_better_setup(evening: Path) -> None:
    before = (evening / "results" / "shots.csv").read_bytes()
    code, said = run(evening)
    assert code == 0
    page = (evening / "results" / "report.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "report.html" in said
    assert "&#34;140 mm wheels&#34; has the greatest carry" in page
    assert "shows no calibration" in page
    assert (evening / "results" / "shots.csv").read_bytes() == before
    names = {path.name for path in (evening / "results").iterdir()}
    assert names == {"shots.csv", "report.html"}


def test_a_report_does_not_outlive_its_results(evening: Path, tmp_path: Path) -> None:
    """It is listed with what the run wrote, which the next run removes."""
    folder = _run_anew(evening, tmp_path)
    assert run(folder)[0] == 0
    assert "report.html" in written_digests(folder / "results")
    assert run(folder, "--to", tmp_path / "kept.html")[0] == 0
    assert "kept.html" not in written_digests(folder / "results")


def _run_anew(evening: Path, tmp_path: Path) -> Path:
    folder = Path(shutil.copytree(evening, tmp_path / "evening"))
    replace_results(folder / "results", {"shots.csv": (folder / "results/shots.csv").read_bytes()})
    return folder


@pytest.mark.parametrize("name", ["evening", "evening.pdf"])
def test_a_name_that_a_browser_would_show_as_text_is_refused(
    evening: Path, tmp_path: Path, name: str
) -> None:
    code, said = run(evening, "--to", tmp_path / name)
    assert code == 2
    assert f'--to: "{name}" is no name of a page; end it in .html' in said
    assert not list(tmp_path.iterdir())


def test_the_same_results_make_the_same_report(evening: Path, tmp_path: Path) -> None:
    for name in ("first.html", "second.html"):
        assert run(evening, "--to", tmp_path / name)[0] == 0
    assert (tmp_path / "first.html").read_bytes() == (tmp_path / "second.html").read_bytes()


def test_a_session_without_results_is_refused_with_the_command_that_makes_them(
    tmp_path: Path,
) -> None:
    folder = session(tmp_path / "new", {"140 mm wheels": 0})
    (folder / "results" / "shots.csv").unlink()
    code, said = run(folder)
    assert code == 2
    assert f"lobmeter measure {folder}".split()[0] in said
    assert not (folder / "results" / "report.html").exists()


def test_a_measured_session_without_a_shot_is_not_sent_to_be_measured(tmp_path: Path) -> None:
    code, said = run(session(tmp_path / "lane", {"140 mm wheels": 0}))
    assert code == 2
    assert "no shot was found" in said and "-explained.jpg" in said
    assert "lobmeter measure" not in said


def test_a_session_within_another_keeps_its_own_shots(tmp_path: Path) -> None:
    outer = session(tmp_path / "season", {"140 mm wheels": 3})
    inner = session(outer / "evening", {"140 mm wheels": 2}, seed=2)
    assert run(outer, inner, "--to", tmp_path / "page.html")[0] == 0
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert page.count("clips/140mm.mp4</th>") == 5


def test_a_video_file_without_a_session_is_reported_from_the_results_beside_it(
    tmp_path: Path,
) -> None:
    made = session(tmp_path / "made", {"140 mm wheels": 2})
    results = tmp_path / "evening-results"
    (made / "results").rename(results)
    rows = (results / "shots.csv").read_text(encoding="utf-8")
    rows = rows.replace("clips/140mm.mp4", "evening.mp4").replace("140 mm wheels", "evening")
    (results / "shots.csv").write_text(rows, encoding="utf-8")
    inputs = '{"lobmeter": "1", "inputs": [{"file": "evening.mp4", "sha256": "00"}], "shots": []}'
    (results / "shots.json").write_text(inputs, encoding="utf-8")
    (tmp_path / "evening.mp4").write_bytes(b"")
    code, said = run(tmp_path / "evening.mp4")
    assert code == 0, said
    page = (results / "report.html").read_text(encoding="utf-8")
    assert page.count("evening.mp4</th>") == 2


def test_without_a_browser_the_page_is_written_and_the_way_to_print_it_is_said(
    evening: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printing, "BROWSERS", ("no-such-browser",))
    code, said = run(evening, "--to", tmp_path / "page.html", "--pdf")
    assert code == 2
    assert "Chromium" in said
    assert (tmp_path / "page.html").exists()
    assert not (tmp_path / "page.pdf").exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [(("--pdf", "--paper", "A3"), "write A4 or Letter"), (("--paper", "A4"), "add --pdf")],
)
def test_a_sheet_that_is_none_or_for_nothing_is_refused(
    options: tuple[str, ...], words: str, evening: Path, tmp_path: Path
) -> None:
    code, said = run(evening, "--to", tmp_path / "page.html", *options)
    assert code == 2 and "--paper" in said and words in said
    assert not (tmp_path / "page.html").exists()


@pytest.mark.skipif(os.name == "nt", reason="the stand-in is a shell script")
def test_a_browser_prints_the_page_beside_it(
    evening: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser = tmp_path / "browser"
    browser.write_text(
        '#!/bin/sh\nfor each in "$@"; do case $each in --print-to-pdf=*) to="${each#*=}";; '
        'file:*) from="${each#file://}";; esac; done\n'
        'printf "%%PDF-1.4 of " > "$to"; cat "$from" >> "$to"\n',
        encoding="utf-8",
    )
    browser.chmod(0o755)
    monkeypatch.setattr(printing, "BROWSERS", (str(browser),))
    monkeypatch.setenv("LC_ALL", "de_AT.UTF-8")
    assert run(evening, "--to", tmp_path / "page.html", "--pdf")[0] == 0
    printed = (tmp_path / "page.pdf").read_text(encoding="utf-8")
    assert printed.startswith("%PDF")
    # The page as it lies there, with the sheet that people in Austria have.
    page = (tmp_path / "page.html").read_text("utf-8")
    assert printed.removeprefix("%PDF-1.4 of ") == page.replace(
        "</head>", "<style>@page { size: A4 }</style></head>"
    )
    code, said = run(evening, "--to", tmp_path / "page.html", "--pdf", "--paper", "letter")
    assert code == 0, said
    assert "@page { size: Letter }" in (tmp_path / "page.pdf").read_text(encoding="utf-8")
    # What made it is kept to be named where it is gone.
    folder = _run_anew(evening, tmp_path)
    assert run(folder, "--pdf", "--paper", "letter")[0] == 0
    listed = computed_of(folder / "results" / DIGESTS)["report.pdf"]
    assert listed.command.endswith(" --pdf --paper Letter")
    browser.write_text("#!/bin/sh\nexit 3\n", encoding="utf-8")
    code, said = run(evening, "--to", tmp_path / "page.html", "--pdf")
    assert code == 2
    assert "could not print" in said
