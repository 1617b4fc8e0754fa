"""Paths of the first pass: joined, compared, sorted by size; and where a ball was first seen."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.errors import InputError
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import SIZE_PX, calibrated, circumstances
from tracker.following.arcs import fit_arc
from tracker.measurement import added
from tracker.measurement.added import Pick, Picks, picks_along
from tracker.measurement.scouted_sizes import (
    OtherSizes,
    _Near,
    _Small,
    part_of,
    same_ball,
    scouting_settings,
)
from tracker.measurement.starts import first_sight as sights
from tracker.measurement.starts import near
from tracker.measurement.starts.first_sight import Entry, FirstSight
from tracker.measurement.starts.near import Smaller, by_size
from tracker.measurement.starts.runs_on import _meet
from tracker.measurement.throws import Throw, _Joining, _Joint
from tracker.records import Reason, ReasonCode, RejectedCandidate

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)
STEP_S = 1.0 / 60.0
WIDTH = 1000
REACH = 0.012 * WIDTH


def path(begin_s, count, place=(500.0, 300.0), velocity=(300.0, 80.0), fall=0.0, step_s=STEP_S):
    """A path from a place with a velocity there, and a downward acceleration."""
    times = begin_s + np.arange(count) * step_s
    since = times - begin_s
    pixels = np.array(place, float) + np.outer(since, velocity)
    pixels[:, 1] += 0.5 * fall * since**2
    return fit_arc(np.column_stack([np.rint(times / step_s), times, pixels]), step_s)


def ends_at(arc, time_s):
    since = time_s - arc.times_s[-1]
    last = arc.at(arc.times_s[-1:] + np.array([0.0]))[0]
    step = arc.at(arc.times_s[-1:])[0] - arc.at(arc.times_s[-1:] - 1e-3)[0]
    return last + since * step / 1e-3


EARLIER = path(0.0, 30)
END_S = float(EARLIER.times_s[-1])


def joint(gap_s=0.05, aside=0.0, velocity=(300.0, 80.0), count=20):
    later_s = END_S + gap_s
    place = ends_at(EARLIER, later_s) + np.array([0.0, aside])
    later = path(later_s, count, place, velocity)
    return _Joining({}, [], WIDTH, STEP_S)._joint(EARLIER, later)


def test_a_path_goes_on_within_a_time_and_an_overlap():
    assert joint(0.299) is _Joint.ONWARD and joint(0.301) is _Joint.NOT
    # It may overlap by two and a half frames.
    assert joint(-2.49 * STEP_S) is _Joint.ONWARD and joint(-2.51 * STEP_S) is _Joint.NOT


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_paths_of_one_ball_pass_each_other_within_a_share_of_the_frame(side):
    level = np.array([300.0, 0.0])
    first = path(0.0, 30, velocity=level)
    for share, joined in ((0.97, True), (1.03, False)):
        later_s = float(first.times_s[-1]) + 0.02
        place = ends_at(first, later_s) + np.array([0.0, side * share * REACH])
        found = _Joining({}, [], WIDTH, STEP_S)._joint(first, path(later_s, 20, place, level))
        assert (found is _Joint.ONWARD) is joined


@pytest.mark.parametrize(("share", "onward"), [(0.97, True), (1.03, False)])
def test_a_velocity_goes_on_within_an_eighth_and_two_reaches_a_second(share, onward):
    speed = float(np.hypot(300.0, 80.0))
    limit = 0.12 * speed + 2.0 * REACH
    found = joint(0.02, velocity=(300.0, 80.0 - share * limit))
    # Turned up where it came down, what changes more is a hop.
    assert found is (_Joint.ONWARD if onward else _Joint.HOP)
    downward = joint(0.02, velocity=(300.0, 80.0 + share * limit))
    assert downward is (_Joint.ONWARD if onward else _Joint.NOT)


def test_what_rises_does_not_bounce():
    rising = path(0.0, 30, velocity=(300.0, -80.0))
    later_s = float(rising.times_s[-1]) + 0.02
    later = path(later_s, 20, ends_at(rising, later_s), (300.0, -300.0))
    assert _Joining({}, [], WIDTH, STEP_S)._joint(rising, later) is _Joint.NOT


def test_of_two_hops_the_longer_is_the_throws_and_further_bounces_are_taken(monkeypatch):
    frames = [30, 8, 20, 15, 9]
    arcs = {
        k: SimpleNamespace(frames=np.arange(n), times_s=np.zeros(2), name=k)
        for k, n in enumerate(frames)
    }
    joints = {(0, 1): _Joint.HOP, (0, 2): _Joint.HOP, (2, 3): _Joint.HOP, (3, 4): _Joint.ONWARD}
    joining = _Joining(arcs, [0, 3], WIDTH, STEP_S)
    monkeypatch.setattr(
        joining, "_joint", lambda a, b: joints.get((a.name, b.name), _Joint.NOT), raising=False
    )
    joining.grow(0)
    assert joining.hops == {0: 2} and joining.taken == {2, 3, 4}


@pytest.mark.parametrize(("share", "same"), [(0.099, True), (0.101, False)])
def test_two_paths_are_one_balls_within_a_tenth_of_the_width(share, same):
    other = path(0.0, 30, (500.0, 300.0 + share * WIDTH))
    assert same_ball(EARLIER, other, WIDTH) is same
    near_one = path(0.0, 30, (500.0, 300.0 + 0.12 * share * WIDTH))
    assert same_ball(EARLIER, near_one, WIDTH, 0.012) is same


@pytest.mark.parametrize(("shift", "same"), [(14, True), (16, False)])
def test_two_paths_are_one_balls_where_they_overlap_by_half(shift, same):
    """Of the shorter: here both last 29 frames."""
    begin = shift * STEP_S
    other = path(begin, 30, EARLIER.at(np.array([begin]))[0])
    assert same_ball(EARLIER, other, WIDTH) is same
    short = path(begin + 6 * STEP_S, 9, EARLIER.at(np.array([begin + 6 * STEP_S]))[0])
    assert same_ball(EARLIER, short, WIDTH) == (29 - shift - 6 >= 4)


def test_a_part_has_fewer_positions_and_is_near():
    short = path(0.1, 10, EARLIER.at(np.array([0.1]))[0])
    assert part_of(short, EARLIER, WIDTH) and not part_of(EARLIER, short, WIDTH)
    assert not part_of(EARLIER, EARLIER, WIDTH)
    beside = path(0.1, 10, EARLIER.at(np.array([0.1]))[0] + np.array([0.0, 13.0]))
    assert not part_of(beside, EARLIER, WIDTH)


def facts(size=(1920, 1080)):
    return SimpleNamespace(size_px=size)


def test_a_first_pass_looks_for_four_pixels_anywhere():
    found = scouting_settings(facts((640, 480)))
    assert (found.diameter_px, found.step_px, found.lag, found.most) == (4.0, 4.0, 1, 90)
    assert found.window == (0, 0, 640, 480)


@pytest.mark.parametrize(
    ("width", "sizes"),
    [(1920, [9, 18, 36, 72]), (719, [9, 18, 36]), (720, [9, 18, 36, 72]), (179, [9]), (89, [])],
)
def test_near_balls_are_looked_for_at_sizes_up_to_a_tenth_of_the_frame(width, sizes):
    looked = _Near(facts((width, 600)), 1.0 / 60.0, 30.0)
    assert [ball.diameter_px for ball in looked._balls] == sizes
    assert [ball.fall_pxps2 for ball in looked._balls] == [30.0 * size for size in sizes]
    for finder, size in zip(looked._finders, sizes, strict=True):
        settings = finder._settings
        assert settings.diameter_px == pytest.approx(size / 3.0) and settings.most == 20
        # It leaves its own place in 67 ms.
        assert settings.lag == 4 and settings.window == (0, 0, width // 3, 200)
    assert _Near(facts((width, 600)), 1.0, 30.0)._balls == looked._balls
    assert not _Near(facts((width, 600)), 1.0 / 60.0, None)._balls


@pytest.mark.parametrize(
    ("size", "fall", "looked_for"),
    [((1920, 1080), 30.0, True), ((1920, 1100), 30.0, False), ((1920, 1080), None, False)],
)
def test_small_balls_are_looked_for_in_frames_up_to_1920_by_1080(size, fall, looked_for):
    found = OtherSizes(facts(size), 1.0 / 60.0, fall)
    assert (found.small is not None) is looked_for
    if found.small is not None:
        assert found.small._finder._settings.diameter_px == 2.0


def test_places_in_smaller_pictures_are_those_of_the_frame():
    seen = []
    looked = _Near(facts((1920, 1080)), 1.0 / 60.0, 30.0)
    candidates = SimpleNamespace(pixels=np.array([[10.0, 20.0]]))
    for finder, search in zip(looked._finders, looked._searches, strict=True):
        finder.push = lambda *_: [candidates]
        search.push = lambda each: seen.append(each.pixels) or []
    import tracker.measurement.scouted_sizes as room

    own = room.replace
    room.replace = lambda each, pixels: SimpleNamespace(pixels=pixels)
    try:
        looked.see(0, 0.0, np.zeros((1080, 1920), np.uint8), None)
    finally:
        room.replace = own
    # Pixels are numbered by their middles: three of them make one.
    np.testing.assert_allclose(seen, np.tile([[[31.0, 61.0]]], (4, 1, 1)))


@pytest.mark.parametrize(("count", "kept"), [(27, 0), (26, 1)])
def test_a_small_ball_is_new_where_the_usual_search_has_no_path_as_long(count, kept):
    """Nine tenths of its positions, and within a hundredth of the width."""
    looked = _Small(facts((WIDTH, 600)), STEP_S)
    throw = path(0.0, 30, velocity=(400.0, -150.0), fall=300.0)
    looked._found = [throw]
    other = path(0.0, count, velocity=(400.0, -150.0), fall=300.0)
    assert len(looked.throws([other])) == kept
    apart = replace(throw, pixels=throw.pixels + np.array([0.0, 14.0]))
    looked._found = [throw]
    assert len(looked.throws([apart])) == 1


# --- what runs on


FALL = path(0.8, 60, (500.0, 170.0), (270.0, -9.0), 240.0)


def leads(*, gap=0.01, aside=(0.0, 0.0), change=(0.0, 0.0), count=40, fall=0.0):
    """Whether a path that leads into the fall belongs to the same thing."""
    velocity = np.array([270.0, -9.0]) + change
    last = 0.8 - gap
    begin = last - (count - 1) * STEP_S
    since = last - begin
    place = np.array([500.0, 170.0]) + np.array(aside) - (0.8 - begin) * velocity
    place[1] += 0.5 * fall * since**2
    velocity = velocity - np.array([0.0, fall * since])
    return _meet(path(begin, count, place, velocity, fall), FALL, WIDTH)


@pytest.mark.parametrize(
    ("within", "beyond"),
    [
        ({"count": 8}, {"count": 7}),
        ({"gap": 0.149}, {"gap": 0.151}),
        ({"gap": -0.149}, {"gap": -0.151}),
        ({"aside": (0.0, 0.95 * REACH)}, {"aside": (0.0, 1.05 * REACH)}),
        ({"change": (0.23 * 270.0, 0.0)}, {"change": (0.27 * 270.0, 0.0)}),
        ({"change": (-0.19 * 270.0, 0.0)}, {"change": (-0.21 * 270.0, 0.0)}),
        # For half a second and more a change up and down is a wing beat.
        ({"change": (0.0, 120.0), "count": 32}, {"change": (0.0, 120.0), "count": 30}),
    ],
)
def test_what_leads_into_a_fall_keeps_to_each_bound(within, beyond):
    assert leads(**within)
    assert not leads(**beyond)


@pytest.mark.parametrize(("share", "same_fall"), [(0.49, False), (0.51, True)])
def test_a_path_that_falls_half_as_hard_is_the_same_fall(share, same_fall):
    begin, velocity = 0.8 - 40 * STEP_S, np.array([270.0, -9.0])
    start = np.array([500.0, 170.0]) - 40 * STEP_S * velocity
    downward = np.array([0.0, share * FALL.acceleration_pxps2[1]])
    level = replace(path(begin, 40, start, velocity), acceleration_pxps2=downward)
    assert _meet(level, FALL, WIDTH) is not same_fall


def test_paths_that_go_on_from_each_other_for_an_hour_are_all_taken():
    """Walkers leave thousands of short paths: no recursion, and only neighbours are compared."""
    one = path(0.0, 8, velocity=(0.0, 0.0))
    count = 1500
    arcs = {
        at: replace(one, times_s=one.times_s + 8 * at * STEP_S, frames=one.frames + 8 * at)
        for at in range(count)
    }
    joining = _Joining(arcs, [0], WIDTH, STEP_S)
    # What follows is what begins from an overlap before to a gap after the end.
    end_s = arcs[50].times_s[-1]
    begins = {at: arc.times_s[0] - end_s for at, arc in arcs.items()}
    near = [at for at, gap in begins.items() if -2.5 * STEP_S <= gap <= 0.3]
    assert joining._following(50) == near and len(near) == 3
    joining._take_on_from(0)
    assert joining.taken == set(range(1, count))


# --- the first detection


def test_a_flight_begins_half_a_frame_before_it_is_seen_or_hardly_before():
    inside = FirstSight(2.0).beginning(0.02)
    assert inside.time_s == pytest.approx(1.99)
    assert inside.u_s == pytest.approx(np.hypot(0.02, 0.004))
    for entry in (Entry.EDGE, Entry.AIR, Entry.CLIP):
        found = FirstSight(2.0, entry).beginning(0.02)
        assert (found.time_s, found.u_s) == (pytest.approx(2.0 - 0.02 * 0.02), 0.0)


def entered(*, first_s=5.0, height=1.0, edge=True, asked=None, began_s=0.0):
    """How a ball came in that nothing but its path says anything of."""
    frame_s = CONTEXT.frame_s

    def path_at(times):
        if asked is not None:
            asked.append(first_s - times[0])
        return np.array([[500.0, 300.0]]) if edge else np.array([[-50.0, 300.0]])

    flight = SimpleNamespace(
        path=path_at,
        camera=KNOWN.camera,
        states=lambda _: np.array([[1.0, 0.0, height, 9.0, 0.0, 3.0]]),
    )
    context = SimpleNamespace(
        frame_s=frame_s,
        facts=SimpleNamespace(times_s=np.array([began_s])),
        settings=SimpleNamespace(lag=2, diameter_px=4.0),
    )
    return sights.first_sight(context, flight, first_s, [])


def test_a_ball_comes_in_over_an_edge_from_above_with_the_clip_or_is_released():
    asked = []
    assert entered(asked=asked) == FirstSight(5.0, Entry.INSIDE)
    # Where it was 1.6 frames before.
    assert asked == [pytest.approx(1.6 * CONTEXT.frame_s)]
    assert entered(edge=False).entry is Entry.EDGE
    assert entered(height=2.99).entry is Entry.INSIDE and entered(height=3.01).entry is Entry.AIR
    # A frame has no candidates before two lags of it; two frames more are granted.
    begin = 5.0 - 4 * CONTEXT.frame_s
    assert entered(began_s=begin + 1e-6).entry is Entry.CLIP
    assert entered(began_s=begin - 1e-6).entry is Entry.INSIDE


@pytest.mark.parametrize(("off_px", "own"), [(6.99, True), (7.01, False)])
def test_a_position_has_a_candidate_of_its_own_within_three_pixels_and_a_diameter(off_px, own):
    shown = [
        SimpleNamespace(frame=3, pixels=np.array([[100.0, 100.0], [300.0, 100.0 + off_px]])),
        SimpleNamespace(frame=4, pixels=np.zeros((0, 2))),
    ]
    track = SimpleNamespace(
        frames=np.array([3, 4]), pixels=np.array([[300.0, 100.0], [300.0, 100.0]])
    )
    assert sights._stands_out(track, shown, 4.0).tolist() == [own, False]


# --- near balls


def falling(diameter_px):
    """A throw whose fall is that of a ball of so many px."""
    fall = diameter_px / (2.0 * KNOWN.ball_radius_m) * KNOWN.forces.gravity_mps2
    return Throw(SimpleNamespace(acceleration_pxps2=np.array([0.0, fall])), None)


def test_throws_are_measured_in_pictures_in_which_a_ball_has_four_pixels():
    sizes = [11.99, 12.01, 15.9, 16.1, 23.9, 24.1, 31.9, 32.1, 47.9, 48.1, 63.9, 64.1, 95.9, 96.1]
    far, close = by_size([falling(size) for size in sizes], CONTEXT)
    assert len(far) == 1
    counts = {times: len(throws) for times, throws in close.items()}
    assert counts == {3: 2, 4: 2, 6: 2, 8: 2, 12: 2, 16: 2, 24: 1}


@pytest.mark.parametrize(("share", "too_close"), [(1.49, False), (1.51, True)])
def test_a_ball_much_larger_than_what_is_looked_for_is_too_close(monkeypatch, share, too_close):
    most = 0.1 * SIZE_PX[0]
    monkeypatch.setattr(near, "rejected_throw", lambda *given: given[3])
    facts = SimpleNamespace(size_px=SIZE_PX)  # smaller pictures are beyond it
    context = SimpleNamespace(facts=facts, circumstances=KNOWN)
    measuring = near.NearMeasurement(None, context, SimpleNamespace(frame_s=STEP_S))
    throws = [falling(share * most)] * 2
    if too_close:
        reasons = measuring.measured(throws, 24, None)
        assert [each.code for each in reasons] == [ReasonCode.TOO_CLOSE] * 2
        assert reasons[0].numbers["most_px"] == pytest.approx(most)
        assert reasons[0].numbers["diameter_px"] == pytest.approx(share * most)
    else:
        with pytest.raises(AttributeError, match="shrunk"):
            measuring.measured(throws, 24, None)


def test_a_path_in_smaller_pictures_is_the_same_path():
    smaller = Smaller((1920, 1080), (480, 270))
    arc = path(0.0, 30, velocity=(400.0, -150.0), fall=300.0)
    small = smaller.arc(arc)
    again = fit_arc(np.column_stack([arc.frames, arc.times_s, small.pixels]), STEP_S)
    np.testing.assert_allclose(small.velocity_pxps, again.velocity_pxps, rtol=1e-6)
    np.testing.assert_allclose(small.acceleration_pxps2, again.acceleration_pxps2, atol=1e-6)
    assert small.acceleration_u_pxps2 == pytest.approx(arc.acceleration_u_pxps2 / 4.0)
    np.testing.assert_allclose(smaller.enlarged(small.pixels), arc.pixels)
    # The middle of the first pixel of four is a pixel and a half into the first.
    np.testing.assert_allclose(smaller.enlarged(np.zeros(2)), [1.5, 1.5])


# --- places by hand


CLIP = SimpleNamespace(times_s=np.arange(200) * 0.01, size_px=(1000, 600))


def a_candidate(inside=50, count=60):
    """A rejected candidate of which the first so many points lie in the frame, ten frames on."""
    pixels = np.column_stack([np.linspace(10.0, 900.0, count), np.full(count, 300.0)])
    pixels[inside:, 1] = 900.0
    return RejectedCandidate(
        clip="a.mp4",
        release_s=0.1,
        support=200.0,
        frames_seen=30,
        frames_crossed=60,
        reasons=(Reason(ReasonCode.NO_FIT),),
        times_s=0.1 + 0.02 * np.arange(count),
        pixels=pixels,
    )


def test_four_places_along_a_path_stand_for_it_and_not_its_ends():
    found = picks_along(a_candidate(), CLIP)
    assert found.u_px == 5.0 and len(found.places) == 4
    frames = [pick.frame for pick in found.places]
    # Of frames 10, 12, ... 108: those at one, two, three and four fifths.
    places = np.linspace(0, 49, 6).round().astype(int)[1:-1]
    assert frames == pytest.approx((10 + 2 * places).tolist(), abs=1)
    for pick in found.places:
        column = np.interp(0.01 * pick.frame, a_candidate().times_s, a_candidate().pixels[:, 0])
        assert pick.pixel == (round(column, 1), 300.0)
    aslant = a_candidate()
    aslant.pixels[:50, 1] = np.linspace(90.3, 433.9, 50)
    for pick in picks_along(aslant, CLIP).places:
        row = np.interp(0.01 * pick.frame, aslant.times_s, aslant.pixels[:, 1])
        assert pick.pixel[1] == round(row, 1) != round(row)
    np.testing.assert_allclose(found.times_s(CLIP), 0.01 * np.array(frames))


@pytest.mark.parametrize(("inside", "enough"), [(6, True), (5, False)])
def test_a_path_that_hardly_lies_in_the_frame_gives_no_places(inside, enough):
    if enough:
        assert len(picks_along(a_candidate(inside), CLIP).places) == 4
    else:
        with pytest.raises(InputError, match="hardly any of its path"):
            picks_along(a_candidate(inside), CLIP)


@pytest.mark.parametrize(("off_u", "through"), [(5.9, True), (6.1, False)])
def test_a_flight_passes_within_six_uncertainties_of_the_places(monkeypatch, off_u, through):
    pixels = KNOWN.camera.project(np.array([[4.0, 0.0, 3.0], [9.0, 0.0, 5.0]]))
    flight = SimpleNamespace(
        release_s=0.0,
        trajectory=SimpleNamespace(
            at=lambda _: np.array([[4.0, 0.0, 3.0, 0, 0, 0], [9.0, 0.0, 5.0, 0, 0, 0]])
        ),
    )
    monkeypatch.setattr(added, "flight_through", lambda *_: flight)
    u = 2.0
    off = np.array([[0.0, 0.0], [0.6, 0.8]]) * off_u * u
    places = tuple(
        Pick(10 * (number + 1), tuple(pixel)) for number, pixel in enumerate(pixels + off)
    )
    context = SimpleNamespace(facts=CLIP, search_context=lambda: None, camera=KNOWN.camera)
    if through:
        assert added._flight(context, Picks(places, u)) is flight
    else:
        with pytest.raises(InputError, match="no flight from the release"):
            added._flight(context, Picks(places, u))
    with pytest.raises(InputError, match="one place"):
        added._flight(context, Picks(places[:1], u))
    twice = (places[0], replace(places[1], frame=places[0].frame))
    with pytest.raises(InputError, match="in one frame"):
        added._flight(context, Picks(twice, u))


def test_candidates_by_hand_are_those_about_the_flight_and_its_end():
    place = np.array([9.0, 0.0, 5.0])
    asked = []

    def at(times):
        asked.append(float(times[0]))
        return np.array([[*place, 0.0, 0.0, 0.0]])

    flight = SimpleNamespace(
        release_s=1.0, trajectory=SimpleNamespace(at=at, times_s=np.array([0.0, 2.0]))
    )
    pixel = KNOWN.camera.project(place)[0]
    pixels = pixel + np.array([[0.0, 9.9], [0.0, 10.1]])
    for time_s, since in ((0.5, 0.0), (2.2, 1.2), (9.0, 2.0)):
        candidates = SimpleNamespace(time_s=time_s, pixels=pixels)
        assert added._near(CONTEXT, flight, 10.0, candidates).tolist() == [True, False]
        assert asked[-1] == pytest.approx(since)


def test_a_first_detection_is_looked_for_about_the_beginning_of_a_path(monkeypatch):
    """From 0.35 s before it to 0.25 s after, in frames with a picture as clear as later ones."""
    looked = []
    frames = [SimpleNamespace(frame=n, time_s=0.05 * n, pixels=np.zeros((1, 2))) for n in range(60)]

    def course(_context, _flight, near_frames):
        looked.extend(each.time_s for each in near_frames)
        return near_frames, None

    def seen(_context, _camera, _course, shown, _exposure):
        times = np.array([each.time_s for each in shown])
        snr = np.where(times >= 2.0, 20.0, np.where(times > 1.88, 7.1, 6.9))
        return SimpleNamespace(
            frames=np.array([each.frame for each in shown]),
            times_s=times,
            pixels=np.zeros((len(shown), 2)),
            snr=snr,
        ), None

    monkeypatch.setattr(sights, "course_along", course)
    monkeypatch.setattr(sights, "sighted", seen)
    monkeypatch.setattr(sights, "agreeing", lambda track, *_: np.ones(len(track.frames), bool))
    flight = SimpleNamespace(
        known=None,
        camera=KNOWN.camera,
        path=lambda _: np.array([[500.0, 300.0]]),
        states=lambda _: np.array([[1.0, 0.0, 1.0, 9.0, 0.0, 3.0]]),
    )
    context = SimpleNamespace(
        frame_s=0.05,
        facts=SimpleNamespace(times_s=np.array([0.0])),
        settings=SimpleNamespace(lag=1, diameter_px=4.0),
        with_circumstances=lambda _: None,
    )
    found = sights.first_sight(context, flight, 2.0, frames)
    assert looked == pytest.approx([0.05 * n for n in range(33, 46)])
    # Below 0.35 of the usual clearness it is not the ball.
    assert found == FirstSight(pytest.approx(1.9), Entry.INSIDE)


@pytest.mark.parametrize("gap_s", [0.0, 0.1])
@pytest.mark.parametrize(("rebound", "kind"), [(0.95, _Joint.HOP), (1.06, _Joint.NOT)])
def test_what_rises_faster_than_it_came_down_was_kicked(gap_s, rebound, kind):
    """Both speeds count where the paths meet, not where either was seen last or first."""
    fall, step_s = 600.0, STEP_S
    first = path(0.0, 30, velocity=(100.0, 60.0), fall=fall)
    meet_s = float(first.times_s[-1]) + gap_s / 2.0
    down = 60.0 + fall * meet_s
    place = first.at(np.array([meet_s]))[0]
    up = -rebound * down
    since = gap_s / 2.0
    begin = place + since * np.array([100.0, up]) + [0.0, 0.5 * fall * since**2]
    later = path(meet_s + since, 20, begin, (100.0, up + fall * since), fall=fall)
    assert _Joining({}, [], WIDTH, step_s)._joint(first, later) is kind


@pytest.mark.parametrize("share", [0.08, 0.25, 0.5, 0.75, 0.92])
def test_a_near_ball_meets_its_bounce_wherever_it_lies_in_the_gap(share):
    """At 2,700 px/s it passes the reach between two of nine moments."""
    fall, gap_s = 6600.0, 0.1
    first = path(0.0, 30, velocity=(20.0, 0.0), fall=fall)
    end_s = float(first.times_s[-1])
    meet_s = end_s + share * gap_s
    place, down = first.at(np.array([meet_s]))[0], fall * meet_s
    since = (1.0 - share) * gap_s
    begin = place + since * np.array([20.0, -0.5 * down]) + [0.0, 0.5 * fall * since**2]
    later = path(end_s + gap_s, 25, begin, (20.0, -0.5 * down + fall * since), fall=fall)
    assert _Joining({}, [], WIDTH, STEP_S)._joint(first, later) is _Joint.HOP
