"""The steps from a path to a row: what each is given, and when one ends them."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tests.tracker.test_measurement_rules import fitted_shot
from tracker.fitting.parameters import (
    CAMERA_ACROSS_AT,
    PARAMETERS,
    POSITION_AT,
    RELEASE_AT,
    VELOCITY_AT,
)
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.flight import Beginning, Flight, StartPrior, loosened
from tracker.measurement.starts import field, from_field, gravity_scale, untaped, untaped_start
from tracker.measurement.starts.ends import Ends
from tracker.measurement.starts.field import Field
from tracker.measurement.starts.first_sight import Entry, FirstSight
from tracker.measurement.starts.untaped_start import UntapedStart
from tracker.measurement.visibility import NEAR_PURITIES, PURITIES_BALL
from tracker.records import Quality, Reason, ReasonCode, RejectedCandidate, Rejection, Track

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)
G = KNOWN.forces.gravity_mps2


# --- where gravity is the scale

TORN = Reason(ReasonCode.INNOVATIONS, {"mean": 16.0, "low": 0.6, "high": 1.6})


def untaped_row(monkeypatch, *, first_s=(1.0,), rejects_at=None, **changes):
    """Measure a throw of which each round begins where it is asked to; return what was done."""
    given = {
        "quality": Quality.CHECK, "reason": Reason(ReasonCode.NO_FIT), "hardly": None, "speed": 9.0,
        "near_m": None, "release_in_frame": False, "sizes": None,
    } | changes  # fmt: skip
    done = SimpleNamespace(rounds=[], sized=[], sizes=[])
    times = np.array([2.0, 2.5, 3.0])
    track = SimpleNamespace(times_s=times)
    flight = SimpleNamespace(
        throw=SimpleNamespace(arc=SimpleNamespace(times_s=times), hop="hop"),
        known="known", launch=np.array([0, 0, 1, 0.6 * given["speed"], 0, 0.8 * given["speed"]]),
        camera=SimpleNamespace(size_px=(640, 480)),
        fitted=SimpleNamespace(used="used"), sizes=None,
    )  # fmt: skip

    def measured(start, flight, context, candidates, ends):
        done.rounds.append(ends)
        if len(done.rounds) == rejects_at:
            raise Rejection(Reason(ReasonCode.NO_FIT))
        at = first_s[min(len(done.rounds) - 1, len(first_s) - 1)]
        observed = SimpleNamespace(track=track, landed_s=(3.0, 0.1), sizes=given["sizes"])
        return flight, observed, Ends(at, 3.0, True, 0.4)

    def sized(start, flight, context, candidates, ends):
        done.sized.append((len(done.rounds), ends))
        flight.sizes = given["sizes"]
        return flight

    def described(context, traced, expectations, before):
        done.traced, done.expectations, done.before = traced, expectations, before
        return fitted_shot(quality=given["quality"], reasons=(given["reason"],))

    def seen(shot, traced, most_speed_u, full_share):
        done.most_speed_u, done.full_share = most_speed_u, full_share
        return given["hardly"]

    def crossing(flight, context, frames, exposure):
        done.spanned, done.exposure = frames, exposure

    def visible(track, used, crossing, purities):
        done.purities = purities
        return "visibility"

    for name, instead in {
        "_measured": measured,
        "_sized": sized,
        "_believe_size": lambda flight, observed: done.sizes.append(observed.sizes),
        "scale_reasons": lambda fit, site: ["scale", "more"],
        "end_reasons": lambda track, size_px: ["ends", size_px],
        "_crossing": crossing,
        "visibility_of": visible,
        "_believe": lambda *given: setattr(done, "believed", given),
        "describe": described,
        "hardly_seen": seen,
    }.items():
        monkeypatch.setattr(gravity_scale, name, instead)
    context = SimpleNamespace(with_circumstances=lambda known: known)
    candidates = [SimpleNamespace(time_s=at) for at in (1.9, 2.0, 2.5, 3.0, 3.1)]
    start = SimpleNamespace(
        site="site",
        near_m=given["near_m"],
        release_in_frame=given["release_in_frame"],
        bare=given.get("bare", False),
    )
    done.shot, done.flight = gravity_scale.measure_untaped(start, flight, context, candidates)
    return done


def test_a_throw_is_followed_back_until_it_begins_no_earlier(monkeypatch):
    done = untaped_row(monkeypatch, first_s=(2.0, 1.9, 1.8, 1.8))
    assert [(each.first_s, each.last_s) for each in done.rounds] == [
        (2.0, 3.0), (2.0, 3.0), (1.9, 3.0), (1.8, 3.0),
    ]  # fmt: skip
    assert done.rounds[0] == Ends(2.0, 3.0, lost=False, exposure=None)


def test_a_throw_is_followed_back_six_times_at_most(monkeypatch):
    assert len(untaped_row(monkeypatch, first_s=2.0 - 0.1 * np.arange(20)).rounds) == 7
    assert len(untaped_row(monkeypatch, first_s=(2.0, 2.0)).rounds) == 2


def test_what_spoils_a_throw_beyond_its_ends_leaves_it_as_it_was(monkeypatch):
    assert len(untaped_row(monkeypatch, first_s=(2.0, 1.9), rejects_at=2).rounds) == 2
    with pytest.raises(Rejection):
        untaped_row(monkeypatch, rejects_at=1)


def test_a_row_without_tape_is_made_of_the_frames_from_first_to_last(monkeypatch):
    done = untaped_row(monkeypatch)
    assert [each.time_s for each in done.spanned] == [2.0, 2.5, 3.0]
    assert done.traced.in_view == 3 and done.traced.visibility == "visibility"
    assert done.exposure == 0.4
    assert done.before == ("scale", "more", "ends", (640, 480))
    expected = done.expectations
    assert expected.most_speed_u is None and expected.landing_seen is True
    assert done.most_speed_u == 0.2
    assert done.believed[0] is done.flight and done.believed[3].first_s == 1.0


@pytest.mark.parametrize(
    ("bare", "near_m", "sizes", "most_u"),
    [
        (True, None, None, 0.10),
        (True, None, "seen", 0.2),
        (True, 2.0, None, 0.2),
        (False, None, None, 0.2),
    ],
)
def test_the_speed_of_a_bare_ball_that_shows_no_size_is_less_open_than_any_other(
    monkeypatch, bare, near_m, sizes, most_u
):
    found = untaped_row(monkeypatch, bare=bare, near_m=near_m, sizes=sizes)
    assert found.most_speed_u == most_u


def test_where_nothing_was_taped_a_ball_is_sized_before_it_is_followed_and_after(monkeypatch):
    """And placed once more, with how long the shutter is open found anew."""
    done = untaped_row(monkeypatch, bare=True, first_s=(2.0, 1.9, 1.9, 1.8), sizes="seen")
    assert [rounds for rounds, _ in done.sized] == [0, 3]
    assert done.sized[1][1].first_s == 1.9 and done.rounds[-1] == Ends(1.9, 3.0, True, None)
    assert len(done.rounds) == 4 and done.sizes == ["seen"]
    small = untaped_row(monkeypatch, bare=True, first_s=(2.0, 1.9, 1.9, 1.8))
    assert len(small.sized) == 2 and len(small.rounds) == 3 and not small.sizes
    taped = untaped_row(monkeypatch, bare=False)
    assert not taped.sized and not taped.sizes


@pytest.mark.parametrize(
    ("near_m", "purities", "least"),
    [(None, PURITIES_BALL, 20.0), (2.0, NEAR_PURITIES, gravity_scale.LEAST_EVIDENCE)],
)
def test_a_near_ball_needs_no_more_evidence_than_any_other(monkeypatch, near_m, purities, least):
    done = untaped_row(monkeypatch, near_m=near_m)
    assert done.purities == purities and done.expectations.least_evidence == least


@pytest.mark.parametrize(("release_in_frame", "share"), [(False, 0.85), (True, 0.0)])
def test_a_ball_from_a_release_in_the_frame_may_be_faint_and_scatter(
    monkeypatch, release_in_frame, share
):
    assert untaped_row(monkeypatch, release_in_frame=release_in_frame).full_share == share
    if not release_in_frame:
        with pytest.raises(Rejection):
            untaped_row(monkeypatch, reason=TORN)
        return
    kept = untaped_row(monkeypatch, release_in_frame=True, reason=TORN).shot.shot
    assert kept.reasons == (TORN,)


@pytest.mark.parametrize(
    ("height_known", "picked", "u_s"),
    [(True, 2, 0.3), (True, 1, 0.0), (False, 2, 0.0)],
)
def test_markers_give_the_release_its_place_so_its_time_is_left_to_the_path(
    height_known, picked, u_s
):
    start = UntapedStart(SimpleNamespace(picked=(None,) * picked), height_known)
    loose = start.loosened(KNOWN, KNOWN.camera, 1.0, 0.02)
    first_u_s = np.hypot(1.5 * 0.02, 0.008)
    assert loose.began_u_s == pytest.approx(np.hypot(first_u_s, u_s))
    assert loose.began_s == pytest.approx(1.0 - 0.7 * 0.02)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"quality": Quality.REJECTED}, ReasonCode.NO_FIT),
        ({"hardly": Reason(ReasonCode.RAGGED)}, ReasonCode.RAGGED),
        ({"reason": TORN}, ReasonCode.INNOVATIONS),
        ({"speed": 2.0}, ReasonCode.SPEED_IMPLAUSIBLE),
        ({"speed": 70.1}, ReasonCode.SPEED_IMPLAUSIBLE),
    ],
)
def test_no_row_without_tape_is_rejected_hardly_seen_or_too_slow(monkeypatch, changes, code):
    assert untaped_row(monkeypatch, speed=2.01).shot.shot.quality is Quality.CHECK
    with pytest.raises(Rejection) as raised:
        untaped_row(monkeypatch, **changes)
    assert [each.code for each in raised.value.reasons] == [code]


class Positions:
    """Observations of which a part can be taken."""

    def __init__(self, times):
        self.track = SimpleNamespace(times_s=np.array(times), frames=np.arange(len(times)))
        self.landed_s = None

    def part(self, kept):
        return Taken(self.track.times_s[kept])


class Taken(Positions):
    """Some of them."""


@pytest.mark.parametrize(("landed_s", "count"), [(None, 9), ((2.66, 0.1), 8), ((2.64, 0.1), 7)])
@pytest.mark.parametrize(
    ("wide", "presumed", "strict"), [(False, False, True), (True, False, False), (True, True, True)]
)
def test_of_a_flight_that_landed_only_positions_before_its_bounce_count(
    monkeypatch, landed_s, count, wide, presumed, strict
):
    """And a quarter of a frame after it: here every 0.1 s a position, from 2.0 s on.

    What is as wide as a ball may strain more of what is presumed, if that did not tell the clock.
    """
    monkeypatch.setattr(gravity_scale, "size_shows_ball", lambda flight: wide)
    asked, refitted = [], []
    ends = Ends(2.0, 2.8, True, None)

    def along(near, flight, context, candidates, before):
        asked.append((near, before))
        return Positions(2.0 + 0.1 * np.arange(9)), ends

    def again(start, flight, context, observed, hidden):
        refitted.append(observed)
        assert hidden == ("hidden" if start.bare else (0.0, 0.0))
        return "refitted"

    monkeypatch.setattr(gravity_scale, "hidden_before", lambda *given: "hidden")

    monkeypatch.setattr(gravity_scale, "seen_along", along)
    monkeypatch.setattr(gravity_scale, "landing_of", lambda flight, ends, frame_s: landed_s)
    monkeypatch.setattr(
        gravity_scale, "replace", lambda each, **own: each.__dict__.update(own) or each
    )
    monkeypatch.setattr(gravity_scale, "_refitted", again)
    monkeypatch.setattr(gravity_scale, "_check", lambda flight, bare: asked.append((flight, bare)))
    start = SimpleNamespace(near_m=3.0, bare=True)
    context = SimpleNamespace(frame_s=0.2, clock_presumed=presumed)
    before = Ends(1.0, 2.0, False, None)
    flight = SimpleNamespace(sizes="sizes")
    found, observed, after = gravity_scale._measured(start, flight, context, [None] * 20, before)
    assert found == "refitted" and after is ends and asked == [(True, before), ("refitted", strict)]
    assert len(observed.track.frames) == count and observed.landed_s == landed_s
    assert refitted == [observed] and observed.sizes == "sizes"
    start.near_m, start.bare = None, False
    gravity_scale._measured(start, flight, context, [None] * 20, before)
    assert asked[2] == (False, before)


def test_too_few_positions_before_a_bounce_are_no_flight(monkeypatch):
    monkeypatch.setattr(
        gravity_scale, "seen_along", lambda *_: (Positions(np.arange(5.0)), Ends(0, 4, False, None))
    )
    monkeypatch.setattr(gravity_scale, "landing_of", lambda *_: None)
    start, context = SimpleNamespace(near_m=None, bare=False), SimpleNamespace(frame_s=0.2)
    with pytest.raises(Rejection) as raised:
        gravity_scale._measured(start, None, context, [None] * 20, None)
    assert raised.value.reasons[0].numbers == {"count": 5, "crossed": 20}


@pytest.mark.parametrize("fault", [NotDetermined("x"), np.linalg.LinAlgError("x")])
def test_a_flight_is_fitted_again_from_what_it_was_and_when_it_was_first_seen(monkeypatch, fault):
    asked = {}

    class Start:
        def loosened(self, known, camera, first_s, frame_s, faint, hidden):
            asked["loosened"] = (known, camera, first_s, frame_s, faint, hidden)
            return "priors"

        def presumption(self, arc):
            asked["arc"] = arc
            return SimpleNamespace(rows="rows")

    def fit(*given):
        asked["fit"] = given
        if fault is not asked.get("fault"):
            return SimpleNamespace(circumstances="new", fitted="fit")
        raise fault

    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    case = drawn(np.random.default_rng(1), KNOWN)
    flight = Flight(SimpleNamespace(arc="arc"), known, case.fit())
    monkeypatch.setattr(gravity_scale, "fit_untaped", fit)
    monkeypatch.setattr(
        gravity_scale, "loose_rows", lambda presumption: f"loose {presumption.rows}"
    )
    monkeypatch.setattr(gravity_scale, "begins_faint", lambda track: "faint")
    observed = SimpleNamespace(track=SimpleNamespace(times_s=np.array([1.5, 1.6])))
    again = gravity_scale._refitted(Start(), flight, CONTEXT, observed, "hidden")
    assert (again.known, again.fitted, again.throw) == ("new", "fit", flight.throw)
    loosely = asked["loosened"]
    assert loosely[0] is KNOWN and loosely[2:] == (1.5, CONTEXT.frame_s, "faint", "hidden")
    assert asked["fit"][:3] == ("priors", "rows", observed) and asked["arc"] == "arc"
    assert asked["fit"][3] == flight.release_s and asked["fit"][5] == "loose rows"
    np.testing.assert_array_equal(asked["fit"][4], flight.launch)
    asked["fault"] = fault
    with pytest.raises(Rejection) as raised:
        gravity_scale._refitted(Start(), flight, CONTEXT, observed, "hidden")
    assert [each.code for each in raised.value.reasons] == [ReasonCode.NO_FIT]


@pytest.mark.parametrize(
    ("position_m", "along_pxps", "refused"),
    [
        (None, 300.0, False), (None, -300.0, False),
        ((3.0, -20.0, 1.5), 300.0, False), ((3.0, -20.0, 1.5), -300.0, True),
        ((3.0, 20.0, 1.5), -300.0, False), ((3.0, 20.0, 1.5), 300.0, True),
        ((3.0, 0.0, 1.5), 300.0, False),
    ],
)  # fmt: skip
def test_a_throw_goes_the_way_that_the_taped_side_of_the_camera_says(
    monkeypatch, position_m, along_pxps, refused
):
    """From the right of the line shots go to the right in the picture."""
    arc = SimpleNamespace(
        velocity_pxps=np.array([along_pxps, 0.0]), times_s=np.array([0.7, 0.8]), pixels=None
    )
    asked = {}

    def fit(wide, rows, observed, began_s, launch, loose):
        asked["began_s"], asked["loose"] = began_s, loose
        return SimpleNamespace(circumstances="known", fitted="fit")

    for name, instead in {
        "_first_look": lambda *_: None,
        "first_track": lambda throw, frame_s: asked.setdefault("frame_s", frame_s),
        "_thinned": lambda track: track,
        "Observations": lambda *_: None,
        "first_launch": lambda wide, track, began_s: None,
        "fit_untaped": fit,
        "loose_rows": lambda presumption: f"loose {presumption.rows}",
        "_check": lambda flight, bare: asked.setdefault("checked", (flight, bare)),
    }.items():
        monkeypatch.setattr(gravity_scale, name, instead)
    start = SimpleNamespace(
        site=SimpleNamespace(position_m=position_m),
        bare=False,
        presumption=lambda arc: SimpleNamespace(start=lambda look: None, rows="rows"),
        loosened=lambda known, camera, first_s, frame_s: SimpleNamespace(began_s=first_s - 0.1),
    )
    context = SimpleNamespace(circumstances=None, frame_s=0.02, row_share_of=lambda track: None)
    throw = SimpleNamespace(arc=arc)
    if refused:
        with pytest.raises(Rejection) as raised:
            gravity_scale.first_fit(start, context, throw)
        assert [each.code for each in raised.value.reasons] == [ReasonCode.WRONG_WAY]
    else:
        found = gravity_scale.first_fit(start, context, throw)
        assert asked["checked"] == (found, False) and found.throw is throw
        assert (asked["frame_s"], asked["began_s"]) == (0.02, pytest.approx(0.6))
        assert asked["loose"] == "loose rows"


def test_what_is_presumed_of_a_camera_is_its_side_and_the_distance_that_size_gives(monkeypatch):
    monkeypatch.setattr(untaped_start, "Presumption", lambda *given: given)
    site = SimpleNamespace(picked=())
    for along_pxps, near_m, taped, expected in (
        (0.0, None, True, (site, -1, untaped_start.USUAL_AWAY_M)),
        (-1.0, None, True, (site, 1, untaped_start.USUAL_AWAY_M)),
        # Where nothing was taped a ball may have been thrown before a phone: 1.1 to 57 m, 95 %.
        (-1.0, None, False, (site, 1, 8.0, 1.0)),
        (9.0, 2.5, True, (site, -1, 2.5)),
        (9.0, 2.5, False, (site, -1, 2.5)),
    ):
        arc = SimpleNamespace(velocity_pxps=np.array([along_pxps, 5.0]))
        assert UntapedStart(site, taped, near_m).presumption(arc) == expected


@pytest.mark.parametrize(("share", "believed"), [(0.99, True), (1.01, False)])
@pytest.mark.parametrize("u_s", [0.01, 0.3])
def test_a_flight_is_seen_no_longer_than_it_may_fly(monkeypatch, share, believed, u_s):
    """Three uncertainties of its time of flight after it came down, or 0.15 s."""
    monkeypatch.setattr(gravity_scale, "support_against_chance", lambda *_: 28.0)
    figures = SimpleNamespace(value=lambda name: 1.5, u=lambda covariance: {"flight_time_s": u_s})
    monkeypatch.setattr(gravity_scale, "figures_of", lambda *_: figures)
    flight = SimpleNamespace(
        fitted=SimpleNamespace(residuals_px=0, used=0, parameters=0, covariance=0),
        throw=SimpleNamespace(hop=None),
        known=None,
        release_s=2.0,
    )
    ends = Ends(2.0, 3.5 + share * max(0.15, 3.0 * u_s), False, None)
    if believed:
        gravity_scale._believe(flight, None, None, ends)
        monkeypatch.setattr(gravity_scale, "support_against_chance", lambda *_: 27.9)
    with pytest.raises(Rejection) as raised:
        gravity_scale._believe(flight, None, None, ends)
    (reason,) = raised.value.reasons
    if believed:
        assert reason.numbers == {"support": 27.9, "needed": 28.0}
    else:
        assert reason.numbers == {"beyond_s": pytest.approx(share * max(0.15, 3.0 * u_s))}


# --- how such a throw is looked at again


def untaped_flight(across_u, frames=(3, 4, 6, 7), steps=(3.0, 8.0, 10.0), away=-20.0):
    """A flight whose path moves by so many px from one position to the next."""
    pixels = np.concatenate([[[0.0, 0.0]], np.cumsum([[0.6 * s, 0.8 * s] for s in steps], axis=0)])
    covariance = np.zeros((len(PARAMETERS),) * 2)
    covariance[CAMERA_ACROSS_AT, CAMERA_ACROSS_AT] = across_u**2
    return SimpleNamespace(
        throw=SimpleNamespace(arc=SimpleNamespace(pixels=pixels, frames=np.array(frames))),
        fitted=SimpleNamespace(covariance=covariance),
        camera=SimpleNamespace(position=np.array([5.0, away, 1.5]), size_px=(640, 480)),
        known=SimpleNamespace(release_m="at", ball_radius_m=0.04, drag="drag", forces="forces"),
    )


def test_a_usual_step_is_a_percentile_of_those_from_frame_to_frame():
    """Two frames lie between the second position and the third."""
    found = untaped.usual_step_px(untaped_flight(1.0))
    assert found == pytest.approx(np.percentile([3.0, 4.0, 10.0], untaped.USUAL_PERCENTILE))


def test_the_distance_of_a_camera_is_known_to_a_share_of_it():
    assert untaped.distance_u(untaped_flight(3.0)) == pytest.approx(0.15)
    assert untaped.distance_u(untaped_flight(3.0, away=20.0)) == pytest.approx(0.15)


def test_what_is_looked_for_is_as_the_flight_of_the_best_known_camera_has_it(monkeypatch):
    asked = []

    def settings_for(*given):
        asked.append(given)
        return replace(CONTEXT.settings, lag=2, diameter_px=6.0, window=(1, 2, 3, 4))

    lags = {3.0: 5, 9.0: 4}
    monkeypatch.setattr(untaped, "settings_for", settings_for)
    monkeypatch.setattr(untaped, "usual_step_px", lambda flight: flight.step)
    monkeypatch.setattr(untaped, "lag_for", lambda diameter_px, step: lags[step])
    vague, best = untaped_flight(3.0), untaped_flight(1.0)
    vague.step, best.step = 3.0, 9.0
    for own_lag, lag in ((False, 2), (True, 5)):
        measurement = untaped.UntapedMeasurement(None, CONTEXT, own_lag)
        found = measurement.settings([vague, best])
        assert (found.lag, found.window) == (lag, (0, 0, 640, 480))
    assert asked[0] == (best.camera, "at", 0.08, "drag", "forces", CONTEXT.frame_s)


def test_flights_that_made_a_row_are_kept(monkeypatch):
    monkeypatch.setattr(untaped, "measure_untaped", lambda start, *given: ("shot", given))
    measurement = untaped.UntapedMeasurement("start", CONTEXT)
    assert measurement.measure("flight", "context", "candidates") == "shot"
    assert measurement.measured == [("flight", "context", "candidates")]


def test_candidates_of_an_untaped_throw_are_near_its_path():
    flight = SimpleNamespace(path=lambda times: np.array([[500.0, 300.0 + 100.0 * times[0]]]))
    pixels = np.array([[500.0, 359.0], [500.0, 360.0], [500.0, 361.0], [np.nan, 350.0]])
    near = untaped._near(flight, 10.0, SimpleNamespace(time_s=0.5, pixels=pixels))
    assert near.tolist() == [True, False, False, False]


# --- from anywhere on a field


def from_anywhere(monkeypatch, *, home=None, measured=None, thrown=None, hardly=None):
    """Measure a flight from the field of which each step gives what it is asked to."""
    done = SimpleNamespace()
    sight = FirstSight(1.25, Entry.EDGE)
    row = fitted_shot(quality=Quality.GOOD, reasons=(Reason(ReasonCode.FEW_FRAMES),))
    parameters = np.zeros(len(PARAMETERS))
    parameters[POSITION_AT] = (3.0, -1.0, 2.0)
    covariance = np.zeros((len(PARAMETERS),) * 2)
    covariance[POSITION_AT, POSITION_AT] = np.diag([0.01, 0.04, 0.09])
    found = SimpleNamespace(
        known="wide", fitted=SimpleNamespace(parameters=parameters, covariance=covariance)
    )

    def no_throw(flight, field, up_m, first_s):
        done.no_throw = (flight, up_m, first_s)
        return thrown

    def reported(context, traced, support, expectations):
        done.reported = (context, traced, support, expectations.aimed)
        return row

    for name, instead in {
        "_followed": lambda *_: (found, "traced", sight),
        "no_throw": no_throw,
        "_from_release": lambda *_: home,
        "_hypothesis": lambda known, fitted, flight: (known, fitted, flight),
        "measure_hypothesis": lambda context, hypothesis, candidates: measured,
        "reported": reported,
        "hardly_seen": lambda shot, traced: hardly,
    }.items():
        monkeypatch.setattr(from_field, name, instead)
    context = SimpleNamespace(
        request=SimpleNamespace(release_m=np.array([0.5, 0.25, 0.8])),
        circumstances=None,
        with_circumstances=lambda known: known,
    )
    done.shot = from_field.measure_from_field("flight", "field", context, [])
    assert done.no_throw == (found, 0.8, 1.25)
    return done


def test_a_flight_from_the_field_states_first_where_it_starts(monkeypatch):
    done = from_anywhere(monkeypatch)
    first, second = done.shot.shot.reasons
    assert first.code is ReasonCode.STARTS_AT_EDGE and second.code is ReasonCode.FEW_FRAMES
    assert first.numbers == {
        "along": 3.0, "across": -1.0, "up": 2.0,
        "along_u": pytest.approx(0.1), "across_u": pytest.approx(0.2), "up_u": pytest.approx(0.3),
    }  # fmt: skip
    assert done.shot.shot.quality is Quality.CHECK
    # Its start supports nothing: it makes a row by what it is alone, whatever its azimuth.
    assert done.reported == ("wide", "traced", 0.0, False)


def test_a_flight_that_a_start_at_the_release_explains_is_measured_as_one(monkeypatch):
    home = fitted_shot()
    assert from_anywhere(monkeypatch, home="fit", measured=home).shot is home
    rejected = object.__new__(RejectedCandidate)
    again = from_anywhere(monkeypatch, home="fit", measured=rejected).shot
    assert isinstance(again, FittedShot)
    assert again.shot.reasons[0].code is ReasonCode.STARTS_AT_EDGE
    assert from_anywhere(monkeypatch, home=None, measured=home).shot is not home


@pytest.mark.parametrize("step", ["thrown", "hardly"])
def test_what_is_no_throw_or_hardly_seen_makes_no_row(monkeypatch, step):
    with pytest.raises(Rejection) as raised:
        from_anywhere(monkeypatch, **{step: Reason(ReasonCode.IMPLAUSIBLE)})
    assert [each.code for each in raised.value.reasons] == [ReasonCode.IMPLAUSIBLE]


@pytest.mark.parametrize(
    ("sights", "rounds"),
    [((1.0, 1.0), 1), ((1.0, 1.0099), 1), ((1.0, 1.0101, 1.0101), 2), ((1.0, 0.9, 0.8, 0.7), 3)],
)
def test_a_first_detection_and_a_flight_are_brought_together(monkeypatch, sights, rounds):
    """To half a frame of 20 ms, in three rounds at most."""
    asked, begun, traced_with = [], [], []
    given = iter(sights)

    def sight(context, flight, start_s, candidates):
        asked.append(start_s)
        return FirstSight(next(given))

    def begin(flight, field, beginning):
        begun.append(beginning)
        return replace(flight, fitted=len(begun))

    def traced(context, hypothesis, candidates):
        traced_with.append((context, hypothesis))
        track = SimpleNamespace(times_s=np.array([5.0]))
        fitted = SimpleNamespace(used="used", name=len(begun))
        return SimpleNamespace(fitted=fitted, observed=SimpleNamespace(track=track))

    for name, instead in {
        "first_sight": sight,
        "begun_at": begin,
        "_hypothesis": lambda known, fitted, flight: (known, fitted),
        "trace": traced,
        "first_of_run": lambda times, used: 5.0,
    }.items():
        monkeypatch.setattr(from_field, name, instead)
    monkeypatch.setattr(Flight, "first_s", property(lambda _: 4.0))
    context = SimpleNamespace(frame_s=0.02, with_circumstances=lambda known: known)
    found, last, found_sight = from_field._followed(
        Flight("throw", "known", 0), "field", context, []
    )
    assert asked == [4.0] + [5.0] * rounds and len(begun) == rounds
    assert found.fitted is last.fitted and found.fitted.name == rounds
    assert traced_with == [("known", ("known", each)) for each in range(1, rounds + 1)]
    assert [each.time_s for each in begun] == pytest.approx([at - 0.01 for at in sights[:rounds]])
    # What it ends with is the sight that the last flight began from, or the third anew.
    assert found_sight.first_s == sights[rounds if rounds == 3 else rounds - 1]


def test_a_flight_restated_for_another_beginning_is_where_it_was_then():
    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    case = drawn(np.random.default_rng(1), KNOWN)
    flight = Flight(SimpleNamespace(arc=None), known, case.fit())
    on = Field(np.array([15.0, 3.0]), np.array([15.0, 3.0]))
    begun = field.begun_at(flight, on, Beginning(flight.release_s + 0.2, 0.03))
    state = flight.states(np.array([flight.release_s + 0.2]))[0]
    parameters = begun.fitted.parameters
    assert parameters[RELEASE_AT] == pytest.approx(flight.release_s + 0.2)
    np.testing.assert_allclose(parameters[POSITION_AT], state[:3])
    np.testing.assert_allclose(parameters[VELOCITY_AT], state[3:6])
    rest = np.delete(np.arange(len(parameters)), [RELEASE_AT, *range(1, 7)])
    np.testing.assert_array_equal(parameters[rest], flight.fitted.parameters[rest])
    assert (begun.known.began_s, begun.known.began_u_s) == (parameters[RELEASE_AT], 0.03)
    np.testing.assert_array_equal(begun.known.release_m, on.prior.place_m)
    # The flight that it was made from stays what it was.
    assert flight.release_s != begun.release_s


def test_a_flight_begins_with_the_first_position_of_its_path_that_its_fit_used():
    """Where the fit was of other positions than the path's, with the first in the path."""
    times = np.array([1.0, 1.1, 1.2, 1.3, 1.4])
    throw = SimpleNamespace(arc=SimpleNamespace(times_s=times))

    def first(used):
        return Flight(throw, None, SimpleNamespace(used=np.array(used, bool))).first_s

    assert first([0, 0, 1, 1, 1]) == 1.2
    assert first([0, 0, 1, 1, 1, 1]) == 1.0


@pytest.mark.parametrize("fault", [NotDetermined("x"), np.linalg.LinAlgError("x")])
def test_a_flight_that_no_start_at_the_release_fits_is_not_one_from_there(monkeypatch, fault):
    def fit(*_):
        raise fault

    case = drawn(np.random.default_rng(1), KNOWN)
    fitted = case.fit()
    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    monkeypatch.setattr(from_field, "fit_flight", fit)
    traced = SimpleNamespace(observed=case.observed, fitted=fitted)
    flight = Flight(SimpleNamespace(arc=None), known, fitted)
    assert from_field._from_release(flight, CONTEXT, traced) is None


@pytest.mark.parametrize(("shows", "longest"), [(True, 0.3), (False, 1.5)])
def test_a_start_at_the_release_is_looked_for_where_the_flight_is_nearest(
    monkeypatch, shows, longest
):
    """In steps of 5 ms, before the first position; farther back where the frame hides it."""
    case = drawn(np.random.default_rng(1), KNOWN)
    fitted, asked = case.fit(), {}
    known = loosened(KNOWN, StartPrior(KNOWN.release_m, np.full(3, 0.1)), Beginning(0.5, 0.01))
    first_s = case.track.times_s[fitted.used].min()

    def states(flight, times):
        asked["times"] = times
        found = np.zeros((len(times), 6))
        found[:, 0] = np.abs(times - (first_s - 0.2)) + 0.1
        found[:, :3] += KNOWN.release_m
        found[:, 3:] = np.column_stack([times, 2.0 * times, 3.0 * times])
        return found

    def fit(known, observed, release_s, launch):
        asked["fit"] = (release_s, launch)
        return fitted

    monkeypatch.setattr(Flight, "states", states)
    monkeypatch.setattr(from_field, "fit_flight", fit)
    monkeypatch.setattr(from_field, "_misfit", lambda *_: 0.0)
    monkeypatch.setattr(
        type(KNOWN.camera), "in_frame", lambda camera, pixels: np.array([shows] * len(pixels))
    )
    flight = Flight(SimpleNamespace(arc=None), known, fitted)
    traced = SimpleNamespace(observed=case.observed, fitted=fitted)
    assert from_field._from_release(flight, CONTEXT, traced) is fitted
    times = asked["times"]
    assert times[0] == first_s and times[-1] == pytest.approx(first_s - longest + 0.005)
    assert np.diff(times) == pytest.approx(-0.005)
    release_s, launch = asked["fit"]
    assert release_s == pytest.approx(first_s - 0.2)
    np.testing.assert_allclose(launch[:3], KNOWN.release_m)
    np.testing.assert_allclose(launch[3:6], release_s * np.array([1.0, 2.0, 3.0]))
    np.testing.assert_array_equal(launch[6:], flight.launch[6:])


@pytest.mark.parametrize(("count", "kept"), [(40, 40), (41, 21), (80, 40), (100, 34)])
def test_a_first_fit_takes_forty_positions_at_most_evenly_spread(count, kept):
    track = gravity_scale._thinned(track_of(count))
    assert len(track.times_s) == kept
    assert np.ptp(np.diff(track.frames)) == 0 and track.frames[0] == 0


def track_of(count):
    places = np.zeros((count, 2))
    shapes = np.repeat(np.eye(2)[None], count, axis=0)
    return Track(np.arange(count), np.arange(count) / 60.0, places, shapes, np.zeros(count))
