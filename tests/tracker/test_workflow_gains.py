"""Advice in the order of what it gains."""

import pytest

from tracker.workflow.gains import LITTLE, USUAL, Advice, Rank, mean_shares


def test_shares_are_those_of_the_variance_over_figures_and_shots() -> None:
    """Carry 3² of 25 and 1 of 2, exit speed none of 1: a third of their sum each."""
    budgets = {
        ("a.mp4", 1): {
            "carry_m": {"wind": 3.0, "picking": 4.0},
            "exit_speed_mps": {"picking": 1.0},
            "apex_m": {"wind": 9.0},
        },
        ("a.mp4", 2): {"carry_m": {"wind": 1.0, "lens": 1.0}, "exit_speed_mps": {"lens": 0.0}},
    }
    found = mean_shares(budgets)
    assert found["wind"] == pytest.approx((9 / 25 + 0 + 1 / 2) / 3)
    assert found["lens"] == pytest.approx((1 / 2) / 3)
    assert sum(found.values()) == pytest.approx(1.0)
    assert mean_shares({}) == {} and sum(USUAL.values()) < 1.0


def test_advice_that_gains_more_comes_first_and_one_that_hardly_gains_last() -> None:
    shares = {"wind": 0.3, "picking": 0.4, "lens": 0.9 * LITTLE, "taping": 0.1}
    wanted = [
        Advice("pick", Rank.NEEDED),
        Advice("wind", Rank.GAIN, ("wind",)),
        Advice("half of picking and taping", Rank.GAIN, ("picking", "taping"), 0.5),
        Advice("guard", Rank.GUARD),
        Advice("lens", Rank.GAIN, ("lens",)),
        Advice("more", Rank.MORE),
    ]
    jumbled = [wanted[place] for place in (4, 2, 5, 0, 3, 1)]
    ordered = sorted(jumbled, key=lambda one: one.order(shares))
    assert [one.sentence for one in ordered] == [one.sentence for one in wanted]
