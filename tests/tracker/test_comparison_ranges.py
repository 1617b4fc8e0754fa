"""Where a sweep is best, in one sentence."""

from types import SimpleNamespace
from typing import Any

import pytest

from tracker.comparison.ranges import best_along
from tracker.launcher.sweep import Sweep
from tracker.statistics.components import Estimate

KEY = "wheel.diameter_mm"


def said(*carries: float | None, speeds: tuple[float, ...] = (), starts: bool = True) -> str:
    """The sentence on a sweep from 100 mm in steps of 20 mm."""
    values = tuple(100.0 + 20.0 * place for place in range(len(carries)))
    made: list[Any] = [
        SimpleNamespace(
            carry=None if carry is None else Estimate(carry, 0.7),
            exit_speed=Estimate(speeds[place] if speeds else 20.0, 0.3),
            starts=starts or carry != max(filter(None, carries)),
        )
        for place, carry in enumerate(carries)
    ]
    return best_along(Sweep(KEY, values), made, "mm", "outer diameter")


def test_a_best_value_comes_with_the_values_that_are_nearly_as_good() -> None:
    assert said(27.0, 33.0, 33.5, 33.2, 29.0) == (
        "best near 140 mm (outer diameter): carry 33.50 ±0.70 m; from 120 to 160 mm it loses less "
        "than 1 %."
    ).replace("from 120", "from 140")
    assert "from 120 to 160 mm it loses" in said(27.0, 33.2, 33.5, 33.2, 29.0)


@pytest.mark.parametrize(("carries", "end"), [((33.0, 30.0, 28.0), 100), ((28.0, 30.0, 33.0), 140)])
def test_a_best_value_at_an_end_asks_for_more(carries: tuple[float, ...], end: int) -> None:
    assert said(*carries).startswith(f"best at an end of the sweep, {end} mm (outer diameter): ")
    assert "sweep beyond it" in said(*carries)


def test_what_hardly_matters_is_said_so() -> None:
    assert said(33.4, 33.5, 33.3) == (
        "the outer diameter hardly matters from 100 to 140 mm: carry 33.50 ±0.70 m, and nowhere "
        "1 % less."
    )


def test_without_a_carry_the_speed_counts_and_a_ball_that_sticks_does_not() -> None:
    assert "near 120 mm (outer diameter): exit speed 25.00 ±0.30 m/s" in said(
        None, None, None, speeds=(20.0, 25.0, 21.0)
    )
    assert "best near 140 mm" in said(20.0, 40.0, 30.0, 20.0, starts=False)
    assert said(None, None, speeds=(0.0, 0.0)) == "no ball gets out anywhere along the sweep."
