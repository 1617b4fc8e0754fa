"""The words on the axis of a sweep."""

import pytest
from matplotlib.figure import Figure

from tracker.launcher.fields import NUMBERS
from tracker.report.field_words import axis_label
from tracker.report.sweep_picture import ABOVE_POINTS, Measured, Panel, _draw
from tracker.statistics.components import Estimate


def test_the_axis_says_in_words_what_is_swept() -> None:
    assert axis_label("wheel.diameter_mm") == "outer diameter of the wheels, mm"
    assert axis_label("grip.friction") == "friction coefficient of rim on ball"


@pytest.mark.parametrize("key", [number.key for number in NUMBERS])
def test_no_field_name_stands_on_an_axis(key: str) -> None:
    label = axis_label(key)
    assert "_" not in label
    assert "." not in label
    assert label.count("(") == label.count(")")
    units = ("mm", "g", "V", "A", "W", "rpm", "%", "Ω", "A h", "mN m", "N/mm", "m/s", "g m²")
    with_unit = key.rsplit("_", 1)[-1] in ("mm", "g", "v", "a", "w", "rpm", "percent", "ohm", "ah")
    assert label.endswith(tuple(f", {unit}" for unit in units)) or not with_unit


def test_the_sign_of_the_most_stands_clear_above_what_was_measured_there() -> None:
    expected = tuple(Estimate(value, 0.1) for value in (20.0, 30.0, 25.0))
    mean = Estimate(31.0, 0.5)
    panel = Panel("carry, m", expected, ((Measured("b", 140.0, None, mean), mean),))
    axes = Figure(dpi=72).subplots()
    _draw(axes, (100.0, 140.0, 180.0), panel, best=True)
    (sign,) = (line for line in axes.lines if line.get_marker() == "v")
    (place,) = sign.get_transform().transform(sign.get_xydata())
    top = axes.transData.transform((140.0, 31.0 + mean.expanded()))
    assert place - top == pytest.approx((0.0, ABOVE_POINTS))
    assert sign.get_markerfacecolor() != sign.get_markeredgecolor()
