"""What every engine does."""

from collections.abc import Callable, Generator, Sequence
from typing import Any, Protocol, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

Report = Callable[[Any], None]
"""Called with whatever a job reports while it runs: plain data that can be pickled."""

Job = Callable[[Item, Report], Result]
"""A module's function of one item. Item, result and errors can be pickled; it writes nothing, so it
may be run again for an item whose worker was lost."""


class Engine(Protocol):
    """Runs a job for many items."""

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences on the engine that a person should read."""
        ...

    def run(
        self, job: Job[Item, Result], items: Sequence[Item], report: Report
    ) -> Generator[tuple[int, Result], None, None]:
        """Run a job for each item, as many at the same time as the engine can.

        Parameters
        ----------
        job : callable
        items : sequence
        report : callable
            Gets what the jobs report, in no order, and maybe on another thread.

        Yields
        ------
        index, result
            Of each item once, as soon as it is done. When the iterator is closed, what was not
            begun is not run.

        Raises
        ------
        Exception
            The first that a job raises; the rest is then not waited for.
        """
        ...
