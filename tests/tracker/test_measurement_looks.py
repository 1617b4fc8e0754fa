"""Which frames and pictures a measurement looks at, and what it takes over from look to look."""

from itertools import count
from types import SimpleNamespace
from typing import ClassVar

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from calibration.errors import InputError
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tests.tracker.test_measurement_steady_rules import CAMERA
from tests.tracker.test_measurement_tracing import bounces, frames_of, hypothesis, pictures
from tracker.measurement import hop_fit, scouting, steadying, tracing
from tracker.measurement.sighting import LOST_FRAMES, SAME_S
from tracker.measurement.starts import ends, field, gravity_scale
from tracker.measurement.starts.ends import BACK_S, ONWARD_S, Ends
from tracker.measurement.steadying import Steadier
from tracker.records import Rejection

KNOWN = circumstances(calibrated())


@pytest.mark.parametrize(
    ("off_u", "near"), [(0.5, [False, True, True]), (-25.0, [False, True])], ids=["own", "another"]
)
def test_only_the_first_fit_of_a_flight_starts_far_from_it(monkeypatch, off_u, near):
    """Each goes on from the one before it; only a bounce of its own gives cause for a third."""
    case = drawn(np.random.default_rng(2), KNOWN)
    pictures(monkeypatch, case)
    bounces(monkeypatch, case, off_u, float(case.track.times_s[-1]) + 0.01)
    fit, said, starts, ended = tracing.fit_given_gusts, [], [], []

    def noted(known, observed, start, near=False):
        said.append(near)
        starts.append(start)
        ended.append(fit(known, observed, start, near=near))
        return ended[-1]

    monkeypatch.setattr(tracing, "fit_given_gusts", noted)
    traced = tracing.trace(clip_context(KNOWN), hypothesis(case), frames_of(case))
    assert said == near
    assert all(start is fitted.parameters for start, fitted in zip(starts[1:], ended, strict=False))
    assert (traced.observed.landed_s is None) == (off_u != 0.5)


class Refined:
    """A reference frame that notes what it is refined with; one sight of seven is none."""

    made: ClassVar[list["Refined"]] = []

    def __init__(self, luma, camera, *_):
        self.camera, self.sights, self.straightened = camera, [], []
        Refined.made.append(self)

    def straighten(self, *held):
        self.straightened.append(held)

    def sight(self, luma, frame):
        assert luma == frame
        return None if frame == 7 else frame

    def refine(self, sights):
        self.sights.append(sights)
        self.camera = "refined"

    def take(self, camera):
        self.camera = camera


def test_the_beginning_refines_a_moving_camera_by_every_third_frame_after_the_first(monkeypatch):
    monkeypatch.setattr(Refined, "made", [])
    monkeypatch.setattr(steadying, "SteadyReference", Refined)
    steadier = Steadier(CAMERA, 1 / 60, beginning=lambda: iter(count()))
    monkeypatch.setattr(steadier, "_rolled", lambda camera, _: ("held by", camera), raising=False)
    reference = Refined(0, CAMERA)
    steadier._straighten(reference)
    fresh = Refined.made[1]
    begun = max(steadying.START_FRAMES, round(60 * steadying.BEGINNING_S))
    assert fresh.sights == [[each for each in range(1, begun + 1, 3) if each != 7]]
    assert fresh.straightened == [("held by", CAMERA)]
    # What is drawn against is held by the camera that this gave.
    assert reference.camera == "refined" and reference.straightened == [("held by", "refined")]


@pytest.mark.parametrize("frames", [0, 1])
def test_a_beginning_of_no_frame_or_without_texture_changes_nothing(monkeypatch, frames):
    steadier = Steadier(CAMERA, 1 / 60, beginning=lambda: iter(range(frames)))

    def plain(*_):
        raise InputError("has no texture", where="clip", remedy="none")

    monkeypatch.setattr(steadying, "SteadyReference", plain)
    monkeypatch.setattr(steadier, "_rolled", lambda *_: (), raising=False)
    reference = SimpleNamespace()
    steadier._straighten(reference)
    assert vars(reference) == {}


FIRST_S, LAST_S = 1.0, 2.0


FAST = np.full(11, 20.0)
"""A launch too fast for a toss, whose beginning is in a hand."""


def seen(monkeypatch, *, is_near=False, after=LOST_FRAMES, measured=8, launch=FAST):
    """Look along a flight; return its positions, its ends and what was asked on the way."""
    times = [FIRST_S - BACK_S - 0.01, FIRST_S - BACK_S + 0.01, *np.linspace(1.0, 2.0, 6)]
    times += [*(LAST_S + SAME_S + 0.05 * (1 + np.arange(after))), LAST_S + ONWARD_S + 0.01]
    candidates = [SimpleNamespace(frame=n, time_s=time) for n, time in enumerate(times)]
    asked = SimpleNamespace(agrees=[])

    def sighted(context, camera, course, shown, exposure):
        asked.shown, asked.exposure = [each.time_s for each in shown], exposure
        kept = np.array([each.time_s for each in shown])[:measured]
        return SimpleNamespace(times_s=kept, frames=np.arange(len(kept))), 0.4

    def until(shown, track, agrees, at_s, forward):
        asked.agrees.append(agrees.tolist())
        return at_s

    part = SimpleNamespace(part=lambda kept: SimpleNamespace(kept=kept))
    for name, instead in {
        "course_along": lambda context, flight, near: (near, None),
        "sighted": sighted,
        "agreeing": lambda track, shown, course: np.ones(len(track.frames), bool),
        "_alike": lambda track, first_s, last_s: track.times_s >= first_s,
        "seen_until": until,
        "Observations": lambda *_: part,
    }.items():
        monkeypatch.setattr(ends, name, instead)
    context = SimpleNamespace(
        with_circumstances=lambda known: None,
        row_share_of=lambda _: None,
        settings=SimpleNamespace(diameter_px=30.0),
    )
    known = SimpleNamespace(forces=SimpleNamespace(gravity_mps2=9.81))
    flight = SimpleNamespace(known=known, camera=None, launch=launch)
    before = Ends(FIRST_S, LAST_S, lost=False, exposure=0.3)
    observed, found = ends.seen_along(is_near, flight, context, candidates, before)
    return observed, found, asked, times


@pytest.mark.parametrize(("share", "led"), [(0.99, True), (1.01, False)])
def test_a_slow_near_throw_begins_where_the_hand_lets_go(monkeypatch, share, led):
    """Slow is its velocity alone: 3 s of gravity at most (common practice, no source)."""
    launch = np.full(11, 40.0)
    launch[3:6] = share * 3.0 * 9.81 * np.array([0.6, 0.0, 0.8])
    monkeypatch.setattr(ends, "_let_go_s", lambda *_: 1.3)
    observed, found, _, _ = seen(monkeypatch, is_near=True, launch=launch)
    assert found.first_s == (1.3 if led else FIRST_S)
    assert observed.kept.sum() == (4 if led else 6)


def test_a_ball_is_measured_from_a_tenth_before_its_path_to_a_second_after(monkeypatch):
    observed, found, asked, times = seen(monkeypatch)
    assert asked.shown == times[1:-1]
    assert asked.exposure == 0.3 and found.exposure == 0.4
    # Of what was measured only what lies within the ends is kept.
    assert observed.kept.tolist() == [False, *[True] * 6, False]
    assert (found.first_s, found.last_s) == (FIRST_S, LAST_S)


@pytest.mark.parametrize("is_near", [True, False])
def test_only_a_near_ball_must_look_the_same_beyond_its_path(monkeypatch, is_near):
    _, _, asked, _ = seen(monkeypatch, is_near=is_near)
    assert asked.agrees == [[not is_near, *[True] * 7]] * 2


@pytest.mark.parametrize(("after", "lost"), [(LOST_FRAMES, True), (LOST_FRAMES - 1, False)])
def test_a_ball_is_lost_inside_the_frame_where_frames_follow_without_it(monkeypatch, after, lost):
    assert seen(monkeypatch, after=after)[1].lost == lost


def test_a_flight_of_which_hardly_a_picture_is_a_balls_is_none(monkeypatch):
    assert seen(monkeypatch, measured=6)[1].exposure == 0.4
    with pytest.raises(Rejection) as raised:
        seen(monkeypatch, measured=5)
    (reason,) = raised.value.reasons
    assert reason.numbers == {"count": 5, "crossed": 7 + LOST_FRAMES}


@pytest.mark.parametrize("hop", [None, "a hop"])
@pytest.mark.parametrize("landed_s", [None, (2.0, 0.03)])
def test_only_a_hop_shows_a_landing(hop, landed_s):
    """A ball that is lost low and falling has a landing, and nobody saw it."""
    observed = SimpleNamespace(landed_s=landed_s)
    flight = SimpleNamespace(throw=SimpleNamespace(hop=hop))
    wanted = hop is not None and landed_s is not None
    assert gravity_scale._landing_seen(observed, flight) is wanted


def first_fits(monkeypatch, outcomes):
    """Fit a path from each guess with these outcomes; return the chosen one and the distances."""
    asked = []
    script = iter(outcomes)

    def fit(*_):
        outcome = next(script)
        if isinstance(outcome, Exception):
            raise outcome
        return outcome

    for name, instead in {
        "loosened": lambda *_: known,
        "first_track": lambda *_: None,
        "Observations": lambda *_: None,
        "_first_launch": lambda known, track, began_s, away_m: asked.append(away_m),
        "fit_flight": fit,
        "Flight": lambda throw, known, fitted: fitted,
        "_cost": lambda fitted: fitted.cost,
    }.items():
        monkeypatch.setattr(field, name, instead)
    known = SimpleNamespace(
        camera=SimpleNamespace(focal_px=1000.0), forces=SimpleNamespace(gravity_mps2=9.81)
    )
    arc = SimpleNamespace(acceleration_pxps2=np.array([0.0, 327.0]))
    throw = SimpleNamespace(arc=arc, hop=None)
    context = SimpleNamespace(circumstances=None, row_share_of=lambda _: None)
    spot, beginning = SimpleNamespace(prior=None), SimpleNamespace(time_s=0.0)
    return field.first_fit(context, spot, throw, beginning, 0.02), asked


def outcome(cost, settled=True, share=1.0):
    return SimpleNamespace(cost=cost, settled=settled, used=np.arange(100) < 100 * share)


ALL_BUT = field.NEARLY_ALL


@pytest.mark.parametrize(
    "hardly", [{"settled": False}, {"share": ALL_BUT}, {"settled": False, "share": 0.2}]
)
def test_a_first_fit_is_tried_from_further_off_until_one_settles_on_nearly_all(monkeypatch, hardly):
    """Gravity says how far off: 30 m for a fall of 327 px/s² through a focal length of 1000 px."""
    good = outcome(3.0, share=ALL_BUT + 0.02)
    found, asked = first_fits(monkeypatch, [outcome(5.0, **hardly), good])
    assert found is good
    assert asked == pytest.approx([30.0 * guess for guess in field.GUESSES[:2]])


def test_of_first_fits_that_explain_little_the_cheapest_stands(monkeypatch):
    costs = [8.0, 2.0, *(9.0 for _ in field.GUESSES[2:])]
    tried = [outcome(cost, settled=False) for cost in costs]
    found, asked = first_fits(monkeypatch, tried)
    assert found is tried[1] and len(asked) == len(field.GUESSES)


def test_guesses_from_which_nothing_fits_are_passed_over(monkeypatch):
    good = outcome(1.0)
    faults = [NotDetermined("x"), np.linalg.LinAlgError("x")]
    assert first_fits(monkeypatch, [faults[0], good])[0] is good
    assert first_fits(monkeypatch, [faults[1], good])[0] is good
    with pytest.raises(NotDetermined, match="no flight through the air"):
        first_fits(monkeypatch, [faults[0]] * len(field.GUESSES))


@pytest.mark.parametrize(
    ("fps", "every"), [(30.0, 1), (60.0, 1), (89.0, 1), (91.0, 2), (120.0, 2), (240.0, 4)]
)
def test_a_clip_is_scouted_at_about_sixty_frames_a_second(monkeypatch, fps, every):
    monkeypatch.setattr(scouting, "frame_interval_s", lambda _: 1.0 / fps)
    monkeypatch.setattr(scouting, "Timing", SimpleNamespace(of_file=lambda _: None))
    monkeypatch.setattr(scouting._Scout, "_begin", lambda _: None)
    scout = scouting._Scout(None, CAMERA, None)
    assert (scout._every, scout._frame_s) == (every, pytest.approx(every / fps))


def test_the_first_look_along_a_flight_is_at_few_frames_and_the_second_at_all(monkeypatch):
    case = drawn(np.random.default_rng(2), KNOWN)
    looked = []

    def sighted(context, camera, course, frames, exposure, light=None):
        looked.append([each.frame for each in frames])
        return case.track, 0.5

    monkeypatch.setattr(tracing, "sighted", sighted)
    monkeypatch.setattr(tracing, "find_bounce", lambda *_: None)
    tracing.trace(clip_context(KNOWN), hypothesis(case), frames_of(case))
    few, whole = looked
    step = len(whole) // tracing.FIRST_FRAMES
    assert step > 1
    assert set(np.diff(few)) == {step} and set(np.diff(whole)) == {1}


def test_a_hop_shows_from_its_bounce_for_a_while(monkeypatch):
    """By the time at which the ball's row is read, 3 ms after the frame's begin."""
    after_s, bounced_s = hop_fit.AFTER_S, 1.0
    late = np.array([-0.004, -0.002, 0.1, after_s - 0.004, after_s - 0.002])
    frames = [SimpleNamespace(time_s=time) for time in bounced_s + late]
    landing = SimpleNamespace(
        readout_s=0.01, camera=SimpleNamespace(project=lambda points: points[:, :2])
    )
    context = SimpleNamespace(rows_s=lambda times, pixels, readout_s: times + 0.003)
    monkeypatch.setattr(hop_fit, "hop_pixels", lambda _, state, times: np.zeros((1, len(times), 2)))
    monkeypatch.setattr(hop_fit, "hop_states", lambda _, state, times: np.ones((1, len(times), 6)))
    monkeypatch.setattr(hop_fit, "in_frame", lambda camera, shown, course: (shown, course))
    shown, course = hop_fit._course(context, landing, np.array([bounced_s, 0, 0, 0]), frames)
    assert shown == frames[1:4]
    assert np.array_equal(course.times_s, bounced_s + late[1:4])
