"""The picture of a comparison: what its key names, and how a shot to be checked looks."""

from dataclasses import replace

import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_hex

from tests.tracker.invented_outings import shots_of
from tracker.comparison.compare import compare
from tracker.comparison.setups import SetupShots
from tracker.records import Quality, Reason, ReasonCode
from tracker.report.comparison_picture import comparison_picture, comparison_sheet
from tracker.report.look import PAPER

DOUBT = (Reason(ReasonCode.SPEED_UNCERTAIN),)
"""A reason that leaves carry and landing to be compared."""

NAMES = ("100 mm wheels", "140 mm wheels")


def setups(doubtful: int) -> list[SetupShots]:
    """Two setups of five shots, the first of which are to be checked in both."""
    found = []
    for name in NAMES:
        shots = tuple(
            replace(shot, quality=Quality.CHECK, reasons=DOUBT) if place < doubtful else shot
            for place, shot in enumerate(shots_of(name, 5))
        )
        found.append(SetupShots(name, shots, ("evening",) * 5))
    return found


def open_marks(axes: Axes) -> int:
    """Count the open marks among those drawn with data."""
    return sum(
        len(line.get_xdata())
        for line in axes.get_lines()
        if line.get_marker() not in ("None", "", "d")
        and to_hex(line.get_markerfacecolor()) == PAPER
    )


def key_of(axes: Axes) -> list[str]:
    legend = axes.get_legend()
    assert legend is not None
    return [text.get_text() for text in legend.get_texts()]


@pytest.mark.parametrize("doubtful", [0, 1, 3])
def test_a_shot_to_be_checked_is_open_in_both_panels_and_named_in_both_keys(doubtful: int) -> None:
    made = setups(doubtful)
    upper, lower = comparison_sheet(compare(made, "carry_m", {}), made).axes
    assert open_marks(upper) == open_marks(lower) == 2 * doubtful
    for axes in (upper, lower):
        assert ("shot, to be checked" in key_of(axes)) == (doubtful > 0)


def test_the_keys_name_the_setups_and_no_caption_stands_in_their_place() -> None:
    made = setups(0)
    upper, lower = comparison_sheet(compare(made, "carry_m", {}), made).axes
    assert set(NAMES) < set(key_of(lower))
    assert "predicted" not in " ".join(key_of(upper))
    for axes in (upper, lower):
        assert axes.get_title(loc="left") == axes.get_title() == ""


def test_a_name_with_signs_of_mathematics_is_written_as_it_is() -> None:
    first, second = setups(1)
    made = [replace(first, name="$5 wheels_{x^$"), second]
    picture = comparison_picture(compare(made, "carry_m", {}), made)
    assert picture.startswith(b"\x89PNG")
