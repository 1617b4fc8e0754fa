"""The words on the axis of a sweep."""

import pytest

from tracker.launcher.fields import NUMBERS
from tracker.report.field_words import axis_label


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
