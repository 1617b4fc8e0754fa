"""The bar that shows how far each clip is and how long it will still take."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Task

    from tracker.workflow.clips import Progress

LEAST_S, LEAST_SHARE = 2.0, 0.02
"""Time, s, and share of the frames before a time left is stated: a first guess is worth nothing.
Common practice, no source."""

MOST_BARS = 8
"""Clips above which those whose frames are done are shown no longer. Common practice, no source."""

READING = "reading the clips"
"""Shown until the first clip is begun: its frames' times and the session are read."""

FINISHING = "finishing"
"""Shown once all frames were seen: fits and pictures remain, for which no frames are counted."""


def left_words(share: float, elapsed_s: float) -> str:
    """Return how long a pass through a clip will still take, in words.

    Parameters
    ----------
    share : float
        Of its frames that are done, from 0 to 1.
    elapsed_s : float
        Since the pass began.
    """
    if share >= 1.0:
        return FINISHING
    if elapsed_s < LEAST_S or share < LEAST_SHARE:
        return ""
    left = elapsed_s * (1.0 - share) / share
    if left < 60.0:
        return f"{max(round(left), 1)} s left"
    return f"{round(left / 60.0)} min left"


@contextmanager
def progress_bar(screen: "Console") -> Iterator["Progress"]:
    """Show the progress of each clip and the time left.

    A clip that is passed through again begins anew, with its own time left.
    """
    from rich.progress import BarColumn, Progress, ProgressColumn, TaskProgressColumn, TextColumn
    from rich.text import Text

    class TimeLeft(ProgressColumn):
        """How long the present pass will still take."""

        def render(self, task: "Task") -> Text:
            share = 0.0 if task.total is None else task.percentage / 100.0
            return Text(left_words(share, task.elapsed or 0.0))

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TaskProgressColumn(),
        TimeLeft(),
    )
    with Progress(*columns, console=screen, transient=True) as bar:
        tasks: dict[str, tuple[int, int]] = {}
        begins = bar.add_task(READING, total=None)

        def report(clip: str, done: int, of: int) -> None:
            bar.update(begins, visible=False)
            if clip not in tasks:
                tasks[clip] = (bar.add_task(clip, total=of, visible=False), done)
            task, before = tasks[clip]
            if done < before:
                bar.reset(task)  # type: ignore[arg-type]
            tasks[clip] = (task, done)
            shown = 0 < done < of or len(tasks) <= MOST_BARS
            bar.update(task, completed=done, total=of, visible=shown)  # type: ignore[arg-type]

        yield report
