"""Slips of the pen in a session file: each line gets what to write instead."""

import pytest

from tracker.session.mistakes import TABLES, mistake
from tracker.session.schema import SessionSchema

SLIPS = {
    "height_m = 0,88": "write height_m = 0.88",
    "height_m = 80 cm": "write height_m = 0.8",
    "height_m = 2' 10\"": "write height_m = 0.8636",
    "angle_deg = 39°": "write angle_deg = 39",
    "level = yes": "write level = true",
    "name = “2 m cone”": 'write name = "2 m cone"',
    "file = clips/140mm.mp4": 'write file = "clips/140mm.mp4"',
    'file = "clips\\140mm.mp4"': 'write file = "clips/140mm.mp4"',
    "date = 08.05.2026": "write date = 2026-05-08",
    "date = 08/05/2026": "write date = 2026-05-08 or date = 2026-08-05",
    "date = 5-17-2026": "write date = 2026-05-17",
    "date = 17/5/2026": "write date = 2026-05-17",
    "date = 2026/5/8": "write date = 2026-05-08",
    "height_m: 0.88": "write height_m = 0.88",
    'name = "2 m cone': 'write name = "2 m cone"',
    "[release": "write [release]",
    "release": "write [release]",
    "  marker   # by the gate": "write [[marker]]",
    "height_m": 'write height_m = "..." or a number, or leave the line out',
}


@pytest.mark.parametrize("line", SLIPS)
def test_a_slip_gets_what_to_write(line: str) -> None:
    found = mistake(line)
    assert found is not None
    assert found[2] == SLIPS[line]


@pytest.mark.parametrize("line", ["height_m = 0.88", "[release]", "", "# release", 'a = "cm"'])
def test_what_is_right_is_left_alone(line: str) -> None:
    assert mistake(line) is None


def test_every_table_of_a_session_is_known_as_one() -> None:
    lists = {name for name, whole in TABLES.items() if whole.startswith("[[")}
    assert lists == {"marker", "setup", "clip"}
    assert set(TABLES) == {name for name, one in SessionSchema.entries().items() if one.table}
