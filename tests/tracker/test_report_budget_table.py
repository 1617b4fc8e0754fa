"""The budget as a person reads it: largest source first, and what to improve."""

import io
from types import SimpleNamespace

import pytest
from rich.console import Console

from tracker.cli.screen import show_budgets
from tracker.records import Budget
from tracker.report.budget_table import CAUSES, budget_sentence, budget_table, shared_sentence

PARTS = {"picking": 0.03, "wind": 0.04, "gravity": 0.0001, "pixels": 0.12}
BUDGET = Budget(
    parts={"exit_speed_mps": PARTS, "carry_m": PARTS | {"wind": 0.5}},
    shared_u={"exit_speed_mps": 0.05, "carry_m": 0.501},
)


def printed(budget: Budget, width: int = 100) -> list[str]:
    screen = Console(file=io.StringIO(), width=width)
    screen.print(budget_table(budget, width))
    return screen.file.getvalue().splitlines()  # type: ignore[attr-defined]


def rows(budget: Budget) -> dict[str, list[str]]:
    """The rows of the printed table by their first cell, in order."""
    found = {}
    for line in printed(budget):
        words = line.split("  ")
        cells = [word.strip() for word in words if word.strip()]
        if len(cells) == 3:
            found[cells[0]] = cells[1:]
    return found


def test_sources_stand_by_their_weight_and_negligible_ones_are_left_out() -> None:
    found = rows(BUDGET)
    names = [name for name in found if name in PARTS]
    assert names == ["wind", "pixels", "picking"]
    assert found["wind"] == ["0.040", "0.50"]


def test_the_whole_and_the_shared_part_close_the_table() -> None:
    found = rows(BUDGET)
    assert found["together"] == ["0.13", "0.52"]
    assert found["shared by all shots"] == ["0.050", "0.50"]


def test_the_sentence_names_what_limits_each_figure_and_the_cure() -> None:
    text = budget_sentence(BUDGET)
    assert CAUSES["pixels"][1] in text and CAUSES["wind"][1] in text
    assert text.index("exit speed (85 %)") < text.index("carry (9")


def test_a_better_cure_takes_the_place_of_the_general_one() -> None:
    text = budget_sentence(BUDGET, {"wind": "stand a wind vane beside the launcher"})
    assert "stand a wind vane" in text and CAUSES["wind"][1] not in text


def test_a_shot_of_which_nothing_was_taped_is_not_told_to_tape_it_closer(capsys) -> None:
    budget = Budget(parts={"carry_m": {"release": 0.5}}, shared_u={"carry_m": 0.5})
    shot = SimpleNamespace(shot=SimpleNamespace(shot=1), budget=budget)
    clip = SimpleNamespace(calibration=None, clip=SimpleNamespace(file="a.mp4"), shots=[shot])
    show_budgets(Console(), SimpleNamespace(clips=[clip]))
    said = " ".join(capsys.readouterr().out.split())
    assert "tape one distance down the line" in said and "u_m" not in said


@pytest.mark.parametrize("width", [60, 160])
def test_a_budget_without_carry_is_still_a_table(width: int) -> None:
    budget = Budget(parts={"exit_speed_mps": PARTS}, shared_u={"exit_speed_mps": 0.05})
    text = "\n".join(printed(budget, width))
    assert "exit speed" in text and "carry" not in text


def test_the_part_that_all_shots_share_is_stated_where_it_matters() -> None:
    def budget(shared: float) -> Budget:
        return Budget({"carry_m": {"pixels": 0.06, "wind": 0.08}}, {"carry_m": shared})

    said = shared_sentence([budget(0.08), budget(0.09), budget(0.07)])
    assert said is not None
    assert said.startswith("Of the ±0.10 m of a carry, 0.080 m is one error that all shots")
    assert "too long or too short together" in said
    assert shared_sentence([budget(0.08)]) is None
    assert shared_sentence([budget(0.049), budget(0.049)]) is None
    assert shared_sentence([budget(0.051), budget(0.051)]) is not None
    speed = Budget({"exit_speed_mps": {"pixels": 0.1}}, {"exit_speed_mps": 0.1})
    assert "too fast or too slow together" in str(shared_sentence([speed, speed]))
