"""The shots of a setup packed into one array: a comparison reads a row a setup, not a row a shot.

The table ``shot`` is what counts; what is packed repeats its numbers, and is made anew in the same
transaction whenever the rows are.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError
from tracker.logbook.columns import FIGURES, SHARED
from tracker.records import Quality

QUALITIES = tuple(Quality)

NO_REASONS = "[]"
"""The reasons of a row without any, as the database keeps them."""

PACKED = ("id", "setup_id", "clip_id", "number", *FIGURES, *SHARED.values())
"""The columns of the table ``shot`` that are packed, in their order.

Another order or number of them needs a step of `tracker.logbook.migrations` that packs all anew.
"""

_TEXTS = {
    "quality": "CASE shot.quality "
    + " ".join(f"WHEN '{each}' THEN {i}" for i, each in enumerate(QUALITIES))
    + " END",
    # Most rows have none; those of the others are asked for by themselves.
    "reasons": f"CASE WHEN CAST(shot.reasons AS TEXT) = '{NO_REASONS}' THEN 0 ELSE 1 END",
    "landing_seen": "CASE WHEN shot.landing_seen THEN 1 ELSE 0 END",
}
"""Columns that hold no numbers, as numbers."""

SHOTS = f"SELECT {', '.join(_TEXTS.get(name, f'shot.{name}') for name in PACKED)} FROM shot"
"""The query for the rows that are packed; what follows chooses them, by `setup_id`, then `id`."""

_CELL = np.dtype("<f8")
"""How a cell is kept, on every machine."""

PACK_BYTES = _CELL.itemsize * len(PACKED)
"""Length of a packed shot."""


def packed(rows: Iterable[Sequence[Any]]) -> Iterator[tuple[int, bytes]]:
    """Pack the answer to `SHOTS`, whose rows of one setup follow each other.

    Returns
    -------
    iterator of (int, bytes)
        The number of each setup and its shots' cells, row by row; what is missing is NaN.
    """
    for setup, mine in groupby(rows, key=itemgetter(PACKED.index("setup_id"))):
        yield int(setup), np.array([tuple(row) for row in mine], _CELL).tobytes()


def unpacked(packs: Iterable[bytes], names: Collection[str]) -> NDArray[np.float64]:
    """Return some columns of the shots of setups.

    Parameters
    ----------
    packs : iterable of bytes
        From `packed`.
    names : collection of str
        Out of `PACKED`.

    Returns
    -------
    ndarray, shape (N, len(names))
        A row a shot; NaN for what is missing.

    Raises
    ------
    InputError
        For a pack that was not made by `packed`.
    """
    joined = b"".join(packs)
    if len(joined) % PACK_BYTES:
        raise InputError(
            "what comparisons read of a setup's shots is damaged",
            where="the logbook",
            remedy="add its sessions to another one: lobmeter log add FOLDER --db FILE",
        )
    cells = np.frombuffer(joined, _CELL).reshape(-1, len(PACKED))
    # Column by column, since they are asked for by themselves.
    return cells.T[[PACKED.index(name) for name in names]].T.astype(float, copy=False)
