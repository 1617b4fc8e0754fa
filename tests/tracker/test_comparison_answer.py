"""The answer first: which setup is best, how surely, and what of the setups that were not shot."""

import numpy as np
import pytest
from scipy.special import ndtri, stdtr

from tests.tracker.test_comparison_setups import LARGE, MIDDLE, SMALL, row, setup
from tracker.comparison.answer import Expected, answer, chances
from tracker.comparison.compare import compare
from tracker.comparison.setups import SetupShots
from tracker.comparison.words import sentences
from tracker.records import Quality, Reason, ReasonCode
from tracker.report.launcher_tables import chances_table
from tracker.report.standing_table import standing_table
from tracker.statistics.components import Estimate

SCORES = ndtri((np.arange(2000) + 0.5) / 2000)


def test_a_clear_best_is_named_with_its_figure() -> None:
    found = compare([setup("100 mm", SMALL), setup("140 mm", MIDDLE)])
    said = answer(chances(found, {}), found)
    assert said[0] == '"140 mm" is the best: 34.3 m ± 1.0 m, with a chance of more than 99 %.'
    assert said[1].startswith('Chance to be the best: "140 mm" more than 99 %, the other 1 less')


def test_the_chance_is_that_of_student_for_two_setups_of_one_evening() -> None:
    """Means 34.26 and 33.54: P(difference > 0) by Welch's degrees of freedom."""
    found = compare([setup("140 mm", MIDDLE), setup("180 mm", LARGE)])
    (pair,) = (contrast.pair for contrast in found.contrasts)
    expected = stdtr(pair.dof, pair.difference / pair.u)
    made = chances(found, {"never": Expected(Estimate(0.0, 1.0), SCORES)})
    assert made.best[0] == pytest.approx(expected, abs=0.05)
    assert sum(made.best) == pytest.approx(1.0)


def test_an_untested_setup_that_promises_more_is_to_be_built() -> None:
    found = compare([setup("140 mm", MIDDLE), setup("160 mm", [])])
    made = chances(found, {"160 mm": Expected(Estimate(38.2, 0.9), SCORES)}, worth=1.0)
    said = answer(made, found)
    assert said[0].startswith('Build "160 mm": 38.2 m ± 1.8 m expected; ')
    assert 'likely to beat "140 mm" by 1 m.' in said[0]
    # 38.2 - 34.26 - 1 over the root of 0.9² and the scatter of five shots.
    assert made.beats[1] == pytest.approx(0.998, abs=0.004)
    assert said[2].startswith('Chance to beat "140 mm" by 1 m: "160 mm" ')


def test_draws_of_untested_setups_belong_together() -> None:
    """Two setups whose expectations err alike: the better of them wins for certain."""
    found = compare([setup("a", []), setup("b", [])])
    made = chances(
        found,
        {"a": Expected(Estimate(30.0, 3.0), SCORES), "b": Expected(Estimate(31.0, 3.0), SCORES)},
    )
    assert made.best == (0.0, 1.0)
    assert made.present == ""
    first, second = answer(made, found)[:2]
    assert first.startswith("No setup has two shots that count, so this is the model alone; shoot")
    assert second.startswith('Build "b": 31.0 m ± 5.9 m expected.')


def test_without_a_shot_that_counts_the_answer_is_where_to_look() -> None:
    lost = SetupShots("b", (row("b", 1, 30.0, quality=Quality.REJECTED),), ("day one",))
    found = compare([setup("a", []), lost])
    scores = {name: Expected(Estimate(30.0, 3.0), SCORES) for name in ("a", "b")}
    made = chances(found, scores)
    lead = answer(made, found)[0]
    assert lead.endswith("look at the shot that could not be used: lobmeter review SESSION.")
    assert [column.header for column in chances_table(made, "m").columns] == ["setup", "best"]
    assert standing_table(found, made).head[-1] == "chance to be best"


def test_without_anything_known_there_is_no_answer() -> None:
    assert chances(compare([setup("a", [])]), {}) is None
    alone = compare([setup("a", MIDDLE)])
    assert "no other setup" in answer(chances(alone, {}), alone)[0]


def test_copied_shots_get_a_sentence() -> None:
    said = " ".join(sentences(compare([setup("a", [30.5, 30.5, 30.5])])))
    assert 'All 3 shots of "a" have the same carry' in said


@pytest.mark.parametrize("u", [float("nan"), -1.0, 0.0])
def test_an_uncertainty_that_is_none_is_not_used(u: float) -> None:
    found = compare([setup("a", MIDDLE, u), setup("b", SMALL, u)])
    assert found.summaries[0].shared_u == 0.0
    assert all(np.isfinite(c.pair.half_width) for c in found.contrasts)


def test_shots_to_be_checked_count_where_their_reason_spoils_nothing() -> None:
    """A landing that was not seen spoils the carry, not the exit speed."""
    reason = Reason(ReasonCode.LANDING_NOT_SEEN)
    shots = tuple(
        row("a", i, 30.0 + i, quality=Quality.CHECK, reasons=(reason,)) for i in range(1, 5)
    )
    one = SetupShots("a", shots, ("d",) * 4)
    assert compare([one], "carry_m").summaries[0].used == 0
    assert compare([one], "exit_speed_mps").summaries[0].used == 4


def test_of_many_pairs_those_of_the_best_are_written_out() -> None:
    setups = [setup(f"{i}", [20.0 + i, 20.4 + i, 19.7 + i]) for i in range(5)]
    said = sentences(compare(setups))
    assert sum(s.startswith('"4" carries') or '"4" and' in s for s in said) == 4
    assert any(s.startswith("Of the other 6 pairs ") for s in said)
