"""``lobmeter compare``: setups with each other and with their predictions."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.errors import InputError
from tracker.comparison.answer import Chances, answer, chances
from tracker.comparison.balls import ball_sentences
from tracker.comparison.candidates import untested
from tracker.comparison.compare import Comparison, compare
from tracker.comparison.drift import drift_of, drift_sentences
from tracker.comparison.setups import SetupShots
from tracker.comparison.still_air import by_the_wind, differs, in_still_air, uneven_wind
from tracker.comparison.words import WORDINGS, sentences, still_sentences, wind_sentence
from tracker.launcher.prediction import Outdoors

if TYPE_CHECKING:
    from tracker.logbook import Filter
    from tracker.workflow.outings import Outings


@dataclass(frozen=True)
class Compared:
    """A comparison, in words and as a picture.

    Attributes
    ----------
    setups : tuple of SetupShots
        What was compared.
    comparison : Comparison
    chances : Chances or None
        None where nothing is known of any setup.
    sentences : tuple of str
    notes : tuple of str
    picture : Path or None
        None where there was no shot to draw, or nowhere to draw it.
    """

    setups: tuple[SetupShots, ...]
    comparison: Comparison
    chances: Chances | None
    sentences: tuple[str, ...]
    notes: tuple[str, ...]
    picture: Path | None


def compare_sessions(
    folders: Sequence[Path], quantity: str = "carry_m", worth: float | None = None
) -> Compared:
    """Compare every setup of the sessions, and draw it into the first one's results.

    Parameters
    ----------
    folders : sequence of Path
    quantity : str
        A column of shots.csv.
    worth : float, optional
        Difference that matters, in its unit.

    Raises
    ------
    InputError
        For faults of the sessions, or a quantity that cannot be compared.
    """
    # What is logged is compared without reading a session's files.
    from tracker.workflow.gathering import gather
    from tracker.workflow.inputs import results_of

    check_quantity(quantity)
    check_worth(worth)
    outings = gather(folders, filmed=False)
    picture = results_of(outings.sessions[0]) / f"comparison-{quantity.replace('_', '-')}.png"
    return compare_outings(outings, quantity, worth, picture)


def compare_logged(
    url: str | None,
    wanted: "Filter",
    quantity: str = "carry_m",
    worth: float | None = None,
    picture: Path | None = None,
) -> Compared:
    """Compare the setups of the logged sessions that fit a filter.

    Parameters
    ----------
    url : str or None
        Which logbook.
    wanted : Filter
    quantity : str
        A column of shots.csv.
    worth : float, optional
        Difference that matters, in its unit.
    picture : Path, optional
        Where the comparison is drawn.

    Raises
    ------
    InputError
        Where no session fits, or for a quantity that cannot be compared.
    """
    # Sessions in folders are compared without the library of databases.
    from tracker.workflow.logged import gather_logged

    check_quantity(quantity)
    check_worth(worth)
    return compare_outings(gather_logged(url, wanted, quantity), quantity, worth, picture)


def compare_outings(
    outings: "Outings", quantity: str, worth: float | None, picture: Path | None = None
) -> Compared:
    """Compare the setups of outings that were read; see `compare_sessions`."""
    shots, known = [setup.shots for setup in outings.setups], outings.known
    expected = known.expected(quantity)
    values = {name: one.estimate for name, one in expected.items()}
    made = compare(shots, quantity, known.by_others(quantity) | values)
    found = chances(made, expected, worth or 0.0)
    far = {setup.name: untested(setup, known.setups) for setup in known.setups}
    said = [] if found is None else answer(found, made, far)
    drawn = None
    if picture is not None and any(summary.used for summary in made.summaries):
        # Drawn with a library that takes half a second to load.
        from tracker.report.comparison_picture import comparison_picture
        from tracker.results.files import put_in_place

        put_in_place(picture.parent, {picture.name: comparison_picture(made, shots)})
        drawn = picture
    airs = {name: air for setup in outings.setups for name, air in setup.airs.items()}
    still = quantity == "carry_m" and differs(airs)
    said += ball_sentences(outings.setups, quantity, still)
    if still:
        said = _with_still_air(outings, made, airs, said)
    said += sentences(made)
    drifts = [one for one in map(drift_of, shots) if one is not None]
    if drifts:
        sags = {name: one.per_shot for name, one in known.discharges().items()}
        said += drift_sentences(drifts, sags)
    return Compared(tuple(shots), made, found, tuple(said), outings.notes, drawn)


def _with_still_air(
    outings: "Outings", made: Comparison, airs: Mapping[str, Outdoors], said: list[str]
) -> list[str]:
    """Return an answer with the carries in still air: behind it, or before it in uneven winds."""
    calm = [in_still_air(setup.shots, setup.airs) for setup in outings.setups]
    still = compare(calm, made.quantity, remarks=False)
    words, found = still_sentences(made, still), chances(still, {})
    uneven = uneven_wind(airs)
    if uneven is None or found is None:
        return said + words
    pairs = zip(calm, outings.setups, strict=True)
    moved_m = max(by_the_wind(one, setup.shots, setup.airs) for one, setup in pairs)
    first, *_ = answer(found, still)
    return [f"In still standard air {first}", *words, wind_sentence(uneven, moved_m), *said]


def check_quantity(quantity: str) -> None:
    """Raise InputError for a column that cannot be compared."""
    if quantity not in WORDINGS:
        raise InputError(
            f"{quantity!r} cannot be compared",
            where="--of",
            remedy=f"use one of {', '.join(WORDINGS)}",
        )


def check_worth(worth: float | None) -> None:
    """Raise InputError for a difference that cannot matter."""
    if worth is not None and not (math.isfinite(worth) and worth > 0.0):
        raise InputError(
            f"{worth:g} is no difference worth knowing",
            where="--worth",
            remedy="give a number above zero",
        )
