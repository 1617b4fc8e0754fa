"""The bench's own stopwatch: every stage is there, and time is counted once."""

import time
from pkgutil import resolve_name

import numpy as np
import pytest

from tests.bench.split import STAGES, Spent, Split, timed
from tracker.measurement import passes
from tracker.video import ClipWriter, inspect


@pytest.mark.parametrize("call", [call for calls in STAGES.values() for call in calls])
def test_what_is_timed_is_there(call):
    assert callable(resolve_name(call))


def test_time_goes_to_its_stage_and_nothing_stays_watched(tmp_path):
    path = tmp_path / "a.mp4"
    with ClipWriter(path, (64, 48), 30.0) as writer:
        for _ in range(12):
            writer.write_luma_chroma(np.full((48, 64), 90, np.uint8))
    facts = inspect(path)
    plain = passes.frames

    def measure():
        count = sum(1 for _ in passes.frames(facts))
        begun = time.thread_time()
        while time.thread_time() - begun < 0.02:
            pass
        return count

    count, split = timed(facts, measure)
    assert count == 12
    assert passes.frames is plain
    assert split.stages["decoding"].wall_s > 0.0
    assert split.stages["detection"] == Spent()
    assert split.rest.cpu_s >= 0.02
    total = sum(split.stages.values(), split.rest)
    assert total.cpu_s == pytest.approx(split.whole.cpu_s)
    assert (split + Split()).whole == split.whole
