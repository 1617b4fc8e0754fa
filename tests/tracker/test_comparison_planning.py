"""The next experiment."""

import math

import pytest

from tests.tracker.test_comparison_setups import LARGE, MIDDLE, SMALL, setup, three
from tracker.comparison.candidates import beyond
from tracker.comparison.compare import compare
from tracker.comparison.planning import Candidate, plan, plan_sentences, teaches_most
from tracker.statistics.components import Estimate
from tracker.statistics.improvement import expected_improvement
from tracker.workflow.plan import teaching


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
        '"140 mm" is the best, clearly ahead of every other: no shot is needed for that.'
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


def test_what_no_number_of_shots_shows_is_said() -> None:
    same = compare([setup("a", MIDDLE), setup("b", MIDDLE)])
    made = plan(same)
    assert made.unreachable == ('"a" and "b"',)
    assert "No sensible number of shots" in plan_sentences(made, same)[0]


def test_the_most_promising_wheel_comes_first() -> None:
    found = compare([setup("140 mm", MIDDLE)])
    sweep = [
        Candidate("wheel.diameter_mm = 120", Estimate(33.0, 1.0)),
        Candidate("wheel.diameter_mm = 160", Estimate(37.0, 1.5)),
        Candidate("wheel.diameter_mm = 200", Estimate(34.0, 4.0)),
    ]
    made = plan(found, sweep=sweep)
    assert made.promises[0].label == "wheel.diameter_mm = 160"
    assert [p.gain for p in made.promises] == sorted((p.gain for p in made.promises), reverse=True)
    assert "Build wheel.diameter_mm = 160 next" in plan_sentences(made, found)[-1]
    poor = plan(found, sweep=[Candidate("wheel.diameter_mm = 80", Estimate(20.0, 0.5))])
    assert "Nothing inside what was shot" in plan_sentences(poor, found)[-1]


def test_expected_improvement_has_its_known_values() -> None:
    """At equal means s / sqrt(2 pi); far ahead the lead itself; certain failure nothing."""
    assert expected_improvement(Estimate(30.0, 3.0), Estimate(30.0, 4.0)) == pytest.approx(
        5.0 / math.sqrt(2 * math.pi)
    )
    assert expected_improvement(Estimate(90.0, 1.0), Estimate(30.0, 0.0)) == pytest.approx(60.0)
    assert expected_improvement(Estimate(10.0, 1.0), Estimate(30.0, 0.0)) == pytest.approx(0.0)
    assert expected_improvement(Estimate(31.0, 0.0), Estimate(30.0, 0.0)) == 1.0


def test_a_machine_beyond_what_was_shot_says_so_and_what_it_asks() -> None:
    found = compare([setup("140 mm", MIDDLE)])
    sweep = [
        Candidate("wheel.diameter_mm = 150", Estimate(35.5, 1.0)),
        Candidate("wheel.diameter_mm = 220", Estimate(39.0, 3.0), "40 mm beyond anything shot",
                  "Rim speed 50 m/s."),
    ]  # fmt: skip
    inside, outside = plan_sentences(plan(found, sweep=sweep), found)[-2:]
    assert inside.startswith("Build wheel.diameter_mm = 150 next")
    assert outside.startswith("wheel.diameter_mm = 220 lies 40 mm beyond anything shot, where the")
    assert outside.endswith("Rim speed 50 m/s.")
    weak = [sweep[0], Candidate("wheel.diameter_mm = 220", Estimate(30.0, 0.1), "far")]
    assert "220" not in " ".join(plan_sentences(plan(found, sweep=weak), found))


@pytest.mark.parametrize(
    ("value", "words"),
    [(160.0, ""), (140.0, ""), (220.0, "40 mm beyond anything shot"),
     (80.0, "20 mm beyond anything shot")],
)  # fmt: skip
def test_how_far_a_number_lies_beyond_what_was_shot(value: float, words: str) -> None:
    assert beyond("wheel.diameter_mm", value, [100.0, 140.0, 180.0]) == words
    assert beyond("wheel.diameter_mm", value, []).startswith("beyond anything shot")


def test_the_next_shots_teach_most_where_little_is_known_near_the_best() -> None:
    expected = {"160 mm": Estimate(34.5, 3.0), "80 mm": Estimate(15.0, 3.0)}
    found = compare([setup("140 mm", MIDDLE), setup("160 mm", []), setup("80 mm", [])],
                    predictions=expected)  # fmt: skip
    name, gain = teaches_most(found, 0.8)
    assert name == "160 mm"
    # An even bet on 3 m of uncertainty: 0.4 of it.
    assert gain == pytest.approx(0.4 * 3.0, abs=0.2)
    assert teaches_most(compare([setup("140 mm", MIDDLE)]), 0.8) is None


def test_shots_that_would_hardly_teach_are_not_recommended() -> None:
    settled = compare([setup("100 mm", SMALL), setup("140 mm", MIDDLE)])
    found = teaches_most(settled, max(one.sample.sd for one in settled.summaries if one.sample))
    assert found is not None and 0.0 < found[1] < 1e-3
    assert teaching(settled) == []
    (said,) = teaching(
        compare(
            [setup("140 mm", MIDDLE), setup("160 mm", [])],
            predictions={"160 mm": Estimate(34.5, 3.0)},
        )
    )
    assert said.startswith('The next 5 shots teach most with "160 mm"')
