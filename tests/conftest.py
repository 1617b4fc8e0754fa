"""What holds for every test: nothing depends on the clock, and workers leave each other room."""

import contextlib
import gc
import importlib
import os
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parents[1]

# One thread of linear algebra and of OpenCV each: the workers share the cores already, and a fork
# of a process in which OpenCV has threads waits for them for ever. Set by the process that starts
# the workers, before any of them imports numpy; programs that tests start inherit it too.
for library in (
    "OPENBLAS_NUM_THREADS",
    "OMP_NUM_THREADS",
    "MKL_NUM_THREADS",
    "OPENCV_FOR_THREADS_NUM",
):
    os.environ.setdefault(library, "1")

# The programs that tests start take and free memory as a user's do (see `pytest_configure`).
MALLOC = ("MALLOC_TRIM_THRESHOLD_", "MALLOC_MMAP_THRESHOLD_")
if "PYTEST_XDIST_WORKER" in os.environ:
    for bound in MALLOC:
        os.environ.pop(bound, None)

# Workers and the programs that tests start compile the project once, not each of them anew, also
# where the environment says otherwise. Trials of faults must not: they say so to this process.
if os.environ.pop("PYTHONDONTWRITEBYTECODE", ""):
    sys.dont_write_bytecode = False

# No test finds what another, or an earlier run, has measured.
os.environ["LOBMETER_CACHE"] = ""

# A law holds or fails whatever else the machine is doing. Other examples are drawn in every run: a
# few of each law beside the other tests, many in the long tests, which try all laws again.
for profile, examples in (("few examples", 12), ("many examples", 60)):
    settings.register_profile(
        profile,
        deadline=None,
        max_examples=examples,
        suppress_health_check=[HealthCheck.too_slow],
    )
settings.load_profile("few examples")


# Nothing that collection makes is garbage, but looking for it took a fifth of its time.
gc.disable()


def pytest_configure(config: pytest.Config) -> None:
    """Draw many examples in the long tests; let workers keep memory that they free.

    To give pages back to the system and to get them anew was 5 % of a run. glibc reads these bounds
    when a process starts, so the process that starts the workers sets them.
    """
    if config.getoption("numprocesses", None):
        for bound in MALLOC:
            os.environ.setdefault(bound, str(2**30))
    if config.option.markexpr == "long":
        settings.load_profile("many examples")
    config.pluginmanager.register(_PageFirst(), "the page first")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave files without a campaign out of the campaigns: they are three quarters of them."""
    return True if config.option.markexpr == "campaign" and _is_quick(collection_path) else None


def _is_quick(path: Path) -> bool:
    """Say whether a file has tests of the first command alone."""
    if not (path.name.startswith("test_") and path.suffix == ".py"):
        return False
    return "campaign" not in path.read_text(encoding="utf-8")


LONG_FIRST = (
    "tests/faces/test_demo_command.py",
    "tests/tracker/test_sample_clips.py",
    "tests/faces/test_no_shot_command.py",
)
"""Campaigns of ten to thirty seconds each: begun last, one would keep all others waiting."""


class _PageFirst:
    """The page's tests first: all in one worker, which starts the only server and browser.

    Workers begin with a stretch of the list each and take over from one another at its end. In
    the campaigns the page's tests are many, and wait: there all workers share them, and the longest
    tests come first.
    """

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(
        self, config: pytest.Config, items: list[pytest.Item]
    ) -> None:
        if config.option.markexpr == "campaign":
            items.sort(key=lambda item: not item.nodeid.startswith(LONG_FIRST))
        else:
            items.sort(key=lambda item: "/app/" not in item.nodeid)


@pytest.hookimpl(tryfirst=True)
def pytest_collection(session: pytest.Session) -> None:
    """Let each worker import another part of the tests first.

    In a fresh clone nothing is compiled. Workers that began with the same file would all compile
    everything at the same time; each finds what another has compiled when it comes to that part.
    """
    worker = getattr(session.config, "workerinput", None)
    if worker is None or session.config.args != ["tests"]:
        return
    campaign = session.config.option.markexpr == "campaign"
    files = sorted(
        path for path in (ROOT / "tests").rglob("test_*.py") if not (campaign and _is_quick(path))
    )
    number, count = int(worker["workerid"].removeprefix("gw")), int(worker["workercount"])
    for file in files[number * len(files) // count : (number + 1) * len(files) // count]:
        # What cannot be imported is reported when it is collected.
        with contextlib.suppress(Exception, pytest.skip.Exception):
            importlib.import_module(".".join(file.relative_to(ROOT).with_suffix("").parts))


def pytest_collection_finish() -> None:
    """Collect garbage again, of what the tests themselves make; as usual it took 2 % of a run."""
    gc.enable()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Take every law into the long tests."""
    if config.option.markexpr == "long":
        for item in items:
            if getattr(getattr(item, "obj", None), "is_hypothesis_test", False):
                item.add_marker("long")
