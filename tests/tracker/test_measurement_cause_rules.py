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
    Hypothesis,
    candidates_of,
    causes_in,
    hypotheses,
    likeliest,
    scaled_circumstances,
    scaled_context,
    scouting_along,
    slow_candidates,
)
from tracker.measurement.starts.field import field_of
from tracker.measurement.throws import Throw
from tracker.records import Reason, ReasonCode

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
    return SimpleNamespace(arcs=arcs, slow=slow, frame_s=FRAME_S)


def shot(release_s, flight_s=1.0):
    return SimpleNamespace(release_s=release_s, flight_time_s=flight_s)


def paced(pace=1.0):
    facts = SimpleNamespace(size_px=SIZE_PX, pace=pace)
    return SimpleNamespace(facts=facts, camera=KNOWN.camera, circumstances=KNOWN)


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
    monkeypatch.setattr(diagnosis, "rolls", lambda path, camera, frame_s: len(path.frames) == 40)
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
    (found,), frame_s = slow_candidates(scouted(), None)
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
    monkeypatch.setattr(diagnosis, "_as_slow", lambda context: paced(8.0 * context.facts.pace))
    found = scouting_along(paced(1.5))
    assert made == [([1.5, 12.0], KNOWN.camera, True)]
    assert [each.while_still for each in found.loops] == [True, True]


# --- the causes of a clip


def caused(monkeypatch, throws, *, slow=(), causes=(), rejected=(), pace=1.0):
    """Return the causes of paths of which each has so likely a cause; and what was tried."""
    tried = []
    given = iter(causes)

    def likely(context, field, throw, frame_s, own):
        tried.append((throw, frame_s, own))
        return next(given, None)

    monkeypatch.setattr(diagnosis, "_as_slow", lambda context: "as slow")
    monkeypatch.setattr(diagnosis, "candidates_of", lambda found, context: list(throws))
    monkeypatch.setattr(
        diagnosis, "slow_candidates", lambda found, context: (list(slow), 8.0 * FRAME_S)
    )
    monkeypatch.setattr(diagnosis, "likeliest", likely)
    return causes_in(scouted(), scouted(), paced(pace), FIELD, rejected), tried


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


# --- what may have been written wrongly


def test_each_hypothesis_is_tried_from_the_release_in_its_own_units(monkeypatch):
    """A start may lie a metre along the line and half a metre beside or above it."""
    spots, gravity = [], []

    def cost(context, spot, throw, frame_s):
        spots.append(spot.prior)
        gravity.append(context.circumstances.forces.gravity_mps2)
        return None

    monkeypatch.setattr(diagnosis, "_cost", cost)
    assert likeliest(CONTEXT, FIELD, None, FRAME_S, elsewhere=False) is None
    assert len(spots) == len(hypotheses(CONTEXT))
    for prior in spots:
        np.testing.assert_array_equal(prior.place_m, KNOWN.release_m)
        assert prior.u_m.tolist() == [1.0, 0.5, 0.5]
    own = KNOWN.forces.gravity_mps2
    assert gravity[:2] == [own, pytest.approx(own / 0.3048)]
    assert gravity[2] == pytest.approx(own * (120.0 / 240.0) ** 2)


def test_the_best_of_what_is_much_better_than_what_was_written_is_the_cause(monkeypatch):
    slow, feet = Reason(ReasonCode.NO_FIT), Reason(ReasonCode.TAPED_IN_FEET)
    tried = [Hypothesis(None), Hypothesis(feet), Hypothesis(slow), Hypothesis(slow)]
    monkeypatch.setattr(diagnosis, "hypotheses", lambda _: tried)
    monkeypatch.setattr(diagnosis, "scaled_context", lambda context, hypothesis: context)
    monkeypatch.setattr(diagnosis, "_fitted", lambda *_: None)
    for costs, expected in (
        ([20.0, 9.0, 8.0, None], (8.0, slow)),
        ([20.0, 7.0, 8.0, 9.0], (7.0, feet)),
        ([20.0, 11.0, 11.5, 12.0], None),
        ([None, 25.0, 30.0, None], (25.0, feet)),
        ([None, None, None, None], None),
    ):
        given = iter(costs)
        monkeypatch.setattr(diagnosis, "_cost", lambda *_, given=given: next(given))
        assert likeliest(CONTEXT, FIELD, None, FRAME_S) == expected


@pytest.mark.parametrize("lacking", ["", "elsewhere", "flight", "throw", "where"])
def test_a_path_starts_elsewhere_where_it_is_a_throw_from_the_field(monkeypatch, lacking):
    asked, found = [], Reason(ReasonCode.NO_FIT)
    flight = SimpleNamespace(first_s=1.25, prior_chi_square=6.0)

    def fitted(context, spot, throw, frame_s):
        asked.append((context, spot.prior.place_m.tolist(), throw, frame_s))
        return None if lacking == "flight" else flight

    def no_throw(flight, field, up_m, first_s):
        asked.append((field, up_m, first_s))
        return Reason(ReasonCode.RAGGED) if lacking == "throw" else None

    monkeypatch.setattr(diagnosis, "hypotheses", lambda _: [])
    monkeypatch.setattr(diagnosis, "_fitted", fitted)
    monkeypatch.setattr(diagnosis, "no_throw", no_throw)
    monkeypatch.setattr(diagnosis, "_where", lambda *_: None if lacking == "where" else found)
    likely = likeliest(CONTEXT, FIELD, "throw", FRAME_S, lacking != "elsewhere")
    assert likely == (None if lacking else (6.0, found))
    expected = [
        (CONTEXT, FIELD.prior.place_m.tolist(), "throw", FRAME_S),
        (FIELD, float(KNOWN.release_m[2]), 1.25),
    ]
    assert asked == expected[: {"elsewhere": 0, "flight": 1}.get(lacking, 2)]


@pytest.mark.parametrize("fault", [NotDetermined("x"), np.linalg.LinAlgError("x")])
def test_a_hypothesis_that_fits_nothing_explains_nothing(monkeypatch, fault):
    begun = []

    def fit(context, spot, throw, beginning, frame_s):
        begun.append(beginning.time_s)
        raise fault

    monkeypatch.setattr(diagnosis, "first_fit", fit)
    throw = Throw(arc(begin_s=1.5), None)
    assert diagnosis._fitted(CONTEXT, None, throw, 0.02) is None
    assert diagnosis._cost(CONTEXT, None, throw, 0.02) is None
    assert begun == pytest.approx([1.49, 1.49])


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
        assert len(hypotheses(SimpleNamespace(frame_s=1.0 / fps))) == count


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
