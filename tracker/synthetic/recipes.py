"""What may vary between sessions of one kind. A range is drawn from evenly."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

Range = tuple[float, float]


@dataclass(frozen=True)
class Filming:
    """How a recipe's clips are filmed.

    Parameters
    ----------
    size_px : tuple of int
        Frame as shown.
    fps : float
        True frames a second.
    playing_fps : float, optional
        Rate at which the file plays when that is another.
    tag_rate : bool
        Whether a tag of the file states its true rate; else `session.toml` does.
    exposure_s, readout_s : tuple of float
    psf_px, noise : tuple of float
        See `Sensor`.
    rotations_deg : tuple of int
        Rotation flags that may be drawn.
    drift : float
        See `Sensor`.
    sway_px : float
        Standard deviation of the camera's sway, px.
    shift_m : float
        Standard deviation of the camera's place along each axis while it sways, m.
    knock_px : float
        How far a tripod that is knocked once moves the picture, px.
    megabits, preset
        See `Encoding`.
    """

    size_px: tuple[int, int] = (1920, 1080)
    fps: float = 60.0
    playing_fps: float | None = None
    tag_rate: bool = False
    exposure_s: Range = (1.0 / 1000.0, 1.0 / 300.0)
    readout_s: Range = (0.006, 0.014)
    psf_px: Range = (0.6, 0.85)
    noise: Range = (0.9, 1.6)
    rotations_deg: tuple[int, ...] = (0,)
    drift: float = 0.0
    sway_px: float = 0.0
    shift_m: float = 0.0
    knock_px: float = 0.0
    megabits: float = 16.0
    preset: str = "ultrafast"


@dataclass(frozen=True)
class CameraStand:
    """Where a recipe's camera stands.

    Parameters
    ----------
    off_m : tuple of float
        Distance from the firing line.
    height_m : tuple of float
    sides : tuple of int
        -1 right of the firing line (it runs rightward in the picture), 1 left of it.
    field_of_view_deg : tuple of float
        Angle between the frame's left and right edges; widened where the shots need it.
    level_sd_deg : float
        Standard deviation of the camera's roll.
    spread_m : float
        How far along the firing line the stand may lie off the best place.
    keep_apex : bool
        Whether the whole of every flight is in the picture; else its top is cut off.
    """

    off_m: Range = (27.0, 33.0)
    height_m: Range = (1.25, 1.75)
    sides: tuple[int, ...] = (-1, 1)
    field_of_view_deg: Range = (64.0, 72.0)
    level_sd_deg: float = 0.5
    spread_m: float = 2.0
    keep_apex: bool = True


@dataclass(frozen=True)
class Shooting:
    """What a recipe's launcher does.

    Parameters
    ----------
    shots : tuple of int
        Fewest and most shots in a clip.
    exit_speed_mps, launch_angle_deg, azimuth_deg : tuple of float
        Of the setup; single shots scatter about it.
    setup_speeds_mps : mapping of str to float
        Exit speed of single setups, where it is not drawn from the range.
    speed_scatter, angle_scatter_deg, azimuth_scatter_deg : float
        Standard deviations from shot to shot; that of the speed is relative.
    lift : tuple of float
        Lift coefficient, positive for back spin: which of two wheels is quicker is chance.
    spin_share : tuple of float
        Share of the lift that a kept spin makes; see `tracker.synthetic.flight.TrueBall`.
    first_s : tuple of float
        From the clip's start to the first release.
    pause_s : tuple of float
        From one landing to the next release; negative for two balls in the air.
    tail_s : float
        From the last landing to the clip's end.
    """

    shots: tuple[int, int] = (3, 3)
    exit_speed_mps: Range = (16.5, 25.0)
    launch_angle_deg: Range = (35.0, 45.0)
    azimuth_deg: Range = (-3.0, 3.0)
    speed_scatter: float = 0.04
    angle_scatter_deg: float = 1.0
    azimuth_scatter_deg: float = 0.6
    lift: Range = (-0.05, 0.05)
    spin_share: Range = (0.0, 1.0)
    first_s: Range = (0.5, 0.9)
    pause_s: Range = (0.9, 1.4)
    tail_s: float = 0.9
    setup_speeds_mps: Mapping[str, float] = field(default_factory=dict)


MOTOR = {"motor": {"supply_v": 12.0, "no_load_rpm": 6000.0, "rated_power_w": 60.0}}
"""The feeder's motor as its label has it: volts, turns a minute, watts; made up."""


@dataclass(frozen=True)
class Recipe:
    """One kind of session.

    Parameters
    ----------
    name : str
    filming : Filming
    stand : CameraStand
    shooting : Shooting
    setups : tuple of str
        Setups of `WHEELS`, a clip for each.
    movers : tuple of str
        Kinds of `movers.KINDS` that are on the field.
    wind_sd_mps : float
    grass_height_m : float
    quiet_s : float
        Length of the clip where no shot is fired.
    close : bool
        Whether only the launcher and the first metres of flight are in the picture.
    launcher : mapping of str to mapping
        Tables of every setup, as in `session.toml`; they say nothing that changes the drawing.
    """

    name: str
    filming: Filming = Filming()
    stand: CameraStand = CameraStand()
    shooting: Shooting = Shooting()
    setups: tuple[str, ...] = ("140 mm wheels",)
    movers: tuple[str, ...] = ()
    wind_sd_mps: float = 1.0
    grass_height_m: float = 0.0
    quiet_s: float = 10.0
    close: bool = False
    launcher: Mapping[str, Mapping[str, float | str]] = field(default_factory=lambda: MOTOR)


WHEELS = {
    "100 mm wheels": (100.0, 120.0),
    "140 mm wheels": (140.0, 210.0),
    "180 mm wheels": (180.0, 330.0),
}
"""Diameter (mm) and mass (g) of the wheels of each setup of the feeder."""

LIFTED = Shooting(lift=(0.0, 0.05), spin_share=(0.0, 0.0))
"""A launcher whose balls all get a little lift: that of the sample clips."""

WIDE = Recipe("wide", shooting=LIFTED)
CLOSE = Recipe(
    "close",
    filming=Filming(
        size_px=(1280, 720),
        fps=240.0,
        playing_fps=30.0,
        tag_rate=True,
        exposure_s=(1.0 / 2000.0, 1.0 / 800.0),
        readout_s=(0.003, 0.004),
        noise=(1.4, 2.2),
    ),
    stand=CameraStand(
        off_m=(5.0, 6.5),
        height_m=(1.2, 1.6),
        field_of_view_deg=(62.0, 68.0),
        spread_m=0.2,
    ),
    shooting=replace(LIFTED, shots=(1, 1), first_s=(0.3, 0.45), tail_s=0.0),
    close=True,
)
THREE_WHEELS = Recipe(
    "three_wheels",
    filming=Filming(
        size_px=(1280, 720), fps=30.0, noise=(0.9, 1.2), exposure_s=(1.0 / 800.0, 1.0 / 500.0)
    ),
    stand=CameraStand(off_m=(24.0, 26.0)),
    shooting=replace(
        LIFTED,
        shots=(5, 5),
        launch_angle_deg=(38.0, 41.0),
        speed_scatter=0.02,
        angle_scatter_deg=0.6,
        pause_s=(0.25, 0.4),
        setup_speeds_mps={"100 mm wheels": 20.4, "140 mm wheels": 23.0, "180 mm wheels": 20.6},
    ),
    setups=tuple(WHEELS),
    wind_sd_mps=0.5,
    launcher={
        "wheel": {"kind": "spoked"},
        "motor": {"supply_v": 12.0, "no_load_rpm": 6000.0, "rated_power_w": 30.0},
        "battery": {"capacity_ah": 7.0},
        "grip": {"gap_mm": 48.0},
    },
)
"""Small frames and few of them, so that a demonstration does not take long. A large wheel is held
back by the air that its spokes stir, a small one is slow at its rim; the speeds are made up."""


def without_shots(recipe: Recipe, seconds: float = 8.0) -> Recipe:
    """Return the same scenes with nobody firing; its name says so."""
    return replace(
        recipe,
        name=f"quiet {recipe.name}",
        shooting=replace(recipe.shooting, shots=(0, 0)),
        quiet_s=seconds,
    )


QUIET = replace(
    without_shots(WIDE),
    name="quiet",
    movers=("people", "dog", "trees"),
    close=False,
)

_FILMING, _STAND, _SHOOTING = Filming(), CameraStand(), Shooting()

CLEAR = (
    WIDE,
    Recipe(
        "wide_30",
        replace(_FILMING, fps=30.0, exposure_s=(1.0 / 800.0, 1.0 / 240.0)),
    ),
    Recipe(
        "wide_120",
        replace(_FILMING, fps=120.0, readout_s=(0.004, 0.007)),
    ),
    Recipe(
        "turned",
        replace(_FILMING, rotations_deg=(90, 180, 270)),
    ),
    Recipe("spins"),
    Recipe(
        "setups",
        setups=tuple(WHEELS),
        shooting=replace(_SHOOTING, shots=(2, 2)),
    ),
)
"""Wide recipes in which nothing stands in the way."""

HARD = (
    Recipe(
        "far",
        stand=replace(_STAND, off_m=(50.0, 62.0), field_of_view_deg=(58.0, 65.0)),
    ),
    Recipe(
        "dim",
        replace(_FILMING, exposure_s=(1.0 / 180.0, 1.0 / 60.0), noise=(1.8, 2.8)),
    ),
    Recipe(
        "uhd",
        replace(_FILMING, size_px=(3840, 2160), fps=30.0, megabits=40.0),
    ),
    Recipe("windy", wind_sd_mps=3.0, movers=("trees",)),
    Recipe("drift", replace(_FILMING, drift=0.06)),
    Recipe("grain", replace(_FILMING, noise=(3.5, 5.5), megabits=20.0)),
    Recipe("sway", replace(_FILMING, sway_px=1.6)),
    Recipe(
        "hand_held",
        replace(_FILMING, sway_px=20.0, shift_m=0.015, megabits=20.0, preset="veryfast"),
    ),
    Recipe("knocked", replace(_FILMING, knock_px=60.0)),
    Recipe("people", movers=("people",)),
    Recipe("dog", movers=("dog",)),
    Recipe("birds", movers=("birds",)),
    Recipe("trees", movers=("trees",)),
    Recipe("cloud_shadows", movers=("cloud_shadows",)),
    Recipe("open_wheels", movers=("open_wheels",)),
    Recipe(
        "overlap",
        shooting=replace(_SHOOTING, shots=(2, 4), pause_s=(-1.5, -0.7)),
    ),
    Recipe(
        "apex_out",
        stand=replace(_STAND, off_m=(21.0, 25.0), keep_apex=False),
        shooting=replace(_SHOOTING, launch_angle_deg=(43.0, 50.0)),
    ),
    Recipe("long_grass", grass_height_m=0.5),
)
"""Recipes with one hardship each."""

CROWDED = (
    Recipe("flock", movers=("flock",)),
    Recipe("passers", movers=("passers",)),
    Recipe("fetchers", movers=("fetchers",)),
    Recipe("insects", movers=("insects",)),
    Recipe("leaves", movers=("leaves", "trees")),
    Recipe(
        "crowd",
        movers=(
            "flock", "passers", "fetchers", "insects", "leaves", "dog", "trees", "cloud_shadows"
        ),
        wind_sd_mps=2.5,
    ),
)  # fmt: skip
"""Recipes full of what is taken for a ball; `crowd` has all of it at once."""

RECIPES = {recipe.name: recipe for recipe in (*CLEAR, CLOSE, THREE_WHEELS, QUIET, *HARD, *CROWDED)}

ABOUT = {
    "wide": "the whole flight from about 30 m to the side",
    "wide_30": "30 frames a second",
    "wide_120": "120 frames a second",
    "close": "240 frames a second, the launcher and the first metres of flight only",
    "three_wheels": "three wheels, five shots each: one carries farthest, two equally far",
    "setups": "three wheels, two shots each",
    "turned": "a phone held on its side or upside down",
    "spins": "as wide, with back spin or top spin, kept in flight or of the cloth alone",
    "quiet": "people, a dog, trees in the wind, and no shot",
    "far": "a camera 50 to 62 m away",
    "dim": "dusk: long exposures and noise",
    "uhd": "3840 by 2160 pixels at 30 frames a second",
    "windy": "a fresh wind and trees that sway",
    "drift": "an automatic exposure that drifts",
    "grain": "strong noise with grain",
    "sway": "a tripod that sways",
    "hand_held": "a phone in the hands: 14 mrad of sway, half as much roll, 15 mm of shift",
    "knocked": "a tripod that is knocked once, by 60 pixels",
    "people": "people who walk",
    "dog": "a dog that runs",
    "birds": "birds",
    "trees": "trees that sway",
    "cloud_shadows": "shadows of clouds",
    "open_wheels": "wheels that turn without a guard",
    "overlap": "two balls in the air at once",
    "apex_out": "the top of the flights out of the picture",
    "long_grass": "grass that hides the landings",
    "flock": "a dozen and more birds",
    "passers": "people who walk right through the view",
    "fetchers": "people who fetch and throw back balls",
    "insects": "insects before the lens",
    "leaves": "leaves in the wind",
    "crowd": "all of these at once, with a dog and shadows of clouds",
}
"""What a session of each recipe shows."""
