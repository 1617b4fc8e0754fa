"""Whole sessions: seeds, files, and a truth that agrees with what the person wrote."""

import tomllib
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from tests.truths import camera_from_truth, read_truth
from tracker.records import Shot
from tracker.session import read_session
from tracker.synthetic import draw
from tracker.synthetic.clip import FilmRoll
from tracker.synthetic.draw import draw_session, field_of_view_deg
from tracker.synthetic.recipes import CLEAR, CLOSE, HARD, QUIET, RECIPES, WIDE, without_shots
from tracker.synthetic.session import make_session, session_toml
from tracker.synthetic.truth import TRUE_COLUMNS, shot_truth
from tracker.video import frames, inspect

SMALL = replace(
    WIDE,
    filming=replace(WIDE.filming, size_px=(384, 216), fps=30.0, megabits=2.0),
    shooting=replace(WIDE.shooting, shots=(1, 1), tail_s=0.1),
)
SEEDS = range(4)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fen-lane")
    return folder, make_session(folder, SMALL, 8)


def shown(folder, truth):
    """Luma of every frame as it is shown."""
    path = folder / truth["clips"][0]["file"]
    return np.stack([np.array(frame.luma) for frame in frames(inspect(path))])


@pytest.mark.long
def test_the_same_seed_makes_the_same_session(made, tmp_path):
    folder, truth = made
    again = make_session(tmp_path, SMALL, 8)
    assert again == truth
    for name in ("session.toml", "truth.json", truth["clips"][0]["file"]):
        assert (folder / name).read_bytes() == (tmp_path / name).read_bytes()


def test_another_seed_makes_another():
    first, other = draw_session(SMALL, 8), draw_session(SMALL, 9)
    assert session_toml(first) != session_toml(other)
    assert not np.array_equal(
        first.clips[0].take.camera.position, other.clips[0].take.camera.position
    )


def test_the_session_can_be_read_and_the_truth_lies_within_its_uncertainties(made):
    folder, truth = made
    session = read_session(folder)
    camera = camera_from_truth(truth["clips"][0]["camera"])
    shot = truth["clips"][0]["shots"][0]
    for marker in session.markers:
        # Tape and pick together; five sigma, for some tens of values.
        limit = 5.0 * np.hypot(marker.pixel_u, 8.0 * marker.u_m)
        assert np.abs(camera.project(marker.ground_m)[0] - marker.pixel).max() < limit
    assert np.abs(np.subtract(session.camera.position_m, camera.position)).max() < 0.5
    gap = session.camera.field_of_view_deg - field_of_view_deg(camera)
    assert abs(gap) < 5.0 * session.camera.field_of_view_u_deg
    stated = np.array([session.release.along_m, session.release.across_m, session.release.height_m])
    assert np.abs(stated - shot["release_m"]).max() < 5.0 * session.release.u_m
    wind = [session.air.wind_along_mps, session.air.wind_across_mps]
    assert np.abs(np.subtract(wind, shot["wind_mps"][:2])).max() < 5.0 * session.air.wind_u_mps


def test_the_truth_has_every_measured_column_and_reads_back(made):
    folder, truth = made
    columns = {field.name for field in fields(Shot)}
    assert set(TRUE_COLUMNS) <= columns
    uncertain = {name.replace("_u_", "_") for name in columns if "_u_" in name}
    assert uncertain <= set(TRUE_COLUMNS)
    assert set(TRUE_COLUMNS) <= set(truth["clips"][0]["shots"][0])
    assert read_truth(folder / "truth.json") == truth
    track = truth["clips"][0]["shots"][0]["track"]
    assert len({len(column) for column in track.values()}) == 1
    assert len(track["frame"]) > 40


def test_the_clip_shows_the_ball_where_the_truth_says(tmp_path):
    filming = replace(CLOSE.filming, size_px=(320, 180), fps=120.0, megabits=6.0)
    truth = make_session(tmp_path, replace(CLOSE, filming=filming), 3)
    luma = shown(tmp_path, truth).astype(float)
    clip = truth["clips"][0]
    assert len(luma) == clip["frames"]
    track = clip["shots"][0]["track"]
    level = np.median(luma, axis=0)
    gaps = []
    for index in np.flatnonzero(track["visible"])[1:-1]:
        middle = np.array([track["column_px"][index], track["row_px"][index]])
        column, row = np.round(middle).astype(int)
        part = np.s_[max(row - 6, 0) : row + 7, max(column - 6, 0) : column + 7]
        moved = np.abs(luma[track["frame"][index]] - level)[part]
        rows, columns = np.mgrid[part]
        weight = np.maximum(moved - 8.0, 0.0)
        gaps.append([np.sum(weight * columns), np.sum(weight * rows)] / weight.sum() - middle)
    assert len(gaps) > 15
    # The encoder and light from above move single frames by some tenths of a pixel.
    assert np.abs(np.median(gaps, axis=0)).max() < 0.3
    assert np.median(np.abs(gaps)) < 0.4


def test_bounds_are_smaller_where_the_ball_is_stronger(made):
    track = made[1]["clips"][0]["shots"][0]["track"]
    strength = np.array(track["strength"], float)
    bound = np.array([value if value else np.nan for value in track["bound_across_px"]], float)
    good = np.isfinite(bound)
    assert good.sum() > 30
    assert np.corrcoef(np.log(strength[good]), np.log(bound[good]))[0, 1] < -0.8


@pytest.mark.long
def test_a_better_file_loses_less_and_a_lossless_one_nothing(tmp_path):
    filming = replace(CLOSE.filming, size_px=(320, 180), fps=120.0)
    losses = []
    for megabits in (0.4, 200.0):
        recipe = replace(CLOSE, filming=replace(filming, megabits=megabits))
        truth = make_session(tmp_path, recipe, 3)
        losses.append(truth["clips"][0]["shots"][0]["coding_loss"])
    assert losses[0] > 1.5 * losses[1]
    # Some forty shifts: their robust spread is known to a sixth or so.
    assert losses[1] == pytest.approx(1.0, abs=0.35)


STILL = replace(without_shots(SMALL, 0.2), filming=replace(SMALL.filming, readout_s=(0.0, 0.0)))


@pytest.fixture(scope="module")
def still(tmp_path_factory):
    folder = tmp_path_factory.mktemp("still")
    return shown(folder, make_session(folder, STILL, 4)).astype(float)


@pytest.mark.parametrize(
    "rotation_deg", [90, *(pytest.param(each, marks=pytest.mark.campaign) for each in (180, 270))]
)
def test_a_rotation_flag_changes_the_file_and_not_what_is_shown(still, tmp_path, rotation_deg):
    turned = replace(STILL, filming=replace(STILL.filming, rotations_deg=(rotation_deg,)))
    picture = shown(tmp_path, make_session(tmp_path, turned, 4)).astype(float)
    assert still.shape == picture.shape
    assert np.abs(still - picture).mean() < 4.0
    assert np.abs(still - picture[:, ::-1]).mean() > 20.0


@pytest.mark.parametrize(
    "seeds",
    [
        range(1),
        pytest.param(range(1, 6), marks=pytest.mark.long),
    ],
)
@pytest.mark.parametrize("name", sorted(RECIPES))
def test_every_recipe_draws_sessions_that_hold_what_they_promise(name, seeds):
    recipe = RECIPES[name]
    for seed in seeds:
        drawn = draw_session(recipe, seed)
        assert len(drawn.markers) >= 2
        values = tomllib.loads(session_toml(drawn))
        assert len(values["clip"]) == len(recipe.setups)
        for clip in drawn.clips:
            least, most = recipe.shooting.shots
            assert least <= len(clip.take.shots) <= most
            for shot in clip.take.shots:
                check_in_sight(recipe, clip.take, shot)


def check_in_sight(recipe, take, shot):
    """Landing in the frame; apex in it or above it, as promised; close views lose the ball."""
    width, height = take.camera.size_px
    landing, apex = take.camera.project([shot.landing[:3], shot.apex[:3]])
    inside = bool(np.all(landing > 0.0) and np.all(landing < (width, height)))
    assert inside != recipe.close
    if not recipe.close:
        assert (apex[1] > 0.0) == recipe.stand.keep_apex
        assert shot.landing_s < take.frame_count / take.sensor.fps
        assert 12.0 < shot.carry_m < 55.0


@pytest.mark.long
def test_recipes_are_distinct_and_overlapping_shots_overlap():
    sums = {round(float(draw_session(r, 1).weather.pressure_hpa), 3) for r in (*CLEAR, *HARD)}
    assert len(sums) > len(CLEAR) + len(HARD) - 4
    shots = draw_session(RECIPES["overlap"], 2).clips[0].take.shots
    assert shots[1].launch.release_s < shots[0].landing_s


def test_a_close_clip_plays_slowly_and_its_release_is_in_playing_time():
    drawn = draw_session(CLOSE, 2)
    take, encoding = drawn.clips[0].take, drawn.clips[0].encoding
    assert (take.sensor.fps, encoding.playing_fps) == (240.0, 30.0)
    truth = shot_truth(take.shots[0], take.sensor.fps / encoding.playing_fps)
    assert truth["release_s"] == pytest.approx(8.0 * take.shots[0].launch.release_s)
    assert "capture_fps" not in session_toml(drawn)
    untagged = replace(CLOSE, filming=replace(CLOSE.filming, tag_rate=False))
    assert "capture_fps = 240.0" in session_toml(draw_session(untagged, 2))


SAMPLES = Path(__file__).parents[2] / "sample_clips"


@pytest.mark.parametrize(
    ("recipe", "seed"), [(WIDE, 1), (CLOSE, 15), (replace(QUIET, quiet_s=4.0), 2)]
)
def test_the_kept_samples_are_what_their_seeds_draw(recipe, seed):
    folder = SAMPLES / recipe.name
    drawn = draw_session(recipe, seed)
    assert (folder / "session.toml").read_text(encoding="utf-8") == session_toml(drawn)
    truth = read_truth(folder / "truth.json")
    assert (truth["recipe"], truth["seed"]) == (recipe.name, seed)
    for clip, true in zip(drawn.clips, truth["clips"], strict=True):
        assert true["frames"] == clip.take.frame_count
        assert true["shots"] == [] or true["shots"][0]["landing_seen"] != recipe.close
        pace = true["capture_fps"] / true["playing_fps"]
        for shot, kept in zip(clip.take.shots, true["shots"], strict=True):
            fresh = shot_truth(shot, pace)
            assert {name: kept[name] for name in fresh} == pytest.approx(fresh, rel=1e-9)


@pytest.mark.long
def test_the_kept_close_sample_shows_the_field_that_its_seed_draws():
    truth = read_truth(SAMPLES / "close" / "truth.json")
    kept = next(frames(inspect(SAMPLES / "close" / truth["clips"][0]["file"])))
    roll = FilmRoll(draw_session(CLOSE, 15).clips[0].take)
    assert np.abs(kept.luma - roll.base.luma).mean() < 3.0


def test_a_quiet_session_has_movers_and_no_shot():
    drawn = draw_session(QUIET, 1)
    assert all(not clip.take.shots for clip in drawn.clips)
    assert len(drawn.clips[0].take.movers) >= 5


def test_air_density_agrees_with_cipm_2007():
    # CIPM-2007 (Picard et al., Metrologia 45, 149, 2008) at 20 °C, 1013.25 hPa, 50 %:
    # 1.19931390 kg/m³; ideal gases are within 6e-4 of it.
    weather = draw.TrueWeather(20.0, 1013.25, 50.0, (0.0, 0.0, 0.0))
    assert weather.density_kgpm3() == pytest.approx(1.19931390, rel=6e-4)


@pytest.mark.long
def test_stated_errors_have_the_spread_that_is_stated():
    gaps = []
    for seed in range(16):
        drawn = draw_session(WIDE, 1000 + seed)
        truth = np.array([marker.ground_m for marker in drawn.markers])
        camera = drawn.clips[0].take.camera
        gaps.append((drawn.notes.marker_pixel - camera.project(truth)) / draw.PICK_U_PX)
        gaps.append((drawn.notes.marker_ground_m - truth)[:, :2] / draw.TAPE_U_M)
    spread = np.concatenate(gaps)
    assert spread.std() == pytest.approx(1.0, abs=0.15)
    assert abs(spread.mean()) < 0.2


@pytest.mark.campaign
def test_lift_has_either_sign_and_either_cause_but_in_the_samples():
    lifts, shares = [], []
    for seed in range(12):
        (clip,) = draw_session(RECIPES["spins"], 500 + seed).clips
        lifts.append(clip.take.shots[0].ball.lift_coefficient)
        shares.append(clip.take.shots[0].ball.spin_share)
    assert min(lifts) < -0.01 and max(lifts) > 0.01
    assert min(shares) < 0.3 and max(shares) > 0.7
    (clip,) = draw_session(WIDE, 1).clips
    assert all(shot.ball.lift_fade == 0.0 < shot.ball.lift_coefficient for shot in clip.take.shots)
