"""What is predicted for a place to film from, and the laws that it must obey."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import InputError
from tests.tracker.drawn_balls import moving_balls
from tests.tracker.vantage_case import Case
from tracker.detection import fit_positions, position_bound
from tracker.flight.figures import FIGURES
from tracker.vantage import ExpectedShots, Finding, Forecast, Grade, Stand, assess, stand_of
from tracker.vantage.changes import _knowledge, _more_markers, changes
from tracker.vantage.forecast import forecast
from tracker.vantage.judging import LEAN_SHARE, Judgement, judge
from tracker.vantage.search import Limits, best_stand, distance_to, line_of_fire
from tracker.vantage.verdict import verdict_of
from tracker.vantage.view import placed

USUAL = Case()
PICKED = ((0.0, 0.0, 0.0), (10.0, 0.0, 0.0), (20.0, 0.0, 0.0), (30.0, 0.0, 0.0))


@cache
def usual() -> tuple[Stand, ExpectedShots]:
    return USUAL.stand()


@cache
def judged() -> Judgement:
    return judge(*usual())


@cache
def whole() -> Forecast:
    return forecast(*usual(), judged())


def u_of(case: Case) -> dict[str, float]:
    return dict(judge(*case.stand()).u)


def test_what_is_said_of_the_picture_is_what_the_camera_sees() -> None:
    found, (stand, shots) = whole(), usual()
    camera = found.camera
    release, apex, landing = found.moments
    places = shots.flight.states(np.array([0.0, shots.flight.landing_s]))
    seen = camera.project(places[:, :3])
    assert release.pixel == pytest.approx(seen[0])
    assert landing.pixel == pytest.approx(seen[1])
    depth = camera.in_camera(places[:1, :3])[0, 2]
    ball = stand.conditions.ball.diameter_m
    assert release.diameter_px == pytest.approx(camera.focal_px * ball / depth)
    later = shots.flight.states(np.array([1e-4]))[:, :3]
    moved = np.linalg.norm(camera.project(later) - seen[:1]) / 1e-4
    assert release.step_px == pytest.approx(moved / 60.0, rel=1e-3)
    assert release.streak_px == pytest.approx(moved * stand.shutter_s, rel=1e-3)
    assert apex.pixel[1] < min(release.pixel[1], landing.pixel[1])
    assert found.values["apex_m"] == pytest.approx(
        camera.on_plane(apex.pixel[None, :], (0, 0, 0), (0, 1, 0))[0, 2], abs=0.02
    )


def test_a_ball_is_placed_as_one_that_is_blurred_along_its_way_while_the_shutter_is_open() -> None:
    stand, _ = usual()
    slow, view = replace(stand, shutter_s=1.0 / 60.0), judged().view
    wide, step = view.diameters_px[view.inside], view.motion_px[view.inside] / 60.0
    bound = position_bound(wide, step, stand.contrast, stand.noise)
    assert placed(slow, view).covariances == pytest.approx(bound.covariances)
    sharp = placed(replace(stand, shutter_s=1e-6), view)
    assert np.all(np.linalg.det(sharp.covariances) < np.linalg.det(bound.covariances))


def test_margins_are_equal_where_the_camera_aims_by_itself() -> None:
    (_, shots), found = usual(), whole()
    pixels = found.camera.project(shots.points_m)
    width, height = found.camera.size_px
    left, top = pixels.min(axis=0)
    right, bottom = np.array([width, height]) - 1 - pixels.max(axis=0)
    assert left == pytest.approx(right, abs=2.0)
    assert top == pytest.approx(bottom, abs=2.0)
    assert found.margin_px == pytest.approx(left + 0.5, abs=2.0)


def test_the_longest_shutter_is_the_time_that_the_ball_takes_for_its_own_width() -> None:
    # Seen square to its path the scale cancels: diameter over speed.
    found, (stand, shots) = whole(), usual()
    expected = stand.conditions.ball.diameter_m / shots.speed_mps.value
    assert found.longest_shutter_s == pytest.approx(expected, rel=0.05)
    assert stand.shutter_s < expected


def test_the_fastest_shot_in_view_just_fits() -> None:
    found = whole()
    assert found.fastest_mps is not None
    for speed, fits in ((found.fastest_mps - 0.3, True), (found.fastest_mps + 0.6, False)):
        other, shots = replace(USUAL, speed=speed).stand()
        stand = replace(other, target_m=found.camera.position + found.camera.rotation[2])
        assert bool(np.all(judge(stand, shots).view.inside)) == fits


@settings(max_examples=settings.default.max_examples // 4)
@given(
    along=st.floats(5.0, 30.0),
    across=st.floats(26.0, 45.0),
    up=st.floats(0.8, 4.0),
    wind=st.floats(-3.0, 3.0),
)
def test_left_and_right_of_the_line_give_the_same(along, across, up, wind) -> None:
    found = [
        u_of(replace(USUAL, position=(along, side * across, up), wind=(0.5, side * wind)))
        for side in (-1.0, 1.0)
    ]
    for name in FIGURES:
        assert found[0][name] == pytest.approx(found[1][name], rel=1e-5), name


@settings(max_examples=settings.default.max_examples // 4)
@given(fps=st.floats(15.0, 120.0), speed=st.floats(14.0, 24.0), across=st.floats(26.0, 45.0))
def test_more_frames_never_hurt(fps, speed, across) -> None:
    # Three times the frames hold the ones that there were: their middles fall together.
    place = (17.0, -across, 1.6)
    one = replace(USUAL, position=place, speed=speed, fps=fps, shutter_s=1e-3)
    few, many = u_of(one), u_of(replace(one, fps=3.0 * fps))
    for name in FIGURES:
        assert many[name] <= few[name] * (1.0 + 1e-6), name


def test_knowing_more_never_hurts() -> None:
    made, shots = replace(USUAL, position_u=0.3, pick_u=1.5, markers=PICKED).stand()
    before = judge(made, shots)
    tried = [*_knowledge(made, before.camera), *_more_markers(made, before.camera)]
    assert len(tried) > 8
    for text, stand in tried:
        after = judge(stand, shots).u
        for name in FIGURES:
            assert after[name] <= before.u[name] * (1.0 + 1e-3), (text, name)


def test_less_noise_and_more_contrast_help_and_the_floor_stays() -> None:
    quiet, strong = u_of(replace(USUAL, noise=2.0)), u_of(replace(USUAL, contrast=100.0))
    for name in FIGURES:
        assert quiet[name] < judged().u[name]
        # Only their ratio counts, but for the light on the ball: it moves a clear picture less.
        assert 0.7 * quiet[name] < strong[name] < 1.02 * quiet[name]


def test_uneven_light_counts_as_it_does_for_balls_that_are_measured() -> None:
    """A disc in luma alone leans more than a ball whose colour counts too, by three at most."""
    balls = {"diameter": 3.0, "contrast": 45.0, "noise": 1.0, "motion": (9.0, -4.0)}
    cutouts, expected, _ = moving_balls(np.random.default_rng(3), 20, exposure=0.05, **balls)
    lean = float(np.median(fit_positions(cutouts, expected, 0.05)[0].lean)) * 45.0 / 3.0
    assert LEAN_SHARE < lean < 3.0 * LEAN_SHARE
    # So before one background light is a small part of the time of flight.
    parts = whole().budget.parts["flight_time_s"]
    assert 0.0 < parts["light"] < 0.5 * np.sqrt(sum(part**2 for part in parts.values()))


def test_changes_are_ranked_by_what_counts() -> None:
    for quantity in ("carry_m", "exit_speed_mps"):
        found = changes(*usual(), judged(), quantity)
        ranks = [one.u[quantity] for one in found]
        assert ranks == sorted(ranks)
        texts = " ".join(one.text for one in found)
        for word in ("nearer", "farther off", "uprange", "higher", "120 frames", "3840 x 2160",
                     "lens", "position to 0.03", "wind", "pole", "marker 5 m"):  # fmt: skip
            assert word in texts


def test_a_change_that_loses_a_shot_is_marked() -> None:
    stand, shots = replace(USUAL, view_deg=55.0).stand()
    before = judge(stand, shots)
    assert 0.0 < before.margin_px < 100.0
    nearer = next(
        one for one in changes(stand, shots, before, "carry_m") if one.text.endswith("nearer")
    )
    assert nearer.loses_view


LIMITS = Limits((5.0, 30.0), (-40.0, 0.0), (1.0, 2.5), 12.0)


@cache
def found_place():
    stand, shots = usual()
    return shots, best_stand(stand, shots, LIMITS, "exit_speed_mps")


@pytest.mark.long
def test_the_best_place_keeps_its_limits_and_the_view() -> None:
    shots, best = found_place()
    for value, (low, high) in zip(
        best.position_m, (LIMITS.along_m, LIMITS.across_m, LIMITS.up_m), strict=True
    ):
        assert low <= value <= high
    assert distance_to(line_of_fire(best, shots), best.position_m) >= LIMITS.clear_m
    assert judge(best, shots).margin_px > 0.01 * 1920


def test_the_edges_that_a_best_place_lies_at_are_named() -> None:
    inside, edge = np.array([12.0, -30.0, 2.0]), np.array([12.0, -40.0, 2.5])
    assert LIMITS.reached(inside) == ()
    assert LIMITS.reached(edge) == ("across -40 m", "up 2.5 m")
    fixed = replace(LIMITS, up_m=(2.0, 2.0))
    assert fixed.reached(inside) == ()


@pytest.mark.long
def test_no_place_tried_at_random_is_better() -> None:
    shots, best = found_place()
    reached = judge(best, shots).u["exit_speed_mps"]
    rng = np.random.default_rng(8)
    tried = 0
    for _ in range(20):
        place = np.array([rng.uniform(*LIMITS.along_m), rng.uniform(*LIMITS.across_m), 1.8])
        place[2] = rng.uniform(*LIMITS.up_m)
        other = replace(best, position_m=place)
        if distance_to(line_of_fire(other, shots), place) < LIMITS.clear_m:
            continue
        try:
            tried_place = judge(other, shots)
        except InputError:
            continue
        if tried_place.margin_px > 0.02 * 1920:
            tried += 1
            assert tried_place.u["exit_speed_mps"] > 0.99 * reached
    assert tried > 2


@pytest.mark.long
def test_a_search_gives_the_same_place_again() -> None:
    shots, best = found_place()
    again = best_stand(usual()[0], shots, LIMITS, "exit_speed_mps")
    assert np.array_equal(again.position_m, best.position_m)


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Limits((0.0, 30.0), (-8.0, 8.0), (1.0, 2.0), 10.0), "clear of the line of fire"),
        pytest.param(
            Limits((10.0, 20.0), (-14.0, -11.0), (1.0, 2.0), 10.0),
            "keeps every expected shot",
            marks=pytest.mark.long,
        ),
    ],
)
def test_a_box_without_a_place_is_an_error(limits, words) -> None:
    with pytest.raises(InputError) as error:
        best_stand(*usual(), limits, "carry_m")
    assert words in str(error.value)


def test_a_sensor_on_its_side_reads_the_columns() -> None:
    upright = replace(
        USUAL, position=(14.0, -60.0, 1.6), readout_s=0.02, size=(1080, 1920), view_deg=42.0
    )
    view = judge(*upright.stand()).view
    share = view.pixels[view.inside, 0] / 1079.0 - 0.5
    assert np.sum(view.inside) > 50
    assert view.row_share[view.inside] == pytest.approx(share, abs=1e-3)


def test_a_flight_that_does_not_fit_keeps_its_release_in_view() -> None:
    found = close_up()
    release, _, landing = found.moments
    assert release.margin_px > 30.0
    assert landing.margin_px < 0.0
    assert found.fastest_mps is None
    assert 20 < found.frames_seen < found.frames_flown


@cache
def close_up() -> Forecast:
    places = tuple((along, 0.0, 0.0) for along in (0.0, 2.0, 4.0, 6.0))
    close = replace(USUAL, position=(3.0, -6.0, 1.3), fps=240.0, markers=places)
    stand, shots = close.stand()
    return forecast(stand, shots, judge(stand, shots))


def test_what_is_not_stated_is_assumed_and_said() -> None:
    plan = replace(USUAL.plan(), position_m=None)
    stand, shots, assumed = stand_of(plan)
    assert [one.table for one in assumed] == ["[[marker]]", "[planned]", "[camera]"]
    assert stand.position_m == pytest.approx([shots.landing_m[0] / 2.0, -30.0, 1.5])
    along = [marker.ground_m[0] for marker in stand.site.markers]
    assert along == list(np.arange(0.0, along[-1] + 1.0, 10.0))
    assert abs(along[-1] - shots.landing_m[0]) <= 5.0
    longest = stand.conditions.ball.diameter_m / shots.speed_mps.value
    assert 0.5 * longest < stand.shutter_s <= longest
    stated = replace(plan, position_m=(17.0, -32.0, 1.6), shutter_s=1e-3, site=stand.site)
    assert stand_of(stated)[2] == ()


def test_an_untaped_position_is_worth_less() -> None:
    plan = USUAL.plan()
    taped, shots, _ = stand_of(plan)
    free, _, _ = stand_of(replace(plan, position_taped=False))
    assert free.site.position_m is None
    poles = tuple(
        replace(one, name=f"pole at {one.name}", ground_m=one.ground_m + np.array([0.0, 5.0, 2.0]))
        for one in taped.site.markers
    )
    both = [
        judge(replace(one, site=replace(one.site, markers=(*one.site.markers, *poles))), shots)
        for one in (taped, free)
    ]
    assert both[0].u["carry_m"] < both[1].u["carry_m"]


def test_a_good_place_has_no_finding_and_a_near_one_is_unsuitable() -> None:
    good = verdict_of(whole(), "carry_m", 32.0, 10.0)
    assert (good.grade, good.findings) == (Grade.GOOD, ())
    near = verdict_of(whole(), "carry_m", 9.9, 10.0)
    assert (near.grade, near.findings) == (Grade.UNSUITABLE, (Finding.TOO_NEAR,))


@pytest.mark.parametrize(
    ("change", "finding"),
    [
        ({"margin_px": -1.0}, Finding.SOME_OUT_OF_VIEW),
        ({"margin_px": 38.0}, Finding.TIGHT),
        ({"shutter_s": 1 / 60}, Finding.SMEARED),
        ({"frames_seen": 29}, Finding.FEW_FRAMES),
        ({"fastest_mps": None}, Finding.OUT_OF_VIEW),
    ],
)
def test_each_finding_has_its_limit(change, finding) -> None:
    verdict = verdict_of(replace(whole(), **change), "exit_speed_mps", 32.0, 10.0)
    assert (verdict.grade, verdict.findings) == (Grade.USABLE, (finding,))


@pytest.mark.parametrize(
    ("change", "finding"), [({"snr": 7.9}, Finding.FAINT), ({"diameter_px": 1.4}, Finding.SMALL)]
)
def test_the_worst_moment_in_view_counts(change, finding) -> None:
    first, *others = whole().moments
    shown = replace(whole(), moments=(*others, replace(first, **change)))
    assert verdict_of(shown, "carry_m", 32.0, 10.0).findings == (finding,)
    hidden = replace(shown, moments=(*others, replace(first, margin_px=-5.0, **change)))
    assert verdict_of(hidden, "carry_m", 32.0, 10.0).findings == ()


@pytest.mark.parametrize(
    ("snr", "clearest", "grade"),
    [(3.2, 3.2, Grade.UNSUITABLE), (3.2, 3.4, Grade.USABLE), (7.9, 7.9, Grade.USABLE)],
)
def test_a_place_from_which_the_ball_is_nowhere_seen_is_unsuitable(snr, clearest, grade) -> None:
    *others, last = whole().moments
    faint = (*(replace(one, snr=snr) for one in others), replace(last, snr=clearest))
    verdict = verdict_of(replace(whole(), moments=faint), "exit_speed_mps", 32.0, 10.0)
    assert (verdict.grade, verdict.findings) == (grade, (Finding.FAINT,))


def test_a_close_up_measures_speed_and_not_carry() -> None:
    grades = {
        quantity: verdict_of(close_up(), quantity, 32.0, 5.0).grade
        for quantity in ("carry_m", "exit_speed_mps")
    }
    assert grades == {"carry_m": Grade.UNSUITABLE, "exit_speed_mps": Grade.USABLE}


@pytest.mark.long
def test_an_assessment_keeps_the_searched_box_and_the_edges() -> None:
    box = ((10.0, 14.0), (-34.0, -30.0), (1.5, 1.5))
    found = assess(USUAL.plan(), "carry_m", box)
    assert found.field.box == box
    for value, (low, high) in zip(found.stand.position_m, box, strict=True):
        assert low <= value <= high
    assert len(found.at_edge) > 0
    away = distance_to(found.field.line_m, found.stand.position_m)
    assert found.distance_m == pytest.approx(away)
    assert found.field.frames_m[0, 0] < found.field.frames_m[-1, 0]


def test_a_figure_that_is_none_is_an_error() -> None:
    with pytest.raises(InputError, match="no figure to judge a place by"):
        assess(USUAL.plan(), "colour")
