"""What the page awaits, run by a test that has no page."""

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

Found = TypeVar("Found")


def awaited(work: Coroutine[Any, Any, Found]) -> Found:
    """Return what the work returns.

    In a thread of its own: a browser that an earlier test of the worker started keeps a loop
    running in this one, and a thread has one loop at most.
    """
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()
