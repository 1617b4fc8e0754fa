"""The first sentences about a measured session."""

from dataclasses import replace

from tests.tracker.invented_outings import shots_of
from tracker.records import Quality, Reason, ReasonCode, Shot
from tracker.report.answer_words import answer_sentence, counted, improvements, known_to, next_step

NAME = "140 mm wheels"


def shots(*carries: float, u: float = 0.3) -> list[Shot]:
    base = shots_of(NAME, 1)[0]
    return [
        replace(
            base,
            shot=number,
            carry_m=carry,
            carry_u_m=u,
            exit_speed_mps=20.0 + number,
            exit_speed_u_mps=u / 3,
            quality=Quality.GOOD,
            reasons=(),
        )
        for number, carry in enumerate(carries, start=1)
    ]


def taped(shot: Shot, distance: float, before: float, after: float) -> Shot:
    numbers = {"distance_m": distance, "before_mps": before, "after_mps": after, "taped_u_cm": 5.0}
    return replace(shot, reasons=(Reason(ReasonCode.TAPE_ONE_DISTANCE, numbers),))


def test_several_shots_are_a_range() -> None:
    assert answer_sentence(shots(30.0, 32.5)) == (
        "2 shots: exit speed 21.00 to 22.00 m/s, each ±0.10, carry 30.0 to 32.5 m, each ±0.3."
    )


def test_shots_that_are_not_known_alike_are_not_said_to_be() -> None:
    one, two = (*shots(30.0, u=0.3), *shots(32.5, u=0.44))
    assert answer_sentence([one, two]).endswith("carry 30.0 to 32.5 m, each ±0.4.")
    (two,) = shots(6.0, u=0.9)
    assert answer_sentence([one, two]).endswith("carry 6.0 to 30.0 m, ±0.3 to ±0.9.")


def test_one_shot_is_its_figures() -> None:
    (shot,) = shots(30.0)
    assert answer_sentence([shot]) == "One shot: 21.00 ±0.10 m/s exit speed, 30.0 ±0.3 m carry."


def test_rejected_shots_count_for_nothing() -> None:
    one, two = shots(30.0, 90.0)
    two = replace(two, quality=Quality.REJECTED)
    assert answer_sentence([one, two]).startswith("1 of 2 shots counted: 21.00")
    assert answer_sentence([one, one, two]).startswith("2 of 3 shots counted: exit speed")
    assert counted([one, two]) == "2 shots, 1 of them rejected"
    assert answer_sentence([two]) == "Every shot is rejected."
    assert (answer_sentence([]), counted([])) == ("No shot was found.", "no shot")


def test_the_next_step_is_that_of_the_middle_shot() -> None:
    three = [
        taped(shot, *numbers)
        for shot, numbers in zip(
            shots(30.0, 31.0, 32.0), [(20, 0.9, 0.3), (10, 1.0, 0.5), (20, 1.1, 0.4)], strict=True
        )
    ]
    assert next_step(three) == (
        "Tape one distance, from the foot of the launcher to a mark 20 m down the line, and each "
        "exit speed becomes ±0.4 m/s in place of ±1.0."
    )
    assert next_step(shots(30.0)) == ""


def test_only_what_became_better_is_said() -> None:
    before, after = shots(30.0, 31.0, u=2.7), shots(30.0, 31.0, u=0.3)
    said = improvements(known_to(before), known_to(after))
    assert said == [
        "The exit speed is now known to ±0.10 m/s; before, ±0.9.",
        "The carry is now known to ±0.3 m; before, ±2.7.",
    ]
    worse, same, first = (
        improvements(known_to(after), known_to(was)) for was in (before, after, [])
    )
    assert worse == same == first == []
    assert improvements({}, known_to(after)) == []
    # A tenth less is within what rounding shows.
    assert improvements(known_to(shots(30.0, u=0.30)), known_to(shots(30.0, u=0.28))) == []
