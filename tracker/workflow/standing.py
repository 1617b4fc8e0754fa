"""How the setups of a session stand: the comparison, and what to shoot next."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tracker.comparison.answer import Chances
from tracker.comparison.compare import Comparison
from tracker.comparison.setups import SetupShots
from tracker.workflow.compare import check_quantity, check_worth, compare_outings
from tracker.workflow.gathering import EDITED, gather
from tracker.workflow.plan import plan_outings


@dataclass(frozen=True)
class Standing:
    """How setups stand, in words and in figures.

    Attributes
    ----------
    setups : sequence of SetupShots
    comparison : Comparison
    chances : Chances or None
        None where nothing is known of any setup.
    sentences : sequence of str
        The answer first; empty where nothing is known.
    plan : sequence of str
        Which setups to shoot how often next.
    notes : sequence of str
        But for results that are older than their session, which the page says by itself.
    """

    setups: Sequence[SetupShots]
    comparison: Comparison
    chances: Chances | None
    sentences: Sequence[str]
    plan: Sequence[str]
    notes: Sequence[str]


def standing(place: Path, quantity: str = "carry_m", worth: float | None = None) -> Standing:
    """Return how the setups of a session stand; `quantity` and `worth` as in `compare_sessions`.

    Raises
    ------
    InputError
        For faults of the session, of the quantity or of the difference.
    """
    check_quantity(quantity)
    check_worth(worth)
    outings = gather([place], filmed=False)
    made = compare_outings(outings, quantity, worth)
    setups = made.comparison.summaries
    notes = tuple(words for words in made.notes if EDITED not in words)
    if made.chances is None:
        return Standing(made.setups, made.comparison, None, (), (), notes)
    plan: Sequence[str] = ()
    if len(setups) > 1 or (setups and setups[0].used < 2):
        plan = plan_outings(outings, quantity, worth).sentences
    return Standing(made.setups, made.comparison, made.chances, made.sentences, plan, notes)
