"""Pieces of a measurement against plain computations: joined paths, rows, smaller pictures."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.ground import Ground
from calibration.markers import Marker, Plumb
from calibration.site import Site
from calibration.timebase import Cadence
from tests.tracker.clip_context import clip_context, facts_of
from tests.tracker.fitting_case import calibrated, circumstances, drawn
from tests.tracker.invented_shot import invented
from tests.tracker.test_measurement_rules import fitted_shot
from tracker.fitting.ends import GivenEnds, GivenTime
from tracker.fitting.parameters import READOUT_AT, RELEASE_AT
from tracker.following.arcs import fit_arc
from tracker.measurement import by_hand, throws, tracing
from tracker.measurement import row as rows
from tracker.measurement.fitted_shot import TracedFlight, doubted
from tracker.measurement.passes import Observers, Timing
from tracker.measurement.scouting import Scouted
from tracker.measurement.starts import near, presumed_camera, release, thrown
from tracker.measurement.starts.near import NearMeasurement, Smaller, each_once
from tracker.measurement.starts.protocol import Findings
from tracker.measurement.throws import Throw, throws_of
from tracker.records import Quality, Reason, ReasonCode, RejectedCandidate, Rejection

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)
STEP_S = 0.02


def a_path(begin, count, *, name="", column=100.0, fall=200.0):
    """A path from a frame on, in frames of 20 ms."""
    frames = begin + np.arange(count)
    since = STEP_S * np.arange(count)
    pixels = np.column_stack([column + 300.0 * since, 50.0 + 100.0 * since + fall / 2 * since**2])
    return fit_arc(np.column_stack([frames, STEP_S * frames, pixels]), STEP_S)


# --- paths joined to throws


def joined(monkeypatch, joints, *, chosen, count=6, thrown=None):
    """Throws among paths 0, 1, ... of which one goes on as another as the table says."""
    arcs = [SimpleNamespace(frames=np.arange(10 + at), name=at, times_s=np.zeros(2))
            for at in range(count)]  # fmt: skip
    named = {id(arc): at for at, arc in enumerate(arcs)}
    parts = {}

    def joint(_, arc, later):
        one, other = (parts.get(id(each), named.get(id(each))) for each in (arc, later))
        return joints.get((one, other), throws._Joint.NOT)

    def whole(arc, later, frame_s):
        both = SimpleNamespace(frames=np.arange(99), name=(arc.name, later.name),
                               times_s=np.zeros(2))  # fmt: skip
        parts[id(both)] = named.get(id(arc), parts.get(id(arc)))
        arcs.append(both)
        return both

    monkeypatch.setattr(throws._Joining, "_joint", joint)
    monkeypatch.setattr(throws, "_joined", whole)
    monkeypatch.setattr(throws, "is_throw", lambda *_: True)
    monkeypatch.setattr(throws, "without_hand", lambda arc, *_: arc)
    scouted = SimpleNamespace(arcs=tuple(arcs), throws=chosen, frame_s=STEP_S)
    found = throws_of(scouted, 640, thrown)
    return [(each.arc.name, None if each.hop is None else each.hop.name) for each in found]


ONWARD, HOP = throws._Joint.ONWARD, throws._Joint.HOP


def test_a_throw_in_pieces_is_one_and_has_the_hop_of_its_last_piece(monkeypatch):
    joints = {(0, 1): ONWARD, (0, 2): ONWARD, (0, 3): HOP}
    assert joined(monkeypatch, joints, chosen=(0, 1, 2, 4)) == [(((0, 1), 2), 3), (4, None)]


def test_only_what_may_be_a_throw_itself_is_joined_to_one(monkeypatch):
    assert joined(monkeypatch, {(0, 1): ONWARD}, chosen=(0, 2)) == [(0, None), (2, None)]


def test_a_hop_is_no_throw_nor_what_goes_on_from_it(monkeypatch):
    joints = {(0, 3): HOP, (3, 4): HOP, (4, 5): ONWARD}
    assert joined(monkeypatch, joints, chosen=(0, 3, 4, 5)) == [(0, 3)]
    # Unless it was one before: the longer of two hops is the throw's.
    joints = {(0, 1): HOP, (0, 2): HOP, (0, 3): HOP}
    assert joined(monkeypatch, joints, chosen=(0,)) == [(0, 3)]


def test_paths_may_be_throws_in_part(monkeypatch):
    asked = []

    def part(arc, width_px, frame_s):
        asked.append((arc.name, width_px, frame_s))
        return None if arc.name % 2 else SimpleNamespace(
            frames=arc.frames, name=f"part of {arc.name}", times_s=arc.times_s
        )  # fmt: skip

    found = joined(monkeypatch, {}, chosen=(1, 3), thrown=part)
    assert found == [("part of 0", None), ("part of 2", None), ("part of 4", None)]
    assert asked[0] == (0, 640, STEP_S) and len(asked) == 6


def test_paths_that_follow_begin_from_an_overlap_before_an_end_to_a_gap_after_it():
    """Two and a half frames of 20 ms and 0.3 s, in the order of their numbers."""
    end_s = 1.0
    begins = {0: end_s - 0.5, 5: end_s + 0.31, 2: end_s + 0.3, 9: end_s - 0.05, 4: end_s - 0.051}
    arcs = {
        name: SimpleNamespace(times_s=np.array([begin, end_s])) for name, begin in begins.items()
    }
    joining = throws._Joining(arcs, [], 640, STEP_S)
    assert joining._following(0) == [2, 9]


def test_joined_paths_have_each_frame_once_and_the_earlier_paths_position_of_it():
    one, other = a_path(0, 10), a_path(8, 12, column=400.0)
    both = throws._joined(one, other, STEP_S)
    assert both.frames.tolist() == list(range(20))
    np.testing.assert_allclose(both.pixels[:10], one.pixels)
    np.testing.assert_allclose(both.pixels[10:], other.pixels[2:])
    np.testing.assert_allclose(both.times_s, STEP_S * np.arange(20))


@pytest.mark.parametrize(("overlap", "hop_begin"), [(False, 32), (True, 28)])
def test_a_bounce_is_looked_for_a_frame_and_a_half_before_the_hop_or_the_end(overlap, hop_begin):
    """In steps of an eighth of a frame, to a frame after the hop begins."""
    asked = []
    arc, hop = a_path(0, 31), a_path(hop_begin, 20, column=280.0)

    def path(times):
        asked.append(times)
        return np.full((len(times), 2), 1e3)

    throws.bounce_between(Throw(arc, hop), path, STEP_S)
    first = min(30, hop_begin) - 1.5
    assert asked[0][0] == pytest.approx(STEP_S * first)
    assert np.diff(asked[0]) == pytest.approx(STEP_S / 8.0)
    # The last step may be rounded to either side.
    assert 0.87 < asked[0][-1] / STEP_S - hop_begin < 1.001


def test_a_hop_that_hardly_moves_is_uncertain_by_its_distance_over_a_pixel_a_second():
    still = replace(
        a_path(32, 20, fall=0.0),
        pixels=np.tile([280.0, 90.0], (20, 1)),
        velocity_pxps=np.zeros(2),
        acceleration_pxps2=np.zeros(2),
    )
    throw = Throw(a_path(0, 31), still)
    _, u_s = throws.bounce_between(throw, lambda times: np.tile([283.0, 94.0], (len(times), 1)),
                                   STEP_S)  # fmt: skip
    assert u_s == pytest.approx(np.hypot(0.3 * STEP_S, 5.7))


# --- throws to rows


class Measuring:
    """A measurement of throws whose steps give what their names say."""

    def __init__(self):
        self.asked = []

    def first_fit(self, throw, frame_s):
        self.asked.append(("fit", throw.arc, frame_s))
        if throw.arc == "no fit":
            raise Rejection(Reason(ReasonCode.RAGGED))
        return SimpleNamespace(throw=throw)

    def settings(self, flights):
        self.asked.append(("settings", [each.throw.arc for each in flights]))
        return "settings"

    def window(self, flight):
        return f"window of {flight.throw.arc}"

    def measure(self, flight, context, candidates):
        self.asked.append(("measure", flight.throw.arc, context.settings, candidates))
        if flight.throw.arc == "no row":
            raise Rejection(Reason(ReasonCode.FAINT, {"frames": 1, "crossed": 2}))
        if flight.throw.arc == "degenerate":
            raise FloatingPointError("x")
        return f"row of {flight.throw.arc}"

    def is_ball(self):
        return self.asked[-1][1] in self.balls


BIRDS = ("bird", "swift", "gull")
"""What moved on smoothly before or after."""


def measured(monkeypatch, names, sees_size=False, balls=()):
    given, reported = {}, []

    def rejected(throw, context, frame_s, *reasons):
        return throw.arc, frame_s, [each.code for each in reasons]

    def candidates_in(windows, context, timing, observers, renewed_s):
        given.update(windows=windows, timing=timing, observers=observers)
        given.update(settings=context.settings, renewed_s=renewed_s)
        return [f"near {each}" for each in windows]

    monkeypatch.setattr(thrown, "rejected_throw", rejected)
    monkeypatch.setattr(thrown, "candidates_in", candidates_in)
    monkeypatch.setattr(
        thrown, "_prejudged",
        lambda throw, *_: Reason(ReasonCode.RUNS_ON) if throw.arc in BIRDS else None,
    )  # fmt: skip
    scouted = SimpleNamespace(frame_s=0.04, timing="timing", renewed_s=(0.5,))
    observers = SimpleNamespace(found=reported.append)
    measuring = Measuring()
    measuring.sees_size, measuring.balls = sees_size, balls
    some = [SimpleNamespace(arc=name) for name in names]
    found = thrown.measure_throws(some, measuring, CONTEXT, scouted, observers)
    return found, measuring.asked, given, reported


def test_throws_are_fitted_and_looked_at_again_and_each_has_its_row_or_its_reason(monkeypatch):
    names = ["bird", "one", "no fit", "no row", "degenerate", "two"]
    found, asked, given, reported = measured(monkeypatch, names)
    again_s = CONTEXT.frame_s
    assert found == [
        ("bird", 0.04, [ReasonCode.RUNS_ON]),
        ("no fit", 0.04, [ReasonCode.RAGGED]),
        "row of one",
        ("no row", again_s, [ReasonCode.FAINT]),
        ("degenerate", again_s, [ReasonCode.NO_FIT]),
        "row of two",
    ]
    assert reported == ["row of one", "row of two"]
    assert [each[1:] for each in asked if each[0] == "fit"] == [(name, 0.04) for name in names[1:]]
    assert ("settings", ["one", "no row", "degenerate", "two"]) in asked
    assert ("measure", "two", "settings", "near window of two") in asked
    assert given["settings"] == "settings" and given["timing"] == "timing"
    assert given["renewed_s"] == (0.5,)


def test_what_moved_on_smoothly_is_a_ball_where_its_width_shows_one(monkeypatch):
    """It decides on no setting beside what is surely thrown, and keeps its own reason."""
    names = ["bird", "swift", "one", "gull"]
    found, asked, _, reported = measured(monkeypatch, names, sees_size=True, balls=("swift",))
    assert found == [
        ("bird", CONTEXT.frame_s, [ReasonCode.RUNS_ON]),
        "row of swift",
        "row of one",
        ("gull", CONTEXT.frame_s, [ReasonCode.RUNS_ON]),
    ]
    assert reported == ["row of swift", "row of one"]
    assert ("settings", ["one"]) in asked
    alone = measured(monkeypatch, ["swift"], sees_size=True, balls=("swift",))
    assert alone[0] == ["row of swift"] and ("settings", ["swift"]) in alone[1]


def test_without_a_flight_no_second_pass_is_made(monkeypatch):
    found, asked, given, _ = measured(monkeypatch, ["bird", "no fit"])
    assert len(found) == 2 and not given
    assert [each[0] for each in asked] == ["fit"]


@pytest.mark.parametrize(
    ("frames", "crossed"), [(range(10), 10), ([0, 3, 9], 10), ([0, 1, 12], 13)]
)
def test_a_rejected_throw_crosses_the_frames_from_its_first_position_to_its_last(frames, crossed):
    at = np.array(frames)
    arc = SimpleNamespace(
        frames=at, times_s=STEP_S * at + 0.5, duration_s=STEP_S * np.ptp(at), pixels="pixels"
    )
    context = SimpleNamespace(
        request=SimpleNamespace(clip="a.mp4"), facts=SimpleNamespace(pace=2.0)
    )
    found = thrown.rejected_throw(SimpleNamespace(arc=arc), context, STEP_S)
    assert (found.frames_seen, found.frames_crossed) == (len(at), crossed)
    assert found.release_s == pytest.approx(1.0)
    # Looked for in every second frame it may still have more positions than that.
    twice = thrown.rejected_throw(SimpleNamespace(arc=arc), context, 2.0 * STEP_S)
    assert twice.frames_crossed == max(len(at), round(np.ptp(at) / 2.0) + 1)


# --- smaller pictures


def smaller():
    return Smaller((1200, 800), (400, 200))


def test_a_row_of_smaller_pictures_has_all_its_places_in_the_frames_as_shown():
    """Three times wider and four times higher; residuals with their own factor."""
    shot = replace(fitted_shot(), basis="basis")
    found = smaller().row(shot)
    assert found.basis is None and found.shot is shot.shot
    for mine, own in zip(found.points, shot.points, strict=True):
        assert mine.column_px == pytest.approx((own.column_px + 0.5) * 3.0 - 0.5)
        assert mine.row_px == pytest.approx((own.row_px + 0.5) * 4.0 - 0.5)
        assert mine.residual_column_px == pytest.approx(3.0 * own.residual_column_px)
        assert mine.residual_row_px == pytest.approx(4.0 * own.residual_row_px)
    for name in ("pixels", "release_px", "apex_px", "landing_px"):
        own = getattr(shot.path, name)
        np.testing.assert_allclose(
            getattr(found.path, name), (own + 0.5) * np.array([3.0, 4.0]) - 0.5
        )
    assert smaller().row(replace(shot, path=None)).path is None


def test_what_is_known_of_a_camera_is_in_the_smaller_pictures_pixels():
    """Uncertainties with the mean of both factors, a third and a quarter."""
    places = np.array([[300.0, 100.0], [301.0, 400.0]])
    seen = Marker("10 m cone", np.array([10.0, 0.0, 0.0]), pixel=places[0], pixel_u=1.2)
    unseen = replace(seen, name="20 m cone", pixel=None)
    plumb = Plumb("pole", places[0], places[1], pixel_u=2.4)
    site = smaller().site(Site((1200, 800), (seen, unseen), plumbs=(plumb,)))
    by = (1.0 / 3.0 + 1.0 / 4.0) / 2.0
    expected = (places + 0.5) / np.array([3.0, 4.0]) - 0.5
    np.testing.assert_allclose(site.markers[0].pixel, expected[0])
    assert site.markers[1].pixel is None
    assert [each.pixel_u for each in site.markers] == pytest.approx([1.2 * by] * 2)
    np.testing.assert_allclose(site.plumbs[0].lower_px, expected[0])
    np.testing.assert_allclose(site.plumbs[0].upper_px, expected[1])
    assert site.plumbs[0].pixel_u == pytest.approx(2.4 * by) and site.size_px == (400, 200)


def test_throws_and_rejected_candidates_go_into_smaller_pictures_and_come_back():
    arc, hop = a_path(0, 10), a_path(12, 10)
    arc = replace(arc, scatter_px=0.7, acceleration_u_pxps2=9.0)
    found = smaller().throw(Throw(arc, hop))
    np.testing.assert_allclose(found.arc.pixels, (arc.pixels + 0.5) / [3.0, 4.0] - 0.5)
    np.testing.assert_allclose(found.hop.pixels, (hop.pixels + 0.5) / [3.0, 4.0] - 0.5)
    by = (1.0 / 3.0 + 1.0 / 4.0) / 2.0
    assert found.arc.scatter_px == pytest.approx(by * arc.scatter_px)
    assert found.arc.acceleration_u_pxps2 == pytest.approx(by * arc.acceleration_u_pxps2)
    np.testing.assert_allclose(found.arc.velocity_pxps, arc.velocity_pxps / [3.0, 4.0])
    assert smaller().throw(Throw(arc, None)).hop is None
    rejected = thrown.rejected_throw(Throw(found.arc, None), CONTEXT, STEP_S)
    np.testing.assert_allclose(smaller().rejected(rejected).pixels, arc.pixels)


def test_near_throws_are_measured_in_pictures_of_a_whole_number_of_pixels(monkeypatch):
    """The cameras that made a row stand in the order of how well they are known."""
    asked = {}

    class Noted:
        def __init__(self, start, context, own_lag):
            asked.update(start=start, context=context, own_lag=own_lag)
            camera = SimpleNamespace(resized=lambda size_px: ("resized", size_px))
            self.measured = [SimpleNamespace(u=u, camera=camera) for u in (3.0, 1.0)]

    def measure(some, measurement, context, scouted, observers):
        asked.update(throws=some, scouted=scouted, observers=observers)
        return []

    monkeypatch.setattr(near, "UntapedMeasurement", Noted)
    monkeypatch.setattr(near, "measure_throws", measure)
    order = []
    monkeypatch.setattr(near, "distance_u", lambda each: order.append(each.u) or each.u)
    facts = SimpleNamespace(size_px=(1920, 1080), shrunk=lambda px: SimpleNamespace(size_px=px))
    context = SimpleNamespace(
        facts=facts,
        request=CONTEXT.request,
        circumstances=KNOWN,
        camera=KNOWN.camera,
        frame_s=CONTEXT.frame_s,
        clock_presumed=True,
    )
    size = 30.0
    fall = size / (2.0 * KNOWN.ball_radius_m) * KNOWN.forces.gravity_mps2
    arc = a_path(0, 12, fall=fall)
    paths = a_path(0, 25), a_path(0, 26), a_path(0, 27)
    scouted = Scouted(paths, (), (), STEP_S, Timing(np.zeros(1), np.zeros(1)), "", (), ())
    start = SimpleNamespace(site=Site((1920, 1080), ()), height_known=True)
    measuring = NearMeasurement(start, context, scouted)
    assert measuring.measured([Throw(arc, None)], 7, "observers") == []
    assert asked["context"].facts.size_px == (274, 154) and asked["own_lag"] is True
    assert asked["context"].clock_presumed
    assert asked["context"].settings.window == (0, 0, 274, 154)
    assert asked["start"].site.size_px == (274, 154) and asked["start"].height_known
    # Half a second and more: 26 positions in frames of 20 ms.
    assert [len(each.frames) for each in asked["scouted"].arcs] == [26, 27]
    assert asked["throws"][0].arc.pixels[0] == pytest.approx(
        (arc.pixels[0] + 0.5) * (274 / 1920, 154 / 1080) - 0.5
    )
    assert measuring.cameras == [("resized", (1920, 1080))] * 2 and order == [3.0, 1.0]


def test_of_rows_of_one_near_ball_the_fullest_stays_and_rejected_ones_come_last():
    shot = fitted_shot()
    one, fuller = (replace(shot, shot=replace(shot.shot, frames_seen=seen)) for seen in (20, 30))
    other = object.__new__(RejectedCandidate)
    found = each_once([one, other, fuller])
    assert found[0] is fuller and found[2] is other
    assert found[1].reasons[0].code is ReasonCode.DUPLICATE
    bare = replace(one, path=None)
    assert each_once([bare, fuller]) == [fuller, bare]


# --- what a start hands over


def test_what_was_found_is_stated_on_the_files_own_clock_and_doubted_as_a_whole():
    facts = SimpleNamespace(file_times_s=np.array([0.0, 1.0, 2.0]))
    timing = Timing(np.zeros(3), np.array([0.0, 2.0, 4.0]), np.zeros(3, bool))
    shot = fitted_shot(release_s=3.0, quality=Quality.GOOD)
    rejected = thrown.rejected_throw(Throw(a_path(50, 9), None), CONTEXT, STEP_S)
    found = Findings(None)
    assert not found.any_shot
    found.sort([rejected, shot])
    assert found.shots == [shot] and found.rejected == [rejected] and found.any_shot
    found.on_file_clock(timing, facts)
    assert found.shots[0].shot.release_s == pytest.approx(1.5)
    assert found.rejected[0].release_s == pytest.approx(0.5 * rejected.release_s)
    first, second = Reason(ReasonCode.FRAME_TIMES), Reason(ReasonCode.NEVER_LANDS)
    found.doubt(first, second)
    row = found.shots[0].shot
    assert row.reasons[-2:] == (first, second) and row.quality is Quality.CHECK
    only = Findings(None, [fitted_shot(quality=Quality.REJECTED)])
    only.doubt(first)
    # A rejected row is no ball's, whatever else is wrong with the clip.
    assert not only.any_shot and first not in only.shots[0].shot.reasons
    assert doubted(shot, first).shot.reasons == (*shot.shot.reasons, first)


# --- from the release


def started(monkeypatch, cadence, *, shots=(), field=None, corrected=(), better=False,
            stopped=False, balls=None, doubled=None):  # fmt: skip
    """Find shots from the release in a clip of such times; return the findings and the passes."""
    done = SimpleNamespace(searches=[], causes=[], faint=0)
    facts = SimpleNamespace(file_times_s=np.arange(3.0))

    def search(context, timing, meter, observers, scouting=None):
        done.searches.append((timing, meter is not None, observers, scouting))
        first = len(done.searches) == 1
        return Findings("camera", list(shots if first else corrected), notes=[
            "first" if first else "second"
        ])  # fmt: skip

    class Meter:
        def __init__(self, facts):
            pass

        def changes(self):
            return "changes"

    base = SimpleNamespace(
        cadence=cadence, explanation="why", times_s=np.arange(3.0), repeats=np.zeros(3, bool)
    )
    scouting = SimpleNamespace(stopped=stopped, found=lambda base: ("scouted", "slow"))

    def causes(scouted, slow, context, field, rejected, short):
        assert short == []
        done.causes.append((scouted, slow, field, rejected))
        return ("cause",)

    def with_faint(context, found, observers):
        done.faint += 1
        return found

    def by_balls(given, lags):
        assert given is base and lags == []
        return given if balls is None else SimpleNamespace(**{**vars(base), **balls})

    def doubles(given, changes):
        assert given is base and changes == "changes"
        return given if doubled is None else SimpleNamespace(**{**vars(base), **doubled})

    for name, instead in {
        "beat_of_lags": by_balls,
        "without_doubles": doubles,
        "release_context": lambda *_: SimpleNamespace(facts=facts),
        "_with_faint": with_faint,
        "ChangeMeter": Meter,
        "scouting_along": lambda context: scouting,
        "_search": search,
        "check_cadence": lambda changes, times: base,
        "fits_better": lambda one, other: better,
        "causes_in": causes,
    }.items():
        monkeypatch.setattr(release, name, instead)
    monkeypatch.setattr(
        release, "Timing",
        SimpleNamespace(of_file=lambda facts: "file", corrected=lambda facts, base: Timing(
            base.times_s, 2.0 * base.times_s, base.repeats
        )),
    )  # fmt: skip
    observers = Observers(progress=print, on_shot=print)
    done.found = release.ReleaseStart("camera", field).find(facts, None, observers)
    return done


def test_a_clip_whose_times_are_true_is_passed_once(monkeypatch):
    done = started(monkeypatch, Cadence.TRUE, shots=[fitted_shot(quality=Quality.GOOD)])
    ((timing, metered, observers, scouting),) = done.searches
    assert timing == "file" and metered and observers.on_shot is print and scouting is None
    assert done.found.notes == ["first"] and done.found.causes == () and done.causes == []


def test_doubtful_times_make_every_shot_doubtful(monkeypatch):
    done = started(monkeypatch, Cadence.DOUBTFUL, shots=[fitted_shot(quality=Quality.GOOD)])
    assert done.found.notes == ["first", "why"] and len(done.searches) == 1
    assert done.found.shots[0].shot.reasons[-1].code is ReasonCode.FRAME_TIMES


def test_mended_times_are_tried_in_a_second_pass_and_shots_stated_in_the_files(monkeypatch):
    second = fitted_shot(release_s=3.0)
    how = {"shots": [fitted_shot(release_s=1.0)], "corrected": [second]}
    done = started(monkeypatch, Cadence.MENDED, **how)
    assert done.found.notes == ["first", "why"]
    assert done.found.shots[0].shot.release_s == pytest.approx(1.5)
    timing, metered, observers, scouting = done.searches[1]
    assert timing.repeats is not None and not metered and scouting is None
    assert observers.on_shot is None and observers.progress is print
    done = started(monkeypatch, Cadence.MENDED, better=True, **how)
    assert done.found.notes == ["first", release.FILE_TIMES_STAND]
    assert done.found.shots[0].shot.release_s == 1.0


@pytest.mark.parametrize("cadence", [Cadence.TRUE, Cadence.DOUBTFUL])
def test_times_that_balls_alone_show_to_be_wrong_are_tried_too(monkeypatch, cadence):
    rejected = [fitted_shot(quality=Quality.REJECTED)]
    good = [fitted_shot(quality=Quality.GOOD)]
    balls = {"cadence": Cadence.MENDED, "explanation": "by its balls"}
    done = started(monkeypatch, cadence, shots=rejected, corrected=good, field="field", balls=balls)
    assert done.found.notes == ["first", "by its balls"] and len(done.searches) == 2
    assert done.found.any_shot and (done.causes, done.faint) == ([], 0)
    assert done.found.shots[0].shot.reasons == good[0].shot.reasons
    vain = started(monkeypatch, cadence, shots=rejected, field="field", balls=balls)
    assert vain.found.causes == ("cause",)
    sure = started(monkeypatch, Cadence.MENDED, shots=rejected, corrected=good)
    assert sure.found.notes == ["first", "why"]


def test_a_clip_of_doubled_frames_is_passed_again_where_it_shows_no_shot(monkeypatch):
    doubled = {"cadence": Cadence.MENDED, "explanation": "doubled"}
    good = [fitted_shot(quality=Quality.GOOD, release_s=3.0)]
    how = {"corrected": good, "field": "field", "doubled": doubled}
    done = started(monkeypatch, Cadence.TRUE, **how)
    assert done.found.notes == ["first", "doubled"] and done.causes == [] and done.faint == 0
    assert done.found.shots[0].shot.release_s == pytest.approx(1.5)
    timing, metered, observers, scouting = done.searches[1]
    assert timing.repeats is not None and not metered and scouting is None
    assert observers.on_shot is None and observers.progress is print
    vain = started(monkeypatch, Cadence.TRUE, field="field", doubled=doubled)
    assert vain.found.notes == ["first"] and vain.found.causes == ("cause",) and vain.faint == 1
    shown = started(monkeypatch, Cadence.TRUE, shots=good, **how)
    assert len(shown.searches) == 1


@pytest.mark.parametrize("cadence", [Cadence.TRUE, Cadence.DOUBTFUL, Cadence.MENDED])
def test_the_cause_is_looked_for_where_no_shot_was_found(monkeypatch, cadence):
    rejected = fitted_shot(quality=Quality.REJECTED)
    looked = cadence is not Cadence.MENDED
    for shots in ([], [rejected]):
        done = started(monkeypatch, cadence, shots=shots, field="field")
        assert done.found.causes == (("cause",) if looked else ())
        assert len(done.causes) == looked == done.faint
        if looked and not shots:
            assert done.causes == [("scouted", "slow", "field", [])]
    if looked:
        assert len(done.causes[0][3]) == 1
        assert started(monkeypatch, cadence, field="field", stopped=True).found.causes == ()
        assert started(monkeypatch, cadence).found.causes == ()
    good = [fitted_shot(quality=Quality.CHECK)]
    done = started(monkeypatch, cadence, shots=good, field="field")
    assert (done.causes, done.faint) == ([], 0)


def searched(monkeypatch, *, moves=False, lost=0.0, shot_at=None, scouting=None, close_ups=None):
    """Pass through a clip in which three frames each show a flight, and one more is left."""
    done = SimpleNamespace(side=[], reported=[])

    class Search:
        rejected_candidates = (("hypothesis", Reason(ReasonCode.NO_FIT)),)

        def __init__(self, context):
            pass

        def push(self, frame):
            return [frame]

        def candidates(self, hypothesis):
            return f"near {hypothesis}"

        def finish(self):
            yield ["last"]

    def loop(facts, camera, settings, timing, *, meter, side_px):
        done.side.append(side_px)
        done.loop = SimpleNamespace(
            notes=["decoder"], moves=moves,
            doubts=lambda: [Reason(ReasonCode.CAMERA_LOST, {"percent": 9.0})] * (lost > 0.05),
        )  # fmt: skip
        return done.loop

    def passed(loops, observers):
        done.loops = loops
        for number in range(3):
            yield 0, SimpleNamespace(in_window=lambda number=number: number)
            if len(loops) > 1:
                yield 1, f"scouted {number}"

    def measure(context, hypothesis, candidates, flights):
        assert candidates == f"near {hypothesis}"
        flights.append(hypothesis)
        if hypothesis == shot_at:
            return fitted_shot(quality=Quality.CHECK)
        return thrown.rejected_throw(Throw(a_path(0, 9), None), CONTEXT, STEP_S)

    for name, instead in {
        "FlightSearch": Search,
        "FramePass": loop,
        "passed_together": passed,
        "measure_hypothesis": measure,
        "rejected_hypothesis": lambda context, hypothesis, reason: (hypothesis, reason.code),
        "closing": lambda each: SimpleNamespace(
            __enter__=lambda self: each, __exit__=lambda self, *_: None
        ),
    }.items():
        if name != "closing":
            monkeypatch.setattr(release, name, instead)
    context = SimpleNamespace(
        search_context=lambda: None, frame_s=1.0 / 60.0, camera="camera", settings=None, facts=None
    )
    observers = Observers(on_shot=done.reported.append, close_ups=close_ups)
    done.found = release._search(context, "timing", None, observers, scouting)
    return done


def test_flights_are_measured_as_they_are_found_and_those_left_at_the_end(monkeypatch):
    done = searched(monkeypatch, shot_at="last")
    assert len(done.found.shots) == 1 and len(done.found.rejected) == 4
    assert done.found.rejected[-1] == ("hypothesis", ReasonCode.NO_FIT)
    assert done.reported == done.found.shots and done.side == [0]
    assert done.found.notes == ["decoder"] and len(done.loops) == 1
    moved = searched(monkeypatch, shot_at=1, moves=True, lost=0.1)
    assert moved.found.notes == ["decoder", release.MOVED_NOTE]
    assert done.found.flights == [0, 1, 2, "last"]
    assert moved.found.shots[0].shot.reasons[-1].code is ReasonCode.CAMERA_LOST


def test_a_clip_is_scouted_along_until_a_shot_is_found(monkeypatch):
    pushed, stops = [], []
    scouting = SimpleNamespace(
        loops=["own"], feed_by=lambda loop: pushed.append(("feeds", loop)),
        push=lambda at, each: pushed.append((at, each)),
        push_fed=lambda each: pushed.append(each.in_window()),
        stop=lambda: stops.append(len(pushed)),
    )  # fmt: skip
    done = searched(monkeypatch, shot_at=1, scouting=scouting)
    assert done.loops == [done.loop, "own"]
    assert pushed == [
        ("feeds", done.loop), 0, (0, "scouted 0"), 1, (0, "scouted 1"), 2, (0, "scouted 2"),
    ]  # fmt: skip
    # With the frame that shows it, and again with each one after it.
    assert stops == [4, 6]
    pushed.clear(), stops.clear()
    searched(monkeypatch, scouting=scouting)
    assert stops == []


def test_close_ups_are_taken_of_shots_at_the_clips_own_rate(monkeypatch):
    taken, rates = [], []
    close_ups = SimpleNamespace(
        side=lambda fps: rates.append(fps) or 40, take=lambda shot, near: taken.append(near)
    )
    done = searched(monkeypatch, shot_at=1, close_ups=close_ups)
    assert taken == ["near 1"] and done.side == [40] and rates == pytest.approx([60.0])


# --- rows


def traced_case():
    case = drawn(np.random.default_rng(1), KNOWN)
    return TracedFlight(case.observed, case.fit(), len(case.track.frames))


def test_a_position_is_read_when_its_row_is():
    traced = traced_case()
    found = rows._row_times(traced)
    readout = traced.fitted.parameters[READOUT_AT]
    expected = traced.observed.track.times_s + readout * traced.observed.row_share
    np.testing.assert_allclose(found, expected)
    assert np.ptp(found - traced.observed.track.times_s) > 1e-4


def test_innovations_are_those_of_used_positions_in_the_order_in_which_they_are_read(monkeypatch):
    traced = traced_case()
    asked = {}

    def consistency(trajectory, camera, times, residuals, covariances):
        asked.update(times=times, residuals=residuals, covariances=covariances, camera=camera)

    monkeypatch.setattr(rows, "consistency", consistency)
    used = traced.fitted.used.copy()
    used[[3, 9]] = False
    share = traced.observed.row_share.copy()
    share[5] += 3.0
    mixed = replace(
        traced,
        fitted=replace(traced.fitted, used=used),
        observed=replace(traced.observed, row_share=share),
    )
    rows._consistency(CONTEXT, mixed)
    order = [k for k in np.argsort(rows._row_times(mixed), kind="stable") if used[k]]
    assert order != sorted(order)
    release_s = traced.fitted.parameters[RELEASE_AT]
    np.testing.assert_allclose(asked["times"], rows._row_times(mixed)[order] - release_s)
    np.testing.assert_array_equal(asked["residuals"], traced.fitted.residuals_px[order])
    assert np.all(np.diff(asked["times"]) >= 0.0)


def test_a_row_states_what_is_known_of_a_shot_and_nothing_of_a_landing_that_never_comes():
    traced = traced_case()
    own = rows.figures_of(KNOWN, traced.fitted.parameters)
    figures = SimpleNamespace(
        value=lambda name: np.nan if name == "carry_m" else own.value(name), u=own.u
    )
    context = replace(CONTEXT, facts=SimpleNamespace(pace=2.0))
    doubt = (Reason(ReasonCode.NEVER_LANDS),)
    row = rows._shot(context, traced, figures, True, doubt)
    u = own.u(traced.fitted.covariance)
    assert row.exit_speed_mps == own.value("exit_speed_mps")
    assert row.exit_speed_u_mps == u["exit_speed_mps"]
    assert row.carry_m is None and row.carry_u_m is None
    assert row.release_s == pytest.approx(2.0 * traced.fitted.parameters[RELEASE_AT])
    assert row.frames_seen == traced.fitted.used.sum() and row.landing_seen
    assert (row.shot, row.quality, row.reasons) == (0, Quality.CHECK, doubt)
    assert (row.clip, row.setup) == (CONTEXT.request.clip, CONTEXT.request.setup)


def judged(monkeypatch, *, used=0.9, landing_seen=None, aimed=True, **found):
    """Make a row of a flight of which each rule says what it is asked to."""
    asked = {}
    traced = SimpleNamespace(
        fitted=SimpleNamespace(used=np.arange(100) < 100 * used, parameters=0, covariance="spread"),
        in_view=100,
    )
    figures = SimpleNamespace(value=lambda name: 20.0, u=lambda covariance: covariance)

    def doubts(traced, figures, covered, agreement, expectations):
        asked["covered"] = covered
        return ["doubt"]

    for name, instead in {
        "not_a_ball": lambda *_: found.get("stray"),
        "figures_of": lambda *_: figures,
        "_consistency": lambda *_: "agreement",
        "_covered": lambda *_: found.get("covered", True),
        "parts_of_animal": lambda traced, agreement: found.get("animal"),
        "something_else": lambda traced, least: (
            asked.setdefault("least", least) and found.get("other")
        ),
        "off_aim": lambda figures, u: found.get("off"),
        "seen_at_neither_end": lambda traced, covered: found.get("neither"),
        "doubts": doubts,
        "_shot": lambda context, traced, figures, covered, reasons: (covered, reasons),
        "_points": lambda *_: (),
        "_path": lambda *_: "path",
        "budget_of": lambda *_: "budget",
        "flight_model": lambda *_: "model",
    }.items():
        monkeypatch.setattr(rows, name, instead)
    expectations = SimpleNamespace(landing_seen=landing_seen, least_evidence=7.0, aimed=aimed)
    context = SimpleNamespace(circumstances=found.get("known", KNOWN))
    shot = rows.describe(context, traced, expectations, ("before",))
    assert asked.get("least", 7.0) == 7.0
    return shot


def test_reasons_known_before_stand_first_and_one_that_rejects_stands_alone(monkeypatch):
    assert judged(monkeypatch).shot == (True, ("before", "doubt"))
    for name in ("stray", "animal", "other", "off", "neither"):
        assert judged(monkeypatch, **{name: name}).shot == (True, (name,))
    assert judged(monkeypatch, stray="first", animal="second").shot[1] == ("first",)
    assert judged(monkeypatch, off="first", neither="second").shot[1] == ("first",)


def test_what_needs_no_aim_is_not_held_against_it_nor_against_its_ends(monkeypatch):
    for name in ("off", "neither"):
        assert judged(monkeypatch, aimed=False, **{name: name}).shot[1] == ("before", "doubt")


@pytest.mark.parametrize(("used", "row"), [(0.8, True), (0.79, False)])
def test_what_scatters_and_is_seen_nearly_all_the_way_makes_a_rejected_row(monkeypatch, used, row):
    stray = Reason(ReasonCode.NO_FIT)
    if row:
        assert judged(monkeypatch, used=used, stray=stray).shot[1] == (stray,)
    else:
        with pytest.raises(Rejection) as raised:
            judged(monkeypatch, used=used, stray=stray)
        assert raised.value.reasons == (stray,)


@pytest.mark.parametrize("seen", [True, False])
def test_whether_a_landing_was_seen_is_as_the_start_knows_or_else_as_the_fit_says(
    monkeypatch, seen
):
    assert judged(monkeypatch, landing_seen=seen, covered=not seen).shot[0] is seen
    assert judged(monkeypatch, covered=seen).shot[0] is seen


def test_a_rejected_flight_is_shown_until_it_is_on_the_ground():
    trajectory = SimpleNamespace(
        times_s=np.array([0.0, 1.0, 3.0]),
        at=lambda times: np.column_stack([times, 0.0 * times, 1.51 - times, *[times] * 3]),
    )
    hypothesis = SimpleNamespace(
        trajectory=trajectory, release_s=0.5, support=33.0, hits=7, in_view=9
    )
    context = SimpleNamespace(
        camera=SimpleNamespace(project=lambda points: points[:, ::2].copy()),
        request=SimpleNamespace(clip="a.mp4"),
        facts=SimpleNamespace(pace=2.0),
        circumstances=SimpleNamespace(ground=Ground(-0.25)),
    )
    found = tracing.rejected_hypothesis(context, hypothesis, Reason(ReasonCode.NO_FIT))
    np.testing.assert_allclose(found.times_s, 0.5 + np.linspace(0.0, 3.0, 61))
    # It falls by 1 m/s along 1 m/s of ground that falls by a quarter of that: 1.51 m last 2 s.
    assert np.isfinite(found.pixels[:41]).all() and np.isnan(found.pixels[41:]).all()
    assert found.release_s == 1.0 and found.support == 33.0
    assert (found.frames_seen, found.frames_crossed) == (7, 9)
    assert [each.code for each in found.reasons] == [ReasonCode.NO_FIT]


# --- ends that a person states


class Observed:
    landed_s = (3.0, 0.02)

    def __init__(self, times=(1.0, 2.0, 3.0)):
        self.track = SimpleNamespace(times_s=np.array(times))

    def part(self, kept):
        return Observed(self.track.times_s[kept])


@pytest.mark.parametrize(
    ("landed", "landing", "times", "landed_s"),
    [
        (None, False, [1.0, 2.0, 3.0], (3.0, 0.02)),
        (None, True, [1.0, 2.0, 3.0], None),
        (GivenTime(2.0, 0.01), True, [1.0, 2.0], (2.0, 0.01)),
        (GivenTime(1.99, 0.01), True, [1.0], (1.99, 0.01)),
    ],
)
def test_a_stated_landing_takes_the_place_of_the_films(
    monkeypatch, landed, landing, times, landed_s
):
    monkeypatch.setattr(by_hand, "replace", lambda each, **changes: (each, changes))
    given = GivenEnds()
    observed, changes = by_hand._observed(Observed(), given, landed, landing)
    assert observed.track.times_s.tolist() == times
    assert changes == {"landed_s": landed_s, "given": given}


@pytest.mark.parametrize(
    ("off", "landed", "film", "expected"),
    [
        (2.0, None, (3.0, 0.03), 2.0),
        (2.0, GivenTime(3.1, 0.04), (3.0, 0.03), 2.0),
        (2.0, GivenTime(2.8, 0.04), (3.0, 0.03), 4.0),
        (2.0, GivenTime(2.8, 0.04), None, 2.0),
        (np.inf, None, None, 0.0),
        (np.nan, None, None, 0.0),
    ],
)
def test_a_statement_is_as_far_off_as_the_worst_of_fit_and_film_say(
    monkeypatch, off, landed, film, expected
):
    monkeypatch.setattr(by_hand, "disagreement", lambda *_: off)
    basis = SimpleNamespace(
        context=SimpleNamespace(circumstances=None),
        traced=SimpleNamespace(
            fitted=SimpleNamespace(parameters=None, covariance=None),
            observed=SimpleNamespace(landed_s=film),
        ),
    )
    assert by_hand._off_u(basis, None, landed) == pytest.approx(expected)


def test_a_statement_that_the_film_speaks_against_is_doubted_and_no_animal(monkeypatch):
    """From three and a half uncertainties on; what no fit judges stays before what it does."""
    stays, judged_anew = Reason(ReasonCode.MARKER_LEFT_OUT), Reason(ReasonCode.NEVER_LANDS)
    animal, settled = Reason(ReasonCode.PARTS_OF_ANIMAL), Reason(ReasonCode.FIT_NOT_SETTLED)
    before = SimpleNamespace(shot=SimpleNamespace(reasons=(stays, judged_anew)))
    again = SimpleNamespace(shot=SimpleNamespace(reasons=(animal, settled)))
    assert by_hand._reasons(before, again, 3.5) == (stays, animal, settled)
    found = by_hand._reasons(before, again, 3.51)
    assert found == (stays, Reason(ReasonCode.HAND_DISAGREES, {"off_u": 3.51}), settled)


# --- a presumed camera


def presumed(monkeypatch, *, far=(), close=(), measured=(), cameras=(), slow=(), flies=0.0):
    """Find throws before a presumed camera; each is measured to a shot of its name."""
    done = SimpleNamespace(asked=[])
    scouted = SimpleNamespace(
        notes=("note",), doubts=(), timing="timing", doubt="", refined=None, arcs=(), slow=(),
        others=slow,
    )  # fmt: skip

    class Nearer:
        def __init__(self, *_):
            self.cameras = list(cameras)

        def measured(self, some, times, observers):
            done.asked.append((some, times))
            return [fitted_shot(release_s=9.0)]

    def measurement(start, context):
        return SimpleNamespace(
            measured=[SimpleNamespace(u=u, camera=f"camera {u}") for u in measured]
        )

    for name, instead in {
        "scout": lambda facts, camera, observers, fall, renews: done.asked.append(fall) or scouted,
        "UntapedMeasurement": measurement,
        "NearMeasurement": Nearer,
        "throws_of": lambda scouted, width_px: done.asked.append(width_px) or "throws",
        "by_size": lambda throws, context: (list(far), dict(close)),
        "measure_throws": lambda some, _, context, *__: [
            fitted_shot(release_s=2.0) for _ in some if flies in (0.0, context.facts.pace)
        ],
        "without_hops": lambda shots, *_: (shots, []),
        "why_no_throw": lambda rejected, context, scouted, stated: ("cause", stated),
        "other_paths": lambda throws, context, scouted: [
            thrown.rejected_throw(Throw(a_path(0, 9), None), CONTEXT, STEP_S)
        ],
        "distance_u": lambda each: each.u,
    }.items():
        monkeypatch.setattr(presumed_camera, name, instead)
    monkeypatch.setattr(Findings, "on_file_clock", lambda found, timing, facts: None)
    start = presumed_camera.PresumedCameraStart(Site((1920, 1080), ()), height_known=False)
    facts = facts_of(size_px=(1920, 1080))
    done.found = start.find(facts, CONTEXT.request, Observers())
    return done


@pytest.mark.parametrize(("pace", "rate"), [(4.0, 120.0), (8.0, 240.0)])
def test_a_bare_clip_in_which_something_falls_slowly_is_looked_at_as_slow_motion(
    monkeypatch, pace, rate
):
    slow = ((a_path(0, 9), 16.0),)
    (found,) = presumed(monkeypatch, far=("a",), slow=slow, flies=pace).found.shots
    assert found.shot.reasons[-1] == Reason(
        ReasonCode.CLOCK_PRESUMED, {"rate_fps": rate, "times": pace}
    )
    assert not presumed(monkeypatch, far=("a",), flies=pace).found.shots
    assert not presumed(monkeypatch, far=("a",), slow=slow, flies=2.0).found.shots
    (plain,) = presumed(monkeypatch, far=("a",), slow=slow, flies=1.0).found.shots
    assert not plain.shot.reasons


def test_throws_before_a_presumed_camera_are_measured_at_their_sizes(monkeypatch):
    done = presumed(monkeypatch, far=("a", "b"), close={3: ["c"]}, measured=(0.3, 0.1))
    gravity = KNOWN.forces.gravity_mps2
    assert done.asked == [
        pytest.approx(gravity / (2.0 * KNOWN.ball_radius_m)), 1920, (["c"], 3),
    ]  # fmt: skip
    assert [each.shot.release_s for each in done.found.shots] == [2.0, 2.0, 9.0]
    assert len(done.found.rejected) == 1 and done.found.causes == ()
    assert done.found.notes[0] == "note" and "capture_fps" in done.found.notes[1]


def test_shots_are_drawn_with_the_best_known_camera(monkeypatch):
    assert presumed(monkeypatch, measured=(0.3, 0.1, 0.2)).found.camera == "camera 0.1"
    assert presumed(monkeypatch, cameras=("near", "nearer")).found.camera == "near"
    assert presumed(monkeypatch, measured=(0.3,), cameras=("near",)).found.camera == "camera 0.3"
    bare = presumed(monkeypatch).found
    assert bare.camera.size_px == (1920, 1080) and bare.causes == ("cause", False)
    assert bare.notes == ["note"]


@pytest.mark.parametrize("shift", [0.0, 40.0])
def test_the_apex_of_a_path_that_only_falls_is_where_it_begins(monkeypatch, shift):
    """No apex within it: the highest of its points."""
    traced = traced_case()
    monkeypatch.setattr(rows, "apex", lambda flight: None)
    figures = rows.figures_of(KNOWN, traced.fitted.parameters)
    path = rows._path(CONTEXT, traced, figures)
    highest = path.points_m[path.points_m[:, 2].argmax()]
    nearest = np.linalg.norm(path.pixels - path.apex_px, axis=1).argmin()
    np.testing.assert_array_equal(path.points_m[nearest], highest)
    assert len(path.times_s) == 121 and invented()[0].path is not None
