"""Who and what is on the field: movers of each kind, drawn from a seed."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from tracker.synthetic.crowd import fetchers, flock, insects, leaves, passers
from tracker.synthetic.movers import Bird, Dog, Route, Silhouette, Walker, Wheels
from tracker.synthetic.setting import Setting
from tracker.synthetic.small import Small
from tracker.synthetic.weather import CloudShadows, SwayingTrees

Array = NDArray[np.float64]
Mover = Silhouette | Small | Wheels | SwayingTrees | CloudShadows


def people(stage: Setting, rng: np.random.Generator) -> list[Mover]:
    """Draw three to five people who walk about, some of whom stop for a while."""
    found: list[Mover] = []
    for _ in range(int(rng.integers(3, 6))):
        # Behind the firing line or well before it, as people stand who know about the launcher.
        share = rng.uniform(0.25, 0.45) if rng.uniform() < 0.3 else rng.uniform(0.62, 0.93)
        across = stage.across(share)
        low, high = stage.edges(across)
        route = _stroll(rng, (low, high), across, stage.duration_s)
        tint = tuple(rng.uniform(0.04, 0.5, 3) * rng.uniform(0.5, 1.0))
        found.append(
            Walker(
                route,
                stage.scene.light,
                stage.psf_px,
                rng.uniform(1.55, 1.9),
                (tint[0], tint[1], tint[2]),
                rng.uniform(0.0, 6.3),
            )
        )
    return found


def dog(stage: Setting, rng: np.random.Generator) -> list[Mover]:
    """Draw a dog that runs after each ball, or back and forth where there is none."""
    across = stage.across(rng.uniform(0.45, 0.8))
    low, high = stage.edges(across)
    fast = rng.uniform(6.0, 9.0)
    times = np.arange(0.0, stage.duration_s + 0.5, 0.1)
    place = np.array([rng.uniform(low, high), across])
    goal = place.copy()
    points = []
    for time_s in times:
        flying = [s for s in stage.shots if s.launch.release_s + 0.4 < time_s < s.rest_s + 1.0]
        if flying:
            goal = flying[-1].positions([time_s])[0, :2]
        elif not stage.shots and np.linalg.norm(goal - place) < 1.0:
            goal = np.array([rng.uniform(low, high), across + rng.uniform(-3.0, 3.0)])
        gap = goal - place
        pace = min(fast * 0.1, float(np.linalg.norm(gap)))
        place = place + gap / max(float(np.linalg.norm(gap)), 1e-6) * pace
        points.append([place[0], place[1], 0.0])
    tint = rng.uniform(0.5, 1.0) * np.array([0.30, 0.19, 0.10])
    return [
        Dog(
            Route(times, np.array(points)),
            stage.scene.light,
            stage.psf_px,
            rng.uniform(0.6, 0.95),
            (tint[0], tint[1], tint[2]),
            rng.uniform(0.0, 6.3),
        )
    ]


def birds(stage: Setting, rng: np.random.Generator) -> list[Mover]:
    """Draw birds that cross the sky, near and far, level or on a slight curve."""
    found: list[Mover] = []
    for _ in range(int(rng.integers(4, 9))):
        off = rng.uniform(20.0, 90.0)
        side = np.sign(stage.scene.hedge_across_m - stage.camera.position[1])
        across = float(stage.camera.position[1] + side * off)
        low, high = stage.edges(across)
        speed = rng.uniform(7.0, 14.0) * rng.choice([-1.0, 1.0])
        middle_s = rng.uniform(0.0, stage.duration_s)
        times = np.linspace(-4.0, stage.duration_s + 4.0, 120)
        lapse = times - middle_s
        up = rng.uniform(0.12, 0.55) * off + rng.uniform(-1.5, 1.5) * lapse
        up = np.maximum(up + rng.uniform(-0.3, 0.3) * lapse**2, 3.5)
        along = rng.uniform(low, high) + speed * lapse
        points = np.column_stack([along, np.full_like(along, across), up])
        dark = rng.uniform(0.02, 0.12)
        beats = rng.choice([0.0, rng.uniform(3.0, 8.0)])
        found.append(
            Bird(
                Route(times, points),
                stage.scene.light,
                stage.psf_px,
                rng.uniform(0.3, 1.0),
                (dark, dark, 1.1 * dark),
                rng.uniform(0.0, 6.3),
                float(beats),
            )
        )
    return found


def trees(stage: Setting, rng: np.random.Generator) -> list[Mover]:
    """Draw the trees' sway."""
    return [SwayingTrees(stage.scene, rng.uniform(0.12, 0.40), rng.uniform(1.6, 3.0))]


def cloud_shadows(stage: Setting, rng: np.random.Generator) -> list[Mover]:
    """Draw shadows that cross the field in a fresh wind."""
    drift = (float(rng.uniform(4.0, 11.0) * rng.choice([-1.0, 1.0])), float(rng.uniform(-4.0, 4.0)))
    return [CloudShadows(stage.scene, rng.uniform(0.25, 0.5), drift)]


def open_wheels(stage: Setting, rng: np.random.Generator) -> list[Mover]:
    """Return the launcher's wheels, turning without a guard.

    A rim is a little faster than the ball that it throws.
    """
    scene = stage.scene
    if scene.launcher_release_m is None or not stage.shots:
        return []
    rise = np.radians(scene.launcher_angle_deg)
    ahead = np.array([np.cos(rise), 0.0, np.sin(rise)])
    normal = np.array([-ahead[2], 0.0, ahead[0]])
    radius = 0.5 * scene.launcher_wheel_m
    nip = np.array(scene.launcher_release_m) - 0.10 * ahead
    middles = np.array([nip + side * (radius + 0.028) * normal for side in (-1.0, 1.0)])
    rate = rng.uniform(1.1, 1.4) * stage.shots[0].launch.exit_speed_mps / (2.0 * np.pi * radius)
    return [Wheels(middles, radius, rate, scene.light, stage.psf_px, stage.exposure_s)]


KINDS: dict[str, Callable[[Setting, np.random.Generator], Sequence[Mover]]] = {
    "people": people,
    "dog": dog,
    "birds": birds,
    "trees": trees,
    "cloud_shadows": cloud_shadows,
    "open_wheels": open_wheels,
    "flock": flock,
    "passers": passers,
    "fetchers": fetchers,
    "insects": insects,
    "leaves": leaves,
}
"""Kinds of movers by the names that recipes use."""


def _stroll(
    rng: np.random.Generator, span: tuple[float, float], across: float, duration_s: float
) -> Route:
    """Return a route of walks, turns and stops within a span along the field."""
    time_s, place = 0.0, np.array([rng.uniform(*span), across])
    times, points = [0.0], [[place[0], place[1], 0.0]]
    while time_s < duration_s + 1.0:
        if rng.uniform() < 0.25:
            time_s += rng.uniform(0.5, 2.5)
        else:
            goal = np.array([rng.uniform(*span), across + rng.uniform(-1.5, 1.5)])
            time_s += float(np.linalg.norm(goal - place)) / rng.uniform(1.1, 1.7)
            place = goal
        times.append(time_s)
        points.append([place[0], place[1], 0.0])
    return Route(np.array(times), np.array(points))
