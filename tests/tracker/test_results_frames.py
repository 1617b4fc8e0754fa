"""Results as pandas tables: their types, their values, and the page that shows them."""

import contextlib
import io
import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from calibration.errors import InputError, InputErrors
from tests.tracker.invented_outings import session, shots_of
from tests.tracker.invented_shot import invented
from tracker.records import Quality, ReasonCode
from tracker.results import read
from tracker.results.rows import read_shots
from tracker.results.tables import SHOT_COLUMNS, TRACK_COLUMNS, tracks_csv

PAGE = Path(__file__).parents[2] / "docs" / "notebooks.md"
TWO = {"100 mm wheels": 3, "140 mm wheels": 4}
BOTH = (ReasonCode.LANDING_NOT_SEEN, ReasonCode.NEVER_LANDS)
"""Reasons of a row, neither of which has numbers."""


def written(folder: Path, name: str) -> Path:
    """A session with every file of results."""
    session(folder, TWO)
    first = shots_of("100 mm wheels", 1)[0]
    points = [
        type(point)(**{**vars(point), "clip": first.clip, "shot": 1})
        for point in invented()[0].points
    ]
    (folder / "results" / "tracks.csv").write_text(tracks_csv(points), encoding="utf-8")
    document = {
        "lobmeter": "0.1.0",
        "session": name,
        "inputs": [{"file": "session.toml", "sha256": "ab" * 32}],
        "shots": [
            {
                "clip": first.clip,
                "shot": 1,
                "reasons": [{"code": code.value, "numbers": {}} for code in BOTH],
            }
        ],
        "pictures": [],
    }
    (folder / "results" / "shots.json").write_text(json.dumps(document), encoding="utf-8")
    return folder


def test_every_column_has_the_type_that_the_page_gives(tmp_path: Path) -> None:
    results = read(written(tmp_path / "may", "May"))
    shots, tracks = results.shots, results.tracks
    assert list(shots.columns) == ["session", *SHOT_COLUMNS, "reasons"]
    assert list(tracks.columns) == ["session", "setup", *TRACK_COLUMNS]
    text = PAGE.read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`\w+`(?:, `\w+`)*) \| (\w+)", text, re.M)
    named = {
        column: kind
        for columns, kind in rows
        for column in re.findall(r"`(\w+)`", columns)
        if kind in ("category", "ordered", "text", "int64", "bool")
    }
    assert {"quality": "ordered", "landing_seen": "bool"}.items() <= named.items()
    wanted = {"ordered": "category", "text": "str"}
    for frame in (shots, tracks):
        for column, dtype in frame.dtypes.items():
            kind = named.get(str(column), "float64")
            assert str(dtype) == wanted.get(kind, kind), column
    assert shots.quality.cat.categories.tolist() == [quality.value for quality in Quality]
    assert (shots.quality < "check").all()


def test_values_are_those_of_the_files(tmp_path: Path) -> None:
    folder = written(tmp_path / "may", "May")
    results = read(str(folder))
    rows = read_shots(folder / "results" / "shots.csv")
    assert results.shots.carry_m.tolist() == [row.carry_m for row in rows]
    codes = " ".join(code.value for code in BOTH)
    assert results.shots.reasons.tolist() == [codes, *[""] * 6]
    assert results.shots.session.unique().tolist() == ["May"]
    assert results.tracks.setup.unique().tolist() == ["100 mm wheels"]
    assert len(results.tracks) == len(invented()[0].points)
    assert results.inputs.to_dict("records") == [
        {"session": "May", "lobmeter": "0.1.0", "file": "session.toml", "sha256": "ab" * 32}
    ]


def test_an_empty_cell_is_nan(tmp_path: Path) -> None:
    folder = written(tmp_path / "may", "May")
    path = folder / "results" / "shots.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    cells = lines[1].split(",")
    cells[SHOT_COLUMNS.index("apex_m")] = ""
    path.write_text("\n".join([lines[0], ",".join(cells), *lines[2:]]) + "\n", encoding="utf-8")
    shots = read(folder).shots
    assert np.isnan(shots.apex_m[0]) and not shots.apex_m[1:].isna().any()


def test_sessions_of_one_name_stay_apart(tmp_path: Path) -> None:
    one, other = written(tmp_path / "a", "May"), written(tmp_path / "b", "May")
    shots = read([one, other / "results"]).shots
    assert shots.session.nunique() == 2
    assert len(shots) == 14
    assert str(shots.session.dtype) == "category"


def test_no_session_gives_empty_tables_of_the_same_types(tmp_path: Path) -> None:
    empty, full = read([]), read(written(tmp_path / "may", "May"))
    assert len(empty.shots) == len(empty.tracks) == 0
    assert empty.shots.dtypes.astype(str).tolist() == full.shots.dtypes.astype(str).tolist()


def test_what_cannot_be_read_is_a_sentence_for_each_folder(tmp_path: Path) -> None:
    (tmp_path / "bare").mkdir()
    damaged = written(tmp_path / "may", "May")
    path = damaged / "results" / "tracks.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",1,", ",one,", 1), encoding="utf-8")
    with pytest.raises(InputErrors) as caught:
        read([tmp_path / "nowhere", tmp_path / "bare", damaged])
    first, second, third = caught.value.sentences()
    assert "nowhere: there is no such folder" in first
    assert "lobmeter measure" in second
    assert "tracks.csv: cannot be read" in third
    with pytest.raises(InputError):
        read(tmp_path / "nowhere")


def test_the_page_answers_its_question(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    block = re.search(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    assert block is not None
    assert len(block[1].splitlines()) <= 12
    written(tmp_path / "fen-lane-may", "May")
    written(tmp_path / "fen-lane-june", "June")
    monkeypatch.chdir(tmp_path)
    held: dict[str, pd.DataFrame] = {}
    with contextlib.redirect_stdout(io.StringIO()) as shown:
        exec(block[1], held)
    answer = held["answer"]
    assert answer["count"].to_dict() == {"100 mm wheels": 6, "140 mm wheels": 8}
    carries = [shot.carry_m for shot in shots_of("140 mm wheels", 4)] * 2
    assert answer["mean"]["140 mm wheels"] == pytest.approx(np.mean(carries), abs=1e-6)
    assert answer["std"]["140 mm wheels"] == pytest.approx(np.std(carries, ddof=1), abs=1e-6)
    assert "140 mm wheels" in shown.getvalue()
