"""The drawn field agrees with the camera, and movers leave nothing behind."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import looking_at
from tracker.synthetic.cast import KINDS
from tracker.synthetic.clip import FilmRoll, Take
from tracker.synthetic.flight import TrueAir, TrueBall, TrueLaunch, Turf, fly
from tracker.synthetic.furniture import furnish
from tracker.synthetic.plate import SUBROWS, Plate, _lines_of_sight, draw_plate
from tracker.synthetic.scene import FieldMarker, Light, Scene, Tree
from tracker.synthetic.sensor import Sensor
from tracker.synthetic.setting import Setting
from tracker.synthetic.sway import Sway, draw_sway, frame_camera, seen_by

BENT = (-0.03, 0.01, 0.0008, -0.0006, 0.0)
CAMERA = looking_at((12.0, -30.0, 1.5), (12.0, 0.0, 4.0), 240.0, (320, 180), 0.01, BENT)
SCENE = Scene(seed=40, trees=(Tree(8.0, 9.0, 7.0, 3), Tree(22.0, 8.0, 6.0, 4)))


def test_every_pixel_looks_where_the_camera_says():
    sight = _lines_of_sight(CAMERA)
    rows, columns = np.array([0, 31, 90, 179]), np.array([0, 100, 200, 319])
    pixels = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2).astype(float)
    for part in range(SUBROWS):
        shift = np.array([0.0, (part + 0.5) / SUBROWS - 0.5])
        drawn = sight[rows * SUBROWS + part][:, columns].reshape(-1, 3)
        # Straight lines over 8 px miss this lens by some thousandths of a pixel.
        limit = 0.004 / CAMERA.focal_px
        assert drawn == pytest.approx(CAMERA.rays(pixels + shift), abs=limit)


def test_sky_hedge_and_grass_lie_where_they_are_built():
    plate = draw_plate(replace(SCENE, trees=()), CAMERA, 0.5)
    foot = CAMERA.project([[12.0, SCENE.hedge_across_m, 0.0]])[0]
    top = CAMERA.project([[12.0, SCENE.hedge_across_m, SCENE.hedge_height_m + 1.5]])[0]
    column, row = round(foot[0]), round(foot[1])
    sky = plate.luma[: int(top[1]) - 2, column - 20 : column + 20].mean()
    hedge = plate.luma[row - 6 : row - 2, column - 20 : column + 20].mean()
    grass = plate.luma[row + 3 : row + 20, column - 20 : column + 20].mean()
    assert sky > grass > hedge > 16.0
    green = plate.red[row // 2 + 4 : row // 2 + 20].mean()
    assert green < 126.0


def test_a_marker_is_drawn_at_its_ground_point():
    marker = FieldMarker("post", "pole", (12.0, 0.0, 1.5))
    scene = replace(SCENE, trees=(), launcher_release_m=None, markers=(marker,))
    camera = looking_at((12.0, -30.0, 1.5), (12.0, 0.0, 1.0), 2400.0, (320, 180))
    bare = draw_plate(scene, camera, 0.5)
    drawn = bare.copy()
    furnish(drawn, scene, camera, 0.5)
    changed = np.abs(drawn.luma - bare.luma) > 3.0
    rows, columns = np.nonzero(changed)
    top, foot = camera.project([[12.0, 0.0, 1.5], [12.0, 0.0, 0.0]])
    assert rows.min() == pytest.approx(top[1], abs=1.5)
    assert rows.max() == pytest.approx(foot[1], abs=1.5)
    assert columns.mean() == pytest.approx(top[0], abs=0.3)


def test_the_seed_decides_the_field():
    first, again = (draw_plate(SCENE, CAMERA, 0.7) for _ in range(2))
    other = draw_plate(replace(SCENE, seed=60), CAMERA, 0.7)
    assert np.array_equal(first.luma, again.luma)
    assert np.abs(first.luma - other.luma).mean() > 1.0


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_movers_move_and_leave_nothing_behind(kind):
    shot = fly(TrueLaunch(0.1, (0.0, 0.0, 0.8), 18.0, 42.0), TrueBall(), TrueAir(), Turf())
    stage = Setting(SCENE, CAMERA, (shot,), 4.0, 0.7, 0.002)
    movers = tuple(KINDS[kind](stage, np.random.default_rng(5)))
    take = Take(SCENE, CAMERA, Sensor(noise=0.01, fps=5.0), (), movers=movers, frame_count=10)
    roll = FilmRoll(take)
    clean = roll.base.luma.copy()
    frames = [planes[0].copy() for planes in roll.frames()]
    assert any(not np.array_equal(frames[0], frame) for frame in frames[1:])
    assert np.array_equal(roll.base.luma, clean)
    for name in ("luma", "blue", "red"):
        assert np.array_equal(getattr(roll._canvas, name), getattr(roll.base, name))


def test_a_person_in_front_hides_the_ball():
    shot = fly(TrueLaunch(0.0, (12.0, 0.0, 1.0), 0.5, 0.0), TrueBall(), TrueAir(), Turf())
    stage = Setting(SCENE, CAMERA, (shot,), 4.0, 0.7, 0.002)
    walker = KINDS["people"](stage, np.random.default_rng(5))[0]
    for across, visible in ((-6.0, False), (6.0, True)):
        points = walker.route.points_m * 0.0 + (12.0, across, 0.0)
        here = replace(walker, route=replace(walker.route, points_m=points))
        take = Take(SCENE, CAMERA, Sensor(), (shot,), movers=(here,), frame_count=4)
        roll = FilmRoll(take)
        list(roll.frames())
        assert [seen.visible for seen in roll.sightings[0]] == [visible] * 4


def spot(plane, middle, width=2.0):
    rows, columns = np.mgrid[0 : plane[1], 0 : plane[0]]
    squared = (rows - middle[1]) ** 2 + (columns - middle[0]) ** 2
    return (100.0 * np.exp(-0.5 * squared / width**2)).astype(np.float32)


def centroid(plane):
    rows, columns = np.mgrid[0 : plane.shape[0], 0 : plane.shape[1]]
    return np.array([np.sum(plane * columns), np.sum(plane * rows)]) / plane.sum()


def test_a_swaying_camera_sees_the_field_where_it_then_looks():
    bent = np.multiply(BENT, 0.5)
    camera = looking_at((12.0, -30.0, 1.5), (12.0, 0.0, 4.0), 480.0, (640, 360), 0.0, bent)
    sway = Sway(
        np.array([[0.004], [-0.006], [0.003]]),
        np.full((3, 1), 1.0),
        np.zeros((3, 1)),
        np.array([[0.05], [0.02], [-0.03]]),
    )
    sensor = Sensor(readout_s=0.1)
    view = frame_camera(camera, sensor, sway, 0.15)
    for column, row in ((80.0, 60.0), (320.0, 180.0), (590.0, 300.0)):
        on_grass = camera.on_ground([[column, row]])[0]
        on_hedge = camera.on_plane([[column, row]], (0.0, SCENE.hedge_across_m, 0.0), (0, 1, 0))[0]
        nearer = on_grass[1] < SCENE.hedge_across_m
        place = on_grass if nearer else on_hedge
        # The row that shows the place is exposed when the camera has moved on.
        where = np.array([column, row])
        for _ in range(6):
            time_s = 0.15 + 0.1 * sensor.row_share(where[None], camera.size_px)[0]
            where = sway.camera(camera, time_s).project(place)[0]
        half = np.full((180, 320), 128.0, np.float32)
        steady = Plate(spot((640, 360), (column, row)), half, half)
        out = steady.copy()
        seen_by(steady, view, SCENE, sensor, out)
        assert centroid(out.luma) == pytest.approx(where, abs=0.05)


def test_sway_starts_at_none_and_has_the_size_asked_for():
    sway = draw_sway(2.0, 1400.0, np.random.default_rng(2))
    assert sway.turn(0.0) == pytest.approx(np.zeros(3), abs=1e-15)
    turns = np.array([sway.turn(time_s) for time_s in np.arange(0.0, 300.0, 0.05)])
    assert turns.std(axis=0) * 1400.0 == pytest.approx([2.0, 2.0, 1.0], rel=0.1)


def test_the_ball_of_a_swaying_camera_is_noted_where_that_camera_sees_it():
    shot = fly(TrueLaunch(0.0, (4.0, 0.0, 1.0), 15.0, 42.0), TrueBall(), TrueAir(), Turf())
    sway = Sway(np.full((3, 1), 0.01), np.full((3, 1), 1.3), np.zeros((3, 1)))
    take = Take(SCENE, CAMERA, Sensor(noise=0.01), (shot,), sway=sway, frame_count=30)
    roll = FilmRoll(take)
    list(roll.frames())
    seen = roll.sightings[0][20]
    moved = sway.camera(CAMERA, seen.frame / 60.0)
    assert seen.pixel == pytest.approx(moved.project(shot.positions([seen.time_s]))[0], abs=1e-9)
    assert np.abs(seen.pixel - CAMERA.project(shot.positions([seen.time_s]))[0]).max() > 1.0


def test_light_on_a_card_is_lamberts():
    light = Light(sky=1.0, sun=2.0, toward_sun=(0.0, 0.0, 1.0), ground=0.2)
    up, side, down = light.on(np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [0.0, 0.0, -1.0]]))
    assert light.on_level() == pytest.approx(3.0)
    assert (up, side, down) == pytest.approx((3.0, 0.5 + 0.5 * 0.2 * 3.0, 0.2 * 3.0))
