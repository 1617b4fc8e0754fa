"""Measured against predicted, and setup against setup, over one or several sessions."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from calibration.errors import InputError
from tracker.comparison.carries import carry_factor
from tracker.comparison.compare import Comparison, compare
from tracker.comparison.words import WORDINGS, sentences
from tracker.launcher.learning import learn
from tracker.launcher.prediction import predict
from tracker.report.comparison_picture import comparison_picture
from tracker.results import RESULTS
from tracker.results.files import put_in_place
from tracker.statistics.components import Estimate
from tracker.workflow.outings import Outings, Setup, gather
from tracker.workflow.predict import lessons_of

PREDICTED = ("carry_m", "exit_speed_mps")
"""Quantities that the launcher's model foretells."""

ENOUGH_LESSONS = 2
"""Other setups that must be measured before they foretell one."""


@dataclass(frozen=True)
class Compared:
    """A comparison, in words and as a picture.

    Attributes
    ----------
    comparison : Comparison
    sentences : tuple of str
    notes : tuple of str
    picture : Path or None
        None where there was no shot to draw.
    """

    comparison: Comparison
    sentences: tuple[str, ...]
    notes: tuple[str, ...]
    picture: Path | None


def compare_sessions(folders: Sequence[Path], quantity: str = "carry_m") -> Compared:
    """Compare every setup of the sessions, and draw it into the first one's results.

    Parameters
    ----------
    folders : sequence of Path
    quantity : str
        A column of shots.csv.

    Raises
    ------
    InputError
        For faults of the sessions, or a quantity that cannot be compared.
    """
    check_quantity(quantity)
    outings = gather(folders)
    made = compare(
        [setup.shots for setup in outings.setups], quantity, predictions(outings, quantity)
    )
    picture = None
    if any(summary.used for summary in made.summaries):
        drawn = comparison_picture(made, [setup.shots for setup in outings.setups])
        folder = outings.sessions[0].folder / RESULTS
        picture = folder / f"comparison-{quantity.replace('_', '-')}.png"
        put_in_place(folder, {picture.name: drawn})
    return Compared(made, tuple(sentences(made)), outings.notes, picture)


def predictions(outings: Outings, quantity: str) -> dict[str, Estimate]:
    """Return what the model says of each setup without having seen its shots.

    The other setups' shots correct the model where there are two or more of them.
    """
    if quantity not in PREDICTED:
        return {}
    found = {}
    for setup in outings.setups:
        value = _unseen(setup, outings, quantity)
        if value is not None:
            found[setup.name] = value
    return found


def _unseen(setup: Setup, outings: Outings, quantity: str) -> Estimate | None:
    if setup.machine is None or not setup.shots.shots:
        return None
    shown_by = [other for other in outings.setups if other.name != setup.name]
    others = lessons_of(shown_by)
    factor = carry_factor([(other.shots, other.outdoors) for other in shown_by])
    outdoors = replace(setup.outdoors, carry_factor=factor)
    learned = None
    if len(others) >= ENOUGH_LESSONS:
        learned = learn(others, outdoors.ball, outdoors.around)
    made = predict(setup.machine, outdoors, learned)
    return made.carry if quantity == "carry_m" else made.exit_speed


def check_quantity(quantity: str) -> None:
    """Raise InputError for a column that cannot be compared."""
    if quantity not in WORDINGS:
        raise InputError(
            f"{quantity!r} cannot be compared",
            where="--of",
            remedy=f"use one of {', '.join(WORDINGS)}",
        )
