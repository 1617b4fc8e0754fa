"""Jobs that engines are tested with, in a module that a new process reads quickly."""

import os
import threading

from calibration.errors import InputError
from tracker.engines.protocol import Report

WAIT_S = 60.0
"""Longer than any test waits."""


def squared(item: int, report: Report) -> int:
    report(("seen", item))
    return item * item


def failing(item: int, report: Report) -> int:
    if item == 2:
        raise InputError("cannot be measured", where="2.mp4", remedy="film it again")
    return item


def waiting(item: int, report: Report) -> int:
    report(os.getpid())
    threading.Event().wait(WAIT_S)
    return item


_BEGUN: list[str] = []


def begin() -> None:
    _BEGUN.append("begun")


def begun(item: int, report: Report) -> list[str]:
    return _BEGUN
