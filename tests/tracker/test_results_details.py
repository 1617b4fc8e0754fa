"""Budgets and places of the results, read back."""

import json
from pathlib import Path

import pytest

from calibration.errors import InputError
from tracker.results.budgets import read_budgets
from tracker.results.details import read_points, used_places

HEAD = (
    "clip,shot,frame,time_s,column_px,row_px,used,residual_column_px,residual_row_px,"
    "along_m,across_m,up_m"
)


def test_budgets_are_those_of_each_shot(tmp_path: Path) -> None:
    rows = [
        {"clip": "a.mp4", "shot": 1, "budget": {"carry_m": {"wind": 0.25}}},
        {"clip": "a.mp4", "shot": 2},
    ]
    path = tmp_path / "shots.json"
    path.write_text(json.dumps({"shots": rows}), encoding="utf-8")
    assert read_budgets(path) == {("a.mp4", 1): {"carry_m": {"wind": 0.25}}, ("a.mp4", 2): {}}


@pytest.mark.parametrize("text", ["", "[]", '{"shots": [{}]}', '{"shots": 3}'])
def test_results_without_budgets_are_no_fault(text: str, tmp_path: Path) -> None:
    path = tmp_path / "shots.json"
    path.write_text(text, encoding="utf-8")
    assert read_budgets(path) == {}
    assert read_budgets(tmp_path / "none.json") == {}


def test_places_are_those_that_were_used(tmp_path: Path) -> None:
    path = tmp_path / "tracks.csv"
    lines = [
        HEAD,
        "a.mp4,1,3,0.05,1,2,true,0.1,0.2,0.5,0,1.0",
        "a.mp4,1,4,0.07,1,2,false,,,0.9,0,1.3",
        "a.mp4,1,5,0.08,1,2,true,0,0,,,",
        "a.mp4,2,9,0.15,1,2,true,0,0,1.5,0,2.0",
    ]
    path.write_text("\n".join(lines), encoding="utf-8")
    points = read_points(path)
    assert [point.frame for point in points["a.mp4", 1]] == [3, 4, 5]
    assert points["a.mp4", 1][0].residual_row_px == 0.2
    places = {key: used_places(of_shot) for key, of_shot in points.items()}
    assert places == {("a.mp4", 1): ((0.5, 1.0),), ("a.mp4", 2): ((1.5, 2.0),)}
    assert read_points(tmp_path / "none.csv") == {}


@pytest.mark.parametrize(
    "line", ["a.mp4,one,3,0,1,2,true,0,0,1,1,1", "a.mp4,1,3,0,1,2,true,0,0,x,1,1"]
)
def test_a_damaged_line_is_named(line: str, tmp_path: Path) -> None:
    path = tmp_path / "tracks.csv"
    path.write_text(f"{HEAD}\n{line}\n", encoding="utf-8")
    with pytest.raises(InputError, match="does not hold") as caught:
        read_points(path)
    assert "line 2" in caught.value.where
