"""Bounds of a trial."""

import resource

MEMORY_B = 6 * 2**30
"""Address space of a trial; what grows beyond is noticed too."""


def limit(seconds: int) -> None:
    """Bound the processor time and the memory of this process."""
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_B, MEMORY_B))
