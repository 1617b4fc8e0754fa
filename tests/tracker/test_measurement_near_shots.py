"""A ball that is seen near is measured in smaller pictures; its places are those of the film."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.site import Marker, Plumb, Site
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances, request
from tests.tracker.test_following_arcs import FRAME_S
from tracker.following.arcs import fit_arc
from tracker.measurement import measure
from tracker.measurement.passes import NO_OBSERVERS, Timing
from tracker.measurement.scouting import Scouted
from tracker.measurement.sighting import _expected
from tracker.measurement.starts import PresumedCameraStart
from tracker.measurement.starts.gravity_scale import expected_focal_px
from tracker.measurement.starts.near import (
    TIMES,
    NearMeasurement,
    Smaller,
    by_size,
    diameter_px,
)
from tracker.measurement.starts.untaped_start import UntapedStart
from tracker.measurement.throws import Throw
from tracker.records import ReasonCode
from tracker.video import ClipFacts, ClipWriter, inspect

SIZE, FPS = (320, 240), 30.0
DIAMETER_M, PX_PER_M = 0.22, 62.0
"""A football 4 m before a phone with 250 px of focal length."""

SPEED_MPS, ANGLE_DEG, FIRST_S = 4.6, 72.0, 0.5
START = np.array([70.0, 190.0])


def ball_at(time_s: float) -> np.ndarray:
    since = max(time_s - FIRST_S, 0.0)
    ahead, up = SPEED_MPS * np.cos(np.radians(ANGLE_DEG)), SPEED_MPS * np.sin(np.radians(ANGLE_DEG))
    way = np.array([ahead * since, -up * since + 0.5 * 9.81 * since**2])
    return START + PX_PER_M * way


def film(path: Path) -> Path:
    """A white ball with dark patches that turn, tossed before bushes until it is out of sight."""
    rng = np.random.default_rng(8)
    bushes = np.kron(rng.uniform(50.0, 90.0, (60, 80)), np.ones((4, 4)))
    columns, rows = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    with ClipWriter(path, SIZE, FPS, crf=16) as writer:
        for index in range(50):
            across, down = columns - ball_at(index / FPS)[0], rows - ball_at(index / FPS)[1]
            patches = np.cos(3.0 * np.arctan2(down, across) + 0.4 * index) > 0.6
            inside = (0.5 * DIAMETER_M * PX_PER_M - np.hypot(across, down)) / 0.8
            cover = 0.5 + 0.5 * np.tanh(inside)
            shown = bushes + cover * (np.where(patches, 90.0, 200.0) - bushes)
            shown += rng.normal(0.0, 1.5, shown.shape)
            picture = np.clip(shown, 0, 255).astype(np.uint8)
            writer.write_bgr(np.repeat(picture[:, :, None], 3, axis=2))
    return path


def test_a_near_ball_is_measured_from_its_frames(tmp_path: Path) -> None:
    """From a film: the toss of a football, 14 px wide, whose truth is that of the drawing."""
    facts = inspect(film(tmp_path / "toss.mp4"))
    asked = replace(request("football"), clip="toss.mp4")
    found = measure(facts, asked, PresumedCameraStart(Site(SIZE, ()), height_known=False))
    (shot,) = found.shots
    row = shot.shot
    assert row.exit_speed_mps is not None and row.exit_speed_u_mps is not None
    assert abs(row.exit_speed_mps - SPEED_MPS) < 2.0 * row.exit_speed_u_mps < 1.6
    assert abs(row.launch_angle_deg - ANGLE_DEG) < 4.0
    assert abs(row.release_s - FIRST_S) < 0.1
    assert row.reasons[0].code is ReasonCode.GRAVITY_IS_SCALE
    used = [point for point in shot.points if point.used]
    assert len(used) >= 20
    for point in used:
        off = np.array([point.column_px, point.row_px]) - ball_at(point.time_s)
        assert np.linalg.norm(off) < 0.25 * DIAMETER_M * PX_PER_M
    assert shot.path is not None
    assert np.linalg.norm(shot.path.release_px - START) < 1.5 * DIAMETER_M * PX_PER_M
    assert found.camera.size_px == SIZE


def falling(fall_px: float) -> Throw:
    times = np.arange(20) * FRAME_S
    rows = 0.5 * fall_px * times**2
    positions = np.column_stack([np.arange(20), times, 50.0 * times, rows])
    return Throw(fit_arc(positions, FRAME_S), None)


def test_throws_are_sorted_by_the_size_that_gravity_gives() -> None:
    context = clip_context(circumstances(calibrated()))
    per_px = 9.81 / (2.0 * context.circumstances.ball_radius_m)
    far, near = by_size([falling(size * per_px) for size in (4.0, 11.9, 12.1, 17.0, 60.0)], context)
    assert [diameter_px(each.arc, context) for each in far] == pytest.approx([4.0, 11.9], rel=0.01)
    assert {times: len(some) for times, some in near.items()} == {3: 1, 4: 1, 12: 1}
    assert set(near) <= set(TIMES)


def test_a_short_path_that_leads_into_a_near_fall_is_a_hands(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A bird flies for longer before it falls, at 0.5 s the hand has let go."""
    handed: list[Scouted] = []
    away_m: list[float] = []

    def keep(throws: object, measurement: object, context: object, scouted: Scouted, _: object):
        handed.append(scouted)
        away_m.append(measurement.start.near_m)
        return []

    monkeypatch.setattr("tracker.measurement.starts.near.measure_throws", keep)
    monkeypatch.setattr(ClipFacts, "shrunk", lambda facts, size_px: facts)
    context = clip_context(circumstances(calibrated()))
    throw = falling(17.0 * 9.81 / (2.0 * context.circumstances.ball_radius_m))
    lengths = (0.45, 0.55)
    paths = []
    for length in lengths:
        times = np.linspace(0.0, length, 12)
        paths.append(
            fit_arc(np.column_stack([np.arange(12), times, 9.0 * times, 0.0 * times]), FRAME_S)
        )
    scouted = Scouted(tuple(paths), (), (), FRAME_S, Timing(np.zeros(1), np.zeros(1)), "", (), ())
    start = UntapedStart(Site(context.facts.size_px, ()), False)
    NearMeasurement(start, context, scouted).measured([throw], 4, NO_OBSERVERS)
    assert [arc.duration_s for arc in handed[0].arcs] == pytest.approx([0.55])
    # Similar triangles: 17 px wide, 4.25 px in the smaller picture.
    focal_px = expected_focal_px(Site(tuple(side // 4 for side in context.facts.size_px), ()))
    diameter_m = 2.0 * context.circumstances.ball_radius_m
    assert away_m == pytest.approx([focal_px * diameter_m / (17.0 / 4.0)], rel=0.02)


def test_smaller_pictures_and_back() -> None:
    smaller = Smaller((1280, 720), (160, 90))
    places = np.array([[0.0, 0.0], [1279.0, 719.0], [640.0, 12.5]])
    # The corner of the first pixel stays the corner.
    assert smaller.pixels(np.array([-0.5, -0.5])) == pytest.approx([-0.5, -0.5])
    assert smaller.pixels(places)[1] == pytest.approx([159.4375, 89.4375])
    np.testing.assert_allclose(smaller.enlarged(smaller.pixels(places)), places)
    arc = falling(900.0).arc
    small = smaller.arc(arc)
    assert small.acceleration_pxps2 == pytest.approx(arc.acceleration_pxps2 / 8.0)
    assert small.scatter_px == pytest.approx(arc.scatter_px / 8.0)
    marker = Marker("10 m cone", np.array([10.0, 0.0, 0.0]), pixel=places[2], pixel_u=1.6)
    site = smaller.site(Site((1280, 720), (marker,), plumbs=(Plumb("pole", places[0], places[2]),)))
    assert site.size_px == (160, 90)
    assert site.markers[0].pixel == pytest.approx(smaller.pixels(places[2]))
    assert site.markers[0].pixel_u == pytest.approx(0.2)
    assert site.plumbs[0].upper_px == pytest.approx(smaller.pixels(places[2]))


def test_a_resized_camera_sees_the_same() -> None:
    camera = looking_at((20.0, -30.0, 1.7), (18.0, 0.0, 2.0), 1000.0, (1280, 720))
    camera = camera.with_covariance(np.diag(np.arange(1.0, 15.0) ** 2))
    small = camera.resized((160, 90))
    points = np.array([[0.0, 0.0, 1.0], [30.0, 1.0, 4.0]])
    seen = Smaller((1280, 720), (160, 90)).pixels(camera.project(points))
    np.testing.assert_allclose(small.project(points), seen, atol=1e-9)
    u, small_u = np.sqrt(np.diag(camera.covariance)), np.sqrt(np.diag(small.covariance))
    # Turns, place, logarithm of the focal length and distortion are no lengths in the frame.
    np.testing.assert_allclose(np.delete(small_u, [7, 8]), np.delete(u, [7, 8]))
    np.testing.assert_allclose(small_u[7:9], u[7:9] / 8.0)


def test_gravity_bends_where_the_ball_was_and_will_be() -> None:
    """A ball at rest at its top is lower both before and after: by g (lag dt)² / 2."""
    known = circumstances(calibrated())
    context = clip_context(known)
    context = replace(context, settings=replace(context.settings, lag=6))
    states = np.array([[20.0, 0.0, 5.0, 0.0, 0.0, 0.0]])
    expected = _expected(context, known.camera, states, known.camera.project(states[:, :3]))
    lower_m = 0.5 * 9.81 * (6.0 * context.frame_s) ** 2
    below = known.camera.project(states[:, :3] - [0.0, 0.0, lower_m])[0]
    for shift in (expected.before_px[0], expected.after_px[0]):
        assert expected.pixels[0] + shift == pytest.approx(below, abs=0.05)
