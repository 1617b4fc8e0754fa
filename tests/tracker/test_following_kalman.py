"""The follower against a batch solution, and why it follows deviations and not the ball itself."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter

from tests.tracker.thrown_balls import (
    DRAG,
    FORCES,
    RADIUS_M,
    RELEASE_M,
    Throw,
    camera,
    flown,
    seen,
)
from tracker.flight.integration import fly
from tracker.following import Hypothesis, SearchContext, consistency, follow
from tracker.following.kalman import inverse_of_two, process_noise
from tracker.records import Candidates, Cutouts

FPS = 30.0
VIEW = camera()
STAGE = SearchContext(VIEW, RELEASE_M, FORCES, DRAG, 0.06, RADIUS_M, 1.0 / FPS)
THROW = Throw(17.0, 40.0)
RELEASE_S = 0.51
PIXEL_U = 1.3


def supposed(throw=THROW):
    return Hypothesis(RELEASE_S, throw.launch(), fly(throw.launch(), FORCES, 3.5, 0.05))


def frame(index, pixels):
    pixels = np.asarray(pixels, float).reshape(-1, 2)
    none = Cutouts(np.zeros((len(pixels), 1, 1), np.int16), np.rint(pixels).astype(np.int64))
    return Candidates(index, index / FPS, pixels, np.full(len(pixels), 10.0), none, None)


def empty(count=100):
    return [frame(index, np.zeros((0, 2))) for index in range(count)]


def small_case(pick=slice(0, 14)):
    """Return some frames, the follower's own belief without pictures, and its linear model.

    What the follower believes before it sees anything (the spread of the launch, and how it
    grows) is read off a run through empty frames, so the batch solution needs none of its
    inner numbers.
    """
    bare = follow(STAGE, supposed(), empty(), PIXEL_U)
    frames = bare.frames[pick]
    spread = bare.covariances[pick]
    times = frames / FPS - RELEASE_S
    flight = fly(THROW.launch(), FORCES, 3.5, 0.05, with_sensitivities=True)
    states, by_launch = flight.at_with_sensitivities(times)
    by_start = by_launch[:, :, :6]
    joint = np.zeros((len(times), 6, len(times), 6))
    for i in range(len(times)):
        for j in range(i, len(times)):
            move = by_start[j] @ np.linalg.inv(by_start[i])
            joint[j, :, i] = move @ spread[i]
            joint[i, :, j] = joint[j, :, i].T
    pixels, by_point, _ = VIEW.project_with_jacobians(states[:, :3])
    sight = np.zeros((len(times), 2, len(times), 6))
    for i in range(len(times)):
        sight[i, :, i, :3] = by_point[i]
    size = 6 * len(times)
    return frames, states, pixels, joint.reshape(size, size), sight.reshape(-1, size)


def test_smoothed_states_equal_a_batch_least_squares_solution():
    frames, states, pixels, prior, sight = small_case()
    rng = np.random.default_rng(1)
    off = rng.normal(0, PIXEL_U, pixels.shape)
    off[4] = np.nan  # one frame in which the ball is not seen
    given = [
        frame(int(index), pixels[i] + off[i]) if np.isfinite(off[i, 0]) else frame(int(index), [])
        for i, index in enumerate(frames)
    ]
    followed = follow(STAGE, supposed(), given, PIXEL_U)
    np.testing.assert_array_equal(followed.frames, frames)
    assert followed.chosen.tolist() == [0, 0, 0, 0, -1, *([0] * (len(frames) - 5))]

    # Minimum variance from everything at once (Gauss, Theoria combinationis, 1821).
    known = np.isfinite(off.reshape(-1))
    design, observed = sight[known], off.reshape(-1)[known]
    gain = prior @ design.T
    gain = gain @ np.linalg.inv(design @ prior @ design.T + PIXEL_U**2 * np.eye(len(observed)))
    batch = (gain @ observed).reshape(-1, 6)
    covariance = prior - gain @ design @ prior
    np.testing.assert_allclose(followed.states - states, batch, atol=1e-6)
    for i in range(len(frames)):
        own = covariance[6 * i : 6 * i + 6, 6 * i : 6 * i + 6]
        np.testing.assert_allclose(followed.covariances[i], own, atol=1e-6)


def test_pictures_make_the_path_surer_and_never_less_sure():
    frames, _, pixels, _, _ = small_case()
    bare = follow(STAGE, supposed(), [frame(int(at), []) for at in frames], PIXEL_U)
    given = [frame(int(at), pixels[i]) for i, at in enumerate(frames)]
    followed = follow(STAGE, supposed(), given, PIXEL_U)
    gain = bare.covariances - followed.covariances
    assert np.all(np.linalg.eigvalsh(gain) > -1e-9)
    # The camera looks across the line: height and distance downrange become known.
    assert np.all(
        followed.covariances[7:, [0, 2], [0, 2]] < 0.3 * bare.covariances[7:, [0, 2], [0, 2]]
    )


def lured():
    """Return frames whose first show something that leaves the path, and the ball from then on."""
    frames, _, pixels, _, _ = small_case(slice(None))
    away = np.column_stack([np.arange(14) * 4.0, np.arange(14) * -3.0])
    given = [frame(int(at), pixels[i] + away[i]) for i, at in enumerate(frames[:14])]
    for i, at in enumerate(frames[14:], start=14):
        given.append(frame(int(at), pixels[i]))
    return given, pixels


@pytest.mark.parametrize(("hits", "astray"), [(0, True), (28, True), (29, False), (90, False)])
def test_a_filter_that_is_lured_away_gives_way_to_the_flight_that_was_found(hits, astray):
    given, pixels = lured()
    followed = follow(STAGE, replace(supposed(), hits=hits), given, PIXEL_U)
    taken = np.sum(followed.chosen >= 0)
    assert taken == (14 if astray else 0)
    off = np.linalg.norm(followed.pixels - pixels, axis=1)
    assert off[20:].min() > 50.0 if astray else off.max() < 1e-6


def test_surprise_is_as_large_as_the_filter_says():
    # Mean normalised innovation squared over its degrees of freedom is 1 for a consistent
    # filter (Bar-Shalom, Li, Kirubarajan, 2001, 5.4).
    frames, _, pixels, prior, sight = small_case(slice(None))
    rng = np.random.default_rng(2)
    values, vectors = np.linalg.eigh(prior)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    surprises = []
    for _ in range(20):
        moved = (sight @ root @ rng.normal(size=len(prior))).reshape(-1, 2)
        there = pixels + moved + rng.normal(0, PIXEL_U, pixels.shape)
        given = [frame(int(at), there[i]) for i, at in enumerate(frames)]
        surprises.append(follow(STAGE, supposed(), given, PIXEL_U).nis)
    assert np.mean(surprises) == pytest.approx(1.0, abs=0.08)


def test_surprise_shows_pixels_worse_than_stated():
    frames, _, pixels, _, _ = small_case(slice(None))
    rng = np.random.default_rng(3)
    given = [
        frame(int(at), pixels[i] + rng.normal(0, 1.8 * PIXEL_U, 2)) for i, at in enumerate(frames)
    ]
    assert follow(STAGE, supposed(), given, PIXEL_U).nis > 1.8


def test_ball_is_chosen_among_clutter_and_the_path_is_true():
    truth = Throw(17.3, 40.4)
    path, landed, _ = flown(truth)
    rng = np.random.default_rng(4)
    given, right = [], {}
    for index in range(100):
        time = index / FPS - RELEASE_S
        pixels = rng.uniform((0, 0), (1920, 1080), (25, 2))
        if 0.0 <= time <= landed and rng.random() > 0.25:
            right[index] = int(rng.integers(25))
            pixels[right[index]] = seen(VIEW, path(np.array([time]))[:, :3])[0]
            pixels[right[index]] += rng.normal(0, 0.8, 2)
        given.append(frame(index, pixels))
    followed = follow(STAGE, supposed(), given, PIXEL_U)
    took = [
        int(row) == right.get(int(at), -1)
        for at, row in zip(followed.frames, followed.chosen, strict=True)
    ]
    assert np.mean(took) > 0.95
    true = path(followed.times_s - RELEASE_S)
    inside = slice(3, -6)
    assert np.abs(followed.states - true)[inside, [0, 2]].max() < 0.25
    gap = np.linalg.norm(followed.pixels - seen(VIEW, true[:, :3]), axis=1)[inside]
    assert np.median(gap) < 1.0


@pytest.mark.parametrize("truth", [Throw(18.5, 40.0, -8.0), Throw(18.0, 42.0, -8.0)])
def test_ball_is_followed_to_its_candidates_far_aside_of_the_hypothesis(truth):
    """Metres aside, after a second out of view: the path is where the candidates are."""
    path, landed, _ = flown(truth)
    given, places = [], {}
    for index in range(100):
        since = index / FPS - RELEASE_S
        there = np.zeros((0, 2))
        if 0.0 <= since <= 0.6 or 1.5 <= since <= landed:
            there = seen(VIEW, path(np.array([since]))[:, :3])
            places[index] = there[0]
        given.append(frame(index, there))
    followed = follow(STAGE, supposed(), given, PIXEL_U)
    taken = followed.chosen >= 0
    late = taken & (followed.times_s - RELEASE_S > 1.6)
    assert np.sum(late) > 10
    there = np.array([places[at] for at in followed.frames[late].tolist()])
    assert np.linalg.norm(followed.pixels[late] - there, axis=1).max() < 1.0


def test_nothing_to_follow_outside_the_picture():
    away = Throw(17.0, 40.0, start_m=(90.0, 0.0, 0.8))
    followed = follow(STAGE, supposed(away), empty(), PIXEL_U)
    assert len(followed.frames) == 0 and np.isnan(followed.nis)


def test_filterpy_smoother_leaves_a_control_input_out():
    # The reason why the follower filters the deviation from a flight that carries gravity:
    # filterpy's rts_smoother predicts without B u (found with filterpy 2.0.0: heights wrong by
    # up to 1.05 m), and without a control input it is exact. Should this test fail because the
    # smoother is mended, nothing here need change.
    step, count, gravity, noise = 1.0 / FPS, 45, 9.80665, 0.05
    move = np.array([[1.0, step], [0.0, 1.0]])
    push = np.array([[0.5 * step**2], [step]])
    jitter = 0.3**2 * np.array([[step**3 / 3, step**2 / 2], [step**2 / 2, step]])
    times = step * np.arange(1, count + 1)
    fall = np.column_stack([-0.5 * gravity * times**2, -gravity * times])
    rng = np.random.default_rng(5)
    observed = 1.0 + 11.0 * times + fall[:, 0] + rng.normal(0, noise, count)

    def smoothed(controlled):
        kalman = KalmanFilter(dim_x=2, dim_z=1, dim_u=1)
        kalman.x = np.array([[1.0], [11.0]])
        kalman.P = np.diag([0.2**2, 2.0**2])
        kalman.F, kalman.Q, kalman.B = move, jitter, push
        kalman.H, kalman.R = np.array([[1.0, 0.0]]), np.array([[noise**2]])
        means, spreads = [], []
        for index in range(count):
            kalman.predict(u=np.array([[-gravity]]) if controlled else None)
            kalman.update(observed[index] - (0.0 if controlled else fall[index, 0]))
            means.append(kalman.x.copy())
            spreads.append(kalman.P.copy())
        states = kalman.rts_smoother(np.array(means), np.array(spreads))[0][:, :, 0]
        return states if controlled else states + fall

    # Batch: the start and every jitter are unknowns, all weighted least squares.
    size = 2 * (count + 1)
    root_start, root_jitter = np.diag([1 / 0.2, 1 / 2.0]), np.linalg.cholesky(jitter)
    rows, right = [], []
    first = np.zeros((2, size))
    first[:, :2] = root_start
    rows.append(first)
    right.append(root_start @ [1.0, 11.0])
    for index in range(count):
        link = np.zeros((2, size))
        link[:, 2 * index : 2 * index + 2] = -move
        link[:, 2 * index + 2 : 2 * index + 4] = np.eye(2)
        rows.append(np.linalg.solve(root_jitter, link))
        right.append(np.linalg.solve(root_jitter, -gravity * push[:, 0]))
        sight = np.zeros((1, size))
        sight[0, 2 * index + 2] = 1.0 / noise
        rows.append(sight)
        right.append([observed[index] / noise])
    batch = np.linalg.lstsq(np.concatenate(rows), np.concatenate(right), rcond=None)[0]
    batch = batch.reshape(-1, 2)[1:]
    np.testing.assert_allclose(smoothed(controlled=False), batch, atol=1e-7)
    assert np.abs(smoothed(controlled=True) - batch)[:, 0].max() > 0.3


def agreement(rng, noise_px, stated_px, gusts=1.0):
    """The consistency of a ball that gusts push about, whose positions tell another scatter."""
    throw = Throw(18.0, 42.0)
    landed = flown(throw)[1]
    times = np.arange(0.05, landed, 1.0 / 60.0)
    flight = fly(throw.launch(), FORCES, landed, 0.04, with_sensitivities=True)
    states, by_launch = flight.at_with_sensitivities(times)
    by_point = camera().project_with_jacobians(states[:, :3])[1]
    push = np.linalg.cholesky(process_noise(1.0 / 60.0)) * gusts
    deviation, previous, residuals = rng.normal(0.0, 0.05, 6), by_launch[0, :, :6], []
    for now, sight in zip(by_launch[:, :, :6], by_point, strict=True):
        deviation = now @ np.linalg.solve(previous, deviation) + push @ rng.normal(size=6)
        previous = now
        residuals.append(sight @ deviation[:3] + rng.normal(0.0, noise_px, 2))
    reported = np.tile(stated_px**2 * np.eye(2), (len(times), 1, 1))
    return consistency(flight, camera(), times, np.array(residuals), reported)


def test_honest_positions_lie_inside_the_interval_of_their_nis():
    found = [agreement(np.random.default_rng(seed), 0.2, 0.2) for seed in range(40)]
    inside = [each.low <= each.mean <= each.high for each in found]
    # 95 % of honest filters; the chance of fewer than 33 of 40 is below 1e-3 (binomial).
    assert sum(inside) >= 33
    assert np.mean([each.mean for each in found]) == pytest.approx(1.0, abs=0.08)


@pytest.mark.parametrize("factor", [0.5, 3.0])
def test_positions_that_tell_a_wrong_uncertainty_lie_outside(factor):
    found = agreement(np.random.default_rng(1), 0.2 * factor, 0.2, gusts=0.0)
    assert found.mean == pytest.approx(factor**2, rel=0.3)
    assert not found.low <= found.mean <= found.high


def test_interval_is_that_of_chi_square_over_its_freedom():
    found = agreement(np.random.default_rng(2), 0.2, 0.2)
    freedom = 2 * found.frames
    # Wilson and Hilferty, Proc. Natl. Acad. Sci. 17, 684, 1931.
    spread = np.sqrt(2.0 / (9.0 * freedom))
    for limit, z in ((found.low, -1.959964), (found.high, 1.959964)):
        assert limit == pytest.approx((1.0 - spread**2 + z * spread) ** 3, rel=2e-3)


def test_few_positions_have_no_consistency():
    flight = fly(Throw(18.0, 42.0).launch(), FORCES, 1.0, 0.04, with_sensitivities=True)
    few = np.linspace(0.1, 0.2, 9)
    assert (
        consistency(flight, camera(), few, np.zeros((9, 2)), np.tile(np.eye(2), (9, 1, 1))) is None
    )


def test_wandering_acceleration_is_six_tenths_for_a_tenth_of_a_second():
    # The velocity's standard deviation after a tenth of a second, and twice that after four.
    for seconds, share in ((0.1, 1.0), (0.4, 2.0)):
        u = np.sqrt(np.diag(process_noise(seconds)))
        assert u[3:] == pytest.approx(0.06 * share)
    # Two steps in a row are as one of their length: white noise has no memory of steps.
    move = np.kron(np.array([[1.0, 0.02], [0.0, 1.0]]), np.eye(3))
    twice = move @ process_noise(0.03) @ move.T + process_noise(0.02)
    np.testing.assert_allclose(twice, process_noise(0.05), rtol=1e-9, atol=1e-15)


def wandering(rng, seconds=1.6):
    """Pixels of a ball pushed about by that acceleration, and the frames that show it."""
    flight = fly(THROW.launch(), FORCES, 3.5, 0.05, with_sensitivities=True)
    frames = [int(at) for at in range(100) if 0.0 <= at / FPS - RELEASE_S <= seconds]
    states, by_launch = flight.at_with_sensitivities(np.array(frames) / FPS - RELEASE_S)
    deviation, previous, given = np.zeros(6), np.eye(6), []
    gap_s = frames[0] / FPS - RELEASE_S
    for index, now in enumerate(by_launch[:, :, :6]):
        push = np.linalg.cholesky(process_noise(gap_s)) @ rng.normal(size=6)
        deviation = now @ np.linalg.solve(previous, deviation) + push
        previous, gap_s = now, 1.0 / FPS
        pixel = seen(VIEW, states[None, index, :3] + deviation[:3])[0]
        given.append(frame(frames[index], pixel + rng.normal(0.0, PIXEL_U, 2)))
    return given


def test_a_ball_that_wanders_as_expected_is_followed_to_the_end():
    followed = [
        follow(STAGE, supposed(), wandering(np.random.default_rng(seed)), PIXEL_U)
        for seed in range(12)
    ]
    assert np.mean([np.mean(each.chosen >= 0) for each in followed]) > 0.99
    assert np.mean([each.nis for each in followed]) == pytest.approx(1.0, abs=0.12)


def test_consistency_is_the_chi_square_of_the_rest_given_the_first_six():
    # All residuals are jointly normal; what innovations add up to after the first six is the
    # whole quadratic form less that of those six (chain rule), without any recursion.
    rng = np.random.default_rng(6)
    throw, count = Throw(18.0, 42.0), 14
    times = np.sort(rng.uniform(0.1, 1.5, count))
    flight = fly(throw.launch(), FORCES, 2.0, 0.02, with_sensitivities=True)
    states, by_launch = flight.at_with_sensitivities(times)
    sight = camera().project_with_jacobians(states[:, :3])[1]
    speed = float(np.linalg.norm(states[0, 3:]))
    start = np.diag([0.1, 0.3, 0.1, *[0.03 * speed] * 3]) ** 2
    moves = [now @ np.linalg.inv(by_launch[0, :, :6]) for now in by_launch[:, :, :6]]
    joint = np.zeros((count, 6, count, 6))
    for i in range(count):
        for j in range(count):
            joint[i, :, j] = moves[i] @ start @ moves[j].T
            for step in range(1, min(i, j) + 1):
                noise = process_noise(float(times[step] - times[step - 1]))
                from_there = np.linalg.inv(moves[step])
                joint[i, :, j] += moves[i] @ from_there @ noise @ (moves[j] @ from_there).T
    spread = np.einsum("iax,ixjy,jby->iajb", sight, joint[:, :3, :, :3], sight)
    spread = spread.reshape(2 * count, 2 * count) + 0.3**2 * np.eye(2 * count)
    residuals = rng.normal(0.0, 0.7, (count, 2))
    flat = residuals.ravel()
    whole = flat @ np.linalg.solve(spread, flat)
    first = flat[:12] @ np.linalg.solve(spread[:12, :12], flat[:12])
    own = np.tile(0.09 * np.eye(2), (count, 1, 1))
    found = consistency(flight, camera(), times, residuals, own)
    assert found.frames == count - 6
    assert found.mean == pytest.approx((whole - first) / (2 * (count - 6)), rel=1e-6)


LEAN = """
import sys
from tracker.following.filterpy_filter import filter_class
lean = filter_class()
assert not {"scipy.linalg", "scipy.stats", "matplotlib"} & set(sys.modules)
assert not [name for name in sys.modules if name.startswith("filterpy")]
kalman = lean(dim_x=2, dim_z=1)
kalman.predict()
kalman.update([[1.5]])
import filterpy.kalman
whole = filterpy.kalman.KalmanFilter(dim_x=2, dim_z=1)
whole.predict()
whole.update([[1.5]])
assert kalman.x.tolist() == whole.x.tolist() and kalman.P.tolist() == whole.P.tolist()
assert kalman.log_likelihood == whole.log_likelihood
assert filter_class() is lean
"""


@pytest.mark.campaign
def test_filter_is_loaded_without_what_it_does_not_need():
    # In an interpreter of its own, for here filterpy is loaded whole.
    run = subprocess.run([sys.executable, "-c", LEAN], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr


def test_the_inverse_of_two_by_two_is_the_librarys():
    for seed in range(3):
        matrix = np.random.default_rng(seed).normal(size=(2, 2))
        np.testing.assert_allclose(inverse_of_two(matrix), np.linalg.inv(matrix), rtol=1e-12)


def test_agreement_does_not_drift_over_many_positions():
    """At 240 frames a second rounding has a thousand steps in which it could grow."""
    flight = fly(Throw(18.0, 42.0).launch(), FORCES, 2.4, 0.04, with_sensitivities=True)
    times = np.linspace(0.05, 2.4, 960)
    noise = np.random.default_rng(5).normal(0.0, 0.2, (len(times), 2))
    reported = np.tile(0.2**2 * np.eye(2), (len(times), 1, 1))
    found = consistency(flight, camera(), times, noise, reported)
    assert found.mean == pytest.approx(1.0, abs=0.1)
