"""The tests against one fault: in a process of its own, and within bounds of time and memory."""

import importlib
import math
import os
import sys
import time
from itertools import accumulate
from pathlib import Path
from typing import Any

from tests.mutation.faults import Fault
from tests.mutation.limits import limit
from tests.mutation.quiet import silenced
from tests.mutation.server import Server
from tests.mutation.swap import can_be_swapped

WARM = ("numpy", "scipy.optimize", "scipy.stats", "scipy.ndimage", "cv2", "av", "pandas",
        "matplotlib.pyplot", "hypothesis", "filterpy.kalman", "typer.testing")  # fmt: skip
"""What takes long to import and is no part of the project: imported once, before any trial."""

PATIENCE, GRACE_S = 4.0, 15
"""A trial may take so many times the processor time of the tests without a fault, and so much."""


def warm() -> None:
    """Import what every trial needs."""
    for name in WARM:
        importlib.import_module(name)


def suspects(fault: Fault, known: dict[str, Any], most_s: float = math.inf) -> list[str]:
    """Return the tests that might notice a fault, the cheapest first.

    Those that reach the line, themselves or by a fixture of their file. A line that runs at import
    counts for all that reach the module. Those beyond `most_s` seconds in all are left out.
    """
    lines: dict[str, list[str]] = known["lines"].get(fault.file, {})
    reach = set(lines.get(str(fault.line), ()))
    seconds: dict[str, float] = known["seconds"]
    if not reach and str(fault.line) in lines:
        reach = {one for each in lines.values() for one in each}
        # A module of constants alone is reached by nothing but its import.
        reach = reach or set(seconds)
    cheapest = sorted(
        (test for test in seconds if test in reach or test.split("::")[0] in reach),
        key=seconds.get,  # type: ignore[arg-type]
    )
    spent = list(accumulate(seconds[test] for test in cheapest))
    return [test for test, so_far in zip(cheapest, spent, strict=True) if so_far <= most_s]


def noticed(
    root: Path, fault: Fault, known: dict[str, Any], server: Server, most_s: float = math.inf
) -> tuple[str, float]:
    """Put the fault in, run the tests that might notice, take it out again.

    Returns what came of it ("killed", "survived", "out of time", "no test") and the seconds.
    """
    tests = suspects(fault, known, most_s)
    if not tests:
        return "no test", 0.0
    path = root / fault.file
    text = path.read_text(encoding="utf-8")
    limit_s = PATIENCE * sum(known["seconds"][test] for test in tests) + GRACE_S
    began = time.time()
    if can_be_swapped(text, fault.line):
        outcome = server.noticed(fault.file, fault.applied(text), tests, int(limit_s))
        return outcome, time.time() - began
    try:
        path.write_text(fault.applied(text), encoding="utf-8")
        child = os.fork()
        if child == 0:
            os._exit(_run(root, tests, int(limit_s)))
        _, status = os.waitpid(child, 0)
    finally:
        path.write_text(text, encoding="utf-8")
    if os.WIFSIGNALED(status):
        outcome = "out of time"
    else:
        outcome = "survived" if os.WEXITSTATUS(status) == 0 else "killed"
    return outcome, time.time() - began


def _run(root: Path, tests: list[str], limit_s: int) -> int:
    """Run the tests in this process, silently; return pytest's exit code."""
    import pytest

    limit(limit_s)
    silenced(root)
    for name in [
        each for each in sys.modules if each.split(".")[0] in ("calibration", "tracker", "tests")
    ]:
        del sys.modules[name]
    plain = ["-x", "-n", "0", "-p", "no:randomly", "-p", "no:cacheprovider"]
    base = ["--basetemp", str(root / ".mutation-temp")]
    try:
        return int(pytest.main([*plain, *base, *tests]))
    except BaseException:  # a fault may end in anything, MemoryError and SystemExit too
        return 70
