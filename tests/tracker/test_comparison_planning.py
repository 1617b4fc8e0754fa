"""The next experiment."""

import math

import pytest

from tests.tracker.test_comparison_setups import LARGE, MIDDLE, SMALL, setup, three
from tracker.comparison.compare import compare
from tracker.comparison.planning import plan, plan_sentences
from tracker.statistics.components import Estimate
from tracker.statistics.improvement import expected_improvement


def test_only_rivals_of_the_best_need_more_shots() -> None:
    found = compare(three())
    made = plan(found)
    assert {step.name for step in made.steps} == {"140 mm", "180 mm"}
    (rivals,) = [c for c in found.contrasts if not c.pair.significant]
    assert {step.shots for step in made.steps} == {rivals.more_shots}
    said = plan_sentences(made, found)
    assert said[0].startswith('"140 mm": ')
    assert 'to tell it from "180 mm"' in said[0]
    assert "chance of 80 %" in said[-1]


def test_a_difference_worth_knowing_sets_the_number() -> None:
    found = compare(three())
    big, small = plan(found, worth=4.0), plan(found, worth=1.0)
    assert max(s.shots for s in small.steps) > max((s.shots for s in big.steps), default=0)
    assert "if they differ by 1 m" in plan_sentences(small, found, 1.0)[-1]


def test_a_settled_question_needs_nothing() -> None:
    found = compare([setup("100 mm", SMALL), setup("140 mm", MIDDLE)])
    made = plan(found)
    assert made.settled
    assert plan_sentences(made, found) == [
        '"140 mm" is the best, told apart from every other: no shot is needed for that.'
    ]
    alone = compare([setup("140 mm", MIDDLE)])
    assert "only setup with shots" in plan_sentences(plan(alone), alone)[0]
    wide = compare([setup("140 mm", MIDDLE), setup("180 mm", LARGE)])
    assert "would show" in plan_sentences(plan(wide, worth=20.0), wide, 20.0)[0]


def test_setups_without_scatter_come_first() -> None:
    found = compare([setup("140 mm", MIDDLE), setup("160 mm", [33.0]), setup("200 mm", [])])
    made = plan(found)
    assert [(step.name, step.shots) for step in made.steps] == [("160 mm", 4), ("200 mm", 5)]
    assert not made.settled


def test_what_no_number_of_shots_tells_is_said() -> None:
    same = compare([setup("a", MIDDLE), setup("b", MIDDLE)])
    made = plan(same)
    assert made.unreachable == ('"a" and "b"',)
    assert "No sensible number of shots" in plan_sentences(made, same)[0]


def test_the_most_promising_wheel_comes_first() -> None:
    found = compare([setup("140 mm", MIDDLE)])
    sweep = [
        ("wheel.diameter_mm = 120", Estimate(33.0, 1.0)),
        ("wheel.diameter_mm = 160", Estimate(37.0, 1.5)),
        ("wheel.diameter_mm = 200", Estimate(34.0, 4.0)),
    ]
    made = plan(found, sweep=sweep)
    assert made.promises[0].label == "wheel.diameter_mm = 160"
    assert [p.gain for p in made.promises] == sorted((p.gain for p in made.promises), reverse=True)
    assert "Build wheel.diameter_mm = 160 next" in plan_sentences(made, found)[-1]
    poor = plan(found, sweep=[("wheel.diameter_mm = 80", Estimate(20.0, 0.5))])
    assert "Nothing in the sweep" in plan_sentences(poor, found)[-1]


def test_expected_improvement_has_its_known_values() -> None:
    """At equal means s / sqrt(2 pi); far ahead the lead itself; certain failure nothing."""
    assert expected_improvement(Estimate(30.0, 3.0), Estimate(30.0, 4.0)) == pytest.approx(
        5.0 / math.sqrt(2 * math.pi)
    )
    assert expected_improvement(Estimate(90.0, 1.0), Estimate(30.0, 0.0)) == pytest.approx(60.0)
    assert expected_improvement(Estimate(10.0, 1.0), Estimate(30.0, 0.0)) == pytest.approx(0.0)
    assert expected_improvement(Estimate(31.0, 0.0), Estimate(30.0, 0.0)) == 1.0
