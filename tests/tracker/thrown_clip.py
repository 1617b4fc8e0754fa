"""A small clip of thrown balls, flown by scipy, seen through OpenCV and drawn finely, as a session.

Nothing of the project's own flies, projects or draws them. The ball bounces and hops on.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import cv2
import numpy as np

from calibration.camera import looking_at
from tests.tracker.drawn_balls import disc, film
from tests.tracker.thrown_balls import RADIUS_M, Throw, flown, seen
from tracker.video import ClipWriter

SIZE_PX, FPS, NOISE = (640, 360), 50.0, 1.2
EXPOSURE_S = 0.004
MARKS_M = ((0, 0, 0), (4, 0, 0), (8, 0, 0), (12, 0, 0), (4, 4, 0), (0, 0, 1.5), (12, 0, 1.5))
RISE, KEPT = 0.6, 0.6


def camera():
    """The camera, to the right of a firing line of twelve metres."""
    return looking_at((6.0, -12.0, 1.6), (6.0, 0.0, 2.4), 540.0, SIZE_PX)


@dataclass(frozen=True)
class Ball:
    """A thrown ball from its start until its hop is over, by time in the clip."""

    began_s: float
    throw: Throw

    @cached_property
    def flights(self):
        """The flight and its hop: when each begins and ends, and its path."""
        found, throw, began = [], self.throw, self.began_s
        for _ in range(2):
            path, lands, end = flown(throw)
            found.append((began, began + lands, path))
            speed = np.array([KEPT, KEPT, -RISE]) * end[3:]
            began += lands
            throw = _launched(replace(throw, start_m=(*end[:2], RADIUS_M + 1e-6)), speed)
        return found

    def places(self, times_s):
        """Return the places, shape (N, 3), NaN when it is not in the air."""
        times_s = np.asarray(times_s, float)
        found = np.full((len(times_s), 3), np.nan)
        for began, ends, path in self.flights:
            flying = (times_s >= began) & (times_s < ends)
            if flying.any():
                found[flying] = path(times_s[flying] - began)[:, :3]
        return found

    def truth(self):
        """Return what the flight truly did, by the names of the results."""
        path, lands, end = flown(self.throw)
        states = path(np.linspace(0.0, lands, 800))
        run = end[:2] - np.array(self.throw.start_m[:2])
        return {
            "exit_speed_mps": self.throw.speed_mps,
            "launch_angle_deg": self.throw.angle_deg,
            "carry_m": float(np.hypot(*run)),
            "landing_along_m": float(end[0]),
            "landing_across_m": float(end[1]),
            "apex_m": float(states[:, 2].max()),
            "flight_time_s": lands,
        }


@dataclass(frozen=True)
class Roll:
    """A ball that is rolled over the ground."""

    began_s: float
    start_m: tuple[float, float]
    speed_mps: tuple[float, float]

    def places(self, times_s):
        """Return the places, shape (N, 3)."""
        since = (np.asarray(times_s, float) - self.began_s)[:, None]
        level = np.array(self.start_m) + np.array(self.speed_mps) * since * (1.0 - 0.08 * since)
        found = np.column_stack([level, np.full(len(level), RADIUS_M)])
        found[since[:, 0] < 0.0] = np.nan
        return found


def _launched(throw, velocity):
    level = float(np.hypot(*velocity[:2]))
    return replace(
        throw,
        speed_mps=float(np.linalg.norm(velocity)),
        angle_deg=float(np.degrees(np.arctan2(velocity[2], level))),
        azimuth_deg=float(np.degrees(np.arctan2(velocity[1], velocity[0]))),
    )


def session(folder: Path, balls, seconds, release_m=(0.0, 0.0, 0.8), seed=4):
    """Film balls and write the session beside the clip; return its folder."""
    rng = np.random.default_rng(seed)
    view = camera()
    (folder / "clips").mkdir(parents=True)
    _film(folder / "clips" / "140mm.mp4", view, balls, seconds, rng)
    markers = "".join(
        f'[[marker]]\nname = "mark {number}"\nground_m = {[float(x) for x in at]}\n'
        f"u_m = 0.01\npixel = {(pixel + rng.normal(0, 0.3, 2)).tolist()}\npixel_u = 0.3\n\n"
        for number, (at, pixel) in enumerate(zip(MARKS_M, seen(view, MARKS_M), strict=True))
    )
    along, across, up = release_m
    (folder / "session.toml").write_text(
        f"[release]\nheight_m = {up}\nalong_m = {along}\nacross_m = {across}\nu_m = 0.02\n\n"
        "[camera]\nposition_m = [6.0, -12.0, 1.6]\nposition_u_m = 0.05\nreadout_s = 0.00001\n\n"
        "[air]\ntemperature_c = 15.0\npressure_hpa = 1013.25\nwind_u_mps = 0.3\n\n"
        f'{markers}[[setup]]\nname = "140 mm wheels"\n\n'
        '[[clip]]\nfile = "clips/140mm.mp4"\nsetup = "140 mm wheels"\n',
        encoding="utf-8",
    )
    return folder


def _film(path, view, balls, seconds, rng):
    width, height = SIZE_PX
    ground = cv2.GaussianBlur(rng.normal(0.0, 60.0, (height, width)), (0, 0), 4.0) + 105.0
    with ClipWriter(path, SIZE_PX, FPS, crf=16, preset="ultrafast") as clip:
        for number in range(round(seconds * FPS)):
            picture = ground.copy()
            moments = number / FPS + np.array([0.0, -0.5, 0.5]) * EXPOSURE_S
            for ball in balls:
                places = ball.places(moments)
                if not np.isfinite(places).all():
                    continue
                pixels = seen(view, places)
                across = 2.0 * RADIUS_M * view.focal_px / view.in_camera(places[:1])[0, 2]
                share = disc((height, width), pixels[0], across, pixels[2] - pixels[1])
                picture = picture * (1.0 - share) + 205.0 * share
            clip.write_luma_chroma(film(picture, rng, NOISE))
