"""A shot made up for tests of tables and pictures: flown in a vacuum, seen by a known camera."""

from dataclasses import replace
from functools import cache

import numpy as np

from calibration.camera import looking_at
from tracker.records import FlightPath, MeasuredShot, Quality, Reason, ReasonCode, Shot, TrackPoint
from tracker.report.composite import BallPatch, cut

G = 9.80665
SIZE = (1920, 1080)
CAMERA = looking_at((14.0, -30.0, 1.6), (14.0, 0.0, 4.3), 1350.0, SIZE)
MARKERS = tuple(
    (f"{along} m cone", tuple(CAMERA.project([(along, 0.0, 0.0)])[0])) for along in (0, 10, 20, 30)
)


@cache
def field(seed: int = 1) -> np.ndarray:
    """Grass below, hedge, sky above, as uint8 blue, green, red."""
    random = np.random.default_rng(seed)
    width, height = SIZE
    frame = np.empty((height, width, 3), np.float32)
    horizon = int(CAMERA.project([(14.0, 3000.0, 1.6)])[0, 1])
    sky = np.linspace(0, 1, horizon)[:, None, None]
    frame[:horizon] = (1 - sky) * (214, 176, 138) + sky * (228, 215, 203)
    depth = np.linspace(0, 1, height - horizon)[:, None, None]
    frame[horizon:] = (1 - depth) * (62, 118, 96) + depth * (48, 104, 84)
    hedge = slice(horizon - 60, horizon + 8)
    frame[hedge] = (38, 66, 52) + 14 * random.standard_normal((68, width, 1), np.float32)
    frame[horizon:] += 12 * random.standard_normal((height - horizon, width, 1), np.float32)
    frame += 3 * random.standard_normal(frame.shape, np.float32)
    return np.clip(frame, 0, 255).astype(np.uint8)


def with_ball(frame: np.ndarray, pixel: np.ndarray, radius: float = 1.6) -> np.ndarray:
    """The frame with a soft-edged ball in it."""
    drawn = frame.copy()
    column, row = (int(value) for value in pixel)
    here = np.s_[max(0, row - 8) : row + 9, max(0, column - 8) : column + 9]
    rows, columns = np.mgrid[here]
    share = np.clip(radius + 0.5 - np.hypot(columns - pixel[0], rows - pixel[1]), 0, 1)[..., None]
    drawn[here] = (frame[here] * (1 - share) + np.array([90, 235, 225]) * share).astype(np.uint8)
    return drawn


@cache
def invented(
    quality: Quality = Quality.GOOD, fps: float = 60.0
) -> tuple[MeasuredShot, np.ndarray, tuple[BallPatch, ...]]:
    """A shot at 18 m/s and 42 degrees from 0.8 m, its background and a patch of every frame."""
    random = np.random.default_rng(7)
    speed, angle, height, released = 18.0, np.radians(42.0), 0.8, 3.417
    flight = (speed * np.sin(angle) + np.sqrt((speed * np.sin(angle)) ** 2 + 2 * G * height)) / G
    velocity = np.array([speed * np.cos(angle), 0.0, speed * np.sin(angle)])

    def at(times: np.ndarray) -> np.ndarray:
        points = np.array([0.0, 0.0, height]) + times[:, None] * velocity
        points[:, 2] -= 0.5 * G * times**2
        return points

    every = np.linspace(0, flight, 200)
    ground = field()
    points, patches = [], []
    frames = np.arange(int(released * fps) + 3, int((released + flight) * fps))
    for frame in frames[(frames % 29) > 2]:
        time = frame / fps - released
        place = at(np.array([time]))[0]
        true = CAMERA.project([place])[0]
        used = bool(frame % 31 != 7)
        miss = 0.25 * random.standard_normal(2) + (0 if used else 9)
        pixel = true + miss
        points.append(
            TrackPoint(
                clip="clips/140mm.mp4",
                shot=2,
                frame=int(frame),
                time_s=float(frame / fps),
                column_px=float(pixel[0]),
                row_px=float(pixel[1]),
                used=used,
                residual_column_px=float(miss[0]),
                residual_row_px=float(miss[1]),
                along_m=float(place[0]),
                across_m=float(place[1]),
                up_m=float(place[2]),
            )
        )
        patch = cut(int(frame), with_ball(ground, true), pixel, 14)
        assert patch is not None
        patches.append(patch)
    pixels = CAMERA.project(at(every))
    top = velocity[2] / G
    shot = Shot(
        clip="clips/140mm.mp4",
        setup="140 mm wheels",
        shot=2,
        release_s=released,
        exit_speed_mps=speed,
        exit_speed_u_mps=0.0461,
        launch_angle_deg=42.0,
        launch_angle_u_deg=0.131,
        azimuth_deg=-0.32,
        azimuth_u_deg=0.41,
        carry_m=float(velocity[0] * flight),
        carry_u_m=0.083,
        landing_along_m=float(velocity[0] * flight),
        landing_along_u_m=0.083,
        landing_across_m=-0.18,
        landing_across_u_m=0.24,
        apex_m=float(height + velocity[2] ** 2 / 2 / G),
        apex_u_m=0.031,
        flight_time_s=float(flight),
        flight_time_u_s=0.0042,
        landing_speed_mps=float(np.hypot(velocity[0], velocity[2] - G * flight)),
        landing_angle_deg=float(np.degrees(np.arctan2(G * flight - velocity[2], velocity[0]))),
        frames_seen=len(points),
        landing_seen=True,
        quality=quality,
        reasons=() if quality == Quality.GOOD else (Reason(ReasonCode.SCATTER, {"times": 5.0}),),
    )
    path = FlightPath(
        times_s=every + released,
        points_m=at(every),
        pixels=pixels,
        release_px=pixels[0],
        apex_px=CAMERA.project(at(np.array([top])))[0],
        landing_px=pixels[-1],
    )
    return MeasuredShot(shot, tuple(points), path), ground, tuple(patches)


def unmeasured() -> Shot:
    """A shot of which nothing could be measured."""
    shot = invented()[0].shot
    nothing = {
        name: None
        for name in Shot.__dataclass_fields__
        if name.endswith(("_mps", "_deg", "_m", "_s")) and name != "release_s"
    }
    return replace(
        shot,
        **nothing,
        landing_seen=False,
        quality=Quality.REJECTED,
        reasons=(Reason(ReasonCode.NOT_MEASURED), Reason(ReasonCode.NO_FIT)),
    )
