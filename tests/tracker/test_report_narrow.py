"""Tables on narrow consoles, and lines that keep a number with its unit."""

import io

import pytest
from rich.console import Console

from tests.tracker.invented_outings import shots_of
from tracker.cli.screen import console, say
from tracker.report.narrow import fitted, joined, parted
from tracker.report.review_table import review_table

NAMES = [f"clips/Möwe {word} mm.mp4" for word in ("100", "140", "180")]


def printed(width: int) -> str:
    rows = shots_of("140 mm wheels", 3)
    named = [(row.having(clip=name), None) for row, name in zip(rows, NAMES, strict=True)]
    screen = Console(file=io.StringIO(), width=width)
    screen.print(fitted(screen, review_table(named)))
    assert isinstance(screen.file, io.StringIO)
    return screen.file.getvalue()


@pytest.mark.parametrize("width", [30, 40, 60, 80])
def test_every_cell_is_there_at_any_width(width: int) -> None:
    shown = printed(width)
    for name, row in zip(NAMES, shots_of("140 mm wheels", 3), strict=True):
        assert name.split()[1] in shown
        assert f"{row.carry_m:.1f}" in shown and "good" in shown
    assert max(map(len, shown.splitlines())) <= width
    assert ("carry, m:" in shown) == (width < 50)


@pytest.mark.parametrize(
    "text", ["99 %", "0.30 m", "4514 J/m²", "26.6 ±1.2 m/s", "± 0.4", "5 shots"]
)
def test_no_line_ends_between_a_number_and_its_unit(text: str) -> None:
    for before in range(60, 80):
        screen = Console(file=io.StringIO(), width=80)
        screen.print(joined(f"{'x' * before} {text} and more words"), markup=False)
        assert isinstance(screen.file, io.StringIO)
        lines = parted(screen.file.getvalue()).splitlines()
        assert any(" ".join(text.split()[-2:]) in line for line in lines)


def test_what_is_written_has_plain_spaces(capsys: pytest.CaptureFixture[str]) -> None:
    say(console(), ["a chance of 99 %, 5 shots ± 2"])
    assert capsys.readouterr().out == "a chance of 99 %, 5 shots ± 2\n"


def test_a_word_is_no_unit() -> None:
    assert joined("in 5 minutes, 3 more m 4") == "in 5 minutes, 3 more m 4"
