"""Why there is no shot, rule by rule."""

from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import SIZE_PX, calibrated, circumstances
from tracker.flight.forces import Forces
from tracker.following.arcs import fit_arc
from tracker.measurement.starts import diagnosis
from tracker.measurement.starts.diagnosis import (
    candidates_of,
    causes_in,
    likeliest,
    restated_candidates,
    scouting_along,
)
from tracker.measurement.starts.field import field_of
from tracker.measurement.starts.hypotheses import (
    Hypothesis,
    can_explain,
    hypotheses,
    scaled_circumstances,
    scaled_context,
)
from tracker.measurement.throws import Throw
from tracker.records import Reason, ReasonCode, RejectedCandidate

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)
FIELD = field_of([(0, 0, 0), (30, 0, 0), (20, 6, 0)])
FRAME_S = 1.0 / 60.0


def arc(count=20, begin_s=1.0, fall=300.0):
    times = begin_s + np.arange(count) * FRAME_S
    since = times - begin_s
    pixels = np.column_stack([500.0 + 200.0 * since, 300.0 + 0.5 * fall * since**2])
    return fit_arc(np.column_stack([np.rint(times / FRAME_S), times, pixels]), FRAME_S)


def scouted(*arcs, slow=()):
    timing = SimpleNamespace(times_s=np.arange(60) * FRAME_S)
    return SimpleNamespace(
        arcs=arcs, slow=slow, frame_s=FRAME_S, timing=timing, sound_share=1.0
    )  # fmt: skip


def shot(release_s, flight_s=1.0, *codes):
    reasons = tuple(reason(each) for each in codes)
    return SimpleNamespace(release_s=release_s, flight_time_s=flight_s, reasons=reasons)


def paced(pace=1.0):
    facts = SimpleNamespace(size_px=SIZE_PX, pace=pace)
    known = {"camera": KNOWN.camera, "circumstances": KNOWN}
    return SimpleNamespace(facts=facts, frame_s=pace * FRAME_S, **known)


# --- paths that may show a cause


def test_the_four_longest_paths_that_fall_and_do_not_roll_are_tried(monkeypatch):
    """Of twelve positions and more, those that fall slowly among them."""
    asked = []
    paths = [arc(count) for count in (11, 12, 30, 18, 25, 40, 22)]
    thrown = [Throw(each, None) for each in paths[:5]]

    def throws_of(found, width_px, part):
        asked.append((width_px, part))
        return thrown

    monkeypatch.setattr(diagnosis, "throws_of", throws_of)
    monkeypatch.setattr(diagnosis, "rolls", lambda path, camera: len(path.frames) == 40)
    found = candidates_of(scouted(*paths, slow=(5, 6)), CONTEXT)
    assert [len(each.arc.frames) for each in found] == [30, 25, 22, 18]
    assert asked == [(SIZE_PX[0], diagnosis.trimmed_throw)]
    monkeypatch.setattr(diagnosis, "rolls", lambda *_: False)
    thrown[:] = thrown[:2]
    assert [len(each.arc.frames) for each in candidates_of(scouted(), CONTEXT)] == [12]
    slow = candidates_of(scouted(*paths, slow=(5, 6)), CONTEXT)
    assert [len(each.arc.frames) for each in slow] == [40, 22, 12]
    assert all(each.hop is None for each in slow if len(each.arc.frames) > 12)


def test_paths_of_a_clip_at_life_speed_are_restated_in_the_stated_times(monkeypatch):
    path = arc()
    monkeypatch.setattr(diagnosis, "candidates_of", lambda *_: [Throw(path, path)])
    (found,), frame_s = restated_candidates(scouted(), None, 8.0)
    assert frame_s == pytest.approx(8.0 * FRAME_S) and found.hop is None
    np.testing.assert_allclose(found.arc.times_s, 8.0 * path.times_s)
    np.testing.assert_array_equal(found.arc.frames, path.frames)
    np.testing.assert_allclose(found.arc.pixels, path.pixels)
    assert found.arc.acceleration_pxps2[1] == pytest.approx(300.0 / 64.0, rel=1e-6)


def test_scouts_for_a_cause_look_for_falls_and_stop_where_the_camera_moves(monkeypatch):
    made = []

    class Scouting:
        def __init__(self, clips, camera, falls_only):
            made.append(([each.pace for each in clips], camera, falls_only))
            self.loops = [SimpleNamespace(while_still=False) for _ in clips]

    monkeypatch.setattr(diagnosis, "Scouting", Scouting)
    monkeypatch.setattr(
        diagnosis, "otherwise_paced", lambda context: paced(8.0 * context.facts.pace)
    )
    found = scouting_along(paced(1.5))
    assert made == [([1.5, 12.0], KNOWN.camera, True)]
    assert [each.while_still for each in found.loops] == [True, True]


# --- the causes of a clip


def caused(monkeypatch, throws, *, slow=(), causes=(), rejected=(), short=(), pace=1.0):
    """Return the causes of paths of which each has so likely a cause; and what was tried."""
    tried = []
    given = iter(causes)

    def likely(context, field, throw, frame_s, own):
        tried.append((throw, frame_s, own))
        return next(given, None)

    monkeypatch.setattr(diagnosis, "otherwise_paced", lambda context: paced(8.0 * pace))
    monkeypatch.setattr(diagnosis, "candidates_of", lambda found, context: list(throws))
    monkeypatch.setattr(
        diagnosis,
        "restated_candidates",
        lambda found, context, times: (list(slow), times * FRAME_S),
    )
    monkeypatch.setattr(diagnosis, "likeliest", likely)
    return causes_in(scouted(), scouted(), paced(pace), FIELD, rejected, short), tried


def reason(code, **numbers):
    return Reason(code, numbers)


FEET, BACKWARD = Reason(ReasonCode.TAPED_IN_FEET), Reason(ReasonCode.NO_FIT)


def test_of_several_causes_the_likeliest_is_stated_alone(monkeypatch):
    throws = [Throw(arc(), None)] * 3
    found, tried = caused(monkeypatch, throws, causes=[(7.0, BACKWARD), None, (3.0, FEET)])
    assert found == (FEET,)
    assert [(frame_s, own) for _, frame_s, own in tried] == [(FRAME_S, True)] * 3


def test_slow_paths_are_tried_where_nothing_falls_at_the_stated_pace(monkeypatch):
    slow = [Throw(arc(), None)]
    found, tried = caused(monkeypatch, [], slow=slow, causes=[(1.0, FEET)])
    assert found == (FEET,) and tried == [(slow[0], 8.0 * FRAME_S, True)]
    _, tried = caused(monkeypatch, [Throw(arc(30), None)], slow=slow)
    assert len(tried) == 1 and tried[0][0] is not slow[0]


def test_a_clip_with_a_rejected_row_alone_says_so(monkeypatch):
    rows = [shot(2.5), shot(9.0)]
    only = (reason(ReasonCode.ONLY_REJECTED, release_s=2.5),)
    assert caused(monkeypatch, [], rejected=rows)[0] == only
    throws = [Throw(arc(), None)]
    assert caused(monkeypatch, throws, rejected=rows)[0] == only
    assert caused(monkeypatch, throws, rejected=rows, causes=[(1.0, FEET)])[0] == (FEET,)
    assert caused(monkeypatch, [])[0] == (reason(ReasonCode.NOTHING_FALLS),)
    otherwise = reason(ReasonCode.FALLS_OTHERWISE, release_s=2.0)
    assert caused(monkeypatch, [Throw(arc(begin_s=1.0), None)], pace=2.0)[0] == (otherwise,)


@pytest.mark.parametrize(
    ("begin_s", "own"),
    [(0.74, True), (0.76, False), (1.5, False), (3.49, False), (3.51, True)],
)
def test_what_begins_while_a_rejected_row_flies_or_hops_did_not_start_elsewhere(
    monkeypatch, begin_s, own
):
    """A quarter of a second before its release at 1 s, to one and a half after its landing."""
    for pace in (1.0, 2.0):
        rejected = [shot(50.0 * pace), shot(1.0 * pace)]
        throw = Throw(arc(begin_s=begin_s), None)
        _, tried = caused(monkeypatch, [throw], rejected=rejected, pace=pace)
        assert tried[0][2] is own
    never = [shot(1.0, None)]
    _, tried = caused(monkeypatch, [Throw(arc(begin_s=2.49), None)], rejected=never)
    assert tried[0][2] is False
    _, tried = caused(monkeypatch, [Throw(arc(begin_s=2.51), None)], rejected=never)
    assert tried[0][2] is True


@pytest.mark.parametrize(
    ("code", "begin_s", "may"),
    [
        (ReasonCode.SOMETHING_ELSE, 1.24, True),
        (ReasonCode.SOMETHING_ELSE, 0.76, True),
        (ReasonCode.SOMETHING_ELSE, 1.26, False),
        (ReasonCode.CAMERA_LOST, 1.24, False),
    ],
)
def test_a_row_that_something_else_explains_may_be_a_ball_from_elsewhere(
    monkeypatch, code, begin_s, may
):
    for pace in (1.0, 2.0):
        rejected = [shot(1.0 * pace, 1.0, code)]
        throw = Throw(arc(begin_s=begin_s), None)
        _, tried = caused(monkeypatch, [throw], rejected=rejected, pace=pace)
        assert tried[0][2] is may


def brief(release_s=1.0, support=20.0, seen=8, code=ReasonCode.CHANCE):
    """A flight from the release, one second long, that the search rejected."""
    times = release_s + np.linspace(0.0, 1.0, 9)
    return RejectedCandidate("a.mp4", release_s, support, seen, 13, (reason(code),), times, None)


def test_a_flight_from_the_release_that_shows_too_briefly_is_the_cause(monkeypatch):
    """A net stopped the ball: what drops from it did not start there."""
    said = reason(
        ReasonCode.FALLS_BRIEFLY, release_s=1.0, lasts_s=8 * FRAME_S, frames=8.0, least_s=0.25,
        least=12.0,
    )  # fmt: skip
    for throws in ([], [Throw(arc(begin_s=1.5), None)]):
        assert caused(monkeypatch, throws, short=[brief()])[0] == (said,)
    found, tried = caused(
        monkeypatch, [Throw(arc(begin_s=1.5), None)], short=[brief()], causes=[(1.0, FEET)]
    )
    assert found == (FEET,) and tried[0][2] is False
    for begin_s, own in ((3.49, False), (3.51, True)):
        _, tried = caused(monkeypatch, [Throw(arc(begin_s=begin_s), None)], short=[brief()])
        assert tried[0][2] is own
    (slower,) = caused(monkeypatch, [], short=[brief()], pace=2.0)[0]
    assert slower.numbers["lasts_s"] == pytest.approx(16 * FRAME_S)


@pytest.mark.parametrize(
    "lacking", [{"support": 13.9}, {"seen": 12}, {"code": ReasonCode.DETECTIONS_SHARE}]
)
def test_what_lacks_more_than_frames_was_not_seen_briefly(monkeypatch, lacking):
    found, _ = caused(monkeypatch, [], short=[brief(**lacking)])
    assert found == (reason(ReasonCode.NOTHING_FALLS),)
    rows = caused(monkeypatch, [], short=[brief()], rejected=[shot(2.5)])[0]
    assert rows == (reason(ReasonCode.ONLY_REJECTED, release_s=2.5),)


# --- what may have been written wrongly


def flight(cost=0.0, speed=20.0, **fit):
    """A fitted flight of the given departure from its priors, at a scale that adds no cost."""
    fitted = SimpleNamespace(used=np.ones(10), scale=1.0, settled=True, **fit)
    launch = np.array([0.0, 0.0, 0.8, speed, 0.0, 0.0])
    return SimpleNamespace(
        prior_chi_square=cost, fitted=fitted, launch=launch, first_s=1.25, release_s=1.0
    )


def test_each_hypothesis_is_tried_from_the_release_and_from_anywhere(monkeypatch):
    """A start may lie a metre along the line and half a metre beside or above it."""
    asked = []

    def fitted(context, spot, throw, frame_s, late_s):
        gravity = context.circumstances.forces.gravity_mps2
        asked.append((spot.prior, gravity, late_s))
        return None

    monkeypatch.setattr(diagnosis, "_fitted", fitted)
    monkeypatch.setattr(diagnosis, "can_explain", lambda *_: True)
    throw = Throw(arc(), None)
    assert likeliest(CONTEXT, FIELD, throw, FRAME_S) is None
    count = len(hypotheses(CONTEXT))
    assert len(asked) == 2 * count
    own = KNOWN.forces.gravity_mps2
    for (prior, gravity, late_s), hypothesis in zip(asked, 2 * hypotheses(CONTEXT), strict=True):
        assert gravity == pytest.approx(own / hypothesis.unit_m / hypothesis.slower**2)
        if prior.u_m.tolist() == [1.0, 0.5, 0.5]:
            np.testing.assert_array_equal(prior.place_m, KNOWN.release_m)
            assert late_s == pytest.approx(0.3 * hypothesis.slower)
        else:
            np.testing.assert_array_equal(prior.u_m, FIELD.prior.u_m)
            assert late_s == 0.0
    assert sum(prior.u_m[0] == 1.0 for prior, *_ in asked) == count


def test_only_what_gravity_places_near_the_field_is_fitted(monkeypatch):
    asked = []
    monkeypatch.setattr(diagnosis, "_fitted", lambda *given: asked.append(given))
    monkeypatch.setattr(
        diagnosis, "can_explain", lambda hypothesis, *_: hypothesis.reason is not None
    )
    assert likeliest(CONTEXT, FIELD, Throw(arc(), None), FRAME_S) is None
    assert len(asked) == 2 * (len(hypotheses(CONTEXT)) - 1)


def explained(monkeypatch, line, field=(None,) * 4, no_throw=None, where=None):
    """Return the likeliest cause of a path that hypotheses explain at such costs."""
    tried = [Hypothesis(None), Hypothesis(FEET), Hypothesis(SLOW), Hypothesis(SLOW)]
    given = iter([*line, *field])
    monkeypatch.setattr(diagnosis, "hypotheses", lambda _: tried)
    monkeypatch.setattr(diagnosis, "can_explain", lambda *_: True)
    monkeypatch.setattr(diagnosis, "scaled_context", lambda context, hypothesis: context)
    monkeypatch.setattr(diagnosis, "no_throw", lambda *_: no_throw)
    monkeypatch.setattr(diagnosis, "_where", lambda *_: where)

    def fitted(*_):
        cost = next(given)
        return None if cost is None else flight(cost)

    monkeypatch.setattr(diagnosis, "_fitted", fitted)
    return lambda elsewhere=True: likeliest(CONTEXT, FIELD, Throw(arc(), None), FRAME_S, elsewhere)


SLOW = Reason(ReasonCode.NO_FIT)
WIDE = 2.0 * float(np.sum(np.log(FIELD.prior.u_m / (1.0, 0.5, 0.5))))


@pytest.mark.parametrize(
    ("costs", "expected"),
    [
        ([20.0, 9.0, 8.0, None], (8.0, SLOW)),
        ([20.0, 7.0, 8.0, 9.0], (7.0, FEET)),
        ([20.0, 11.0, 11.5, 12.0], None),
        ([None, 25.0, 29.0, None], (25.0, FEET)),
        ([None, 31.0, None, None], None),
        ([None, None, None, None], None),
    ],
)
def test_the_best_of_what_is_much_better_than_what_was_written_is_the_cause(
    monkeypatch, costs, expected
):
    assert explained(monkeypatch, costs)() == expected


def test_a_start_anywhere_competes_at_the_price_of_its_freedom(monkeypatch):
    start = Reason(ReasonCode.RELEASE_ELSEWHERE)
    line = [None, 20.0, None, None]
    near, far = 20.0 - WIDE + 8.9, 20.0 - WIDE + 9.1
    found = explained(monkeypatch, line, [near, None, None, None], where=start)()
    assert found == (pytest.approx(28.9), start)
    assert explained(monkeypatch, line, [far, None, None, None], where=start)() == (20.0, FEET)
    field = [None, 1.0, None, None]
    assert explained(monkeypatch, [None] * 4, field)() == (pytest.approx(1.0 + WIDE), FEET)


def test_the_cost_counts_every_position_by_the_logarithm_of_their_scatter(monkeypatch):
    found = flight(4.0)
    found.fitted.scale, found.fitted.used = 1.5, np.repeat([1.0, 0.0], [8, 2])
    monkeypatch.setattr(diagnosis, "hypotheses", lambda _: [Hypothesis(FEET)])
    monkeypatch.setattr(diagnosis, "can_explain", lambda *given: given[-1])
    monkeypatch.setattr(diagnosis, "_fitted", lambda *_: found)
    cost, _ = likeliest(CONTEXT, FIELD, Throw(arc(), None), FRAME_S)
    assert cost == pytest.approx(4.0 + 8.0 * np.log(1.5))


@pytest.mark.parametrize("lacking", ["", "elsewhere", "throw", "where"])
def test_a_path_starts_elsewhere_where_it_is_a_throw_from_the_field(monkeypatch, lacking):
    start = Reason(ReasonCode.RELEASE_ELSEWHERE)
    found = explained(
        monkeypatch,
        [None] * 4,
        [6.0, None, None, None],
        no_throw=Reason(ReasonCode.RAGGED) if lacking == "throw" else None,
        where=None if lacking == "where" else start,
    )(lacking != "elsewhere")
    assert found == (None if lacking else (pytest.approx(6.0 + WIDE), start))


def test_a_flight_from_the_release_that_goes_backward_says_so(monkeypatch):
    """It starts where it should, so the field's freedom costs it nothing."""
    start = Reason(ReasonCode.FLIES_BACKWARD)
    assert explained(monkeypatch, [5.0, None, None, None], where=start)() == (5.0, start)


@pytest.mark.parametrize(
    ("change", "explains"),
    [
        ({}, True),
        ({"used": np.repeat([1.0, 0.0], [7, 3])}, True),
        ({"used": np.repeat([1.0, 0.0], [69, 31])}, False),
        ({"scale": 4.1}, False),
        ({"settled": False}, False),
        ({"speed": 1.6}, True),
        ({"speed": 1.4}, False),
        ({"speed": 34.0}, True),
        ({"speed": 36.0}, False),
        ({"cost": 30.0}, True),
        ({"cost": 30.1}, False),
    ],
)
def test_a_flight_explains_a_path_where_it_is_a_ball_s_at_the_true_pace(change, explains):
    """From 3 to 70 m/s, at half the stated pace."""
    own = {name: change[name] for name in ("cost", "speed") if name in change}
    fit = {name: change[name] for name in ("used", "scale", "settled") if name in change}
    found = flight(**own)
    found.fitted = SimpleNamespace(**{**vars(found.fitted), **fit})
    assert diagnosis._explains(found, Hypothesis(FEET, slower=2.0)) is explains


@pytest.mark.parametrize(("aside", "explains"), [(1.9, True), (2.1, False)])
def test_what_flies_across_the_firing_line_was_not_written_wrongly(aside, explains):
    found = flight()
    for sign in (1.0, -1.0):
        found.launch[3:6] = (5.0 * sign, -5.0 * aside, 5.0)
        assert diagnosis._explains(found, Hypothesis(FEET)) is explains
        assert diagnosis._explains(found, Hypothesis(None))
    # Straight up, so slow a drift has no direction.
    found.launch[3:6] = (0.0, 0.9, 8.0)
    assert diagnosis._explains(found, Hypothesis(FEET))


@pytest.mark.parametrize(("level", "named"), [(0.95, False), (1.05, True)])
def test_what_hops_on_the_spot_is_no_shot_from_there(level, named):
    launch = np.zeros(11)
    launch[:3] = KNOWN.release_m + np.array([4.0, 0.0, 0.0])
    launch[3:6] = level * np.array([0.6, 0.8, 0.0]) + np.array([0.0, 0.0, 3.5])
    found = SimpleNamespace(launch=launch, fitted=SimpleNamespace(covariance=1e-4 * np.eye(60)))
    assert (diagnosis._where(found, CONTEXT) is not None) is named


# --- which hypotheses are worth a fit


def falling(fall_pxps2, run_pxps=100.0, u=1.0):
    """A path of one second that falls so."""
    found = arc(60)
    return replace(
        found,
        times_s=np.linspace(0.0, 1.0, len(found.frames)),
        acceleration_pxps2=np.array([0.0, fall_pxps2]),
        velocity_pxps=np.array([run_pxps, 0.0]),
        acceleration_u_pxps2=u,
    )


def near(hypothesis, path, on_line=True):
    return can_explain(hypothesis, path, CONTEXT, FIELD, on_line)


def depths():
    """Depth of the release and of the far end of the field's line."""
    places = np.array([[0.0, 0.0, 0.8], [30.0, 0.0, 0.8]])
    return sorted(KNOWN.camera.in_camera(places)[:, 2].tolist())


def fall_at(depth_m, share=1.0):
    return KNOWN.camera.focal_px * KNOWN.forces.gravity_mps2 / depth_m * share


@pytest.mark.parametrize(("factor", "worth"), [(1.05, False), (0.95, True)])
def test_a_fit_is_worth_it_where_gravity_places_the_path_near_the_line(factor, worth):
    near_m, far_m = depths()
    written = Hypothesis(None)
    assert near(written, falling(fall_at(2.5 * factor * far_m))) is worth
    assert near(written, falling(fall_at(near_m / 2.5 / factor))) is worth
    slow = Hypothesis(SLOW, slower=2.0)
    assert near(slow, falling(fall_at(2.5 * factor * far_m, 0.25))) is worth
    feet = Hypothesis(FEET, unit_m=0.5)
    assert near(feet, falling(fall_at(2.5 * factor * far_m, 2.0))) is worth
    aside = 3.0 * float(FIELD.u_m[1])
    assert near(written, falling(fall_at(1.6 * factor * (far_m + aside))), False) is worth


def test_what_hardly_bends_is_no_slow_motion():
    slow, path = Hypothesis(SLOW, slower=4.0), fall_at(depths()[0], 1.0 / 16.0)
    assert near(slow, falling(path, path / 0.26))
    assert not near(slow, falling(path, path / 0.24))
    assert near(Hypothesis(None), falling(fall_at(depths()[0]), 1e6))
    # Where the fall itself is not shown, only the session as it is written is tried.
    assert near(Hypothesis(None), falling(1.0, u=0.6)) and not near(
        Hypothesis(FEET, unit_m=0.3), falling(1.0, u=0.6)
    )


@pytest.mark.parametrize("fault", [NotDetermined("x"), np.linalg.LinAlgError("x")])
def test_a_hypothesis_that_fits_nothing_explains_nothing(monkeypatch, fault):
    begun = []

    def fit(context, spot, throw, beginning, frame_s):
        begun.append((beginning.time_s, beginning.u_s))
        raise fault

    monkeypatch.setattr(diagnosis, "first_fit", fit)
    throw = Throw(arc(begin_s=1.5), None)
    assert diagnosis._fitted(CONTEXT, None, throw, 0.02, 0.3) is None
    ((begun_s, u_s),) = begun
    assert begun_s == pytest.approx(1.49)
    assert u_s == pytest.approx(0.3, abs=0.002) and u_s > 0.3


def test_the_session_as_written_comes_first_then_feet_then_rates():
    found = hypotheses(CONTEXT)
    assert (found[0].reason, found[0].unit_m, found[0].slower) == (None, 1.0, 1.0)
    assert (found[1].unit_m, found[1].slower) == (0.3048, 1.0)
    assert [(each.unit_m, each.slower) for each in found[2:]] == [
        (1.0, pytest.approx(2.0)), (1.0, pytest.approx(4.0)), (1.0, pytest.approx(8.0)),
    ]  # fmt: skip
    assert found[2].reason.numbers == {"rate_fps": 240.0, "assumed_fps": pytest.approx(120.0)}
    # One and a half times as fast and less still gives shots, with gravity off.
    for fps, count in ((161.0, 4), (160.0, 4), (159.0, 5)):
        clip = SimpleNamespace(frame_s=1.0 / fps, facts=SimpleNamespace(pace=1.0))
        assert len(hypotheses(clip)) == count


def test_where_slow_motion_is_stated_life_speed_and_the_rates_between_are_tried():
    """A file of 30 frames a second that is stated to have been filmed at 240."""
    clip = SimpleNamespace(frame_s=1.0 / 240.0, facts=SimpleNamespace(pace=8.0))
    _, _, life, *others = hypotheses(clip)
    assert life.reason.code is ReasonCode.PLAYS_AT_LIFE_SPEED
    assert life.slower == pytest.approx(1.0 / 8.0)
    rates = [each.reason.numbers["rate_fps"] for each in others]
    assert rates == [48.0, 50.0, 60.0, 100.0, 120.0, 480.0, 960.0]
    assert [each.slower for each in others] == pytest.approx([rate / 240.0 for rate in rates])


def test_every_length_speed_and_time_of_what_is_known_is_in_the_units_of_a_hypothesis():
    """In metres of half a metre, and seconds of a quarter: a length counts twice."""
    curve = Forces(KNOWN.forces.reach_per_m, KNOWN.forces.gravity_mps2, ((5.0, 20.0), (0.5, 0.4)))
    known = replace(KNOWN, forces=curve, wind_mps=(1.0, -2.0), gust_u_mps=0.7)
    found = scaled_circumstances(known, Hypothesis(None, unit_m=0.5, slower=4.0))
    length, speed, time = 2.0, 0.5, 4.0
    assert found.forces.drag_curve == ((2.5, 10.0), (0.5, 0.4))
    assert found.forces.reach_per_m == pytest.approx(known.forces.reach_per_m / length)
    gravity = length / time**2
    assert found.forces.gravity_mps2 == pytest.approx(known.forces.gravity_mps2 * gravity)
    assert found.gravity_u_mps2 == pytest.approx(known.gravity_u_mps2 * gravity)
    assert found.wind_mps == pytest.approx((speed * 1.0, speed * -2.0))
    assert found.wind_u_mps == pytest.approx(speed * known.wind_u_mps)
    assert found.gust_u_mps == pytest.approx(speed * 0.7)
    assert found.ball_radius_m == pytest.approx(length * known.ball_radius_m)
    assert found.readout_s == pytest.approx(time * known.readout_s)
    assert found.readout_u_s == pytest.approx(time * known.readout_u_s)
    changed = {
        "forces", "wind_mps", "wind_u_mps", "gust_u_mps", "gravity_u_mps2", "ball_radius_m",
        "readout_s", "readout_u_s",
    }  # fmt: skip
    for each in fields(known):
        if each.name not in changed:
            assert getattr(found, each.name) is getattr(known, each.name)
    bare = replace(known, forces=replace(curve, drag_curve=None))
    assert scaled_circumstances(bare, Hypothesis(None, 0.5)).forces.drag_curve is None
    scaled = scaled_context(CONTEXT, Hypothesis(None, unit_m=0.5))
    assert scaled.circumstances.ball_radius_m == pytest.approx(2.0 * KNOWN.ball_radius_m)
    assert scaled.facts is CONTEXT.facts


@pytest.mark.parametrize(
    ("velocity", "azimuth_deg"),
    [((-9.0, 0.01), 179.9), ((-0.1, -9.0), -90.6), ((0.1, -9.0), None), ((0.1, 9.0), None)],
)
def test_a_flight_goes_backward_beyond_a_right_angle(velocity, azimuth_deg):
    launch = np.zeros(11)
    launch[:3], launch[3:6] = KNOWN.release_m, (*velocity, 5.0)
    covariance = np.diag(np.arange(1.0, 61.0) ** 2 * 1e-4)
    flight = SimpleNamespace(launch=launch, fitted=SimpleNamespace(covariance=covariance))
    found = diagnosis._where(flight, CONTEXT)
    if azimuth_deg is None:
        assert found is None
    else:
        assert found.code is ReasonCode.FLIES_BACKWARD
        along, across, up = KNOWN.release_m
        assert found.numbers == pytest.approx(
            {
                "along": along, "across": across, "up": up,
                "along_u": 0.02, "across_u": 0.03, "up_u": 0.04, "azimuth_deg": azimuth_deg,
            },
            abs=0.05,
        )  # fmt: skip


def test_a_release_higher_than_written_is_stated_with_both_heights():
    launch = np.zeros(11)
    launch[:3] = KNOWN.release_m + np.array([0.0, 0.0, 1.0])
    launch[3:6] = (9.0, 0.0, 5.0)
    flight = SimpleNamespace(launch=launch, fitted=SimpleNamespace(covariance=1e-4 * np.eye(60)))
    found = diagnosis._where(flight, CONTEXT)
    assert found.code is ReasonCode.RELEASE_HEIGHT
    assert found.numbers == pytest.approx({"up": 1.8, "up_u": 0.01, "height_m": 0.8})


def test_a_height_in_centimetres_is_told_from_a_ball_first_seen_down_the_line():
    launch = np.zeros(11)
    launch[:3] = 2.0, 0.0, 1.9
    launch[3:6] = (10.0, 0.0, 5.0)
    flight = SimpleNamespace(launch=launch, fitted=SimpleNamespace(covariance=1e-2 * np.eye(60)))
    written = np.array([0.0, 0.0, 80.0])
    known = replace(CONTEXT.circumstances, release_m=written)
    found = diagnosis._where(flight, replace(CONTEXT, circumstances=known))
    assert found.code is ReasonCode.RELEASE_HEIGHT
    assert found.numbers == pytest.approx({"up": 0.9, "up_u": np.hypot(0.1, 0.05), "height_m": 80})


@pytest.mark.parametrize(
    ("up_m", "climbs_mps", "code"),
    [
        (1.01, -0.1, ReasonCode.ONLY_END_SEEN),
        (0.99, -0.1, ReasonCode.RELEASE_ELSEWHERE),
        (1.01, 0.1, ReasonCode.RELEASE_ELSEWHERE),
    ],
)
def test_what_is_first_seen_descending_high_up_is_the_end_of_a_flight(up_m, climbs_mps, code):
    launch = np.zeros(11)
    launch[:3] = KNOWN.release_m + np.array([20.0, 0.0, up_m])
    launch[3:6] = (9.0, 0.0, climbs_mps)
    flight = SimpleNamespace(launch=launch, fitted=SimpleNamespace(covariance=1e-4 * np.eye(60)))
    assert diagnosis._where(flight, CONTEXT).code is code


@pytest.mark.parametrize(("frames", "explains"), [(1.9, True), (2.1, False)])
def test_a_flight_seen_before_its_release_did_not_start_there(monkeypatch, frames, explains):
    start = Reason(ReasonCode.FLIES_BACKWARD)
    likely = explained(monkeypatch, [5.0, None, None, None], where=start)
    found = flight(5.0)
    found.release_s = 1.0 + frames * FRAME_S
    calls = iter([found, *[None] * 7])
    monkeypatch.setattr(diagnosis, "_fitted", lambda *_: next(calls))
    assert likely() == ((5.0, start) if explains else None)
