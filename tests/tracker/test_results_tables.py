"""The files of `results/`, read back by readers that this project did not write."""

import csv
import io
import json
import math
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.tracker.invented_shot import invented, unmeasured
from tracker.records import (
    SHOT_COLUMNS,
    Consistency,
    MeasuredShot,
    Quality,
    Reason,
    ReasonCode,
    RejectedCandidate,
    TrackPoint,
    sentence,
)
from tracker.results.details import read_causes, read_notes, read_points
from tracker.results.rows import read_shots
from tracker.results.tables import Origin, shots_csv, shots_json, tracks_csv

SHOT = invented()[0].shot
ON_GROUND = Reason(ReasonCode.ON_GROUND)
ORIGIN = Origin("0.1.0", "Fen Lane", {"session.toml": "ab" * 32})


def test_a_row_comes_back_from_csv_as_it_was() -> None:
    (row,) = csv.DictReader(io.StringIO(shots_csv([SHOT])))
    assert list(row) == list(SHOT_COLUMNS)
    assert row["setup"] == "140 mm wheels"
    assert row["landing_seen"] == "true"
    assert row["quality"] == "good"
    for name in SHOT_COLUMNS:
        value = getattr(SHOT, name)
        if isinstance(value, float):
            assert float(row[name]) == pytest.approx(value, abs=5e-7)


def test_pandas_reads_the_same_numbers_and_empty_cells() -> None:
    text = shots_csv([SHOT, unmeasured()])
    table = pd.read_csv(io.StringIO(text))
    assert table.carry_m[0] == pytest.approx(SHOT.carry_m, abs=5e-7)
    assert table.landing_seen.tolist() == [True, False]
    assert math.isnan(table.exit_speed_mps[1])
    assert ",0.0," not in text.split("\n")[2]


def test_names_with_commas_quotes_and_letters_survive() -> None:
    shot = replace(SHOT, setup='wheels, "soft" Größe', clip="a, b\nc")
    (row,) = csv.DictReader(io.StringIO(shots_csv([shot])))
    assert (row["setup"], row["clip"]) == (shot.setup, shot.clip)


def test_a_name_with_an_odd_end_of_line_comes_back(tmp_path: Path) -> None:
    """Pasted text has such: they end a line for some readers, and no line of a table."""
    named = replace(SHOT, setup="140 mm\u2028wheels\x85", clip="clips/a\x0b.mp4")
    (tmp_path / "shots.csv").write_text(shots_csv([named]), encoding="utf-8")
    (row,) = read_shots(tmp_path / "shots.csv")
    assert (row.setup, row.clip) == (named.setup, named.clip)
    point = replace(invented()[0].points[0], clip=named.clip)
    (tmp_path / "tracks.csv").write_text(tracks_csv([point]), encoding="utf-8")
    assert list(read_points(tmp_path / "tracks.csv")) == [(named.clip, point.shot)]


def test_a_figure_that_is_not_finite_is_an_empty_cell_and_null() -> None:
    shot = replace(SHOT, carry_m=math.nan, carry_u_m=math.inf, azimuth_deg=-0.0)
    (row,) = csv.DictReader(io.StringIO(shots_csv([shot])))
    assert (row["carry_m"], row["carry_u_m"], row["azimuth_deg"]) == ("", "", "0.0")
    document = json.loads(shots_json([MeasuredShot(shot)], ORIGIN))
    assert document["shots"][0]["carry_m"] is None


def test_json_holds_the_rows_of_csv_and_where_they_come_from() -> None:
    document = json.loads(
        shots_json([MeasuredShot(SHOT), MeasuredShot(unmeasured())], ORIGIN, ["140mm-shot-2.jpg"])
    )
    assert document["lobmeter"] == "0.1.0"
    assert document["inputs"] == [{"file": "session.toml", "sha256": "ab" * 32}]
    assert document["pictures"] == ["140mm-shot-2.jpg"]
    rows = list(csv.DictReader(io.StringIO(shots_csv([SHOT, unmeasured()]))))
    for row, shot in zip(rows, document["shots"], strict=True):
        assert list(row) == [name for name in shot if name != "reasons"]
        for name, cell in row.items():
            value = shot[name]
            shown = "" if value is None else str(value)
            assert cell == (shown.lower() if isinstance(value, bool) else shown)


def test_json_holds_why_a_clip_yields_no_shot(tmp_path: Path) -> None:
    path = tmp_path / "shots.json"
    path.write_text(shots_json([], ORIGIN, causes={"a.mp4": (ON_GROUND,)}), encoding="utf-8")
    (found,) = json.loads(path.read_text(encoding="utf-8"))["no_shot"]
    assert found["reasons"] == [{"code": ON_GROUND.code.value, "numbers": {}}]
    assert read_causes(path) == {"a.mp4": sentence([ON_GROUND])}
    path.write_text(shots_json([], ORIGIN), encoding="utf-8")
    assert read_causes(path) == read_causes(tmp_path / "missing.json") == {}


def test_json_holds_what_was_assumed_of_a_clip(tmp_path: Path) -> None:
    path = tmp_path / "shots.json"
    notes = {"a.mp4": ("no wind", "dim"), "b.mp4": ()}
    path.write_text(shots_json([], replace(ORIGIN, notes=notes)), encoding="utf-8")
    assert read_notes(path) == notes
    path.write_text('{"notes": ["an", "older", "file"]}', encoding="utf-8")
    assert read_notes(path) == read_notes(tmp_path / "missing.json") == {}


def test_json_holds_the_consistency_of_a_shot_and_the_rejected_candidates() -> None:
    nothing = np.zeros(0)
    refused = [
        RejectedCandidate("a.mp4", 4.1, support, 9, 30, (ON_GROUND,), nothing, np.zeros((0, 2)))
        for support in (31.0, 0.0, -3.0)
    ]
    agrees = Consistency(1.25, 0.84, 1.17, 140)
    text = shots_json(
        [MeasuredShot(SHOT, consistency=agrees), MeasuredShot(SHOT)],
        ORIGIN,
        rejected_candidates=refused,
    )
    document = json.loads(text)
    assert document["shots"][0]["nis"] == {"mean": 1.25, "low": 0.84, "high": 1.17, "frames": 140}
    assert "nis" not in document["shots"][1]
    # One found from anywhere has a support of 0; chance explains the last one better.
    assert document["rejected_candidates"] == [
        {
            "clip": "a.mp4",
            "release_s": 4.1,
            "support": support,
            "frames_seen": 9,
            "frames_crossed": 30,
            "reason": "It moves over the ground.",
            "reasons": [{"code": "on_ground", "numbers": {}}],
        }
        for support in (31.0, 0.0)
    ]


def test_tracks_hold_every_place_with_the_columns_of_the_formats() -> None:
    points = invented()[0].points
    table = pd.read_csv(io.StringIO(tracks_csv(points)))
    assert list(table.columns) == [field.name for field in fields(TrackPoint)]
    assert len(table) == len(points)
    assert table.used.sum() == sum(point.used for point in points)
    assert np.allclose(table.column_px, [point.column_px for point in points], atol=5e-7)


def test_numbers_of_numpy_are_written_like_any_other() -> None:
    shot = replace(SHOT, carry_m=np.float64(3.5), frames_seen=np.int64(9), landing_seen=np.True_)
    (row,) = csv.DictReader(io.StringIO(shots_csv([shot])))
    assert (row["carry_m"], row["frames_seen"], row["landing_seen"]) == ("3.5", "9", "true")


def test_a_rejected_row_keeps_its_reason() -> None:
    (row,) = csv.DictReader(io.StringIO(shots_csv([unmeasured()])))
    assert (row["quality"], row["reason"]) == (
        Quality.REJECTED,
        "A shot seems to be here and could not be measured; no flight fits its positions.",
    )
