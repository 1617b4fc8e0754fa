"""Real clips without a shot: whatever field is laid over them, none is found.

Birds, drones and an aeroplane fly by, people walk, a tree sways, a football is juggled (it flies
free, but never from the release point, and never for longer than half a second). The fields are
both firing directions, near and far, with the release in the picture and outside it.
"""

import numpy as np
import pytest

from tests.footage.plates import excerpt, needs_footage, path_of
from tests.footage.views import USUAL, view
from tracker.measurement import measure
from tracker.measurement.starts import ReleaseStart
from tracker.records import Quality
from tracker.video import inspect

pytestmark = [needs_footage, pytest.mark.campaign]

# Clip, seconds of it, the first of them, and which of the usual fields; those with birds near
# and with people side by side are where false shots have been found.
CASES = [
    ("V_AIRPLANE_051.mp4", 3.0, 2.0, (0, 1)),
    ("V_BIRD_003.mp4", 3.0, 3.0, (4,)),
    ("V_BIRD_020.mp4", 3.0, 1.0, (0, 2, 4)),
    ("V_BIRD_044.mp4", 3.0, 2.0, (1,)),
    ("V_DRONE_002.mp4", 2.5, 0.0, (2, 3)),
    ("V_DRONE_034.mp4", 3.0, 3.0, (5,)),
    ("V_DRONE_048.mp4", 3.0, 3.0, (0,)),
    ("V_DRONE_084.mp4", 3.0, 3.0, (3,)),
    ("people_on_lawn_10fps.avi", 8.0, 48.0, (1, 3)),
    ("swaying_tree_lying_header.avi", None, 0.0, (0, 5)),  # whole: its header is the point
    ("football_juggle_24fps_thinned.mp4", 3.0, 2.0, (2,)),
    ("phone_slow_motion_240.mp4", 2.0, 0.0, (2,)),
    ("fragmented.mp4", 1.0, 0.0, (1,)),
]


@pytest.mark.parametrize(("name", "seconds", "first_s", "stands"), CASES, ids=[c[0] for c in CASES])
def test_no_shot_where_there_is_none(tmp_path, name, seconds, first_s, stands):
    part = path_of(name) if seconds is None else excerpt(name, tmp_path, seconds, first_s)
    facts = inspect(part)
    assert facts.frame_count >= 24
    for number in stands:
        field = view(USUAL[number], facts.size_px, np.random.default_rng(number))
        shots = [
            measured.shot
            for measured in measure(facts, field.request, ReleaseStart(field.calibrated)).shots
        ]
        believed = [shot for shot in shots if shot.quality is not Quality.REJECTED]
        assert believed == [], f"{name}, {field.name}"
