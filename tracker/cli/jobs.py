"""How many clips a command measures at the same time."""

from typing import Annotated

import typer

MOST_JOBS = 4
"""Clips that are measured at the same time where nobody says how many: each takes up to 600 MB of
memory, measured on 4K film."""

Jobs = Annotated[
    int,
    typer.Option(
        "--jobs",
        metavar="NUMBER",
        min=0,
        help="Clips measured at the same time; 0: as many as there are cores, "
        f"{MOST_JOBS} at most.",
    ),
]


def usual_jobs() -> int:
    """Return how many clips are measured at the same time where nobody says."""
    import os

    return min(os.cpu_count() or 1, MOST_JOBS)
