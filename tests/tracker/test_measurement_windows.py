"""When and where a flight is looked for, how long its path is, what is said of a clip's pace."""

from types import SimpleNamespace

import numpy as np
import pytest

from calibration.camera import looking_at
from tracker.detection import SearchSettings
from tracker.following.arcs import Arc, fit_arc
from tracker.measurement import added, scouted_sizes, throws
from tracker.measurement import row as rows
from tracker.measurement.starts import anywhere, presumed_camera
from tracker.measurement.starts.presumed_camera import _notes
from tracker.measurement.starts.untaped import UntapedMeasurement
from tracker.video import ClipFacts

FACTS = SimpleNamespace(size_px=(1280, 720))


def test_a_throw_is_looked_for_from_before_its_path_to_after_it() -> None:
    """A third of a second of hand before, a fall of some metres after."""
    arc = SimpleNamespace(times_s=np.array([2.0, 2.5, 3.5]))
    context = SimpleNamespace(facts=FACTS)
    flight = SimpleNamespace(throw=SimpleNamespace(arc=arc))
    window = UntapedMeasurement(None, context).window(flight)
    assert (window.begin_s, window.end_s) == pytest.approx((2.0 - 0.3, 3.5 + 1.2))


def test_an_added_shot_is_looked_for_from_its_release_to_half_a_second_after_its_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(added, "candidates_of_part", lambda window, *_: window)
    context = SimpleNamespace(facts=FACTS, camera=None)
    path = SimpleNamespace(times_s=np.array([0.0, 0.9, 2.0]))
    flight = SimpleNamespace(release_s=1.5, trajectory=path)
    window = added._candidates(context, flight, None)
    assert (window.begin_s, window.end_s) == pytest.approx((1.5, 1.5 + 2.0 + 0.5))


@pytest.mark.parametrize(("flight_s", "integrated_s"), [(2.0, 2.0), (0.03, 0.1), (0.0, 0.1)])
def test_a_path_is_integrated_for_a_tenth_of_a_second_at_least(
    monkeypatch: pytest.MonkeyPatch, flight_s: float, integrated_s: float
) -> None:
    """A ball that is released on the ground lands at once."""

    def flight_of(known: object, parameters: object, duration_s: float, step_s: float) -> object:
        raise StopIteration(duration_s)

    monkeypatch.setattr(rows, "flight_of", flight_of)
    traced = SimpleNamespace(fitted=SimpleNamespace(parameters=np.zeros(50), trajectory=None))
    figures = SimpleNamespace(value=lambda name: flight_s)
    with pytest.raises(StopIteration) as asked:
        rows._path(SimpleNamespace(circumstances=None), traced, figures)
    assert asked.value.value == pytest.approx(integrated_s)


def test_a_small_balls_path_is_weighed_by_the_width_of_the_frame(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    widths = []

    def is_throw(arc: object, width_px: int, frame_s: float) -> bool:
        widths.append((width_px, frame_s))
        return False

    monkeypatch.setattr(scouted_sizes, "is_throw", is_throw)
    facts = object.__new__(ClipFacts)
    object.__setattr__(facts, "size_px", (1280, 720))
    monkeypatch.setattr(
        scouted_sizes, "scouting_settings", lambda _: SearchSettings(4.0, 8.0, 2, (0, 0, 1280, 720))
    )
    small = scouted_sizes._Small(facts, 0.02)
    small._found = [SimpleNamespace(frames=np.arange(9))]
    assert small.throws([]) == []
    assert widths == [(1280, 0.02)]


@pytest.mark.parametrize(
    ("any_shots", "capture_fps", "asked"),
    [(True, None, True), (True, 240.0, False), (False, None, False)],
)
def test_the_pace_is_asked_for_only_where_a_shot_has_no_other_scale(
    any_shots: bool, capture_fps: float | None, asked: bool
) -> None:
    context = SimpleNamespace(facts=SimpleNamespace(capture_fps=capture_fps))
    for doubt in ("", "The clip is short."):
        said = _notes(context, SimpleNamespace(doubt=doubt), any_shots)
        assert any("capture_fps under [camera]" in each for each in said) is asked
        assert len(said) == asked + bool(doubt) and (said[:1] == [doubt]) is bool(doubt)


def test_a_path_that_would_spoil_a_throw_hides_none_that_continues_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of two paths that seem to go on, the first with the throw would be none; the second is."""
    throw, spoils, continues, whole = (
        SimpleNamespace(frames=np.arange(n), times_s=np.zeros(2)) for n in (9, 7, 8, 17)
    )
    joining = throws._Joining({0: throw, 1: spoils, 2: continues}, [0, 1, 2], 1280, 0.02)
    onward = throws._Joint.ONWARD

    def joint(_: object, arc: object, later: object) -> object:
        return onward if arc is throw else throws._Joint.NOT

    monkeypatch.setattr(throws._Joining, "_joint", joint)
    monkeypatch.setattr(
        throws, "_joined", lambda arc, later, frame_s: whole if later is continues else spoils
    )
    monkeypatch.setattr(throws, "is_throw", lambda arc, *_: arc is whole)
    joining.grow(0)
    assert joining.arcs[0] is whole
    assert (joining.chosen, joining.taken, joining.hops) == ([0, 1], {2}, {})


def test_a_throw_from_anywhere_is_held_against_the_height_of_the_release(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    heights = []

    def no_throw(flight: object, field: object, release_up_m: float, begin_s: float) -> None:
        heights.append(release_up_m)

    monkeypatch.setattr(anywhere, "rolls", lambda *_: False)
    monkeypatch.setattr(anywhere, "first_fit", lambda *_: SimpleNamespace(first_s=2.0))
    monkeypatch.setattr(anywhere, "no_throw", no_throw)
    request = SimpleNamespace(release_m=np.array([0.1, -0.4, 0.9]))
    how = anywhere._FromField(None, SimpleNamespace(camera=None, request=request))
    throw = SimpleNamespace(arc=SimpleNamespace(times_s=np.array([2.0, 2.1])))
    assert how.first_fit(throw, 0.02).first_s == 2.0
    assert heights == [0.9]


def test_a_ball_that_comes_straight_at_the_camera_is_compared_over_the_longest_lag() -> None:
    """It stays where it is in the picture, whatever its speed."""
    camera = looking_at((0.0, -20.0, 1.5), (0.0, 0.0, 1.5), 1000.0, (1280, 720))
    still = np.array([[0.0, 0.0, 1.5, 0.0, 0.0, 0.0]] * 3)
    flight = SimpleNamespace(
        known=SimpleNamespace(camera=camera, ball_radius_m=0.0335),
        throw=SimpleNamespace(arc=SimpleNamespace(times_s=np.arange(3.0))),
        states=lambda times_s: still,
    )
    found = anywhere.settings_along([flight], 0.02)
    assert (found.lag, found.step_px) == (8, 0.0)
    assert found.diameter_px == pytest.approx(1000.0 * 0.067 / 20.0)


@pytest.mark.parametrize(("share", "lag"), [(0.99, 1), (1.01, 2)])
def test_a_lag_follows_from_the_step_that_two_fifths_of_a_path_do_not_reach(
    share: float, lag: int
) -> None:
    """From 0 to 100 px a frame: the ball's diameter and a pixel are 1.1 times 40 px, or less."""
    camera = looking_at((0.0, -20.0, 1.5), (0.0, 0.0, 1.5), 1000.0, (1280, 720))
    speeds = np.arange(101.0)
    states = np.tile([0.0, 0.0, 1.5, 0.0, 0.0, 0.0], (101, 1))
    # At 20 m a metre is 50 px, and a frame 20 ms.
    states[:, 3] = speeds
    diameter_px = share * 1.1 * 40.0 - 1.0
    flight = SimpleNamespace(
        known=SimpleNamespace(camera=camera, ball_radius_m=diameter_px / 100.0),
        throw=SimpleNamespace(arc=SimpleNamespace(times_s=np.arange(101.0))),
        states=lambda times_s: states,
    )
    found = anywhere.settings_along([flight], 0.02)
    assert found.lag == lag and found.diameter_px == pytest.approx(diameter_px, rel=1e-3)
    assert found.step_px == pytest.approx(75.0, rel=1e-3)


@pytest.mark.parametrize(
    ("position_m", "side"),
    [
        (None, -1),
        ((3.0, -20.0, 1.5), -1),
        ((3.0, 20.0, 1.5), 1),
        ((9.0, 0.5, 1.5), 1),
        ((9.0, -0.5, 1.5), -1),
    ],
)
def test_a_presumed_camera_stands_on_the_side_that_was_taped_or_else_on_the_right(
    monkeypatch: pytest.MonkeyPatch, position_m: tuple[float, float, float] | None, side: int
) -> None:
    sides = []

    def presumed(site: object, of_side: int) -> object:
        sides.append(of_side)
        return SimpleNamespace(
            start=lambda sighted: sides.append(sighted.side),
            with_lens_covariance=lambda camera: "camera",
        )

    monkeypatch.setattr(presumed_camera, "Presumption", presumed)
    site = SimpleNamespace(position_m=position_m, size_px=(1280, 720))
    start = presumed_camera.PresumedCameraStart(site, height_known=False)
    assert start._camera(SimpleNamespace(release_m=(0.0, 0.0, 0.8))) == "camera"
    assert sides == [side, side]


def straight(begin_s: float, at_px: tuple[float, float], pxps: tuple[float, float]) -> Arc:
    """A path of 0.4 s along a line; `at_px` is where it is, or would be, at time zero."""
    times = begin_s + np.arange(21) * 0.02
    places = np.array(at_px) + times[:, None] * np.array(pxps)
    return fit_arc(np.column_stack([np.round(50.0 * times), times, places]), 0.02)


@pytest.mark.parametrize(
    ("meet_s", "joint"),
    [(0.45, "HOP"), (0.92, "NOT"), (0.0, "NOT")],
    ids=["between", "later", "before"],
)
def test_paths_are_joined_only_where_they_meet_between_them(meet_s: float, joint: str) -> None:
    falling = straight(0.0, (100.0, 100.0), (300.0, 400.0))
    rise = -390.0
    at_zero = (100.0, 100.0 + (400.0 - rise) * meet_s)
    rising = straight(0.5, at_zero, (300.0, rise))
    joining = throws._Joining({0: falling, 1: rising}, [0, 1], 1280, 0.02)
    assert joining._joint(falling, rising) is throws._Joint[joint]
