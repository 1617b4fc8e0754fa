"""One clip gives the same bytes each time, whatever else the computer does or has set."""

import gc
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faces.measured_close import CLOSE, measured_close
from tracker.cli import program

HOSTILE = {
    **dict.fromkeys(program.BLAS_THREADS, "2"),
    # GNU libc fills memory with this when it is given and taken: what was not written shows.
    "MALLOC_PERTURB_": "165",
    "LOBMETER_CACHE": "",
}


def test_no_setting_of_the_computer_shares_a_sum_among_threads(monkeypatch):
    """How many threads share a sum decides its last bits."""
    for library in program.BLAS_THREADS:
        monkeypatch.setenv(library, "4")
    seen = {}
    monkeypatch.setattr(program, "program", lambda: seen.update(os.environ))
    before = gc.get_threshold()
    try:
        program.run()
    finally:
        gc.set_threshold(*before)
    assert [seen[library] for library in program.BLAS_THREADS] == ["1", "1", "1"]


@pytest.mark.campaign
def test_one_clip_gives_the_same_bytes_in_another_process(tmp_path, tmp_path_factory):
    known = measured_close(tmp_path_factory) / "lane" / "results"
    lane = shutil.copytree(CLOSE, tmp_path / "lane")
    done = subprocess.run(
        [sys.executable, "-c", "from tracker.cli import main; main()", "measure", str(lane)],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, **HOSTILE},
    )
    assert done.returncode in (0, 1), done.stderr[-2000:]
    for name in ("shots.json", "shots.csv", "tracks.csv"):
        assert (lane / "results" / name).read_bytes() == (known / name).read_bytes(), name
