"""One spoilt input through one command: in a process of its own, within bounds."""

import gc
import os
import resource
import shutil
import sys
import tempfile
import traceback
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2

from tests.fuzz.cases import Case

TIME_S = 60
"""Processor time of a trial, s: ten times what the slowest sound input takes."""

MEMORY_B = 2**30
"""What a trial may take beyond what the program takes to start, bytes."""

MAY_CHANGE = ("results", "clips", "session.toml")
"""What a trial itself spoils or a command writes; all else in the folder must stay as it was."""

SENTENCE_ENDS = (".", "?", "!")


@dataclass(frozen=True)
class Trial:
    """What came of a case: an empty `fault` is as it should be."""

    case: Case
    words: tuple[str, ...]
    fault: str


def tried(case: Case, prepared: Path) -> Trial:
    """Run a case on a copy of a prepared session and return what was wrong with it."""
    with tempfile.TemporaryDirectory(prefix="fuzz-") as place:
        folder = Path(place) / "lane"
        shutil.copytree(prepared, folder)
        words = case.made(folder)
        fault = fault_of(words) or _strays(folder, prepared)
        return Trial(case, tuple(words[:1]), fault)


def fault_of(words: Sequence[str], columns: int = 80) -> str:
    """Run a command in a process of its own, within bounds; return what was wrong, or nothing."""
    # OpenCV's threads are not in a fork, which would wait for them for ever.
    cv2.setNumThreads(1)
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        # What this process left to be collected may wait for threads that are not in the fork.
        gc.freeze()
        os.close(read_end)
        os.write(write_end, _fault(list(words), columns).encode("utf-8", "replace")[:4000])
        os._exit(0)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as pipe:
        fault = pipe.read().decode("utf-8", "replace")
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return f"killed by signal {os.WTERMSIG(status)}: out of time or memory"
    return fault


def _fault(words: list[str], columns: int) -> str:
    """Run the command in this process and say what was wrong, in a line or two."""
    from typer.testing import CliRunner

    from tracker.cli.program import program

    started = _memory()
    resource.setrlimit(resource.RLIMIT_CPU, (TIME_S, TIME_S + 5))
    resource.setrlimit(resource.RLIMIT_AS, (started + MEMORY_B, started + MEMORY_B))
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 2)
    with warnings.catch_warnings(record=True) as warned:
        warnings.simplefilter("always")
        # What only developers are shown, as Python itself has it.
        warnings.simplefilter("ignore", DeprecationWarning)
        warnings.simplefilter("ignore", ResourceWarning)
        try:
            result = CliRunner().invoke(program, words, env={"COLUMNS": str(columns)})
        except BaseException:
            return _last(traceback.format_exc())
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        return _last("".join(traceback.format_exception(result.exception)))
    if warned:
        return f"a warning: {warned[0].message} at {warned[0].filename}:{warned[0].lineno}"
    return _no_sentence(result.exit_code, result.stderr)


def _no_sentence(code: int, stderr: str) -> str:
    """Say what is wrong with the way in which a command ended."""
    if code not in (0, 1, 2):  # 1: done, but something needs a look
        return f"exit code {code}"
    if code == 2:
        sentences = [line for line in stderr.strip().splitlines() if line.strip()]
        if not sentences:
            return "exit code 2 without a word"
        if not sentences[-1].rstrip().endswith(SENTENCE_ENDS):
            return f"no sentence: {sentences[-1][:200]}"
        if max(len(line) for line in sentences) > 2000:
            return "a line of more than 2000 characters"
    return ""


def _last(text: str) -> str:
    """Return where a traceback ended, and with what."""
    lines = [line.strip() for line in text.strip().splitlines()]
    places = [line for line in lines if line.startswith("File ")]
    own = [line for line in places if "/tracker/" in line or "/calibration/" in line]
    return f"{lines[-1][:300]} at {(own or places or ['?'])[-1]}"


def _memory() -> int:
    """Return the address space of this process, bytes."""
    if sys.platform == "linux":
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
        return pages * resource.getpagesize()
    return 4 * 2**30


def _strays(folder: Path, prepared: Path) -> str:
    """Say what was written where nothing should be, or is gone."""
    if [path.name for path in folder.parent.iterdir()] != [folder.name]:
        return "a stray file beside the session"
    kept = {path.name for path in prepared.iterdir()}
    here = {path.name for path in folder.iterdir()}
    if here != kept:
        return f"lost {sorted(kept - here)}, stray {sorted(here - kept)}"
    for path in prepared.iterdir():
        if path.name not in MAY_CHANGE and path.read_bytes() != (folder / path.name).read_bytes():
            return f"{path.name} was changed"
    if not (folder / "results" / "shots.csv").exists():
        return "results/shots.csv is gone"
    return ""
