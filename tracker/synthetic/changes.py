"""The numbers of a recipe that a person may set, each by the name it has in docs/simulate.md."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from calibration.errors import InputError, InputErrors
from tracker.synthetic.recipes import Filming, Recipe

Change = Callable[[Recipe, float], Recipe]


@dataclass(frozen=True)
class RecipeNumber:
    """One number that may be set.

    Attributes
    ----------
    name : str
        With its unit.
    meaning : str
    low, high : float
        Least and greatest number that can be drawn.
    change : callable
        Returns the recipe with the number set.
    whole : bool
        Whether only whole numbers make sense.
    """

    name: str
    meaning: str
    low: float
    high: float
    change: Change
    whole: bool = False


def _shooting(recipe: Recipe, **values: object) -> Recipe:
    return replace(recipe, shooting=replace(recipe.shooting, **values))  # type: ignore[arg-type]


def _filming(recipe: Recipe, **values: object) -> Recipe:
    return replace(recipe, filming=replace(recipe.filming, **values))  # type: ignore[arg-type]


def _stand(recipe: Recipe, **values: object) -> Recipe:
    return replace(recipe, stand=replace(recipe.stand, **values))  # type: ignore[arg-type]


def _speed(recipe: Recipe, value: float) -> Recipe:
    return _shooting(recipe, setup_speeds_mps=dict.fromkeys(recipe.setups, value))


def _width(recipe: Recipe, value: float) -> Recipe:
    return _filming(recipe, size_px=(int(value), recipe.filming.size_px[1]))


def _height(recipe: Recipe, value: float) -> Recipe:
    return _filming(recipe, size_px=(recipe.filming.size_px[0], int(value)))


def _megabits(recipe: Recipe, value: float) -> Recipe:
    # A smaller file is worth more of the encoder's time.
    return _filming(recipe, megabits=value, preset="veryfast")


NUMBERS = (
    RecipeNumber("shots", "shots in each clip", 1, 20,
                 lambda r, v: _shooting(r, shots=(int(v), int(v))), whole=True),
    RecipeNumber("exit_speed_mps", "mean exit speed", 3, 60, _speed),
    RecipeNumber("launch_angle_deg", "mean launch angle", 5, 80,
                 lambda r, v: _shooting(r, launch_angle_deg=(v, v))),
    RecipeNumber("azimuth_deg", "mean azimuth", -20, 20,
                 lambda r, v: _shooting(r, azimuth_deg=(v, v))),
    RecipeNumber("speed_scatter_percent", "standard deviation of the speed between shots",
                 0, 20, lambda r, v: _shooting(r, speed_scatter=v / 100.0)),
    RecipeNumber("pause_s", "time from a landing to the next release", -2, 60,
                 lambda r, v: _shooting(r, pause_s=(v, v))),
    RecipeNumber("quiet_s", "length of a clip in which nobody fires", 1, 600,
                 lambda r, v: replace(r, quiet_s=v)),
    RecipeNumber("camera_away_m", "distance of the camera from the firing line", 3, 150,
                 lambda r, v: _stand(r, off_m=(v, v))),
    RecipeNumber("camera_height_m", "height of the camera", 0.3, 10,
                 lambda r, v: _stand(r, height_m=(v, v))),
    RecipeNumber("field_of_view_deg", "least field of view; widened where the flights need it",
                 20, 110, lambda r, v: _stand(r, field_of_view_deg=(v, v))),
    RecipeNumber("width_px", "width of the frame, even", 320, 3840, _width, whole=True),
    RecipeNumber("height_px", "height of the frame, even", 240, 2160, _height, whole=True),
    RecipeNumber("fps", "frames a second", 15, 480, lambda r, v: _filming(r, fps=v)),
    RecipeNumber("exposure_s", "exposure time of a frame", 1e-5, 0.05,
                 lambda r, v: _filming(r, exposure_s=(v, v))),
    RecipeNumber("readout_s", "time from the first to the last row of the sensor", 0, 0.05,
                 lambda r, v: _filming(r, readout_s=(v, v))),
    RecipeNumber("noise", "noise of mid-grey, luma codes", 0.2, 10,
                 lambda r, v: _filming(r, noise=(v, v))),
    RecipeNumber("sway_px", "standard deviation of the camera's sway, px", 0, 60,
                 lambda r, v: _filming(r, sway_px=v)),
    RecipeNumber("shift_m", "standard deviation of the camera's place while it sways", 0, 0.1,
                 lambda r, v: _filming(r, shift_m=v)),
    RecipeNumber("knock_px", "how far one knock of the tripod moves the picture, px", 0, 200,
                 lambda r, v: _filming(r, knock_px=v)),
    RecipeNumber("wind_sd_mps", "standard deviation of the mean wind that is drawn", 0, 8,
                 lambda r, v: replace(r, wind_sd_mps=v)),
    RecipeNumber("grass_height_m", "height of the grass", 0, 1,
                 lambda r, v: replace(r, grass_height_m=v)),
    RecipeNumber("megabits", "megabits of video a second of playing time", 0.3, 100, _megabits),
)  # fmt: skip
"""Every number that may be set; the ranges hold what the renderer can draw."""


def changed(recipe: Recipe, values: Mapping[str, float]) -> Recipe:
    """Return a recipe with some of its numbers set.

    Parameters
    ----------
    recipe : Recipe
    values : mapping of str to float
        By the name of a `RecipeNumber`.

    Raises
    ------
    InputErrors
        With every name that is not known and every value that cannot be drawn.
    """
    known = {number.name: number for number in NUMBERS}
    faults = []
    for name, value in values.items():
        fault = _fault(known.get(name), name, value)
        if fault is not None:
            faults.append(fault)
        else:
            recipe = known[name].change(recipe, value)
    faults += _frame_faults(recipe.filming)
    if faults:
        raise InputErrors(faults)
    return recipe


def _fault(number: RecipeNumber | None, name: str, value: float) -> InputError | None:
    if number is None:
        names = ", ".join(each.name for each in NUMBERS)
        return InputError(f"{name!r} cannot be set", where="--set", remedy=f"use one of {names}")
    if not number.low <= value <= number.high or (number.whole and value != int(value)):
        kind = "a whole number" if number.whole else "a number"
        return InputError(
            f"{value:g} cannot be drawn",
            where=f"--set {name}",
            remedy=f"give {kind} from {number.low:g} to {number.high:g}",
        )
    return None


def _frame_faults(filming: Filming) -> list[InputError]:
    """Return what is wrong with a frame and its times together."""
    faults = []
    odd = [name for name, side in zip(("width_px", "height_px"), filming.size_px, strict=True)
           if side % 2]  # fmt: skip
    if odd:
        faults.append(
            InputError(
                "is odd", where=f"--set {odd[0]}", remedy="give an even number: the file halves it"
            )
        )
    longest = max(filming.exposure_s[1], filming.readout_s[1])
    if longest > 1.0 / filming.fps:
        faults.append(
            InputError(
                f"an exposure or readout of {longest:g} s is longer than a frame at "
                f"{filming.fps:g} frames a second",
                where="--set exposure_s, readout_s or fps",
                remedy=f"stay below {1.0 / filming.fps:.3g} s",
            )
        )
    return faults
