"""The bank of filters against plain Kalman filters of the same model, and its bounds of time."""

import numpy as np
import pytest
from filterpy.common import Q_continuous_white_noise
from filterpy.kalman import KalmanFilter

from tracker.following.linking import ArcSearch, NearBall
from tracker.records import Candidates, Cutouts

WIDTH = 1920
STEP_S = 1.0 / 60.0
NEAR = NearBall(diameter_px=40.0, fall_pxps2=2500.0)


def frame(index, pixels, step_s=STEP_S, strength=1.0):
    pixels = np.asarray(pixels, float).reshape(-1, 2)
    none = Cutouts(np.zeros((len(pixels), 1, 1), np.int16), np.zeros((len(pixels), 2), np.int64))
    return Candidates(index, index * step_s, pixels, np.full(len(pixels), strength), none, None)


class Plain:
    """A path by filterpy: of either axis position, velocity and a wandering acceleration.

    A position is good to 0.9 px, or a tenth of a ball's diameter, and 5 % of the way of a frame,
    3 px at most. At first the fall is 0.1 ± 0.35 frame widths per s², or 1.0 ± 0.6 of what
    gravity does to a ball of known size; it wanders by 0.12 widths per s² in a second.
    """

    def __init__(self, first, second, step_s, near=None):
        first, second = np.asarray(first, float), np.asarray(second, float)
        self.place_u = 0.9 if near is None else max(0.9, 0.1 * near.diameter_px)
        fall, fall_u = (0.1 * WIDTH, 0.35 * WIDTH)
        if near is not None:
            fall, fall_u = near.fall_pxps2, 0.6 * near.fall_pxps2
        way = second - first
        noise = self.noise(float(np.linalg.norm(way)))
        self.axes = []
        for axis in range(2):
            kalman = KalmanFilter(dim_x=3, dim_z=1)
            kalman.x = np.array([[second[axis]], [way[axis] / step_s], [fall * axis]])
            kalman.P = np.array(
                [
                    [noise, noise / step_s, 0.0],
                    [noise / step_s, 2.0 * noise / step_s**2, 0.0],
                    [0.0, 0.0, fall_u**2],
                ]
            )
            kalman.H = np.array([[1.0, 0.0, 0.0]])
            self.axes.append(kalman)

    def noise(self, way_px):
        return self.place_u**2 + min(0.05 * way_px, 3.0) ** 2

    def predict(self, step_s):
        for kalman in self.axes:
            kalman.F = np.array([[1.0, step_s, step_s**2 / 2.0], [0.0, 1.0, step_s], [0, 0, 1.0]])
            kalman.Q = Q_continuous_white_noise(3, step_s, spectral_density=(0.12 * WIDTH) ** 2)
            kalman.predict()

    def update(self, place, frame_s):
        """Take a place where it is within the gate: 13.8, the 99.9 % point of chi-square."""
        speed = float(np.hypot(*(kalman.x[1, 0] for kalman in self.axes)))
        noise = self.noise(speed * frame_s)
        off = [place[axis] - kalman.x[0, 0] for axis, kalman in enumerate(self.axes)]
        if np.sum(np.square(off)) >= 13.8 * (self.axes[0].P[0, 0] + noise):
            return False
        for axis, kalman in enumerate(self.axes):
            kalman.update(np.array([[place[axis]]]), R=np.array([[noise]]))
        return True

    @property
    def means(self):
        return np.column_stack([kalman.x[:, 0] for kalman in self.axes])


@pytest.mark.parametrize("near", [None, NEAR])
@pytest.mark.parametrize("pace", [300.0, 2600.0, 4100.0])
def test_a_path_is_carried_as_by_a_kalman_filter(pace, near):
    """Slow and fast, and where frames are missing."""
    rng = np.random.default_rng(2)
    search = ArcSearch(WIDTH, STEP_S, near)
    fall = 300.0 if near is None else 2300.0
    numbers = [0, 1, 2, 3, 4, 6, 7, 9, 10, 11, 14, 15]
    places = {
        at: np.array([50.0 + pace * at * STEP_S, 400.0 + 0.5 * fall * (at * STEP_S) ** 2])
        + rng.normal(0.0, 0.4, 2)
        for at in numbers
    }
    plain = Plain(places[0], places[1], STEP_S, near)
    for at in range(16):
        search.push(frame(at, places.get(at, np.zeros((0, 2)))))
        if at < 2:
            continue
        plain.predict(STEP_S)
        if at in places:
            assert plain.update(places[at], STEP_S)
        np.testing.assert_allclose(search._means[0], plain.means, rtol=1e-9, atol=1e-7)
        np.testing.assert_allclose(search._spreads[0], plain.axes[0].P, rtol=1e-7, atol=1e-7)
    assert search._count[0] == len(numbers)


@pytest.mark.parametrize("direction", [(1.0, 0.0), (0.0, -1.0), (0.6, 0.8)])
@pytest.mark.parametrize(("share", "joined"), [(0.97, True), (1.03, False)])
def test_a_candidate_just_inside_the_gate_is_joined_and_one_outside_is_not(
    direction, share, joined
):
    places = [np.array([300.0 + 9.0 * at, 300.0 + 2.0 * at]) for at in range(5)]
    plain, search = Plain(places[0], places[1], STEP_S), ArcSearch(WIDTH, STEP_S)
    for at in range(2, 5):
        plain.predict(STEP_S)
        assert plain.update(places[at], STEP_S)
    for at in range(5):
        search.push(frame(at, places[at]))
    plain.predict(STEP_S)
    way = float(np.hypot(*plain.means[1])) * STEP_S
    gate = np.sqrt(13.8 * (plain.axes[0].P[0, 0] + plain.noise(way)))
    search.push(frame(5, plain.means[0] + share * gate * np.array(direction)))
    assert search._count[0] == (6 if joined else 5)


@pytest.mark.parametrize(
    ("step_s", "near", "fastest"),
    [(1.0 / 30.0, None, 2.2), (0.1, None, 2.2), (1.0 / 240.0, None, 2.2), (1.0 / 240.0, NEAR, 6.6)],
)
def test_a_path_begins_between_the_slowest_and_the_fastest_ball(step_s, near, fastest):
    """0.02 to 2.2 frame widths per second, a near ball thrice that, and 1.5 px between frames."""
    shortest, longest = max(1.5, 0.02 * WIDTH * step_s), fastest * WIDTH * step_s
    for way, begins in (
        (0.99 * shortest, 0),
        (1.01 * shortest, 1),
        (0.99 * longest, 1),
        (1.01 * longest, 0),
    ):
        search = ArcSearch(WIDTH, step_s, near)
        search.push(frame(0, [500.0, 500.0], step_s))
        search.push(frame(1, [500.0 + 0.6 * way, 500.0 + 0.8 * way], step_s))
        assert len(search._count) == begins, way


def joined_over(seen, missing, step_s=STEP_S):
    """Return whether a path of so many positions is carried on after so many missing frames."""
    search, found = ArcSearch(WIDTH, step_s), []
    numbers = [*range(seen), *range(seen + missing, 2 * seen + missing + 8)]
    for at in range(numbers[-1] + 1):
        place = [100.0 + 600.0 * at * step_s, 300.0 + 0.5 * 200.0 * (at * step_s) ** 2]
        found += search.push(frame(at, [place] if at in numbers else [], step_s))
    found += search.finish()
    return any(numbers[0] in each.frames and numbers[-1] in each.frames for each in found)


@pytest.mark.parametrize(
    ("seen", "most"),
    [(2, 0), (3, 0), (4, 1), (5, 1), (7, 1), (8, 7), (12, 7)],
)
def test_how_many_frames_a_path_may_miss_grows_with_its_length(seen, most):
    """None before the fourth position, one before the eighth, and then 0.14 s."""
    assert joined_over(seen, most)
    assert not joined_over(seen, most + 1)


def test_at_a_slow_rate_a_long_path_may_miss_two_frames():
    """0.14 s would be less than two frames: 3.5 of them may pass."""
    assert joined_over(9, 2, step_s=0.1)
    assert not joined_over(9, 3, step_s=0.1)


def test_from_its_sixth_position_on_a_path_has_its_candidates_for_itself():
    search = ArcSearch(WIDTH, STEP_S)
    free = []
    for at in range(8):
        search.push(frame(at, [100.0 + 10.0 * at, 300.0]))
        free.append(len(search._last[2]))
    assert free == [1, 1, 1, 1, 1, 0, 0, 0]


@pytest.mark.parametrize(("positions", "arcs"), [(4, 0), (5, 1), (6, 1)])
def test_a_path_of_fewer_than_five_positions_is_none(positions, arcs):
    search = ArcSearch(WIDTH, STEP_S)
    for at in range(positions):
        assert search.push(frame(at, [100.0 + 10.0 * at, 300.0])) == []
    found = search.finish()
    assert len(found) == arcs
    assert all(each.frames.tolist() == list(range(positions)) for each in found)


@pytest.mark.parametrize("speed", [600.0, 2400.0])
@pytest.mark.parametrize(("share", "paths"), [(0.96, 1), (1.04, 2)])
def test_two_paths_through_one_candidate_are_one_at_nearly_one_speed(speed, share, paths):
    """Speeds closer than 5 % of a frame width per second and of the speed: the first is kept."""
    middle = np.array([900.0, 500.0])
    ahead = np.array([speed * STEP_S, 0.0])

    def ends(apart):
        begins = [middle - ahead + (0.0, side * apart / 2.0) for side in (-1.0, 1.0)]
        filters = [Plain(begin, middle, STEP_S) for begin in begins]
        for each in filters:
            each.predict(STEP_S)
            # Halfway between where both fall to.
            assert each.update(middle + ahead + (0.0, 0.1 * WIDTH * STEP_S**2 / 2.0), STEP_S)
        return begins, filters

    # How far apart the speeds are after the step is proportional to the way between the starts.
    _, filters = ends(1.0)
    gap = np.linalg.norm(filters[0].means[1] - filters[1].means[1])
    wanted = share * 0.05 * (WIDTH + speed)
    begins, filters = ends(wanted / gap)
    after = np.linalg.norm(filters[0].means[1] - filters[1].means[1])
    assert after == pytest.approx(wanted, rel=0.02)
    search = ArcSearch(WIDTH, STEP_S)
    search.push(frame(0, begins))
    search.push(frame(1, middle))
    assert len(search._count) == 2
    search.push(frame(2, middle + ahead + (0.0, 0.1 * WIDTH * STEP_S**2 / 2.0)))
    assert int(np.sum(search._count == 3)) == paths


def test_of_two_paths_at_one_speed_the_longer_stays():
    """A path that began a frame later ends as soon as it shares a candidate."""
    search = ArcSearch(WIDTH, STEP_S)
    for at in range(5):
        search.push(frame(at, [100.0 + 10.0 * at, 300.0]))
        longest = int(search._count.max(initial=0))
        assert longest == (at + 1 if at else 0)
        # The one that grows, and the one that began with the last two candidates.
        assert sorted(search._count.tolist()) == ([2, longest] if at > 1 else [2] * at)


def test_paths_that_cross_keep_their_candidates():
    """Two balls at one time: each has the candidates of its own way."""
    search, found = ArcSearch(WIDTH, STEP_S), []
    for at in range(30):
        one = [200.0 + 15.0 * at, 500.0 - 4.0 * at]
        two = [200.0 + 11.0 * at, 380.0 + 5.0 * at]
        found += search.push(frame(at, [one, two]))
    found += search.finish()
    long = [each for each in found if len(each.frames) == 30]
    assert len(long) == 2
    steps = sorted(float(np.diff(each.pixels[:, 0]).mean()) for each in long)
    assert steps == pytest.approx([11.0, 15.0], abs=0.2)


def test_a_frame_at_the_same_time_begins_no_path():
    search = ArcSearch(WIDTH, STEP_S)
    search.push(frame(0, [100.0, 100.0]))
    again = frame(0, [110.0, 100.0])
    search.push(again)
    assert len(search._count) == 0
