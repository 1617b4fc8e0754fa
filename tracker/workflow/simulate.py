"""``lobmeter simulate``: a drawn session with its truth beside it."""

import shutil
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from calibration.errors import InputError
from tracker.synthetic.changes import changed
from tracker.synthetic.recipes import RECIPES, Recipe, without_shots
from tracker.synthetic.session import make_session

Progress = Callable[[str, int, int], None]
"""Called with the clip's file, how many of its frames are drawn, and how many there are."""


@dataclass(frozen=True)
class SimulateOptions:
    """What is drawn.

    Attributes
    ----------
    recipe : str
        Name of a recipe.
    seed : int
        The same seed draws the same session.
    values : mapping of str to float
        Numbers of the recipe that are set, by the names in docs/simulate.md.
    shots : bool
        False where nobody fires.
    replace : bool
        Whether files of that name that are already there may be replaced.
    """

    recipe: str = "wide"
    seed: int = 1
    values: Mapping[str, float] = field(default_factory=dict)
    shots: bool = True
    replace: bool = False


@dataclass(frozen=True)
class SimulatedClip:
    """A drawn clip: its file, its frames, and the true values of each shot."""

    file: str
    setup: str
    frames: int
    shots: tuple[Mapping[str, float], ...]


def simulate(
    folder: Path, options: SimulateOptions = SimulateOptions(), progress: Progress | None = None
) -> tuple[SimulatedClip, ...]:
    """Draw a session: clips, `session.toml`, and `truth.json` beside it.

    Nothing is written into the folder before the whole session is drawn.

    Parameters
    ----------
    folder : Path
    options : SimulateOptions
    progress : callable, optional

    Raises
    ------
    InputError
        For an unknown recipe, a number that cannot be drawn, a folder that holds such files
        already or cannot be written.
    """
    recipe = _recipe(options)
    if not options.replace and any((folder / name).exists() for name in ("session.toml", "clips")):
        raise InputError(
            "holds a session already",
            where=str(folder),
            remedy="choose an empty folder, or add --replace",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".new-", dir=folder))
        try:
            truth = make_session(staging, recipe, options.seed, progress)
            _move_into(folder, staging)
        finally:
            shutil.rmtree(staging, ignore_errors=True)
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        raise InputError(
            f"cannot be written ({reason})",
            where=str(folder),
            remedy="check the folder's rights and the free space",
        ) from None
    return tuple(
        SimulatedClip(clip["file"], clip["setup"], clip["frames"], tuple(clip["shots"]))
        for clip in truth["clips"]
    )


def numbers(settings: Sequence[str]) -> dict[str, float]:
    """Read ``NAME=VALUE`` settings.

    Raises
    ------
    InputError
        Where one is not of that form.
    """
    values = {}
    for setting in settings:
        name, equals, text = setting.partition("=")
        try:
            values[name.strip()] = float(text.strip().replace(",", "."))
        except ValueError:
            equals = ""
        if not equals:
            raise InputError(
                "is no setting", where=f"--set {setting}", remedy="write NAME=NUMBER, as in shots=5"
            )
    return values


def _recipe(options: SimulateOptions) -> Recipe:
    if options.recipe not in RECIPES:
        raise InputError(
            f"there is no recipe {options.recipe!r}",
            where="--recipe",
            remedy=f"use one of {', '.join(sorted(RECIPES))}",
        )
    recipe = changed(RECIPES[options.recipe], options.values)
    return recipe if options.shots else without_shots(recipe)


def _move_into(folder: Path, staging: Path) -> None:
    """Move every drawn file to its place; `session.toml` comes last and makes it a session."""
    files = sorted(path for path in staging.rglob("*") if path.is_file())
    for path in sorted(files, key=lambda each: each.name == "session.toml"):
        target = folder / path.relative_to(staging)
        target.parent.mkdir(parents=True, exist_ok=True)
        path.replace(target)
