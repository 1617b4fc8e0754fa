"""Frame by frame: which are searched, what a pass keeps of them, and where a ball is in each."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.timebase import Cadence
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tracker.detection import SearchSettings, change_per_contrast
from tracker.fitting import figures_of
from tracker.fitting.light import light_in_picture
from tracker.fitting.parameters import CAMERA_AT, RELEASE_AT
from tracker.measurement import passes, scouting, second_pass, sighting
from tracker.measurement.passes import FramePass, Observers, Timing
from tracker.measurement.scouting import Scouting
from tracker.measurement.second_pass import Window, candidates_of_part, reach_px
from tracker.measurement.sighting import Course, course_of
from tracker.records import Candidates, Cutouts, ReasonCode, Steadied

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)
CAMERA = KNOWN.camera


def shown(frame=3, time_s=0.5, corners=((0, 0),), side=9, **more):
    """A frame with a cutout of so many pixels from each corner."""
    at = np.array(corners, np.int64).reshape(-1, 2)
    patches = np.zeros((len(at), side, side), np.int16)
    middles = at + (side - 1) / 2.0
    return Candidates(frame, time_s, middles, np.ones(len(at)), Cutouts(patches, at), None, **more)


# --- the ball's picture


@pytest.mark.parametrize(
    ("place", "taken"),
    [
        # Middles at (104, 204) and (108, 204): 4.5 px to an edge, of which three are kept off.
        ((104.0, 204.0), 0),
        ((105.4, 204.0), 0),
        ((105.5, 204.0), 0),
        ((102.5, 205.5), 0),
        ((102.4, 204.0), None),
        ((104.0, 205.6), None),
        ((106.6, 204.0), 1),
        ((106.4, 202.5), None),
    ],
)
def test_a_ball_is_measured_in_the_cutout_whose_middle_is_nearest(place, taken):
    frame = shown(corners=((100, 200), (104, 200)))
    rows, at = sighting._cutouts([shown(corners=()), frame], np.array([[104.0, 204.0], place]))
    assert (rows, at) == (([], []) if taken is None else ([1], [taken]))


def steadied(*shifts):
    """Of a frame with three candidates: how far it was moved, and how well that is known."""
    middles = shown(corners=((10, 10), (20, 20), (30, 30))).pixels
    filmed, still = (middles + np.array(shift) for shift in shifts)
    spread = np.array([np.diag([k, 2.0 * k]) for k in (1.0, 2.0, 3.0)])
    return Steadied(filmed, still, spread)


def test_corrections_are_those_of_the_candidate_that_is_measured():
    moved = shown(
        corners=((10, 10), (20, 20), (30, 30)), steadied=steadied((5.0, -2.0), (0.5, 0.25))
    )
    still = shown(corners=((10, 10),))
    found = sighting._corrections([still, moved, moved], [0, 1, 2], [0, 2, 0])
    np.testing.assert_allclose(found[0], [[0, 0], [5.0, -2.0], [5.0, -2.0]])
    np.testing.assert_allclose(found[1], [[0, 0], [0.5, 0.25], [0.5, 0.25]])
    np.testing.assert_allclose(found[2], [np.zeros((2, 2)), np.diag([3.0, 6.0]), np.diag([1.0, 2])])


def course(count=3):
    places = np.column_stack([np.linspace(8.0, 12.0, count), np.zeros(count), np.full(count, 4.0)])
    states = np.column_stack([places, np.tile([12.0, 0.5, -3.0], (count, 1))])
    return Course(0.1 * np.arange(count), states, CAMERA.project(places))


def located(monkeypatch, frames, light=None):
    """Measure a ball whose pictures are fitted with given results."""
    asked = SimpleNamespace()

    def locate(chosen, expected, exposure, shaded):
        asked.chosen, asked.expected = chosen, expected
        asked.exposure, asked.shaded = exposure, shaded
        count = len(chosen)
        return SimpleNamespace(
            found=np.arange(count) != 1,
            pixels=expected.pixels + 0.25,
            covariances=np.tile(0.01 * np.eye(2), (count, 1, 1)),
            lean=0.1 * np.arange(count),
            snr=-10.0 - np.arange(count),
            contrasts=np.column_stack([np.arange(count), np.arange(count)]),
            purity=5.0 + np.arange(count),
        ), 0.6

    monkeypatch.setattr(sighting, "locate_ball", locate)
    track, exposure = sighting.sighted(CONTEXT, CAMERA, course(), frames, 0.3, light)
    return track, exposure, asked


def at_course(number, **more):
    corner = np.round(course().pixels[number]).astype(int) - 4
    return shown(10 + number, corners=(corner, corner + 40), **more)


def test_a_track_has_the_frames_in_which_the_ball_was_found(monkeypatch):
    frames = [at_course(number) for number in range(3)]
    track, exposure, asked = located(monkeypatch, frames)
    assert exposure == 0.6 and asked.exposure == 0.3 and asked.shaded is None
    assert [(each.frame, at) for each, at in asked.chosen] == [(10, 0), (11, 0), (12, 0)]
    np.testing.assert_array_equal(asked.expected.pixels, course().pixels)
    assert track.frames.tolist() == [10, 12] and track.times_s.tolist() == [0.0, 0.2]
    np.testing.assert_allclose(track.pixels, course().pixels[[0, 2]] + 0.25)
    np.testing.assert_allclose(track.covariances, np.tile(0.01 * np.eye(2), (2, 1, 1)))
    assert track.lean.tolist() == [0.0, 0.2] and track.snr.tolist() == [10.0, 12.0]
    assert track.pictures.contrasts.tolist() == [[0.0, 0.0], [2.0, 2.0]]
    assert track.pictures.purity.tolist() == [5.0, 7.0] and track.filmed_pixels is None


def test_positions_are_those_of_the_still_camera_and_the_filmed_ones_are_kept(monkeypatch):
    frames = [at_course(0), at_course(1), at_course(2)]
    middles = frames[2].pixels
    spread = np.tile(0.03 * np.eye(2), (2, 1, 1))
    frames[2] = replace(frames[2], steadied=Steadied(middles + 7.0, middles - 0.5, spread))
    track, _, _ = located(monkeypatch, frames)
    np.testing.assert_allclose(track.pixels[1], course().pixels[2] + 0.25 - 0.5)
    np.testing.assert_allclose(track.filmed_pixels, course().pixels[[0, 2]] + [[0.25], [7.25]])
    np.testing.assert_allclose(track.covariances, [0.01 * np.eye(2), 0.04 * np.eye(2)])


def test_a_frame_without_a_cutout_there_is_left_out_and_light_is_that_of_the_others(monkeypatch):
    light = np.array([3.0, -2.0, 1.0])
    track, _, asked = located(monkeypatch, [at_course(0), shown(corners=()), at_course(2)], light)
    assert track.frames.tolist() == [10]
    states = course().states[[0, 2], :3]
    np.testing.assert_allclose(asked.shaded, light_in_picture(CAMERA.in_camera(states)) @ light)


def test_a_flight_without_any_cutout_has_no_positions(monkeypatch):
    track, exposure, _ = located(monkeypatch, [shown(corners=())] * 3)
    assert exposure == 0.3 and len(track.frames) == 0
    assert track.pixels.shape == (0, 2) and track.covariances.shape == (0, 2, 2)


@pytest.mark.parametrize("exposure", [None, 0.5])
def test_the_change_that_a_ball_makes_follows_from_its_size_and_its_streak(exposure):
    """In luma, and in the colour, of which a pixel is twice as wide."""
    context = replace(CONTEXT, settings=replace(CONTEXT.settings, diameter_px=7.0))
    found = sighting.crossing_of(context, CAMERA, ["frames"], course(), exposure)
    expected = sighting._expected(context, CAMERA, course().states, course().pixels)
    streak = (exposure or 0.0) * np.hypot(*expected.motion_px.T)
    luma = change_per_contrast(expected.diameters_px, streak, 7.0)
    colour = change_per_contrast(expected.diameters_px / 2.0, streak / 2.0, 3.5)
    np.testing.assert_allclose(found.gains, np.column_stack([luma, colour]))
    assert found.frames == ["frames"] and found.pixels is not None


# --- where a flight is


def flight_frames(case, extra=()):
    times = np.concatenate([case.track.times_s, extra])
    return [SimpleNamespace(frame=n, time_s=time) for n, time in enumerate(times)]


@pytest.mark.parametrize("lands", [True, False])
def test_a_flight_shows_from_its_release_to_its_landing_or_its_last_position(monkeypatch, lands):
    case = drawn(np.random.default_rng(3), KNOWN)
    fitted = case.fit()
    release_s = fitted.parameters[RELEASE_AT]
    end = figures_of(KNOWN, fitted.parameters).value("flight_time_s")
    end = end if lands else fitted.trajectory.times_s[-1]
    monkeypatch.setattr(sighting, "flight_time_of", lambda *_: end if lands else np.nan)
    monkeypatch.setattr(sighting, "in_frame", lambda camera, frames, course: (frames, course))
    moments = [-0.01, 1e-9, 0.5, end - 1e-9, end + 0.01]
    frames = [SimpleNamespace(frame=n, time_s=release_s + at) for n, at in enumerate(moments)]
    shown_in, found = course_of(CONTEXT, fitted, frames)
    assert [each.frame for each in shown_in] == [1, 2, 3]
    assert found.times_s == pytest.approx(release_s + np.array(moments[1:4]))
    camera = KNOWN.camera.perturbed(fitted.parameters[CAMERA_AT:])
    np.testing.assert_allclose(found.pixels, camera.project(found.states[:, :3]))
    # By the time at which its row is read, a few milliseconds off, within the integrated time.
    rows_s = CONTEXT.rows_s(found.times_s, found.pixels, KNOWN.readout_s) - release_s
    np.testing.assert_allclose(
        found.states[1, :3], fitted.trajectory.at(rows_s[1:2])[0, :3], atol=2e-3
    )


def test_only_what_lies_in_the_frame_is_part_of_a_course():
    camera = SimpleNamespace(in_frame=lambda pixels: np.array([True, False, True]))
    whole = course()
    frames, found = sighting.in_frame(camera, ["a", "b", "c"], whole)
    assert frames == ["a", "c"]
    for name in ("times_s", "states", "pixels"):
        np.testing.assert_array_equal(getattr(found, name), getattr(whole, name)[[0, 2]])


def test_a_loose_flight_is_where_its_row_is_read_at_every_time():
    """Twice brought together: 10 ms of readout over a ball that falls by 600 px/s."""
    camera = SimpleNamespace(
        project=lambda points: points[:, :2], in_frame=lambda pixels: np.ones(len(pixels), bool)
    )
    flight = SimpleNamespace(
        fitted=SimpleNamespace(parameters=np.full(60, 0.01)),
        camera=camera,
        states=lambda times: np.column_stack(
            [0.0 * times, 300.0 + 600.0 * times, *[0.0 * times] * 4]
        ),
    )
    context = SimpleNamespace(
        rows_s=lambda times, pixels, readout_s: times + readout_s * (pixels[:, 1] / 600.0 - 0.5)
    )
    frames = [SimpleNamespace(time_s=0.2), SimpleNamespace(time_s=-0.1)]
    shown_in, found = sighting.course_along(context, flight, frames)
    assert shown_in == frames and found.times_s.tolist() == [0.2, -0.1]
    for row, time in enumerate((0.2, -0.1)):
        down = 300.0 + 600.0 * time
        for _ in range(2):
            down = 300.0 + 600.0 * (time + 0.01 * (down / 600.0 - 0.5))
        assert found.pixels[row, 1] == pytest.approx(down, abs=1e-12)


# --- a pass


SETTINGS = SearchSettings(6.0, 8.0, 2, (0, 0, 640, 480), 30)


def a_pass(**how):
    facts = SimpleNamespace(
        size_px=(640, 480), file_fps=50.0, pace=1.0, frame_count=200, rotation_deg=0,
        times_s=0.02 * np.arange(200), file_times_s=0.02 * np.arange(200),
    )  # fmt: skip
    timing = how.pop("timing", Timing(facts.times_s, facts.file_times_s))
    return FramePass(facts, CAMERA, SETTINGS, timing, **how)


class Still:
    """A camera that moves, or is lost, or neither."""

    def __init__(self, moves=False, lost=False):
        self.moves, self.lost, self.seen = moves, lost, []

    def see(self, index, luma, blueness):
        self.seen.append(index)
        return f"steady {luma}", blueness

    def steadied(self, candidates):
        return candidates


def frame(index):
    return SimpleNamespace(index=index, luma="luma", blueness="blue", shown="shown", suspect=False)


def test_a_frame_is_seen_steadied_at_its_true_time():
    view = a_pass()._view(frame(5), Still())
    assert (view.index, view.time_s) == (5, pytest.approx(0.1))
    assert (view.luma, view.blueness, view.shown) == ("steady luma", "blue", None)
    assert a_pass(side_px=8)._view(frame(5), Still()).shown == "shown"


@pytest.mark.parametrize(
    ("how", "index", "searched", "steadied"),
    [
        ({"every": 3}, 6, True, True),
        ({"every": 3}, 7, False, False),
        ({"stopped": True}, 6, False, False),
        ({"wanted": lambda time_s: time_s > 0.11}, 5, False, True),
        ({"wanted": lambda time_s: time_s > 0.11}, 6, True, True),
    ],
)
def test_which_frames_are_searched(how, index, searched, steadied):
    """The camera's motion is followed through all that are looked at; the meter sees each."""
    metered, steadier = [], Still()
    loop = a_pass(meter=SimpleNamespace(see=metered.append), **how)
    one = frame(index)
    assert (loop._view(one, steadier) is not None) is searched
    assert metered == [one] and steadier.seen == ([index] if steadied else [])


def test_repeats_are_passed_over():
    repeats = np.zeros(200, bool)
    repeats[5] = True
    times = 0.02 * np.arange(200)
    loop = a_pass(timing=Timing(times, times, repeats))
    assert loop._view(frame(5), Still()) is None and loop._view(frame(6), Still()) is not None


@pytest.mark.parametrize(
    ("while_still", "moves", "stops"),
    [(True, True, True), (True, False, False), (False, True, False)],
)
def test_only_a_pass_that_needs_a_still_camera_stops_where_it_moves(while_still, moves, stops):
    loop = a_pass(while_still=while_still)
    view = loop._view(frame(5), Still(moves))
    assert (view is None) is stops and loop.stopped is stops


def test_frames_without_a_known_motion_are_kept_by_time():
    loop = a_pass()
    loop._view(frame(5), Still(lost=True))
    loop._view(frame(6), Still())
    loop._view(frame(9), Still(lost=True))
    assert loop.lost_s == pytest.approx([0.1, 0.18])


@pytest.mark.parametrize(("share", "doubted"), [(0.0, False), (0.05, False), (0.051, True)])
def test_a_clip_whose_camera_was_lost_in_a_twentieth_is_doubted(share, doubted):
    loop = a_pass()
    assert loop.lost_share == 0.0
    loop.lost_share = share
    reasons = loop.doubts()
    assert [each.code for each in reasons] == [ReasonCode.CAMERA_LOST] * doubted
    if doubted:
        assert reasons[0].numbers == {"percent": pytest.approx(100.0 * share)}


def found(loop, view):
    """Search a view; return what comes of it and what was handed on."""
    handed = []
    finder = SimpleNamespace(
        narrow=lambda: handed.append("narrow"),
        push=lambda *given: handed.append(("push", *given)) or ["one", "two"],
    )
    squares = SimpleNamespace(
        see=lambda *given: handed.append(("see", *given)), given=lambda each: f"square of {each}"
    )
    steadier = SimpleNamespace(steadied=lambda each: f"steadied {each}")
    return loop._found(view, finder, steadier, squares), handed


def test_a_view_is_handed_to_the_finder_and_to_whom_else_it_concerns():
    view = passes._View(7, 0.14, "luma", "blue", None)
    candidates, handed = found(a_pass(), view)
    assert candidates == ["steadied square of one", "steadied square of two"]
    assert handed == [("push", 7, 0.14, "luma", "blue")]
    also = []
    loop = a_pass(also=lambda *given: also.append(given), narrowed=True)
    _, handed = found(loop, replace(view, shown="shown"))
    assert also == [(7, 0.14, "luma", "blue")]
    assert handed == ["narrow", ("see", 7, "shown"), ("push", 7, 0.14, "luma", "blue")]
    assert found(loop, None) == ([], [])


@pytest.mark.parametrize(("span", "begun"), [(None, []), ((0, 9), []), ((1, 9), ["luma 0"])])
def test_a_part_of_a_clip_is_held_against_the_clips_first_frame(monkeypatch, span, begun):
    made, seen = [], []

    class Steadier:
        def __init__(self, *given):
            made.append(given)

        def begin(self, luma):
            seen.append(luma)

    monkeypatch.setattr(passes, "Steadier", Steadier)
    frames = [SimpleNamespace(luma=f"luma {n}") for n in range(9)]
    monkeypatch.setattr(passes, "frames", lambda facts: iter(frames))
    loop = a_pass(span=span, every=2)
    loop._steadier()
    assert seen == begun
    camera, step_s, rotation_deg, beginning, drawn_part = made[0]
    assert (camera, step_s, rotation_deg) == (CAMERA, pytest.approx(0.04), 0)
    assert list(beginning()) == ["luma 0", "luma 2", "luma 4", "luma 6", "luma 8"]
    assert drawn_part == passes._drawn(SETTINGS)


def test_of_several_passes_those_that_stop_with_the_motion_follow_the_first(monkeypatch):
    """Where that looks at every frame through the same camera."""
    monkeypatch.setattr(passes, "Led", lambda leader: ("led", leader))
    monkeypatch.setattr(FramePass, "_steadier", lambda loop: id(loop))
    first, still, moving = a_pass(), a_pass(while_still=True), a_pass()
    other = replace(a_pass(while_still=True), camera=calibrated(1.01))
    found = passes._steadiers([first, still, moving, other])
    assert found == [id(first), ("led", id(first)), id(moving), id(other)]
    rare = a_pass(every=2)
    assert passes._steadiers([rare, still]) == [id(rare), id(still)]


def test_shots_are_reported_as_they_come_and_rejected_candidates_are_not():
    reported = []
    shot = object.__new__(passes.MeasuredShot)
    for observers in (Observers(on_shot=reported.append), Observers()):
        observers.found(shot)
        observers.found(object.__new__(passes.RejectedCandidate))
    assert reported == [shot]


# --- a second pass over a part


@pytest.mark.parametrize(
    ("begin_s", "end_s", "span"),
    # 2 lags of 2 frames and 12 more, at 20 ms, before it.
    [(1.01, 2.01, (35, 101)), (0.1, 0.5, (0, 25)), (3.0, 9.0, (134, 199))],
)
def test_a_part_is_read_from_its_learning_to_its_end(monkeypatch, begin_s, end_s, span):
    loops = []

    def gathered(windows, loop, observers):
        loops.append(loop)
        return [["candidates"]]

    monkeypatch.setattr(second_pass, "_gathered", gathered)
    facts = a_pass().facts
    context = SimpleNamespace(facts=facts, settings=SETTINGS)
    window = Window(begin_s, end_s, None)
    assert candidates_of_part(window, context, CAMERA, None) == ["candidates"]
    assert loops[0].span == span and loops[0].settings is SETTINGS


def test_each_window_keeps_its_own_candidates_of_the_frames_that_lead_into_it(monkeypatch):
    asked = []

    class Loop:
        facts, settings = a_pass().facts, SETTINGS

        def candidates(self, observers):
            asked.append(observers)
            for n in range(200):
                if self.wanted(0.02 * n):
                    yield shown(n, 0.02 * n, corners=((n, 0), (n, 50)))

    loop = Loop()
    first = Window(1.0, 1.1, lambda each: np.array([True, False]))
    second = Window(1.06, 2.0, lambda each: np.array([False, True]))
    one, two = second_pass._gathered([first, second], loop, Observers(progress="progress"))
    # Sixteen frames lead in.
    assert [each.frame for each in one] == list(range(34, 56))
    assert [each.frame for each in two] == list(range(37, 101))
    assert all(each.pixels.tolist() == [[each.frame + 4.0, 4.0]] for each in one)
    assert all(each.pixels.tolist() == [[each.frame + 4.0, 54.0]] for each in two)
    assert asked[0].progress == "progress"
    assert loop.wanted(0.68) and not loop.wanted(0.67) and not loop.wanted(2.01)


@pytest.mark.parametrize(("width", "px"), [(1920, 60.0), (3840, 120.0), (640, 60.0)])
def test_candidates_are_kept_within_sixty_pixels_of_a_usual_frame(width, px):
    assert reach_px(SimpleNamespace(size_px=(width, 100))) == pytest.approx(px)


# --- scouting along another pass


def scouts(**changes):
    """Two scouts of a clip, one of them fed where the other pass allows."""
    facts = SimpleNamespace(
        size_px=(640, 480),
        file_fps=60.0,
        frame_count=9,
        pace=1.0,
        times_s=np.arange(9.0),
        file_times_s=None,
    )
    found = Scouting([facts, facts], CAMERA, falls_only=True)
    own = found._scouts[0].loop.settings
    loop = SimpleNamespace(
        every=1, wanted=None, timing=SimpleNamespace(repeats=None), moves=False, narrowed=False,
        settings=replace(own, **{
            k: v for k, v in changes.items() if k in ("lag", "most", "diameter_px")
        }),
    )  # fmt: skip
    for name, value in changes.items():
        if name not in ("lag", "most", "diameter_px"):
            setattr(loop, name, value)
    found.feed_by(loop)
    return found, loop


@pytest.mark.parametrize(
    "changes",
    [
        {"every": 2},
        {"wanted": lambda time_s: True},
        {"timing": SimpleNamespace(repeats=np.zeros(9, bool))},
        {"lag": 2},
        {"most": 40},
        {"diameter_px": 8.0},
    ],
)
def test_a_scout_is_fed_only_by_a_pass_that_finds_what_it_looks_for(changes):
    found, loop = scouts(**changes)
    assert len(found.loops) == 2 and not loop.settings.everywhere
    found.push_fed(SimpleNamespace(everywhere="all"))
    for smaller in ({}, {"diameter_px": 3.0}):
        found, loop = scouts(**smaller)
        assert len(found.loops) == 1 and loop.settings.everywhere
        assert found.loops[0] is found._scouts[1].loop


def pushed(found):
    """Note what each scout is given."""
    noted = ([], [])
    for scout, into in zip(found._scouts, noted, strict=True):
        scout.push = into.append
    return noted


def fed(everywhere="all", steadied=None):
    return SimpleNamespace(
        everywhere=everywhere, steadied=steadied, in_whole_frame=lambda: "in the whole frame"
    )


def test_a_fed_scout_takes_what_is_found_in_the_whole_frame_and_the_other_its_own():
    found, _ = scouts()
    first, second = pushed(found)
    found.push_fed(fed())
    found.push_fed(fed(everywhere=None))
    found.push(0, "own")
    assert (first, second) == (["in the whole frame"], ["own"])
    apart, _ = scouts(every=2)
    first, second = pushed(apart)
    apart.push_fed(fed())
    apart.push(0, "own")
    apart.push(1, "other")
    assert (first, second) == (["own"], ["other"])


def test_scouts_stop_where_the_camera_moves_and_want_nothing_more():
    found, loop = scouts()
    first, _ = pushed(found)
    assert not found.stopped and not loop.narrowed
    found.push_fed(fed(steadied="moved"))
    assert found.stopped and loop.narrowed and found.loops[0].stopped
    found.push_fed(fed())
    assert first == []


def test_a_scout_that_is_stopped_or_whose_feeder_moves_says_nothing_of_the_whole_clip():
    found, loop = scouts()
    loop.moves = True
    assert found.stopped
    found, loop = scouts()
    found.loops[0].stopped = True
    assert found.stopped
    alone, _ = scouts(every=2)
    assert not alone.stopped
    alone.stop()
    assert alone.stopped and all(each.stopped for each in alone.loops)


def summed_up(
    monkeypatch, cadence, *, repeats=0.0, moves=False, notes=("decoder",), lost=0.2, renews=False
):
    monkeypatch.setattr(scouting, "_thrown", lambda arcs, *_: (["slow", "fast"], (1,), (0,)))
    monkeypatch.setattr(scouting, "is_slow_fall", lambda arc, *_: arc == "slow")
    found, _ = scouts(every=2)
    scout = found._scouts[0]
    scout._search = SimpleNamespace(finish=lambda: [])
    scout._notes = ["earlier"]
    scout.loop.notes = list(notes)
    scout.loop.moves, scout.loop.lost_s, scout.loop.lost_share = moves, [0.5], lost
    scout._renews = renews
    base = SimpleNamespace(
        cadence=cadence, explanation="why", repeats=np.arange(1000) < 1000 * repeats
    )
    return scout.scouted(base)


def test_what_a_scout_reports_of_a_clips_times_and_camera(monkeypatch):
    true = summed_up(monkeypatch, Cadence.TRUE)
    assert (true.notes, true.doubt) == (("decoder",), "")
    assert [each.code for each in true.doubts] == [ReasonCode.CAMERA_LOST]
    assert (true.arcs, true.throws, true.slow, true.near) == (("slow", "fast"), (1,), (0,), (0,))
    assert true.lost_s == (0.5,) and true.frame_s == pytest.approx(1.0 / 60.0)
    doubtful = summed_up(monkeypatch, Cadence.DOUBTFUL)
    assert (doubtful.notes, doubtful.doubt) == (("decoder",), "why")
    assert [each.code for each in doubtful.doubts] == [
        ReasonCode.CAMERA_LOST, ReasonCode.FRAME_TIMES,
    ]  # fmt: skip
    mended = summed_up(monkeypatch, Cadence.MENDED, repeats=0.5, moves=True)
    assert (mended.notes, mended.doubt) == (("earlier", scouting.MOVED_NOTE), "")
    assert summed_up(monkeypatch, Cadence.TRUE, repeats=0.03).notes == ("decoder",)
    assert summed_up(monkeypatch, Cadence.TRUE, repeats=0.031).notes == ("decoder", "why")


def thrown(monkeypatch, arcs, *, small=None, near=()):
    """Sort paths, named by their beginnings, into throws and those seen near."""
    monkeypatch.setattr(scouting, "is_throw", lambda arc, *_: arc.name.isupper())
    monkeypatch.setattr(scouting, "part_of", lambda arc, longer, _: arc.name in longer.parts)
    monkeypatch.setattr(scouting, "same_ball", lambda arc, other, _: arc.name in other.parts)
    offered = []
    sizes = SimpleNamespace(
        small=None if small is None else SimpleNamespace(throws=lambda some: list(small)),
        near=SimpleNamespace(throws=lambda some: offered.append(some) or list(near)),
    )
    every, throws, seen_near = scouting._thrown(arcs, sizes, 640, 0.02)
    names = [each.name for each in every]
    return names, [names[at] for at in throws], [names[at] for at in seen_near], [
        each.name for each in offered[0]
    ]  # fmt: skip


def named(name, begin_s, parts=""):
    return SimpleNamespace(name=name, times_s=np.array([begin_s, 9.0]), parts=parts)


def test_throws_of_all_sizes_are_in_order_of_time_and_each_ball_is_one(monkeypatch):
    arcs = [named("A", 1.0), named("b", 2.0), named("C", 3.0)]
    usual = (["A", "b", "C"], ["A", "C"], [], ["A", "C"])
    assert thrown(monkeypatch, arcs) == usual
    assert thrown(monkeypatch, arcs, small=[]) == usual
    # A small ball's path takes the place of those that are parts of it.
    found = thrown(monkeypatch, arcs, small=[named("S", 0.5, parts="bC")])
    assert found == (["S", "A"], ["S", "A"], [], ["A", "S"])
    # A near one stands beside what is its own ball's, which is no throw then.
    found = thrown(monkeypatch, arcs, near=[named("N", 2.5, parts="A")])
    assert found == (["A", "b", "N", "C"], ["N", "C"], ["N"], ["A", "C"])


@pytest.mark.parametrize(
    ("lost", "renews", "all_lost"), [(0.67, True, True), (0.66, True, False), (1.0, False, False)]
)
def test_a_camera_that_hardly_a_look_could_follow_is_lost_throughout(
    monkeypatch, lost, renews, all_lost
):
    """Whatever frames the next ones were held against in between."""
    found = summed_up(monkeypatch, Cadence.TRUE, lost=lost, renews=renews)
    assert found.lost_s == (tuple(range(9)) if all_lost else (0.5,))
