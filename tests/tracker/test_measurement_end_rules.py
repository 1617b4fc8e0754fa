"""Where a flight without a taped start begins and ends, position by position, at each bound."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tracker.fitting.light import shift_by_light
from tracker.fitting.parameters import LIGHT_AT, RELEASE_AT
from tracker.measurement import row as rows
from tracker.measurement import tracing
from tracker.measurement.fitted_shot import TracedFlight
from tracker.measurement.starts import ends
from tracker.measurement.starts.ends import Ends

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)


@pytest.fixture(scope="module")
def fitted():
    """A drawn flight, and the fit to it."""
    case = drawn(np.random.default_rng(1), KNOWN)
    return case, case.fit()


TIMES = np.array([0.9, 0.95, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0])


def seen(monkeypatch, *, is_near=False, agrees=None, let_go_s=None, speed=30.1, found=None):
    """Look along a flight seen from 1 s to 2 s; return what was kept and what was asked."""
    asked = SimpleNamespace(until=[], shown=None)
    frames = [SimpleNamespace(frame=n, time_s=time) for n, time in enumerate(TIMES)]
    outside = [SimpleNamespace(frame=90, time_s=0.899), SimpleNamespace(frame=91, time_s=3.001)]

    def along(context, flight, near):
        asked.shown = [each.time_s for each in near]
        return near, "course"

    def sighted(context, camera, course, shown, exposure):
        asked.sighted = (context, camera, course, exposure)
        track = SimpleNamespace(times_s=TIMES, frames=np.arange(len(TIMES)), pictures=None)
        return track, 0.4

    def until(shown, track, agreed, at_s, forward):
        asked.until.append((agreed.tolist(), at_s, forward))
        return (found or {}).get(forward, at_s)

    def let_go(track, agreed, last_s, diameter_px):
        asked.let_go = (last_s, diameter_px)
        return let_go_s

    given = np.ones(len(TIMES), bool) if agrees is None else np.array(agrees, bool)
    part = SimpleNamespace(part=lambda kept: kept.tolist())
    for name, instead in {
        "course_along": along,
        "sighted": sighted,
        "agreeing": lambda track, shown, course: given.copy(),
        "_alike": lambda track, first_s, last_s: track.times_s != 1.25,
        "_let_go_s": let_go,
        "seen_until": until,
        "Observations": lambda *_: part,
    }.items():
        monkeypatch.setattr(ends, name, instead)
    context = SimpleNamespace(
        with_circumstances=lambda known: f"with {known}",
        row_share_of=lambda _: None,
        settings=SimpleNamespace(diameter_px=30.0),
    )
    known = SimpleNamespace(forces=SimpleNamespace(gravity_mps2=10.0))
    launch = np.zeros(11)
    launch[3] = speed
    flight = SimpleNamespace(known=known, camera="camera", launch=launch)
    before = Ends(1.0, 2.0, lost=False, exposure=0.3)
    kept, after = ends.seen_along(is_near, flight, context, [*frames, *outside], before)
    return kept, after, asked


def test_a_ball_is_looked_for_from_its_first_position_back_and_from_its_last_on(monkeypatch):
    """In frames from a tenth of a second before to a second after, these among them."""
    kept, after, asked = seen(monkeypatch)
    assert asked.shown == TIMES.tolist() and asked.sighted[1:] == ("camera", "course", 0.3)
    everywhere = [True] * 8
    assert asked.until == [(everywhere, 1.0, False), (everywhere, 2.0, True)]
    assert kept == [False, False, True, True, True, True, False, False]
    assert (after.first_s, after.last_s, after.lost, after.exposure) == (1.0, 2.0, False, 0.4)
    assert after.unlike == ()
    kept, after, _ = seen(monkeypatch, found={False: 0.95, True: 2.5})
    assert kept == [False, *[True] * 6, False] and (after.first_s, after.last_s) == (0.95, 2.5)


@pytest.mark.parametrize(("last_s", "lost"), [(1.0, True), (1.25, True), (1.5, True), (2.0, False)])
def test_a_ball_is_lost_where_three_frames_follow_its_last_position(monkeypatch, last_s, lost):
    assert seen(monkeypatch, found={True: last_s})[1].lost == lost


@pytest.mark.parametrize("is_near", [True, False])
@pytest.mark.parametrize(("let_go_s", "first_s"), [(0.5, 1.0), (1.0, 1.0), (1.25, 1.25)])
def test_a_throw_by_hand_counts_from_the_position_with_which_it_leaves_it(
    monkeypatch, is_near, let_go_s, first_s
):
    """At 3 s of gravity and more no hand threw it. What looks unlike a near ball is none either."""
    _, _, asked = seen(monkeypatch, is_near=is_near, let_go_s=let_go_s, speed=29.9)
    alike = (TIMES != 1.25) | (not is_near)
    agreed = (alike & (let_go_s <= TIMES)).tolist()
    assert asked.until == [(agreed, first_s, False), (agreed, 2.0, True)]
    # A near ball's patches count by its diameter.
    assert asked.let_go == (2.0, 30.0 if is_near else 0.0)
    _, after, asked = seen(monkeypatch, is_near=is_near, let_go_s=let_go_s)
    assert after.unlike == (tuple(np.flatnonzero(TIMES == 1.25)) if is_near else ())
    assert asked.until[0] == (alike.tolist(), 1.0, False)


def test_a_hand_lets_go_with_the_first_free_one_of_the_positions_that_agree(monkeypatch):
    asked = []

    def free(times, pixels, diameter_px, u_px):
        asked.append((times.tolist(), pixels.tolist(), diameter_px, u_px.tolist()))
        return slice(2, len(times))

    monkeypatch.setattr(ends, "free_part", free)
    # An uncertainty along an axis: the root of the mean of both variances.
    spread = np.array([np.diag([0.5 * at**2, 1.5 * at**2]) for at in TIMES])
    track = SimpleNamespace(
        times_s=TIMES, pixels=np.column_stack([TIMES, TIMES]), covariances=spread
    )
    agrees = np.array([1, 0, 1, 1, 1, 1, 1, 1], bool)
    assert ends._let_go_s(track, agrees, 2.0, 30.0) == 1.25
    kept = [0.9, 1.0, 1.25, 1.5, 2.0]
    assert asked == [(kept, [[each, each] for each in kept], 30.0, pytest.approx(kept))]
    assert ends._let_go_s(track, ~agrees, 0.94, 30.0) == -np.inf


def test_a_path_from_its_first_position_to_its_last_looks_like_itself():
    """Only in luma, and on both sides of it by more than a third of the usual contrast."""
    luma = np.array([40.0, 30.0, 100.0, 90.0, 5.0, 100.0, 36.0, 34.0])
    contrasts = np.column_stack([luma, np.full(8, -3.0)])
    track = SimpleNamespace(times_s=TIMES, pictures=SimpleNamespace(contrasts=contrasts))
    # The median from 1 s to 2 s is 95.
    expected = [True, False, True, True, True, True, True, True]
    assert ends._alike(track, 1.0, 2.0).tolist() == expected
    track.pictures = None
    assert ends._alike(track, 1.0, 2.0).all()


# --- the positions of a row


def test_points_of_a_row_are_the_balls_centres_with_their_places_and_residuals(fitted):
    case, fit = fitted
    traced = TracedFlight(case.observed, fit, len(case.track.frames))
    track, at = case.track, traced.fitted.parameters.copy()
    at[LIGHT_AT] = (5.0, -9.0, 2.0)
    lit = replace(traced.fitted, parameters=at)
    found = rows._points(CONTEXT, replace(traced, fitted=lit))
    centres = track.pixels - shift_by_light(KNOWN.camera, track, lit.light)
    states = lit.trajectory.at(track.times_s - lit.parameters[RELEASE_AT])
    assert len(found) == len(track.frames) and np.abs(centres - track.pixels).max() > 0.01
    for at in (0, 7, len(found) - 1):
        point = found[at]
        assert (point.column_px, point.row_px) == tuple(centres[at])
        assert (point.residual_column_px, point.residual_row_px) == tuple(lit.residuals_px[at])
        assert (point.along_m, point.across_m, point.up_m) == tuple(states[at, :3])
        assert (point.frame, point.time_s) == (track.frames[at], track.times_s[at])
        assert point.used == lit.used[at] and point.shot == 0
        assert point.clip == CONTEXT.request.clip


# --- a flight that something stops


def traced_to(monkeypatch, fitted, *, stopped, bounce):
    """Trace a flight whose frames say that it was stopped, or not; with or without a bounce."""
    case, fit = fitted
    frames = [SimpleNamespace(frame=n, time_s=0.1 * n) for n in range(60)]
    followed = SimpleNamespace(
        frames=np.arange(60), times_s=0.1 * np.arange(60), states=np.zeros((60, 6)),
        pixels=np.zeros((60, 2)),
    )  # fmt: skip
    for name, instead in {
        "follow": lambda *_, **__: followed,
        "sighted": lambda *_: (case.track, 0.5),
        "fit_given_gusts": lambda *_, **__: fit,
        "refit_gusts": lambda known, observed, fitted: fitted,
        "course_of": lambda *_: (frames, "course"),
        "find_bounce": lambda *_: bounce,
        "crossing_of": lambda *_: "crossing",
        "visibility_of": lambda *_, faint: "whole",
        "until_stopped": lambda *_: stopped,
    }.items():
        monkeypatch.setattr(tracing, name, instead)
    hypothesis = SimpleNamespace(release_s=0.5, launch=case.truth[1:12])
    return tracing.trace(CONTEXT, hypothesis, frames)


def test_a_flight_is_stopped_only_where_no_bounce_was_seen(monkeypatch, fitted):
    stop = SimpleNamespace(crossed=33)
    bounce = SimpleNamespace(agrees=False)
    found = traced_to(monkeypatch, fitted, stopped=stop, bounce=None)
    assert (found.stopped, found.in_view, found.visibility) == (True, 33, stop)
    for stopped, seen_bounce in ((stop, bounce), (None, bounce), (None, None)):
        found = traced_to(monkeypatch, fitted, stopped=stopped, bounce=seen_bounce)
        assert (found.stopped, found.in_view, found.visibility) == (False, 60, "whole")
        assert found.bounce is seen_bounce


def test_a_bounce_that_disagrees_is_reported_and_not_an_observation(monkeypatch, fitted):
    off = SimpleNamespace(agrees=False, time_s=2.5, u_s=0.01)
    assert traced_to(monkeypatch, fitted, stopped=None, bounce=off).observed.landed_s is None
    near = SimpleNamespace(agrees=True, time_s=2.5, u_s=0.01)
    assert traced_to(monkeypatch, fitted, stopped=None, bounce=near).observed.landed_s == (
        2.5,
        0.01,
    )


def test_a_hand_leads_no_ball_for_long() -> None:
    state = np.array([0.0, 1.0, 2.0, 1.0, 0.0, 1.0])
    camera = SimpleNamespace(focal_px=200.0, in_camera=lambda places: np.array([[0.0, 0.0, 9.0]]))
    flight = SimpleNamespace(release_s=1.5, states=lambda times: state[None], camera=camera)
    assert ends.led_s(flight, 0.02) == 0.04


@pytest.mark.parametrize(("speed", "away_m", "frame_s"), [(6.0, 8.0, 0.02), (5.0, 2.0, 0.005)])
def test_a_hand_leads_a_ball_that_leaves_its_later_way_too_little_to_tell(speed, away_m, frame_s):
    """By half of two squared speeds over a metre, times its time squared."""
    focal_px, state = 800.0, np.array([0.0, 1.0, 2.0, 0.6 * speed, 0.0, 0.8 * speed])
    flight = SimpleNamespace(
        release_s=1.5,
        states=lambda times: state[None] if times.tolist() == [1.5] else None,
        camera=SimpleNamespace(
            focal_px=focal_px, in_camera=lambda places: np.array([[0.0, 0.0, away_m]])
        ),
    )
    led_s = ends.led_s(flight, frame_s)
    off_px = focal_px / away_m * 0.5 * (2.0 * speed**2) * led_s**2
    assert off_px == pytest.approx(4.0 * (0.6 + 0.04 * speed * frame_s * focal_px / away_m))
