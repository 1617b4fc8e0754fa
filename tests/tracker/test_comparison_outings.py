"""Sessions and their results, brought together and compared."""

import hashlib
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread

from calibration.errors import InputError, InputErrors
from tests.tracker.invented_outings import TENNIS, TRUTH, session, shots_of, tables
from tracker.comparison.candidates import between
from tracker.comparison.carries import carry_ratios
from tracker.comparison.compare import compare
from tracker.launcher.carry import Release
from tracker.launcher.prediction import Outdoors
from tracker.launcher.setup import machine_from_setup
from tracker.launcher.shot import launch
from tracker.launcher.sweep import parse_sweep
from tracker.results.rows import read_shots
from tracker.workflow.compare import compare_sessions
from tracker.workflow.gathering import gather
from tracker.workflow.plan import plan_sessions
from tracker.workflow.predict import predict_sessions
from tracker.workflow.standing import standing

THREE = {"100 mm wheels": 5, "140 mm wheels": 5, "180 mm wheels": 5}


@pytest.fixture(scope="module")
def three(tmp_path_factory) -> Path:
    return session(tmp_path_factory.mktemp("fen") / "lane", THREE)


def test_results_read_back_as_they_were(three: Path) -> None:
    rows = read_shots(three / "results" / "shots.csv")
    assert len(rows) == 15
    mine = shots_of("100 mm wheels", 5)
    assert rows[0].carry_m == pytest.approx(mine[0].carry_m, abs=1e-6)
    assert rows[0].quality == mine[0].quality
    assert (rows[0].clip, rows[0].setup) == (mine[0].clip, mine[0].setup)


def test_a_spreadsheet_s_byte_order_mark_does_no_harm(three: Path, tmp_path: Path) -> None:
    text = (three / "results" / "shots.csv").read_text(encoding="utf-8")
    path = tmp_path / "shots.csv"
    path.write_text(text, encoding="utf-8-sig")
    assert len(read_shots(path)) == 15


def test_a_copy_with_semicolons_and_decimal_commas_is_read(three: Path, tmp_path: Path) -> None:
    text = (three / "results" / "shots.csv").read_text(encoding="utf-8")
    path = tmp_path / "shots.csv"
    path.write_text(text.replace(",", ";").replace(".", ","), encoding="utf-8")
    rows = read_shots(path)
    mine = read_shots(three / "results" / "shots.csv")
    assert [row.carry_m for row in rows] == [row.carry_m for row in mine]
    assert [row.clip for row in rows] == [row.clip.replace(".", ",") for row in mine]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (",good,", ",splendid,", "'splendid' does not belong there"),
        (",true,", ",maybe,", "'maybe' does not belong there"),
        ("carry_m,", "carry,", "lacks the columns carry_m"),
    ],
)
def test_damaged_results_are_reported(three: Path, tmp_path: Path, old, new, words) -> None:
    text = (three / "results" / "shots.csv").read_text(encoding="utf-8")
    path = tmp_path / "shots.csv"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_shots(path)
    assert words in caught.value.sentences()[0]
    assert "measure the session again" in caught.value.sentences()[0]


def test_setups_of_two_outings_are_one(three: Path, tmp_path: Path) -> None:
    other = session(tmp_path / "later", {"140 mm wheels": 4}, seed=2)
    found = gather([three, other])
    setup = next(s for s in found.setups if s.name == "140 mm wheels")
    assert len(setup.shots.shots) == 9
    assert set(setup.shots.occasions) == {str(three), str(other)}


def write_results(folder: Path, shared: float, sha256: str) -> None:
    rows = read_shots(folder / "results" / "shots.csv")
    document = {
        "inputs": [{"file": "session.toml", "sha256": sha256}],
        "shots": [
            {"clip": row.clip, "shot": row.shot, "shared_u": {"carry_m": shared}} for row in rows
        ],
    }
    (folder / "results" / "shots.json").write_text(json.dumps(document), encoding="utf-8")


def test_the_shared_part_of_the_uncertainty_is_read_from_the_results(tmp_path: Path) -> None:
    folder = session(tmp_path / "one", {"140 mm wheels": 5, "180 mm wheels": 5})
    before = compare([setup.shots for setup in gather([folder]).setups])
    digest = hashlib.sha256((folder / "session.toml").read_bytes()).hexdigest()
    write_results(folder, 0.011, digest)
    found = gather([folder])
    assert not found.notes
    after = compare([setup.shots for setup in found.setups])
    for one, other in zip(before.summaries, after.summaries, strict=True):
        assert one.shared_u > 0.05 and other.shared_u == pytest.approx(0.011)
        assert other.mean.u < one.mean.u


def test_results_older_than_the_session_are_reported(tmp_path: Path) -> None:
    folder = session(tmp_path / "one", {"140 mm wheels": 5})
    write_results(folder, 0.011, "0" * 64)
    (note,) = gather([folder]).notes
    assert "was edited after these results were made" in note
    # The page says so by itself, with a button.
    assert standing(folder).notes == ()


@pytest.mark.parametrize("text", ["", "[]", '{"inputs": 3, "shots": []}', '{"shots": [{}]}'])
def test_results_whose_second_file_is_damaged_are_still_compared(tmp_path: Path, text: str) -> None:
    folder = session(tmp_path / "one", {"140 mm wheels": 5})
    (folder / "results" / "shots.json").write_text(text, encoding="utf-8")
    (setup,) = gather([folder]).setups
    assert len(setup.shots.shots) == 5 and setup.shots.shared == ({},) * 5


def test_a_prediction_lands_on_the_ground_that_the_markers_show(three: Path, tmp_path) -> None:
    folder = session(tmp_path / "slope", THREE)
    file = folder / "session.toml"
    markers = "".join(
        f'[[marker]]\nname = "{along} m"\nground_m = [{along}, 0, {0.02 * along}]\n'
        for along in (10, 20, 30)
    )
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("[[setup]]", f"{markers}[[setup]]", 1), encoding="utf-8")
    for place, rise in ((three, 0.0), (folder, 0.02)):
        for setup in gather([place]).setups:
            assert setup.outdoors.release is not None
            assert setup.outdoors.release.ground.rise_along == pytest.approx(rise, rel=0.02)


def test_a_setup_of_the_same_name_but_another_build_keeps_apart(three: Path, tmp_path) -> None:
    other = session(tmp_path / "later", {"140 mm wheels": 4}, seed=2)
    file = other / "session.toml"
    file.write_text(
        file.read_text(encoding="utf-8").replace("mass_g = 210.0", "mass_g = 260.0"),
        encoding="utf-8",
    )
    found = gather([three, other])
    assert len(found.setups) == 4
    assert "is built differently" in found.notes[0]


def test_unmeasured_sessions_and_bare_setups_are_notes(tmp_path: Path) -> None:
    folder = session(tmp_path / "one", {"140 mm wheels": 0})
    (folder / "results" / "shots.csv").unlink()
    file = folder / "session.toml"
    file.write_text(
        file.read_text(encoding="utf-8").replace("rated_power_w = 67.0", ""), encoding="utf-8"
    )
    found = gather([folder])
    assert "has no results yet: lobmeter measure" in found.notes[0]
    assert "says nothing of the motor's strength" in found.notes[1]
    with pytest.raises(InputErrors):
        gather([folder], machines_needed=True)
    made = compare_sessions([folder])
    assert made.picture is None
    assert made.sentences == ('"140 mm wheels" has no shots: nothing is known of it yet.',)


def test_comparing_three_setups(three: Path) -> None:
    made = compare_sessions([three])
    truths = {
        name: launch(
            machine_from_setup(tables(name), "", TENNIS.diameter_m).having(TRUTH), TENNIS
        ).speed_mps
        for name in THREE
    }
    order = sorted(truths, key=truths.get)
    assert made.sentences[0].startswith(f'"{order[-1]}" is the best: ')
    assert any(said.startswith(f'"{order[-1]}" carries ') for said in made.sentences)
    assert {v.name for v in made.comparison.verdicts} == set(THREE)
    # The shots came from the model's own family: what the others predict agrees.
    assert all(verdict.e_number.agrees for verdict in made.comparison.verdicts)
    picture = imread(io.BytesIO(made.picture.read_bytes()))
    assert picture.shape[0] > 400
    assert picture.shape[1] > 1000
    # Something of every setup's colour is drawn.
    assert len(np.unique(np.round(picture[..., :3].reshape(-1, 3)[::7], 1), axis=0)) > 10


@pytest.mark.long
def test_the_same_shots_draw_the_same_picture(three: Path) -> None:
    one = compare_sessions([three], "apex_m").picture.read_bytes()
    assert compare_sessions([three], "apex_m").picture.read_bytes() == one


def test_a_clip_alone_is_drawn_into_its_own_results(three: Path, tmp_path: Path) -> None:
    clip, results = tmp_path / "lane.mp4", tmp_path / "lane-results"
    clip.touch()
    results.mkdir()
    rows = (three / "results" / "shots.csv").read_text(encoding="utf-8")
    rows = rows.replace("100 mm wheels", "lane")
    (results / "shots.csv").write_text(rows, encoding="utf-8", newline="")
    assert compare_sessions([clip]).picture == results / "comparison-carry-m.png"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["lane-results", "lane.mp4"]


def test_a_quantity_that_is_none_is_refused(three: Path) -> None:
    for quantity in ("quality", "distance"):
        with pytest.raises(InputError, match="cannot be compared"):
            compare_sessions([three], quantity)


def test_the_carries_correct_the_flight_model() -> None:
    """Shots of a ball with 10 % less drag: the factor finds the longer carries."""
    from dataclasses import replace

    from tests.tracker.invented_outings import AIR
    from tracker.comparison.setups import SetupShots
    from tracker.launcher.carry import carry_of

    slippery = replace(TENNIS, drag_coefficient=0.9 * TENNIS.drag_coefficient)
    release = Release(0.8, 42.0)
    setups = []
    for name, speed in (("slow", 20.0), ("fast", 28.0)):
        shots = tuple(
            replace(
                shot,
                exit_speed_mps=speed + 0.1 * place,
                carry_m=carry_of(speed + 0.1 * place, 0.0, release, slippery, AIR).carry_m,
            )
            for place, shot in enumerate(shots_of("140 mm wheels", 5))
        )
        setups.append((SetupShots(name, shots, ("a",) * 5), Outdoors(TENNIS, AIR, release)))
    found = carry_ratios(setups).factor()
    truth = carry_of(24.0, 0.0, release, slippery, AIR).carry_m
    plain = carry_of(24.0, 0.0, release, TENNIS, AIR).carry_m
    assert found.value == pytest.approx(truth / plain, abs=2 * found.u)
    assert found.u < 0.02
    assert carry_ratios(setups[:1]).factor().u > 0.0
    assert carry_ratios(setups).factor("slow") == carry_ratios(setups[1:]).factor()
    assert carry_ratios([]).factor() is None
    assert carry_ratios([(setups[0][0], Outdoors(TENNIS, AIR))]).factor() is None


@pytest.mark.campaign
def test_predictions_with_a_sweep(three: Path) -> None:
    seen = predict_sessions([three], sweeps=["wheel.diameter_mm=100:180:5"])
    assert seen.sweep.sweep.values == (100.0, 120.0, 140.0, 160.0, 180.0)
    assert len(seen.sweep.predictions) == 5
    assert [left.name for left in seen.left_out] == list(THREE)
    for one in seen.setups:
        got, want = one.prediction.exit_speed, one.measured_speed
        assert abs(got.value - want.value) < 2.5 * np.hypot(got.u, want.u)
        got, want = one.prediction.carry, one.measured_carry
        assert abs(got.value - want.value) < 2.5 * np.hypot(got.u, want.u)
    assert "guard the gap" in seen.cautions[0]
    assert any("no toy" in caution for caution in seen.cautions)
    assert seen.sweep.picture.is_file()
    stated = predict_sessions([three], setup="140 mm wheels", learning=False)
    assert stated.learned == ()
    assert [one.name for one in stated.setups] == ["140 mm wheels"]
    assert stated.setups[0].prediction.carry.u > seen.setups[1].prediction.carry.u


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("wheel.diameter=80:220", "of a setup; did you mean wheel.diameter_mm?"),
        ("wheel.size=80:220", "is no number of a setup; use one of wheel.diameter_mm"),
        ("wheel.diameter_mm", "is no range; write it as wheel.diameter_mm=from:to"),
        ("wheel.diameter_mm=80:big", "is no range"),
        ("wheel.diameter_mm=80:nan", "is no range"),
        ("wheel.diameter_mm=1:220", "stay within 15 to 1500"),
        ("wheel.diameter_mm=80:80", "give two different ends"),
        ("wheel.diameter_mm=80:220:1", "2 to 200 steps"),
    ],
)
def test_sweeps_that_make_no_sense(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_sweep(text)
    assert words in caught.value.sentences()[0]


def test_a_sweep_may_run_downwards() -> None:
    assert parse_sweep("motor.duty_percent=90:60:4").values == (60.0, 70.0, 80.0, 90.0)


def test_gaps_that_touch_no_ball_are_refused_in_a_sweep(three: Path) -> None:
    with pytest.raises(InputError, match="does not touch a ball"):
        predict_sessions([three], sweeps=["grip.gap_mm=40:80"], learning=False)


def test_an_unknown_setup_is_refused(three: Path) -> None:
    with pytest.raises(InputError, match="name of no setup"):
        predict_sessions([three], setup="200 mm wheels")


def test_plans(three: Path, tmp_path: Path) -> None:
    made = plan_sessions([three], sweep="wheel.diameter_mm=90:190:6")
    assert len(made.plan.promises) == 6
    assert any("next" in sentence or "Nothing" in sentence for sentence in made.sentences)
    settled = plan_sessions([three])
    assert settled.plan.settled
    sizes = [one.label for one in settled.plan.promises]
    assert sorted(sizes) == [f"wheel.diameter_mm = {mm}" for mm in range(105, 180, 5)]
    (said,) = [one for one in settled.sentences if "inside what was shot" in one]
    assert settled.sentences[-1].startswith("What to build next: turn its numbers on the page")
    assert len(plan_sessions([three], "apex_m").plan.promises) == 0
    started = session(tmp_path / "start", {"140 mm wheels": 5, "180 mm wheels": 0})
    said = plan_sessions([started]).sentences
    assert said[0] == '"180 mm wheels": 5 more shots, it has no shot, so no scatter.'
    with pytest.raises(InputError, match="no difference worth knowing"):
        plan_sessions([three], worth=-1.0)
    with pytest.raises(InputError, match="does not predict"):
        plan_sessions([three], "apex_m", sweep="wheel.diameter_mm=90:190")


def test_wheels_to_build_next_lie_between_those_that_were_shot(three: Path) -> None:
    found = between(gather([three]).known)
    assert found is not None and found.values == tuple(np.arange(105.0, 180.0, 5.0))


def windy(folder: Path, along_mps: float, setup: str) -> Path:
    """A session of one setup in a wind; its carries were made in none, for all evenings alike."""
    file = session(folder, {setup: 5}) / "session.toml"
    wind = f"[air]\nwind_along_mps = {along_mps}\nwind_u_mps = 0.5\n"
    file.write_text(file.read_text(encoding="utf-8").replace("[air]\n", wind), encoding="utf-8")
    return folder


def test_carries_in_still_air_lead_where_the_winds_differ(tmp_path: Path) -> None:
    tail = windy(tmp_path / "tail", 6.0, "140 mm wheels")
    head = windy(tmp_path / "head", -6.0, "100 mm wheels")
    said = compare_sessions([tail, head]).sentences
    assert said[0].startswith('In still standard air "100 mm wheels" is the best: ')
    assert said[1].startswith('In still standard air: "140 mm wheels" ')
    assert "differ by up to 12.0 m/s ± 0.7 m/s. " in said[2]
    moved = re.search(r"in still air by up to ([0-9.]+) m, which no ± counts", said[2])
    # Half a metre a second of 25 m/s, for two seconds.
    assert moved is not None and 0.3 < float(moved[1]) < 1.2
    assert said[3].startswith('"140 mm wheels" is ')
    alike = windy(tmp_path / "alike", 5.4, "100 mm wheels")
    assert "still" not in compare_sessions([tail, alike]).sentences[0]
