"""Frame by frame: the field, whatever moves on it, the balls in the air, noise, the file."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.synthetic import colour
from tracker.synthetic.bound import TrueSighting, coding_losses, ideal
from tracker.synthetic.exposure import BallLook, Streak, row_times, streak
from tracker.synthetic.flight import FlownBall
from tracker.synthetic.furniture import furnish
from tracker.synthetic.plate import Plate, draw_plate
from tracker.synthetic.scene import Scene
from tracker.synthetic.sensor import Codes, NoiseMaker, Sensor
from tracker.synthetic.sprite import Box
from tracker.synthetic.sway import FrameCamera, Sway, frame_camera, seen_by
from tracker.video import ClipWriter

Array = NDArray[np.float64]
Progress = Callable[[int, int], None]


class Mover(Protocol):
    """Something that moves on the field."""

    def depth(self, camera: Camera, time_s: float) -> float:
        """Return how far off it is, m; what is nearer is drawn over it."""

    def draw(self, plate: Plate, camera: Camera, time_s: float) -> Sequence[Box]:
        """Draw it on the plate and return the boxes it touched."""


@dataclass(frozen=True)
class Take:
    """Everything that one clip shows.

    Parameters
    ----------
    scene : Scene
    camera : Camera
    sensor : Sensor
    shots : tuple of FlownBall
    look : BallLook
    movers : tuple of Mover
    sway : Sway, optional
        How the camera trembles; `camera` is where it stands at time zero.
    frame_count : int
    seed : int
        Seed of the noise.
    """

    scene: Scene
    camera: Camera
    sensor: Sensor
    shots: tuple[FlownBall, ...]
    look: BallLook = field(default_factory=BallLook)
    movers: tuple[Mover, ...] = ()
    sway: Sway | None = None
    frame_count: int = 300
    seed: int = 0

    def camera_at(self, index: int) -> FrameCamera:
        """Return the camera of a frame."""
        return frame_camera(self.camera, self.sensor, self.sway, index / self.sensor.fps)


@dataclass(frozen=True)
class Encoding:
    """How the file is made.

    Parameters
    ----------
    megabits : float
        Megabits a second of playing time, which the encoder holds to as a phone's does.
    preset : str
    playing_fps : float, optional
        Rate at which the file plays; as filmed when left out.
    tag_rate : bool
        Whether a tag of the file states its true rate.
    """

    megabits: float = 16.0
    preset: str = "ultrafast"
    playing_fps: float | None = None
    tag_rate: bool = False


@dataclass(frozen=True)
class Filmed:
    """What is true of one shot of a finished clip.

    Attributes
    ----------
    sightings : tuple of TrueSighting
        From release to landing.
    coding_loss : float, optional
        See `coding_losses`.
    """

    sightings: tuple[TrueSighting, ...]
    coding_loss: float | None


def film(
    take: Take, path: Path, encoding: Encoding, progress: Progress | None = None
) -> list[Filmed]:
    """Film a take into a file and return what is true of each of its shots.

    Parameters
    ----------
    take : Take
    path : Path
    encoding : Encoding
    progress : callable, optional
        Called with how many frames are drawn, and how many there are.
    """
    width, height = take.camera.size_px
    stored = (height, width) if take.sensor.rotation_deg % 180 else (width, height)
    fps = take.sensor.fps
    tags = {"com.android.capture.fps": f"{fps:.1f}"} if encoding.tag_rate else {}
    # No look-ahead over the clip's static parts: an encoder in a phone has none. No buffer
    # limits either: with more than one thread they make the bytes differ from run to run.
    options = {"crf": "-1", "b": f"{encoding.megabits * 1000.0:.0f}k", "x264-params": "mbtree=0"}
    with ClipWriter(
        path,
        stored,
        fps,
        options=options,
        preset=encoding.preset,
        rotation_deg=take.sensor.rotation_deg,
        tags=tags,
        file_fps=encoding.playing_fps,
    ) as writer:
        roll = FilmRoll(take)
        for done, planes in enumerate(roll.frames(), start=1):
            y, u, v = (take.sensor.stored(plane) for plane in planes)
            writer.write_luma_chroma(y, u, v)
            if progress is not None:
                progress(done, take.frame_count)
    losses = coding_losses(path, roll.sightings, take.sensor)
    return [Filmed(tuple(notes), loss) for notes, loss in zip(roll.sightings, losses, strict=True)]


class FilmRoll:
    """Draws the frames of a take one after the other and notes where the balls truly were."""

    def __init__(self, take: Take) -> None:
        self._take = take
        self.base = draw_plate(take.scene, take.camera, take.sensor.psf_px)
        furnish(self.base, take.scene, take.camera, take.sensor.psf_px)
        self._canvas = self.base.copy()
        self._resting: set[int] = set()
        self.sightings: list[list[TrueSighting]] = [[] for _ in take.shots]

    def frames(self) -> Iterator[tuple[Codes, Codes, Codes]]:
        """Yield luma, blue and red planes, each valid until the next."""
        noise = NoiseMaker(self._take.sensor, self.base, self._take.seed)
        for index in range(self._take.frame_count):
            touched = self.draw(index)
            yield noise.expose(self._canvas, index / self._take.sensor.fps)
            for box in touched if self._take.sway is None else ():
                _copy(self.base, self._canvas, box)

    def draw(self, index: int) -> list[Box]:
        """Draw everything that moves in a frame on the canvas and return the boxes touched."""
        take, time_s = self._take, index / self._take.sensor.fps
        view = take.camera_at(index)
        camera = view.middle
        if take.sway is not None:
            seen_by(self.base, view, take.scene, take.sensor, self._canvas)
        layers: list[tuple[float, int, Mover | FlownBall]] = []
        for number, shot in enumerate(take.shots):
            if time_s + 0.5 > shot.launch.release_s and number not in self._resting:
                centre = shot.positions([max(time_s, shot.launch.release_s)])
                layers.append((camera.in_camera(centre)[0, 2], number, shot))
        for mover in take.movers:
            layers.append((mover.depth(camera, time_s), -1, mover))
        touched: list[Box] = []
        for _, number, thing in sorted(layers, key=lambda layer: -layer[0]):
            if isinstance(thing, FlownBall):
                touched += self._draw_ball(index, number, thing, view)
            else:
                boxes = thing.draw(self._canvas, camera, time_s)
                self._hide(index, boxes)
                touched += boxes
        return touched

    def _draw_ball(self, index: int, number: int, shot: FlownBall, view: FrameCamera) -> list[Box]:
        """Draw one ball; one that has come to rest becomes part of the field."""
        take, time_s = self._take, index / self._take.sensor.fps
        lighting = (take.scene.light, take.look)
        seen = streak(shot, view, take.sensor, lighting, time_s)
        slack = take.sensor.readout_s
        flying = shot.launch.release_s - slack <= time_s <= shot.landing_s + slack
        if seen is not None:
            seen = _in_grass(seen, shot, take.scene.grass_height_m, time_s)
        if flying:
            self._note(index, number, shot, (seen, view))
        if seen is None:
            return []
        if time_s > shot.rest_s + take.sensor.exposure_s:
            self._resting.add(number)
            still = streak(shot, FrameCamera(take.camera), take.sensor, lighting, time_s)
            if still is not None:
                lay_streak(self.base, still, take.look)
        lay_streak(self._canvas, seen, take.look)
        return [seen.box]

    def _note(
        self,
        index: int,
        number: int,
        shot: FlownBall,
        seen_by_camera: tuple[Streak | None, FrameCamera],
    ) -> None:
        """Note where a flying ball truly was in a frame and how well it can be placed."""
        (seen, view), sensor = seen_by_camera, self._take.sensor
        camera = view.middle

        def where(times: Array) -> Array:
            return view.project(shot.positions(np.maximum(times, shot.launch.release_s)), times)

        moments = index / sensor.fps + np.array([-0.5, 0.0, 0.5]) * sensor.exposure_s
        times = row_times(sensor, camera.size_px, where, moments)
        if not shot.launch.release_s <= times[1] <= shot.landing_s:
            return
        pixels = where(times)
        way = pixels[2] - pixels[0]
        width, height = camera.size_px
        inside = bool(np.all(pixels[1] > -0.5) and np.all(pixels[1] < (width - 0.5, height - 0.5)))
        visible = inside and seen is not None and float(seen.cover.sum()) > 0.0
        depth = camera.in_camera(shot.positions([times[1]]))[0, 2]
        self.sightings[number].append(
            TrueSighting(
                frame=index,
                time_s=float(times[1]),
                pixel=pixels[1],
                visible=visible,
                direction_deg=float(np.degrees(np.arctan2(way[1], way[0]))),
                streak_px=float(np.hypot(*way)),
                diameter_px=float(camera.focal_px * shot.ball.diameter_m / depth),
                ideal=ideal(self._canvas, seen, sensor) if visible and seen else None,
            )
        )

    def _hide(self, index: int, boxes: Sequence[Box]) -> None:
        """Note balls as hidden that a nearer mover has been drawn over.

        Whatever is drawn after a ball is nearer; a ball within its box counts as hidden, which
        errs on the side of not asking a measurement for it.
        """
        for notes in self.sightings:
            if notes and notes[-1].frame == index:
                column, row = notes[-1].pixel
                if any(box[0] < column < box[2] and box[1] < row < box[3] for box in boxes):
                    notes[-1].visible = False


def lay_streak(plate: Plate, seen: Streak, look: BallLook) -> None:
    """Lay a blurred ball over the plate, adding linear light."""
    left, top, right, bottom = seen.box
    part = np.s_[top:bottom, left:right]
    behind = colour.decode(plate.luma[part])
    plate.luma[part] = colour.encode(behind * (1.0 - seen.cover) + seen.light)
    half = np.s_[top // 2 : bottom // 2, left // 2 : right // 2]
    cover = cv2.resize(
        seen.cover, ((right - left) // 2, (bottom - top) // 2), interpolation=cv2.INTER_AREA
    )
    for plane, tint in ((plate.blue, look.blue), (plate.red, look.red)):
        plane[half] += cover * (128.0 + tint - plane[half])


def _in_grass(seen: Streak, shot: FlownBall, grass_m: float, time_s: float) -> Streak | None:
    """Return the part of a ball that stands out above the grass."""
    if grass_m <= 0.0:
        return seen
    centre = shot.positions([max(time_s, shot.launch.release_s)])[0]
    share = np.clip((centre[2] - grass_m) / shot.ball.diameter_m + 0.5, 0.0, 1.0)
    if share == 0.0:
        return None
    part = np.float32(share)
    return Streak(
        seen.box,
        seen.cover * part,
        seen.light * part,
        seen.cover_slopes * part,
        seen.light_slopes * part,
    )


def _copy(source: Plate, target: Plate, box: Box) -> None:
    """Copy a box from one plate to another."""
    left, top, right, bottom = box
    target.luma[top:bottom, left:right] = source.luma[top:bottom, left:right]
    half = np.s_[top // 2 : bottom // 2, left // 2 : right // 2]
    target.blue[half] = source.blue[half]
    target.red[half] = source.red[half]
