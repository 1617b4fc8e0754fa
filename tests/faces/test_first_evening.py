"""The page docs/first-evening.md, typed line by line as it stands."""

import re
import shlex
import shutil
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from tracker.cli.program import program
from tracker.results import folder_of

TOP = Path(__file__).parents[2]
PAGE = TOP / "docs" / "first-evening.md"
CLIP = TOP / "sample_clips" / "wide" / "clips" / "140mm.mp4"


@pytest.mark.long
def test_the_first_evening_goes_as_the_page_says(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LOBMETER_DB", str(tmp_path / "book.sqlite3"))
    monkeypatch.setenv("COLUMNS", "100")
    shutil.copy(CLIP, "IMG_0412.mp4")
    said = {}
    blocks = re.findall(r"```(sh|toml)\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    assert [kind for kind, _ in blocks].count("toml") == 1
    for kind, text in blocks:
        if kind == "toml":
            Path("evening", "session.toml").write_text(text, encoding="utf-8")
            continue
        for line in text.splitlines():
            words = shlex.split(line)
            assert words[0] == "lobmeter"
            result = CliRunner().invoke(program, words[1:])
            assert result.exit_code in (0, 1), f"{line}\n{result.output}"
            said[line] = result.stdout
    assert "gravity is the scale" in said["lobmeter measure IMG_0412.mp4"]
    shots = pd.read_csv(folder_of(Path("evening")) / "shots.csv")
    assert list(shots["quality"] == "rejected") == [False, True, False]
    assert "it hit the net" in said["lobmeter review evening"]
    assert "3 shots" in said["lobmeter log add evening"]
    assert list(Path("evening").rglob("report.html"))
