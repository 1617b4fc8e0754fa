"""A planned field moved about on paper, and kept as a session."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.errors import InputError
from tracker.report.vantage_words import quick_figures, quick_view, summary
from tracker.session import MarkerEntry, parse_session, read_session, revised
from tracker.vantage.judging import judge
from tracker.workflow.plan_session import field_changes, is_planned, save_plan
from tracker.workflow.planned import usual_session
from tracker.workflow.planned_field import PlannedField, plan_answer, planned_field, replaced
from tracker.workflow.vantage import judge_vantage

WIDE = Path(__file__).parents[2] / "sample_clips" / "wide"


@pytest.fixture(scope="module")
def usual() -> PlannedField:
    return planned_field(usual_session())


@pytest.fixture(scope="module")
def wide() -> PlannedField:
    return planned_field(read_session(WIDE))


@pytest.mark.long
def test_the_whole_answer_is_that_of_the_command(wide: PlannedField, tmp_path: Path) -> None:
    answer = plan_answer(wide, whole=True)
    verdict, _, figures, expected, place, ball, change = summary(
        judge_vantage(WIDE, to=tmp_path / "drawn.png").vantage
    )
    assert answer.sentences == (verdict, figures, change)
    assert answer.details[:3] == (expected, place, ball)
    assert answer.details[3].startswith("Assumed: [planned] exit_speed_mps")
    assert "eye" in answer.caution
    assert answer.whole


@pytest.mark.campaign
def test_a_quick_answer_has_the_figures_of_the_whole(wide: PlannedField) -> None:
    quick, whole = plan_answer(wide, whole=False), plan_answer(wide, whole=True)
    assert quick.sentences[1] == whole.sentences[1]
    assert quick.sentences[0].startswith("Every expected shot stays in view, ")
    assert (quick.details, quick.caution, quick.whole) == ((), "", False)
    assert quick.scene == whole.scene


def test_moving_keeps_the_shots_and_changes_the_rest(wide: PlannedField) -> None:
    away = replaced(wide, (20.0, -45.0, 1.6), wide.markers[:3])
    assert away.shots is wide.shots
    assert away.stand.position_m == pytest.approx((20.0, -45.0, 1.6))
    assert away.stand.site.position_m == pytest.approx((20.0, -45.0, 1.6))
    assert [one.name for one in away.stand.site.markers] == [m.name for m in wide.markers[:3]]
    # What was stated of the markers holds for them elsewhere too.
    assert {one.pixel_u for one in away.stand.site.markers} == {0.8}
    back = replaced(away, wide.position_m, wide.markers)
    assert plan_answer(back, False) == plan_answer(wide, False)
    assert plan_answer(away, False) != plan_answer(wide, False)


def test_a_position_that_will_not_be_taped_stays_unknown_where_it_is_moved(
    wide: PlannedField,
) -> None:
    untaped = replace(
        wide, stand=replace(wide.stand, site=replace(wide.stand.site, position_m=None))
    )
    assert replaced(untaped, (20.0, -45.0, 1.6), wide.markers).stand.site.position_m is None


def test_where_too_little_is_in_view_it_is_said_and_still_drawn(usual: PlannedField) -> None:
    far = [MarkerEntry("far", (300.0, 0.0, 0.0))]
    near = replaced(usual, (15.0, -30.0, 1.5), far)
    for whole in (False, True):
        answer = plan_answer(near, whole)
        assert answer.sentences == ()
        assert answer.faults[0].endswith(".") and "move it farther off" in answer.faults[0]
        assert answer.scene.in_view.startswith("M15.00 30.00L")


def test_out_of_view_is_said_quickly(usual: PlannedField) -> None:
    closer = replaced(usual, (13.4, -15.0, 1.5), usual.markers)
    judged = judge(closer.stand, closer.shots)
    assert judged.margin_px < 0.0
    assert quick_view(judged) == "A part of an expected shot is out of view."
    assert quick_figures(closer.shots, judged).startswith(
        "One shot, ± standard uncertainty: exit speed 20."
    )


def test_the_scene_lies_on_the_ground_left_of_the_line_up(usual: PlannedField) -> None:
    scene = plan_answer(usual, False).scene
    left, top, width, height = scene.box
    flight = np.array([pair.split() for pair in scene.flight[1:].split("L")], float)
    landing = usual.shots.landing_m
    assert flight[0] == pytest.approx((0.0, 0.0), abs=0.006)
    assert flight[-1] == pytest.approx((landing[0], -landing[1]), abs=0.006)
    # The camera stands to the right of the line, which is below it.
    assert top + height == pytest.approx(-usual.position_m[1] + 6.0, abs=0.02)
    assert left == pytest.approx(-usual.plan.clear_m - 6.0, abs=0.05)
    assert left + width > landing[0] + usual.plan.clear_m
    outline = np.array([pair.split() for pair in scene.keep_out[1:].split("L")], float)
    assert np.abs(outline[:, 1]).max() == pytest.approx(usual.plan.clear_m, abs=0.2)


def test_a_usual_plan_is_kept_as_a_session_to_complete(usual: PlannedField, tmp_path: Path) -> None:
    folder = save_plan(tmp_path, " ../A: <b>plan</b> ", None, (13.456, -30.0, 1.5), usual.markers)
    assert folder.parent == tmp_path
    made = read_session(folder, filmed=False)
    assert made.name == "../A: <b>plan</b>"
    assert made.camera.position_m == (13.46, -30.0, 1.5)
    assert [one.name for one in made.markers] == ["0 m", "10 m", "20 m", "30 m"]
    assert made.release.height_m == usual_session().release.height_m
    assert is_planned(made)
    again = save_plan(tmp_path, "../A: <b>plan</b>", None, (0.0, -30.0, 1.5), usual.markers)
    assert again != folder and read_session(folder, filmed=False).camera == made.camera


def test_a_plan_made_of_a_filmed_session_has_its_launcher_and_lens_but_no_film(
    tmp_path: Path,
) -> None:
    source = tmp_path / "filmed"
    (source / "lenses").mkdir(parents=True)
    lens = (
        "size_px = [1920, 1080]\nfocal_px = 1250\ncentre_px = [959.5, 539.5]\n"
        "distortion = [0, 0, 0, 0, 0]\ncovariance = ["
        + ", ".join(str([1e-6 if i == j else 0.0 for j in range(8)]) for i in range(8))
        + "]\n"
    )
    (source / "lenses" / "phone.toml").write_text(lens, "utf-8")
    text = (WIDE / "session.toml").read_text("utf-8")
    text = text.replace("[camera]", '[camera]\nlens = "lenses/phone.toml"')
    text = text.replace("clips/140mm.mp4", "140mm.mp4")
    (source / "session.toml").write_text(text, "utf-8")
    (source / "140mm.mp4").write_bytes((WIDE / "clips" / "140mm.mp4").read_bytes())
    filmed = read_session(source)
    assert not is_planned(filmed)
    places = [replace(one, ground_m=(1.0, 2.0, 0.5)) for one in filmed.markers[:2]]
    folder = save_plan(tmp_path / "home", "next", filmed, (1.0, -20.0, 2.0), places)
    made = read_session(folder, filmed=False)
    assert is_planned(made)
    assert (made.clips, made.date, made.setups) == ((), None, filmed.setups)
    assert made.camera.lens == folder / "lens.toml"
    assert (folder / "lens.toml").read_text("utf-8") == lens
    assert [(one.name, one.ground_m, one.pixel) for one in made.markers] == [
        (one.name, (1.0, 2.0, 0.5), None) for one in filmed.markers[:2]
    ]
    assert made.release == filmed.release
    assert (source / "session.toml").read_text("utf-8") == text


def test_a_plan_without_a_name_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is empty"):
        save_plan(tmp_path, "  ", None, (0.0, -30.0, 1.5), ())
    assert list(tmp_path.iterdir()) == []


def test_only_what_changed_is_written(tmp_path: Path) -> None:
    folder = save_plan(
        tmp_path, "plan", None, (0.0, -30.0, 1.5), [MarkerEntry("a", (0.0, 0.0, 0.0))]
    )
    made = read_session(folder, filmed=False)
    same = field_changes(made, (0.0, -30.0, 1.5), made.markers)
    assert [change.place for change in same] == [("camera", "position_m")]
    text = revised((folder / "session.toml").read_text("utf-8"), field_changes(made, (1, 2, 3), ()))
    assert "[[marker]]\nname" not in text


def test_a_marker_that_is_taken_away_leaves_the_others_as_they_are_stated(tmp_path: Path) -> None:
    taped = [MarkerEntry(name, (at, 0.0, 0.0)) for name, at in (("a", 0.0), ("b", 10.0))]
    folder = save_plan(tmp_path, "plan", None, (0.0, -30.0, 1.5), taped)
    text = (folder / "session.toml").read_text("utf-8").replace('"b"', '"b"\nu_m = 0.3')
    made = parse_session(text, folder, filmed=False)
    left = [made.markers[1], MarkerEntry("c", (20.0, 1.0, 0.0))]
    again = parse_session(
        revised(text, field_changes(made, (0.0, -30.0, 1.5), left)), folder, filmed=False
    )
    assert [(one.name, one.ground_m[0], one.u_m) for one in again.markers] == [
        ("b", 10.0, 0.3),
        ("c", 20.0, MarkerEntry.u_m),
    ]
