"""A process that dies at a chosen call, played inside the test's own process."""

import io
import os
from collections.abc import Callable
from typing import Any

import pytest

CALLS = [
    (os, "rename"), (os, "replace"), (os, "mkdir"), (os, "link"), (os, "unlink"), (os, "rmdir"),
    (os, "fsync"), (io, "open"),
]  # fmt: skip
"""Every call that changes a name or a file."""


class Killed(BaseException):
    """The process is gone."""


class Killer:
    """Lets some calls pass and raises at every one after them, as a dead process makes none."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, passing: int) -> None:
        self.left = passing
        for module, name in CALLS:
            monkeypatch.setattr(module, name, self._counted(getattr(module, name)))

    def _counted(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*given: Any, **named: Any) -> Any:
            if self.left <= 0:
                raise Killed
            self.left -= 1
            return call(*given, **named)

        return counted


class Unlocked:
    """A lock of which no file is left: the system frees that of a killed process."""

    def acquire(self, timeout: float = 0.0) -> None:
        pass

    def release(self) -> None:
        pass
