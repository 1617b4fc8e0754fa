"""How much work code does, counted and not timed: a clock says more of the machine's other work."""

import sys
from collections.abc import Callable
from types import FrameType


def calls_in(run: Callable[[], object]) -> int:
    """Return how many functions, of Python and of C, are called while `run` runs.

    Whole-array code needs few calls whatever the arrays' length; a loop over elements needs many.
    """
    count = 0

    def seen(_frame: FrameType, event: str, _arg: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(seen)
    try:
        run()
    finally:
        sys.setprofile(before)
    return count
