"""What the tables of predictions say in words beside them."""

from tracker.comparison.knowledge import LeftOut
from tracker.report.launcher_tables import missed_sentences
from tracker.statistics.components import Estimate


def left_out(name: str, measured: float, predicted: float, u: float) -> LeftOut:
    return LeftOut(name, Estimate(measured, 0.3), Estimate(predicted, u))


def test_a_setup_that_the_others_miss_is_named_with_what_to_do() -> None:
    within = left_out("100 mm wheels", 20.3, 19.4, 0.4)
    slower, faster = (left_out(f"180 mm wheels, {at:g}", 20.5, at, 0.4) for at in (21.6, 18.5))
    assert missed_sentences([within]) == []
    first, second = missed_sentences([slower, within, faster])
    assert first.startswith('The others miss "180 mm wheels, 21.6": it shoots 1.1 m/s slower than')
    assert second.startswith('The others miss "180 mm wheels, 18.5": it shoots 2.0 m/s faster than')
    assert "check its wheels, gap and voltage" in first
