"""The time left that a bar states."""

import io

import pytest
from rich.console import Console

from tracker.cli.progress import FINISHING, MOST_BARS, READING, left_words, progress_bar


@pytest.mark.parametrize(
    ("share", "elapsed_s", "words"),
    [
        (0.0, 9.0, ""),
        (0.01, 9.0, ""),
        (0.5, 1.9, ""),
        (0.5, 12.0, "12 s left"),
        (0.25, 10.0, "30 s left"),
        (0.999, 30.0, "1 s left"),
        (0.1, 60.0, "9 min left"),
        (1.0, 60.0, FINISHING),
    ],
)
def test_the_time_left_is_what_the_share_done_says(
    share: float, elapsed_s: float, words: str
) -> None:
    assert left_words(share, elapsed_s) == words


def test_what_remains_after_the_last_frame_is_never_no_time() -> None:
    screen = Console(file=io.StringIO(), force_terminal=True, width=90)
    with progress_bar(screen) as report:
        report("a.mp4", 0, 100)
        report("a.mp4", 100, 100)
    shown = screen.file.getvalue()  # type: ignore[attr-defined]
    assert FINISHING in shown and "0:00:00" not in shown and "a.mp4" in shown


def test_a_second_pass_begins_anew() -> None:
    screen = Console(file=io.StringIO(), force_terminal=True, width=90)
    with progress_bar(screen) as report:
        report("a.mp4", 100, 100)
        report("a.mp4", 8, 100)
    last = screen.file.getvalue().rpartition("a.mp4")[2]  # type: ignore[attr-defined]
    assert "8%" in last and FINISHING not in last


@pytest.mark.parametrize("done", [0, 50])
def test_of_many_clips_those_are_shown_that_are_begun(done: int) -> None:
    screen = Console(file=io.StringIO(), force_terminal=True, width=90)
    with progress_bar(screen) as report:
        for number in range(MOST_BARS):
            report(f"{number}.mp4", 0, 100)
        report("late.mp4", done, 100)
    assert ("late.mp4" in screen.file.getvalue()) == (done > 0)  # type: ignore[attr-defined]


def test_the_clips_are_said_to_be_read_until_one_is_begun() -> None:
    screen = Console(file=io.StringIO(), force_terminal=True, width=90)
    with progress_bar(screen) as report:
        report("a.mp4", 0, 100)
        report("a.mp4", 50, 100)
    before, _, after = screen.file.getvalue().partition("a.mp4")  # type: ignore[attr-defined]
    assert READING in before and READING not in after
