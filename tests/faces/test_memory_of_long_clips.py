"""A long clip takes no more memory than a short one, and the whole program stays within a limit."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.bench.scale import CLIP, PEAK, film, looped

LIMITED = f"""{PEAK}
import json, sys
from tracker.workflow.measure import MeasureOptions, measure_sessions
pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
limit = pages * resource.getpagesize() + int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
(made,) = measure_sessions([Path(sys.argv[1])], None, MeasureOptions())
print(json.dumps({{"shots": len(made.shots), "peak_mb": peak_mb()}}))
"""

LIMIT_B = 800_000_000
"""Address space beyond what the program takes to start, bytes: threads and libraries reserve more
than they use."""

A_MINUTE_MB = 4.0
"""Most that a minute of film at 60 frames a second may add. Of each frame 400 bytes stay: the
changes of its parts, its time, where its candidates were."""


def measured(session: Path) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(session), str(LIMIT_B)],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return dict(json.loads(done.stdout.splitlines()[-1]))


@pytest.mark.long
@pytest.mark.skipif(sys.platform != "linux", reason="limits of a process as Linux has them")
def test_memory_hardly_grows_with_the_length_of_a_clip(tmp_path: Path) -> None:
    film(tmp_path / "one", 60.0)
    found = {1: measured(tmp_path / "one")}
    for minutes in (4, 10):
        place = shutil.copytree(tmp_path / "one", tmp_path / str(minutes))
        (place / CLIP).unlink()
        looped(tmp_path / "one" / CLIP, minutes, place / CLIP)
        found[minutes] = measured(place)
    assert {minutes: one["shots"] for minutes, one in found.items()} == {1: 1, 4: 4, 10: 10}
    # The search keeps more in the first minutes, until it is full.
    grown = found[10]["peak_mb"] - found[4]["peak_mb"]
    assert grown < 6 * A_MINUTE_MB
    assert found[4]["peak_mb"] - found[1]["peak_mb"] < 3 * A_MINUTE_MB + 25.0
