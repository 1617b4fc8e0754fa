"""Shots packed into an array of numbers a setup."""

import numpy as np
import pytest

from calibration.errors import InputError
from tracker.logbook.packing import PACKED, packed, unpacked


def row(number: int, setup: int, **cells: float | None) -> tuple[float | None, ...]:
    """An answer of the database to the query for what is packed."""
    given = {"id": number, "setup_id": setup, "clip_id": 3, "number": 1} | cells
    return tuple(given.get(name) for name in PACKED)


def test_a_setup_is_a_pack_and_every_cell_comes_back_to_the_last_bit():
    rows = [row(1, 7, carry_m=0.1 + 0.2), row(4, 7, carry_m=None), row(2, 9, carry_m=31.25)]
    packs = dict(packed(rows))
    assert [(setup, len(cells)) for setup, cells in packs.items()] == [
        (7, 2 * 8 * len(PACKED)),
        (9, 8 * len(PACKED)),
    ]
    cells = unpacked(packs.values(), ("carry_m", "id", "setup_id"))
    np.testing.assert_array_equal(cells, [(0.1 + 0.2, 1, 7), (np.nan, 4, 7), (31.25, 2, 9)])


def test_a_pack_is_read_alike_on_every_machine():
    ((_, cells),) = packed([row(1, 7)])
    # IEEE 754, least significant byte first: 1.0 and 7.0.
    assert cells[:16].hex() == "000000000000f03f" + "0000000000001c40"


def test_no_pack_is_no_shot():
    assert unpacked([], ("id", "carry_m")).shape == (0, 2)


def test_a_pack_of_another_layout_is_not_read():
    with pytest.raises(InputError, match="damaged"):
        unpacked([bytes(8 * (len(PACKED) + 1))], ("id",))
