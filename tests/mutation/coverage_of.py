"""Which test reaches which line, and what each test costs; learned once and kept."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

OUT = "LOBMETER_COVERAGE_OUT"
FILES = "LOBMETER_COVERAGE_FILES"


def learned(root: Path, code: list[str], tests: list[str], kept: Path) -> dict[str, Any]:
    """Return lines and costs: {"lines": {file: {line: [test]}}, "seconds": {test: s}}.

    A line that a fixture of a module reaches is that of its file: any test of it may look at what
    the fixture made. Run in a process of its own, all tests in the order of their files, under
    coverage.
    """
    if not kept.exists():
        here = Path(__file__).resolve()
        environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(root), str(here.parent)]),
            OUT: str(kept),
            FILES: os.pathsep.join(str(root / file) for file in code),
        }
        plain = ["-p", "no:randomly", "-n", "0", "-p", here.stem, "-p", "no:cacheprovider"]
        subprocess.run(
            [sys.executable, "-m", "pytest", *plain, *tests],
            cwd=root,
            env=environment,
            check=True,
        )
    found: dict[str, Any] = json.loads(kept.read_text(encoding="utf-8"))
    return found


class Watch:
    """A plugin of pytest: the lines that each test reaches, and its seconds."""

    def __init__(self) -> None:
        import coverage

        self.seconds: dict[str, float] = {}
        self.test = ""
        files = os.environ[FILES].split(os.pathsep)
        self.coverage = coverage.Coverage(data_file=None, include=files)
        self.coverage.start()

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        self.test = item.nodeid
        self.coverage.switch_context(self.test)
        began = time.process_time()
        yield
        self.seconds[item.nodeid] = round(time.process_time() - began, 3)
        self.coverage.switch_context("")

    @pytest.hookimpl(hookwrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> Any:
        wide = fixturedef.scope != "function"
        if wide:
            self.coverage.switch_context(request.node.nodeid.split("::")[0])
        yield
        if wide:
            self.coverage.switch_context(self.test)

    def pytest_sessionfinish(self) -> None:
        self.coverage.stop()
        data = self.coverage.get_data()
        root = Path.cwd()
        lines = {
            Path(file).relative_to(root).as_posix(): {
                str(line): sorted(filter(None, contexts))
                for line, contexts in data.contexts_by_lineno(file).items()
            }
            for file in data.measured_files()
        }
        text = json.dumps({"lines": lines, "seconds": self.seconds})
        Path(os.environ[OUT]).write_text(text, encoding="utf-8")


def pytest_configure(config: pytest.Config) -> None:
    """Watch, when this module is a plugin of a run that `learned` started."""
    if OUT in os.environ:
        config.pluginmanager.register(Watch(), "lines of each test")
