"""One session of a recipe, drawn from a seed: what is true, and what the person wrote down."""

from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera, looking_at
from tracker.synthetic.cast import KINDS
from tracker.synthetic.clip import Encoding, Take
from tracker.synthetic.exposure import BallLook
from tracker.synthetic.flight import FlownBall, TrueAir, TrueBall, TrueLaunch, Turf, fly
from tracker.synthetic.recipes import WHEELS, Filming, Range, Recipe
from tracker.synthetic.scene import FieldMarker, Light, Scene, Tree
from tracker.synthetic.sensor import Sensor
from tracker.synthetic.setting import Setting
from tracker.synthetic.sway import Sway, draw_knock, draw_sway

Array = NDArray[np.float64]

TAPE_U_M = 0.02
"""Standard uncertainty of a taped marker, m. As the next five: common practice, no source."""
PICK_U_PX = 0.8
"""Of a pixel picked by hand, px."""
POSITION_U_M = 0.10
"""Of the taped camera, for each coordinate, m."""
RELEASE_U_M = 0.02
"""Of the taped height of release, m."""
VIEW_U_SHARE = 0.01
"""Of the field of view, as a share of it."""
WIND_U_MPS = 0.5
"""Of the mean wind, judged by eye, for each component, m/s."""


@dataclass(frozen=True)
class TrueWeather:
    """True weather: degrees Celsius, hectopascals, percent, and the wind in m/s."""

    temperature_c: float
    pressure_hpa: float
    humidity_percent: float
    wind_mps: tuple[float, float, float]

    def density_kgpm3(self) -> float:
        """Return the density of moist air (ideal gases; Magnus's formula for the vapour).

        Constants of dry air and water vapour 287.05 and 461.5 J/(kg K); Magnus's formula with
        the coefficients of Sonntag (1990), from memory.
        """
        warm = 273.15 + self.temperature_c
        full = 611.2 * np.exp(17.62 * self.temperature_c / (243.12 + self.temperature_c))
        vapour = self.humidity_percent / 100.0 * full
        dry = self.pressure_hpa * 100.0 - vapour
        return float(dry / (287.05 * warm) + vapour / (461.5 * warm))


@dataclass(frozen=True)
class FieldNotes:
    """What the person wrote down, each with an error that its uncertainty covers.

    Attributes
    ----------
    marker_ground_m, marker_pixel : ndarray, shape (N, 3) and (N, 2)
    camera_position_m : ndarray, shape (3,)
    field_of_view_deg : float
    release_m : ndarray, shape (3,)
    wind_mps : ndarray, shape (2,)
    """

    marker_ground_m: Array
    marker_pixel: Array
    camera_position_m: Array
    field_of_view_deg: float
    release_m: Array
    wind_mps: Array


@dataclass(frozen=True)
class DrawnClip:
    """One clip before it is filmed: file, setup, take and encoding."""

    file: str
    setup: str
    take: Take
    encoding: Encoding


@dataclass(frozen=True)
class DrawnSession:
    """A session before it is filmed."""

    recipe: Recipe
    seed: int
    weather: TrueWeather
    markers: tuple[FieldMarker, ...]
    clips: tuple[DrawnClip, ...]
    notes: FieldNotes
    set_angle_deg: float


def draw_session(recipe: Recipe, seed: int) -> DrawnSession:
    """Draw everything that may vary; the same recipe and seed give the same session."""
    rng = np.random.default_rng([seed, crc32(recipe.name.encode())])
    weather = _weather(recipe, rng)
    set_angle = _even(rng, recipe.shooting.launch_angle_deg)
    release = np.array([0.0, 0.0, rng.uniform(0.75, 0.95)])
    fired = [_shots(recipe, setup, (set_angle, release, weather), rng) for setup in recipe.setups]
    camera = _camera(recipe, [shot for shots in fired for shot in shots], rng)
    markers = _markers(recipe, camera, rng)
    scene = _scene(recipe, camera, markers, (release, set_angle), rng)
    sensor = _sensor(recipe, rng)
    look = BallLook(rng.uniform(0.55, 0.70), rng.uniform(-58.0, -44.0), rng.uniform(-4.0, 6.0))
    seeds = rng.integers(2**31, size=len(fired))
    clips = []
    for index, (setup, shots) in enumerate(zip(recipe.setups, fired, strict=True)):
        filming = recipe.filming
        frame_count = _frame_count(recipe, shots, camera)
        stage = Setting(
            scene=scene,
            camera=camera,
            shots=tuple(shots),
            duration_s=frame_count / sensor.fps,
            psf_px=sensor.psf_px,
            exposure_s=sensor.exposure_s,
        )
        movers = [mover for kind in recipe.movers for mover in KINDS[kind](stage, rng)]
        sway = _sway(filming, camera, stage.duration_s, rng)
        take = Take(
            scene=scene,
            camera=camera,
            sensor=sensor,
            shots=tuple(shots),
            look=look,
            movers=tuple(movers),
            sway=sway,
            frame_count=frame_count,
            seed=int(seeds[index]),
        )
        encoding = Encoding(filming.megabits, filming.preset, filming.playing_fps, filming.tag_rate)
        file = f"clips/{setup.split()[0]}mm.mp4" if shots else f"clips/field-{index + 1}.mp4"
        clips.append(DrawnClip(file, setup, take, encoding))
    notes = _noted(clips[0].take, markers, release, weather, rng)
    return DrawnSession(recipe, seed, weather, markers, tuple(clips), notes, set_angle)


def _sway(
    filming: Filming, camera: Camera, duration_s: float, rng: np.random.Generator
) -> Sway | None:
    """Draw how the camera moves, None where it stands."""
    if filming.knock_px > 0.0:
        return draw_knock(filming.knock_px, camera.focal_px, duration_s, rng)
    if filming.sway_px > 0.0:
        return draw_sway(filming.sway_px, camera.focal_px, rng, filming.shift_m)
    return None


def field_of_view_deg(camera: Camera) -> float:
    """Return the angle between the left and right edges of the frame at mid height."""
    width, height = camera.size_px
    middle = (height - 1) / 2.0
    left, right = camera.rays([[-0.5, middle], [width - 0.5, middle]])
    return float(np.degrees(np.arccos(np.clip(left @ right, -1.0, 1.0))))


def _even(rng: np.random.Generator, span: Range) -> float:
    """Draw evenly from a range."""
    return float(rng.uniform(*span))


def _weather(recipe: Recipe, rng: np.random.Generator) -> TrueWeather:
    """Draw the weather."""
    wind = np.clip(rng.normal(0.0, 1.0, 2), -2.5, 2.5) * recipe.wind_sd_mps
    return TrueWeather(
        temperature_c=round(rng.uniform(8.0, 26.0), 1),
        pressure_hpa=round(rng.uniform(995.0, 1028.0), 1),
        humidity_percent=round(rng.uniform(45.0, 90.0)),
        wind_mps=(float(wind[0]), float(wind[1]), 0.0),
    )


def _shots(
    recipe: Recipe,
    setup: str,
    given: tuple[float, Array, TrueWeather],
    rng: np.random.Generator,
) -> list[FlownBall]:
    """Fly the shots of one clip."""
    shooting, (angle, release, weather) = recipe.shooting, given
    count = int(rng.integers(shooting.shots[0], shooting.shots[1] + 1))
    drawn_speed = _even(rng, shooting.exit_speed_mps) * (WHEELS[setup][0] / 140.0) ** 0.5
    speed = shooting.setup_speeds_mps.get(setup, drawn_speed)
    azimuth = _even(rng, shooting.azimuth_deg)
    air = TrueAir(weather.density_kgpm3(), weather.wind_mps)
    turf = _turf(recipe, rng)
    lift = _even(rng, shooting.lift)
    # A generator of its own: all else that a seed draws does not depend on it.
    spin_share = _even(rng.spawn(1)[0], shooting.spin_share)
    drag = float(np.clip(rng.normal(0.53, 0.03), 0.45, 0.62))
    shots: list[FlownBall] = []
    time_s = _even(rng, shooting.first_s)
    for _ in range(count):
        ball = TrueBall(
            mass_kg=0.0577 * (1.0 + rng.normal(0.0, 0.006)),
            diameter_m=0.066 * (1.0 + rng.normal(0.0, 0.004)),
            drag_coefficient=drag * (1.0 + rng.normal(0.0, 0.01)),
            lift_coefficient=lift * (1.0 + rng.normal(0.0, 0.2)),
            spin_share=spin_share,
        )
        launch = TrueLaunch(
            release_s=time_s,
            release_m=(float(release[0]), float(release[1]), float(release[2])),
            exit_speed_mps=speed * (1.0 + rng.normal(0.0, shooting.speed_scatter)),
            launch_angle_deg=angle + rng.normal(0.0, shooting.angle_scatter_deg),
            azimuth_deg=azimuth + rng.normal(0.0, shooting.azimuth_scatter_deg),
            spin_tilt_deg=rng.normal(0.0, 12.0),
        )
        shots.append(fly(launch, ball, air, turf))
        time_s = shots[-1].landing_s + _even(rng, shooting.pause_s)
    return shots


def _turf(recipe: Recipe, rng: np.random.Generator) -> Turf:
    """Draw the turf; long grass stops a ball where it lands."""
    hops = 0 if recipe.grass_height_m > 0.0 else 3
    return Turf(rng.uniform(0.60, 0.75), rng.uniform(0.56, 0.66), hops, rng.uniform(2.0, 3.5))


def _camera(recipe: Recipe, shots: list[FlownBall], rng: np.random.Generator) -> Camera:
    """Draw a stand from which the whole of every shot is in the picture, wide views only."""
    stand, size_px = recipe.stand, recipe.filming.size_px
    side = float(rng.choice(stand.sides))
    off = _even(rng, stand.off_m)
    farthest = max((shot.carry_m for shot in shots), default=30.0)
    highest = max((float(shot.apex[2]) for shot in shots), default=8.0)
    angle = np.radians(_even(rng, stand.field_of_view_deg))
    if recipe.close:
        middle, farthest = 0.7 * off * np.tan(angle / 2.0), 0.0
        half = np.arctan(np.tan(angle / 2.0) * size_px[1] / size_px[0])
        drop = np.arctan(stand.height_m[1] / off) + np.radians(2.5)
        target_up = off * np.tan(half - drop) + stand.height_m[0]
    else:
        middle, target_up = 0.5 * farthest, 0.18 * off
    place = middle + rng.uniform(-1.0, 1.0) * stand.spread_m
    if farthest > 0.0:
        # A margin for azimuth toward the camera, and for the hop after the landing.
        reach = max(place + 2.0, farthest + 3.5 - place)
        angle = max(angle, 2.0 * np.arctan(reach / (off * 0.95)))
        rise = np.arctan((highest + 1.0) / off)
        drop = np.arctan(stand.height_m[1] / off) + np.radians(3.0)
        if stand.keep_apex:
            half = (rise + drop) / 2.0
            upward = 2.0 * np.arctan(np.tan(half) * size_px[0] / size_px[1])
            angle = max(angle, upward)
            target_up = off * np.tan((rise - drop) / 2.0) + stand.height_m[0]
        else:
            # The frame's top edge lies at about two thirds of the apex.
            half = np.arctan(np.tan(angle / 2.0) * size_px[1] / size_px[0])
            cut = np.arctan(rng.uniform(0.55, 0.75) * (highest - stand.height_m[0]) / off)
            target_up = off * np.tan(cut - half) + stand.height_m[0]
    focal = size_px[0] / 2.0 / np.tan(angle / 2.0)
    position = np.array([place, side * off, _even(rng, stand.height_m)])
    target = np.array([place + rng.normal(0.0, 0.03) * off, 0.0, target_up])
    roll = np.radians(rng.normal(0.0, stand.level_sd_deg))
    distortion = rng.normal(0.0, 1.0, 5) * (0.012, 0.006, 0.0005, 0.0005, 0.0)
    camera = looking_at(position, target, focal, size_px, roll, distortion)
    change = np.zeros(14)
    change[7:9] = rng.normal(0.0, 0.004 * size_px[0], 2)
    return camera.perturbed(change)


def _markers(recipe: Recipe, camera: Camera, rng: np.random.Generator) -> tuple[FieldMarker, ...]:
    """Set cones every ten metres (every two in a close view) where the camera sees them."""
    step = 2 if recipe.close else 10
    markers = []
    for index in range(8):
        along = float(step * index)
        name = "foot of the launcher" if index == 0 else f"{along:.0f} m cone"
        truth = np.array([along, 0.0, 0.0]) + rng.normal(0.0, TAPE_U_M, 3)
        pixel = camera.project(truth)[0]
        if np.all(pixel > 12.0) and np.all(pixel < np.array(camera.size_px) - 12.0):
            markers.append(FieldMarker(name, "cone", (truth[0], truth[1], truth[2])))
    return tuple(markers)


def _scene(
    recipe: Recipe,
    camera: Camera,
    markers: tuple[FieldMarker, ...],
    launcher: tuple[Array, float],
    rng: np.random.Generator,
) -> Scene:
    """Draw the field, its light and what grows round it."""
    side = -np.sign(camera.position[1])
    sunny = rng.uniform() < 0.4
    bearing = rng.uniform(0.0, 2.0 * np.pi)
    if sunny:
        light = Light(0.45, 0.95, (np.cos(bearing), np.sin(bearing), rng.uniform(0.6, 1.2)))
        cover, sky = rng.uniform(0.1, 0.5), rng.uniform(0.50, 0.62)
    else:
        light, cover, sky = (
            Light(rng.uniform(0.9, 1.1)),
            rng.uniform(0.75, 1.0),
            rng.uniform(0.55, 0.7),
        )
    trees = tuple(
        Tree(
            along_m=float(along + rng.uniform(-4.0, 4.0)),
            height_m=rng.uniform(6.5, 11.0),
            width_m=rng.uniform(6.0, 9.0),
            seed=int(rng.integers(1000)),
        )
        for along in np.arange(-30.0, 70.0, 13.0)
        if rng.uniform() < 0.65
    )
    tone = rng.uniform(0.85, 1.15)
    wheel = WHEELS[recipe.setups[0]][0] / 1000.0
    release, set_angle = launcher
    return Scene(
        seed=int(rng.integers(10_000)) * 20,
        light=light,
        hedge_across_m=float(side * rng.uniform(14.0, 30.0)),
        hedge_height_m=rng.uniform(2.2, 3.6),
        grass=(0.100 * tone, 0.142 * tone, 0.043 * tone),
        grass_height_m=recipe.grass_height_m,
        cloud_cover=cover,
        sky_level=sky,
        markers=markers,
        trees=trees,
        launcher_release_m=(release[0], release[1], release[2]),
        launcher_angle_deg=set_angle,
        launcher_wheel_m=wheel,
    )


def _sensor(recipe: Recipe, rng: np.random.Generator) -> Sensor:
    """Draw the sensor."""
    filming = recipe.filming
    return Sensor(
        fps=filming.fps,
        exposure_s=float(np.exp(rng.uniform(*np.log(filming.exposure_s)))),
        readout_s=round(_even(rng, filming.readout_s), 4),
        rotation_deg=int(rng.choice(filming.rotations_deg)),
        psf_px=_even(rng, filming.psf_px),
        noise=_even(rng, filming.noise),
        drift=filming.drift,
    )


def _frame_count(recipe: Recipe, shots: list[FlownBall], camera: Camera) -> int:
    """Return how many frames the clip has; a close one ends when the ball has gone."""
    fps = recipe.filming.fps
    if not shots:
        return round(recipe.quiet_s * fps)
    if not recipe.close:
        return round((shots[-1].landing_s + recipe.shooting.tail_s) * fps)
    times = np.arange(shots[-1].launch.release_s, shots[-1].landing_s, 1.0 / fps)
    pixels = camera.project(shots[-1].positions(times))
    gone = np.any((pixels < 0.0) | (pixels > camera.size_px), axis=1)
    return round(float(times[np.argmax(gone)] + 0.15) * fps)


def _noted(
    take: Take,
    markers: tuple[FieldMarker, ...],
    release: Array,
    weather: TrueWeather,
    rng: np.random.Generator,
) -> FieldNotes:
    """Return what the person measured: the truth with drawn errors, rounded as people round.

    Pixels are picked in the first frame of the first clip.
    """
    camera = take.camera
    truth = np.array([marker.ground_m for marker in markers])
    # Markers are set out at whole metres by tape; the error is in where they truly stand.
    nominal = np.round(truth) + 0.0
    shown = take.camera_at(0).still_pixels(truth, take.sensor)
    pixels = shown + rng.normal(0.0, PICK_U_PX, (len(markers), 2))
    view = field_of_view_deg(camera)
    wind = np.array(weather.wind_mps[:2]) + rng.normal(0.0, WIND_U_MPS, 2)
    return FieldNotes(
        marker_ground_m=nominal,
        marker_pixel=np.round(pixels, 1),
        camera_position_m=np.round(camera.position + rng.normal(0.0, POSITION_U_M, 3), 2),
        field_of_view_deg=round(view * (1.0 + rng.normal(0.0, VIEW_U_SHARE)), 1),
        release_m=np.round(release + rng.normal(0.0, RELEASE_U_M, 3) * (0.0, 0.0, 1.0), 2),
        wind_mps=np.round(wind, 1),
    )
