"""``lobmeter compare``: setups with each other and with their predictions."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError
from tracker.comparison.built import predicted_by_others
from tracker.comparison.compare import Comparison, compare
from tracker.comparison.words import WORDINGS, sentences
from tracker.report.comparison_picture import comparison_picture
from tracker.results import folder_of
from tracker.results.files import put_in_place
from tracker.workflow.outings import gather


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
    shots = [setup.shots for setup in outings.setups]
    made = compare(shots, quantity, predicted_by_others(outings.setups, quantity))
    picture = None
    if any(summary.used for summary in made.summaries):
        drawn = comparison_picture(made, shots)
        folder = folder_of(outings.sessions[0].folder)
        picture = folder / f"comparison-{quantity.replace('_', '-')}.png"
        put_in_place(folder, {picture.name: drawn})
    return Compared(made, tuple(sentences(made)), outings.notes, picture)


def check_quantity(quantity: str) -> None:
    """Raise InputError for a column that cannot be compared."""
    if quantity not in WORDINGS:
        raise InputError(
            f"{quantity!r} cannot be compared",
            where="--of",
            remedy=f"use one of {', '.join(WORDINGS)}",
        )
