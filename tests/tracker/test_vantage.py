"""What is foretold of a place to film from, and the laws that it must obey."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import InputError
from tracker.flight.figures import FIGURES
from tracker.vantage.asked import Asked, read
from tracker.vantage.changes import _knowledge, _more_markers, changes
from tracker.vantage.forecast import forecast, judge
from tracker.vantage.planned import Planned, planned
from tracker.vantage.search import Limits, best_stand, firing_line, off_line

STAND = Asked(position="17,-32,1.6", view_deg=70.0, speed_mps=21.0, angle_deg=38.0, level_u_deg=1.0)


@cache
def plan(asked: Asked = STAND) -> Planned:
    return planned(asked, read(asked))


@cache
def whole():
    made = plan()
    return forecast(made.stand, made.shots)


def u_of(asked: Asked) -> dict[str, float]:
    made = plan(asked)
    return judge(made.stand, made.shots).u


def test_what_is_said_of_the_picture_is_what_the_camera_sees() -> None:
    found, made = whole(), plan()
    camera = found.camera
    release, apex, landing = found.moments
    places = made.shots.flight.states(np.array([0.0, made.shots.flight.landing_s]))
    seen = camera.project(places[:, :3])
    assert release.pixel == pytest.approx(seen[0])
    assert landing.pixel == pytest.approx(seen[1])
    depth = camera.in_camera(places[:1, :3])[0, 2]
    ball = made.stand.request.ball.diameter_m
    assert release.diameter_px == pytest.approx(camera.focal_px * ball / depth)
    later = made.shots.flight.states(np.array([1e-4]))[:, :3]
    moved = np.linalg.norm(camera.project(later) - seen[:1]) / 1e-4
    assert release.step_px == pytest.approx(moved / 60.0, rel=1e-3)
    assert release.streak_px == pytest.approx(moved * made.stand.shutter_s, rel=1e-3)
    assert apex.pixel[1] < min(release.pixel[1], landing.pixel[1])
    assert found.values["apex_m"] == pytest.approx(
        camera.on_plane(apex.pixel[None, :], (0, 0, 0), (0, 1, 0))[0, 2], abs=0.02
    )


def test_margins_are_equal_where_the_camera_aims_by_itself() -> None:
    made, found = plan(), whole()
    pixels = found.camera.project(made.shots.points_m)
    width, height = found.camera.size_px
    left, top = pixels.min(axis=0)
    right, bottom = np.array([width, height]) - 1 - pixels.max(axis=0)
    assert left == pytest.approx(right, abs=2.0)
    assert top == pytest.approx(bottom, abs=2.0)
    assert found.margin_px == pytest.approx(left + 0.5, abs=2.0)


def test_the_longest_shutter_is_the_time_that_the_ball_takes_for_its_own_width() -> None:
    # Seen square to its way the picture has no say: diameter over speed.
    found, made = whole(), plan()
    expected = made.stand.request.ball.diameter_m / made.shots.speed_mps.value
    assert found.longest_shutter_s == pytest.approx(expected, rel=0.05)
    assert made.stand.shutter_s < expected


def test_the_fastest_shot_in_view_just_fits() -> None:
    found = whole()
    assert found.fastest_mps is not None
    for speed, fits in ((found.fastest_mps - 0.3, True), (found.fastest_mps + 0.6, False)):
        other = plan(replace(STAND, speed_mps=speed))
        stand = replace(other.stand, target_m=found.camera.position + found.camera.rotation[2])
        seen = judge(stand, other.shots).seen
        assert bool(np.all(seen.margins_px > 0.0)) == fits


@settings(max_examples=6, deadline=None)
@given(
    along=st.floats(5.0, 30.0),
    across=st.floats(26.0, 45.0),
    up=st.floats(0.8, 4.0),
    wind=st.floats(-3.0, 3.0),
)
def test_left_and_right_of_the_line_tell_the_same(along, across, up, wind) -> None:
    found = [
        u_of(replace(STAND, position=f"{along},{side * across},{up}", wind=f"0.5,{side * wind}"))
        for side in (-1.0, 1.0)
    ]
    for name in FIGURES:
        assert found[0][name] == pytest.approx(found[1][name], rel=1e-5), name


@settings(max_examples=6, deadline=None)
@given(fps=st.floats(15.0, 120.0), speed=st.floats(14.0, 24.0), across=st.floats(26.0, 45.0))
def test_more_frames_never_hurt(fps, speed, across) -> None:
    # Three times the frames hold the ones that there were: their middles fall together.
    one = replace(STAND, position=f"17,{-across},1.6", speed_mps=speed, fps=fps, shutter="1/1000")
    few, many = u_of(one), u_of(replace(one, fps=3.0 * fps))
    for name in FIGURES:
        assert many[name] <= few[name] * (1.0 + 1e-6), name


def test_knowing_more_never_hurts() -> None:
    made = plan(replace(STAND, position_u_m=0.3, pick_u_px=1.5))
    before = judge(made.stand, made.shots)
    tried = [
        *_knowledge(made.stand, before.camera),
        *_more_markers(made.stand, before.camera),
    ]
    assert len(tried) > 8
    for text, stand in tried:
        after = judge(stand, made.shots).u
        for name in FIGURES:
            assert after[name] <= before.u[name] * (1.0 + 1e-3), (text, name)


def test_less_noise_and_more_contrast_help_and_the_floor_stays() -> None:
    usual = u_of(STAND)
    quiet, strong = u_of(replace(STAND, noise=2.0)), u_of(replace(STAND, contrast=100.0))
    for name in FIGURES:
        assert quiet[name] < usual[name]
        # Only their ratio counts, but for the light on the ball: it moves a clear picture less.
        assert 0.7 * quiet[name] < strong[name] < 1.02 * quiet[name]


def test_changes_are_ranked_by_what_counts() -> None:
    made = plan()
    before = judge(made.stand, made.shots)
    for quantity in ("carry_m", "exit_speed_mps"):
        found = changes(made.stand, made.shots, before, quantity)
        ranks = [one.u[quantity] for one in found]
        assert ranks == sorted(ranks)
        texts = " ".join(one.text for one in found)
        for word in ("nearer", "farther off", "uprange", "higher", "120 frames", "3840 x 2160",
                     "lens", "position to 0.03", "wind", "pole", "marker 5 m"):  # fmt: skip
            assert word in texts


def test_a_change_that_loses_a_shot_is_marked() -> None:
    made = plan(replace(STAND, view_deg=55.0))
    before = judge(made.stand, made.shots)
    assert 0.0 < before.margin_px < 100.0
    nearer = next(
        one
        for one in changes(made.stand, made.shots, before, "carry_m")
        if one.text.endswith("nearer")
    )
    assert nearer.loses_view


LIMITS = Limits((5.0, 30.0), (-40.0, 0.0), (1.0, 2.5), 12.0)


@cache
def found_place():
    made = plan(replace(STAND, position="", search="5:30,-40:0,1:2.5"))
    return made, best_stand(made.stand, made.shots, LIMITS, "exit_speed_mps")


def test_the_best_place_keeps_its_limits_and_the_view() -> None:
    made, best = found_place()
    for value, (low, high) in zip(
        best.position_m, (LIMITS.along_m, LIMITS.across_m, LIMITS.up_m), strict=True
    ):
        assert low <= value <= high
    assert off_line(best.position_m, firing_line(best, made.shots)) >= LIMITS.clear_m
    assert judge(best, made.shots).margin_px > 0.01 * 1920


def test_a_place_at_the_edge_of_the_box_is_told() -> None:
    inside, edge = np.array([12.0, -30.0, 2.0]), np.array([12.0, -40.0, 2.5])
    assert LIMITS.reached(inside) == []
    assert "across -40 m and up 2.5 m" in LIMITS.reached(edge)[0]
    fixed = replace(LIMITS, up_m=(2.0, 2.0))
    assert fixed.reached(inside) == []


def test_no_place_tried_at_random_is_better() -> None:
    made, best = found_place()
    reached = judge(best, made.shots).u["exit_speed_mps"]
    rng = np.random.default_rng(8)
    tried = 0
    for _ in range(40):
        place = np.array([rng.uniform(*LIMITS.along_m), rng.uniform(*LIMITS.across_m), 1.8])
        place[2] = rng.uniform(*LIMITS.up_m)
        other = replace(best, position_m=place)
        if off_line(place, firing_line(other, made.shots)) < LIMITS.clear_m:
            continue
        try:
            judged = judge(other, made.shots)
        except InputError:
            continue
        if judged.margin_px > 0.02 * 1920:
            tried += 1
            assert judged.u["exit_speed_mps"] > 0.99 * reached
    assert tried > 5


def test_a_search_gives_the_same_place_again() -> None:
    made, best = found_place()
    again = best_stand(made.stand, made.shots, LIMITS, "exit_speed_mps")
    assert np.array_equal(again.position_m, best.position_m)


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Limits((0.0, 30.0), (-8.0, 8.0), (1.0, 2.0), 10.0), "clear of the firing line"),
        (Limits((10.0, 20.0), (-14.0, -11.0), (1.0, 2.0), 10.0), "keeps every expected shot"),
    ],
)
def test_a_box_without_a_place_is_told(limits, words) -> None:
    made = plan()
    with pytest.raises(InputError) as told:
        best_stand(made.stand, made.shots, limits, "carry_m")
    assert words in str(told.value)


def test_a_sensor_on_its_side_reads_the_columns() -> None:
    upright = replace(STAND, position="14,-60,1.6", readout_s=0.02, size="1080x1920", view_deg=42.0)
    made = plan(upright)
    seen = judge(made.stand, made.shots).seen
    inside = seen.margins_px > 0.0
    assert seen.row_share[inside] == pytest.approx(seen.pixels[inside, 0] / 1079.0 - 0.5, abs=1e-3)


def test_a_flight_that_does_not_fit_keeps_its_release_in_view() -> None:
    close = replace(STAND, position="3,-6,1.3", fps=240.0, markers=("0,0", "2,0", "4,0", "6,0"))
    made = plan(close)
    found = forecast(made.stand, made.shots)
    release, _, landing = found.moments
    assert release.margin_px > 30.0
    assert landing.margin_px < 0.0
    assert found.fastest_mps is None
    assert 20 < found.frames_seen < found.frames_flown
