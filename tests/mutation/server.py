"""A process in which the project and its tests are imported and collected, and which forks trials.

Importing anew takes seconds for every fault; a fork takes a fraction of one.
"""

import json
import os
from itertools import pairwise
from pathlib import Path
from typing import Any

from tests.mutation.limits import limit
from tests.mutation.quiet import silenced
from tests.mutation.swap import swap


class Server:
    """A forked process that tries faults on request."""

    def __init__(self, root: Path, tests: list[str]) -> None:
        requests, self._ask = os.pipe()
        self._answer, answers = os.pipe()
        if os.fork() == 0:
            os.close(self._ask)
            os.close(self._answer)
            try:
                _serve(root, tests, requests, answers)
            finally:
                os._exit(0)
        os.close(requests)
        os.close(answers)
        self._answers = os.fdopen(self._answer, encoding="utf-8")

    def noticed(self, file: str, text: str, tests: list[str], limit_s: int) -> str:
        """Return what came of a changed text of a file: "killed", "survived" or "out of time"."""
        asked = json.dumps({"file": file, "text": text, "tests": tests, "limit_s": limit_s})
        with os.fdopen(os.dup(self._ask), "w", encoding="utf-8") as pipe:
            pipe.write(asked + "\n")
        return self._answers.readline().strip()

    def close(self) -> None:
        """End the process."""
        os.close(self._ask)
        self._answers.close()


def _serve(root: Path, tests: list[str], requests: int, answers: int) -> None:
    items = _collected(root, tests)
    with (
        os.fdopen(requests, encoding="utf-8") as asked,
        os.fdopen(answers, "w", encoding="utf-8") as verdicts,
    ):
        for line in asked:
            request = json.loads(line)
            child = os.fork()
            if child == 0:
                os._exit(_tried(items, request))
            _, status = os.waitpid(child, 0)
            killed = not os.WIFSIGNALED(status) and os.WEXITSTATUS(status) != 0
            outcome = "out of time" if os.WIFSIGNALED(status) else "survived"
            verdicts.write(("killed" if killed else outcome) + "\n")
            verdicts.flush()


def _collected(root: Path, tests: list[str]) -> dict[str, Any]:
    """Import and collect the tests, silently; return them by name."""
    from _pytest.config import _prepareconfig
    from _pytest.main import Session

    silenced(root)
    plain = ["-s", "-n", "0", "-p", "no:randomly", "-p", "no:cacheprovider"]
    config = _prepareconfig([*plain, "--basetemp", str(root / ".mutation-temp"), *tests])
    _without_shrinking()
    config._do_configure()
    session = Session.from_config(config)
    config.hook.pytest_sessionstart(session=session)
    session.perform_collect()
    return {item.nodeid: item for item in session.items}


def _without_shrinking() -> None:
    """Let hypothesis stop at the first example that fails: which one it is does not matter."""
    from hypothesis import Phase, settings

    settings.register_profile(
        "faults",
        parent=settings.get_profile("few examples"),
        phases=(Phase.explicit, Phase.generate),
        database=None,
    )
    settings.load_profile("faults")


class _First:
    """Notes whether a test failed."""

    failed = False

    def pytest_runtest_logreport(self, report: Any) -> None:
        self.failed = self.failed or report.failed


def _tried(items: dict[str, Any], request: dict[str, Any]) -> int:
    """Run the tests against a changed text in this process; return 1 when one fails."""
    limit(request["limit_s"])
    first = _First()
    chosen = [items[test] for test in request["tests"] if test in items]
    chosen[0].config.pluginmanager.register(first, "first failure")
    try:
        swap(_module_of(request["file"]), request["text"])
        for item, following in pairwise([*chosen, None]):
            item.ihook.pytest_runtest_protocol(item=item, nextitem=following)
            if first.failed:
                return 1
    except BaseException:  # a fault may end in anything, MemoryError and SystemExit too
        return 1
    return 0


def _module_of(file: str) -> str:
    parts = Path(file).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
