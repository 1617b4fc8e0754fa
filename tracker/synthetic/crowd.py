"""What is taken for a ball most easily: birds of every manner of flight, insects, leaves, throws.

Many small birds fly in bounds: they flap, fold their wings and fall freely, again and again
(J. M. V. Rayner, "Bounding and undulating flight in birds", J. Theor. Biol. 117, 47, 1985; from
memory), so parts of their route look like a thrown ball.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.synthetic.flight import TrueAir, TrueBall, TrueLaunch, Turf, fly
from tracker.synthetic.movers import Bird, Drawn, Route, Silhouette, Walker
from tracker.synthetic.setting import Setting
from tracker.synthetic.small import Small
from tracker.synthetic.sprite import limb

Array = NDArray[np.float64]

GRAVITY_MPS2 = 9.81
"""m/s², of what falls freely here; a bird's weight needs no more figures."""

STEP_S = 0.02
"""Between the points of a route, s: straight between them to a millimetre at a bird's curvature."""

TENNIS = (0.60, 0.68, 0.14)
"""Reflectance of a tennis ball's felt: red, green, blue; that of the launcher's balls in luma."""


class ThrownBall(Small):
    """A ball that a person throws back: a shot for whoever asks for those from anywhere."""


@dataclass(frozen=True)
class Bounder(Silhouette):
    """A bird that flaps for a part of each bound and is a smooth body for the rest.

    Parameters
    ----------
    bound_s : float
        From one bound to the next.
    folded : float
        Share of a bound with the wings folded.
    beats_per_s : float
    """

    bound_s: float = 0.8
    folded: float = 0.5
    beats_per_s: float = 12.0

    def shapes(self, time_s: float) -> Drawn:
        """Return the body, and the wings while they beat."""
        span, coat = self.size, np.array(self.tint)
        drawn: Drawn = [(limb((-0.22 * span, 0.0), (0.22 * span, 0.02 * span), 0.16 * span), coat)]
        if ((time_s + self.phase) / self.bound_s) % 1.0 >= self.folded:
            lift = float(np.sin(2.0 * np.pi * self.beats_per_s * time_s))
            tip = (-0.08 * span, 0.42 * span * lift)
            wing = [(-0.12 * span, 0.0), (0.10 * span, 0.02 * span), (0.04 * span, 0.6 * tip[1])]
            drawn.append((np.array([*wing, tip]), 0.9 * coat))
        return drawn


def flock(setting: Setting, rng: np.random.Generator) -> list[Silhouette]:
    """Draw a dozen and more birds at every depth: flapping, gliding, swooping and in bounds."""
    return [_bird(setting, rng) for _ in range(int(rng.integers(14, 23)))]


def passers(setting: Setting, rng: np.random.Generator) -> list[Silhouette]:
    """Draw people who walk right through the view, before the firing line and behind it."""
    found: list[Silhouette] = []
    for _ in range(int(rng.integers(5, 9))):
        across = setting.across(rng.uniform(0.15, 0.95))
        low, high = setting.edges(across)
        pace = rng.uniform(0.9, 3.5) * rng.choice([-1.0, 1.0])
        begins, time_s = rng.uniform(low, high), rng.uniform(0.0, setting.duration_s)
        times = np.array([-1.0, setting.duration_s + 1.0])
        along = begins + pace * (times - time_s)
        slant = across + rng.uniform(-0.2, 0.2) * pace * (times - time_s)
        red, green, blue = rng.uniform(0.04, 0.6, 3) * rng.uniform(0.5, 1.0)
        found.append(
            Walker(
                Route(times, np.column_stack([along, slant, np.zeros(2)])),
                setting.scene.light,
                setting.psf_px,
                rng.uniform(1.3, 1.95),
                (red, green, blue),
                rng.uniform(0.0, 6.3),
            )
        )
    return found


def fetchers(setting: Setting, rng: np.random.Generator) -> list[Silhouette | Small]:
    """Draw people who pick balls up down range and throw them back, one after another."""
    found: list[Silhouette | Small] = []
    side = float(np.sign(setting.scene.hedge_across_m - setting.camera.position[1]))
    for _ in range(int(rng.integers(2, 4))):
        place = np.array([rng.uniform(8.0, 35.0), side * rng.uniform(-6.0, 8.0)])
        times, points = [-1.0], [[*place, 0.0]]
        time_s = rng.uniform(0.2, 2.0)
        while time_s < setting.duration_s:
            times += [time_s, time_s + 0.8]
            points += [[*place, 0.0], [*place, 0.0]]
            found.append(_thrown_back(setting, rng, place, time_s + 0.4))
            place = place + rng.uniform(-4.0, 4.0, 2)
            time_s += rng.uniform(2.0, 5.0)
        times.append(max(setting.duration_s, times[-1]) + 1.0)
        points.append([*place, 0.0])
        red, green, blue = rng.uniform(0.05, 0.5, 3)
        found.append(
            Walker(
                Route(np.array(times), np.array(points)),
                setting.scene.light,
                setting.psf_px,
                rng.uniform(1.5, 1.9),
                (red, green, blue),
            )
        )
    return found


def insects(setting: Setting, rng: np.random.Generator) -> list[Small]:
    """Draw insects between a hand's width and three metres from the lens, out of focus."""
    found = []
    right, down, ahead = setting.camera.rotation
    for _ in range(int(setting.duration_s * rng.uniform(0.6, 1.5)) + 3):
        depth = rng.uniform(0.35, 1.0) ** 2 * 3.0
        reach = 0.6 * depth * setting.camera.size_px[0] / setting.camera.focal_px
        starts = rng.uniform(-0.5, setting.duration_s)
        times = np.arange(starts, starts + rng.uniform(0.4, 2.5), STEP_S)
        # A path that bends all the time: a constant pace and a wandering heading.
        heading = rng.uniform(0.0, 6.3) + np.cumsum(
            rng.normal(0.0, rng.uniform(0.02, 0.3), times.size)
        )
        pace = rng.uniform(0.5, 3.0)
        level = reach * rng.uniform(-1.0, 1.0) + np.cumsum(pace * STEP_S * np.cos(heading))
        drop = 0.5 * reach * rng.uniform(-1.0, 1.0) + np.cumsum(pace * STEP_S * np.sin(heading))
        points = (
            setting.camera.position + depth * ahead + np.outer(level, right) + np.outer(drop, down)
        )
        found.append(_small(setting, rng, Route(times, points), rng.uniform(0.003, 0.012), 0.0))
    return found


def leaves(setting: Setting, rng: np.random.Generator) -> list[Small]:
    """Draw leaves that the wind takes across the field, turning as they fall."""
    found = []
    wind = rng.normal(0.0, 3.0, 2) * np.array([1.0, 0.4])
    for _ in range(int(rng.integers(8, 17))):
        across = setting.across(rng.uniform(0.1, 0.95))
        low, high = setting.edges(across)
        times = np.arange(0.0, setting.duration_s + 1.0, STEP_S)
        lapse = times - rng.uniform(0.0, setting.duration_s)
        swing = 0.3 * np.sin(2.0 * np.pi * rng.uniform(0.5, 1.5) * lapse)
        along = rng.uniform(low, high) + wind[0] * lapse + swing
        up = rng.uniform(0.5, 6.0) - rng.uniform(0.7, 1.8) * lapse
        shown = (up > 0.03) & (up < 12.0)
        if shown.sum() < 2:
            continue
        points = np.column_stack([along, across + wind[1] * lapse, up])[shown]
        route = Route(times[shown], points)
        found.append(_small(setting, rng, route, rng.uniform(0.03, 0.09), rng.uniform(1.0, 5.0)))
    return found


def _small(
    setting: Setting, rng: np.random.Generator, route: Route, size_m: float, flutter: float
) -> Small:
    """Return something small and dull, or pale, on its route."""
    red, green, blue = (
        rng.uniform(0.02, 0.12, 3) if rng.uniform() < 0.7 else rng.uniform(0.3, 0.7, 3)
    )
    return Small(
        route,
        setting.scene.light,
        setting.psf_px,
        setting.exposure_s,
        size_m,
        (red, green, blue),
        flutter,
        rng.uniform(0.0, 6.3),
    )


def _bird(setting: Setting, rng: np.random.Generator) -> Silhouette:
    """Draw one bird somewhere between five and a hundred and twenty metres off."""
    side = float(np.sign(setting.scene.hedge_across_m - setting.camera.position[1]))
    off = 5.0 * 24.0 ** rng.uniform()
    across = float(setting.camera.position[1]) + side * off
    low, high = setting.edges(across)
    times = np.arange(-1.0, setting.duration_s + 1.0, STEP_S)
    lapse = times - rng.uniform(0.0, setting.duration_s)
    speed = rng.uniform(4.0, 18.0) * rng.choice([-1.0, 1.0])
    along = rng.uniform(low, high) + speed * lapse
    span = 0.18 * 6.0 ** rng.uniform()
    dark = rng.uniform(0.02, 0.12) if rng.uniform() < 0.7 else rng.uniform(0.4, 0.75)
    tint, phase = (dark, dark, 1.05 * dark), rng.uniform(0.0, 6.3)
    light, psf = setting.scene.light, setting.psf_px
    base = max(0.8, rng.uniform(-0.02, 0.45) * off + float(setting.camera.position[2]))
    manner = rng.choice(["flaps", "glides", "swoops", "bounds"])
    if manner == "bounds":
        bound_s, folded = rng.uniform(0.5, 1.6), rng.uniform(0.35, 0.75)
        up = base + _bounds(times + phase, bound_s, folded)
        route = Route(times, np.column_stack([along, np.full_like(along, across), up]))
        return Bounder(
            route, light, psf, span, tint, phase, bound_s, folded, rng.uniform(8.0, 18.0)
        )
    beats = 0.0 if manner == "glides" else rng.uniform(2.0, 12.0)
    bend = rng.uniform(-0.25, 0.1) if manner != "swoops" else -rng.uniform(0.3, 1.1) * GRAVITY_MPS2
    if manner == "swoops":
        # Over a hedge or after a fly: up and down again, in an arc like a throw's, then level.
        half = rng.uniform(0.5, 1.3)
        up = base - 0.5 * abs(bend) * (np.minimum(np.abs(lapse), half) ** 2 - half**2)
        beats = rng.choice([0.0, beats])
    else:
        up = base + rng.uniform(-1.0, 1.0) * lapse + 0.5 * bend * lapse**2
    up = np.maximum(up, 0.3)
    return Bird(
        Route(times, np.column_stack([along, np.full_like(along, across), up])),
        light,
        psf,
        span,
        tint,
        phase,
        float(beats),
    )


def _bounds(times: Array, bound_s: float, folded: float) -> Array:
    """Return heights about the mean, m: free fall while folded, then as much lift as that took."""
    share = (times / bound_s) % 1.0
    fall_s, rise_s = folded * bound_s, (1.0 - folded) * bound_s
    speed = 0.5 * GRAVITY_MPS2 * fall_s
    lift = GRAVITY_MPS2 * fall_s / rise_s
    since, left = share * bound_s, (share - folded) * bound_s
    falling = speed * since - 0.5 * GRAVITY_MPS2 * since**2
    rising = -speed * left + 0.5 * lift * left**2
    return np.asarray(np.where(share < folded, falling, rising))


def _thrown_back(
    setting: Setting, rng: np.random.Generator, place: Array, time_s: float
) -> ThrownBall:
    """Throw a ball from a person's hand towards the launcher, short of it or past it."""
    launch = TrueLaunch(
        release_s=time_s,
        release_m=(float(place[0]), float(place[1]), rng.uniform(1.2, 2.0)),
        exit_speed_mps=rng.uniform(7.0, 19.0),
        launch_angle_deg=rng.uniform(5.0, 50.0),
        azimuth_deg=180.0 + rng.normal(0.0, 8.0),
    )
    ball = TrueBall()
    flown = fly(launch, ball, TrueAir(), Turf())
    times = np.arange(time_s, flown.rest_s + 0.1, STEP_S)
    route = Route(times, np.nan_to_num(flown.positions(times), nan=0.03))
    return ThrownBall(
        route, setting.scene.light, setting.psf_px, setting.exposure_s, ball.diameter_m, TENNIS
    )
