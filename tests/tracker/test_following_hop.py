"""The moment of a bounce from the arcs on both sides of it, by candidates drawn with scipy."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.ground import Ground
from tests.tracker.thrown_balls import DRAG, FORCES, RADIUS_M, Throw, camera, flown, seen
from tracker.flight.integration import fly
from tracker.following.hop import (
    AFTER_S,
    RESTITUTIONS,
    SIDEWAYS_MPS,
    SPACINGS,
    SPEEDS_KEPT,
    BounceCandidates,
    Hop,
    PredictedLanding,
    find_hop,
    hop_pixels,
    hop_states,
    prior_residuals,
)

VIEW = camera()
FPS = 60.0
BEGAN_S = 1.3
THROW = Throw(19.0, 42.0, 1.0)


def landing(off_s: float = 0.0) -> PredictedLanding:
    """The flight as a fit has it, its landing predicted wrongly by so much."""
    _, flight_s, _ = flown(THROW)
    return PredictedLanding(
        camera=VIEW,
        forces=FORCES,
        trajectory=fly(THROW.launch(), FORCES, flight_s + 0.4, 0.04),
        began_s=BEGAN_S,
        landed_s=BEGAN_S + flight_s + off_s,
        landed_u_s=0.015,
        drag=DRAG,
        readout_s=0.0,
    )


def hopping(rise: float, kept: float, aside: float):
    """Return the true moment of the bounce and a function from times to pixels after it."""
    _, flight_s, at = flown(THROW)
    velocity = at[3:] * (kept, kept, -rise) + (0.0, aside, 0.0)
    speed = float(np.linalg.norm(velocity))
    up = float(np.degrees(np.arcsin(velocity[2] / speed)))
    turn = float(np.degrees(np.arctan2(velocity[1], velocity[0])))
    start = (*at[:2], RADIUS_M + 1e-6)
    path, lasts_s, _ = flown(Throw(speed, up, turn, start_m=start))
    landed_s = BEGAN_S + flight_s

    def place(time: float):
        if not 0.0 < time - landed_s < lasts_s:
            return None
        return seen(VIEW, path(np.array([time - landed_s]))[:, :3])[0]

    return landed_s, place


def around(things, rng, clutter: float = 1.0, noise: float = 0.7) -> BounceCandidates:
    """Candidates of the frames about the landing: things that move, among clutter."""
    landed_s = BEGAN_S + flown(THROW)[1]
    frames = np.arange(int((landed_s - 0.05) * FPS), int((landed_s + AFTER_S + 0.05) * FPS))
    times, owner, pixels = frames / FPS, [], []
    middle = seen(VIEW, flown(THROW)[2][None, :3])[0]
    reach = 90.0
    for index, time in enumerate(times):
        shown = [thing(time) for thing in things]
        found = [at + rng.normal(0, noise, 2) for at in shown if at is not None]
        found += [middle + rng.uniform(-reach, reach, 2) for _ in range(rng.poisson(clutter))]
        owner += [index] * len(found)
        pixels += found
    return BounceCandidates(
        times_s=times,
        owner=np.array(owner, np.int64),
        pixels=np.array(pixels).reshape(-1, 2),
        clutter=(clutter + 0.05) / (2 * reach) ** 2,
        px_per_m=VIEW.focal_px / 34.0,
    )


@pytest.mark.parametrize("off_s", [-0.02, 0.0, 0.02])
@pytest.mark.parametrize(
    ("rise", "kept", "aside"), [(0.7, 0.6, 0.0), (0.45, 0.75, 0.4), (0.35, 0.4, -0.3)]
)
def test_moment_of_a_bounce_is_found_whatever_the_turf_does(off_s, rise, kept, aside):
    landed_s, place = hopping(rise, kept, aside)
    hop = find_hop(landing(off_s), around([place], np.random.default_rng(1)))
    assert hop is not None
    assert hop.found
    # Candidates are good to 0.7 px each way, and the ball comes down at 5 px a frame.
    assert hop.time_s == pytest.approx(landed_s, abs=0.008)


def test_a_ball_lost_in_long_grass_has_no_hop():
    for seed in range(20):
        hop = find_hop(landing(), around([], np.random.default_rng(seed), clutter=2.0))
        assert hop is None or not hop.found


def test_a_ball_that_flies_on_has_not_bounced():
    path, _, _ = flown(THROW, ground_m=-4.0)

    def on(time):
        return seen(VIEW, path(np.array([time - BEGAN_S]))[:, :3])[0]

    hop = find_hop(landing(), around([on], np.random.default_rng(2)))
    assert hop is None or not hop.found


@pytest.mark.parametrize("speed", [-6.0, 0.0, 6.0])
def test_what_runs_by_on_the_ground_is_no_hop(speed):
    at = flown(THROW)[2]
    landed_s = BEGAN_S + flown(THROW)[1]

    def dog(time):
        # Low and level, as a dog's back goes.
        return seen(VIEW, [at[0] + 0.3 + speed * (time - landed_s), at[1], 0.4])[0]

    hop = find_hop(landing(), around([dog], np.random.default_rng(3)))
    assert hop is None or not hop.found


def test_hop_starts_where_the_flight_is_and_falls_freely():
    at = landing()
    hop = np.array([[at.landed_s, 0.6, 0.5, 0.0]])
    times = at.landed_s + np.array([0.01, 0.2, 0.21])
    states = hop_states(replace(at, drag=0.0), hop, times)[0]
    before = at.trajectory.at(at.landed_s - at.began_s)[0]
    assert states[0, :3] == pytest.approx(before[:3], abs=0.15)
    assert states[0, 3] == pytest.approx(0.5 * before[3])
    assert (states[2, 5] - states[1, 5]) / 0.01 == pytest.approx(-FORCES.gravity_mps2)
    assert np.isnan(hop_states(at, hop, at.landed_s - np.array([0.01]))).all()


def test_a_hop_on_a_slope_rises_from_it_and_ends_on_it():
    ground = Ground(0.1, -0.05)
    at = replace(landing(), drag=0.0, ground=ground)
    hop = np.array([[at.landed_s, 0.6, 0.5, 0.4]])
    before = at.trajectory.at(at.landed_s - at.began_s)[0]
    states = hop_states(at, hop, at.landed_s + np.linspace(1e-6, 2.0, 2000))[0]
    assert states[0, 3:5] == pytest.approx([0.5 * before[3], 0.5 * before[4] + 0.4], abs=1e-4)
    # Apart at six tenths of the speed at which ball and ground came together.
    together, apart = ground.above(before[3:]), ground.above(states[0, 3:])
    assert apart == pytest.approx(-0.6 * together, abs=1e-3)
    shown = np.isfinite(states).all(axis=1)
    above = ground.above(states[shown]) - ground.above(before)
    assert above.min() > -0.011 and above[-1] < 0.01
    lasts_s = 2.0 * apart / FORCES.gravity_mps2
    assert shown.sum() * 1e-3 == pytest.approx(lasts_s, abs=0.01)


def test_few_hits_are_not_enough_however_clear():
    assert not Hop(1.0, 0.6, 0.6, 0.0, support=60.0, hits=3, in_view=3).found
    assert not Hop(1.0, 0.6, 0.6, 0.0, support=60.0, hits=11, in_view=19).found
    assert Hop(1.0, 0.6, 0.6, 0.0, support=60.0, hits=14, in_view=19).found


def test_support_is_that_of_the_candidates_and_of_what_balls_do():
    # Log-likelihood ratios of the best candidate of every frame, less half the squared distance
    # from the prior: turf that keeps nearly all of the speed has to be paid for.
    for rise, kept, aside in ((0.62, 0.6, 0.0), (0.75, 0.95, 0.8)):
        _, place = hopping(rise, kept, aside)
        at, near = landing(), around([place], np.random.default_rng(5))
        hop = find_hop(at, near)
        numbers = np.array([[hop.time_s, hop.restitution, hop.speed_kept, hop.sideways_mps]])
        usual = np.array([at.landed_s, 0.6, 0.62, 0.0])
        u = np.array([at.landed_u_s, 0.2, 0.22, 0.7])
        assert prior_residuals(at, numbers)[0] == pytest.approx(((numbers - usual) / u)[0])
        path, sigma = hop_pixels(at, numbers, near.times_s)[0], 0.10 * near.px_per_m / 3.0
        sigma = max(sigma, 4.0 / 3.0)
        ratios, in_view = [], (near.times_s > hop.time_s) & (near.times_s < hop.time_s + AFTER_S)
        for index in np.flatnonzero(in_view):
            gaps = np.linalg.norm(near.pixels[near.owner == index] - path[index], axis=1)
            density = np.exp(-0.5 * (gaps / sigma) ** 2) / (2.0 * np.pi * sigma**2)
            inside = density[gaps < 3.0 * sigma]
            ratio = np.log(0.3 + 0.7 * inside / near.clutter)
            ratios.append(max([np.log(0.3), *ratio]))
        prior = 0.5 * float(np.sum(prior_residuals(at, numbers) ** 2))
        assert hop.in_view == len(ratios)
        assert hop.support == pytest.approx(sum(ratios) - prior, abs=1e-6)


def test_of_hops_that_no_candidate_favours_the_usual_one_is_taken():
    nothing = replace(around([], np.random.default_rng(1)), owner=np.zeros(0, int))
    hop = find_hop(landing(), replace(nothing, pixels=np.zeros((0, 2))))
    assert hop.hits == 0 and not hop.found
    assert hop.restitution == pytest.approx(0.6, abs=0.2)
    assert hop.speed_kept == pytest.approx(0.62, abs=0.2)
    assert hop.sideways_mps == pytest.approx(0.0, abs=0.2)


def test_the_first_grid_is_even_and_covers_what_turf_does():
    usual, u = (0.6, 0.62, 0.0), (0.2, 0.22, 0.7)
    grids = (RESTITUTIONS, SPEEDS_KEPT, SIDEWAYS_MPS)
    for grid, spacing, middle, spread in zip(grids, SPACINGS, usual, u, strict=True):
        assert np.diff(grid) == pytest.approx(spacing)
        assert spacing < 1.3 * spread, "no hop lies between two places of the grid"
        assert grid[0] <= middle - spread and grid[-1] >= middle + spread
