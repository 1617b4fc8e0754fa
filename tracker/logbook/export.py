"""The shots of a logbook as one table, in a file that other programs read."""

import io
from collections.abc import Iterable
from dataclasses import asdict
from typing import TYPE_CHECKING

from calibration.errors import InputError
from tracker.logbook.entries import CONDITIONS, LoggedSession

if TYPE_CHECKING:
    import pandas as pd

FORMATS = (".csv", ".parquet")
"""Endings of a file's name that say what is written into it."""


def shots_frame(sessions: Iterable[LoggedSession]) -> "pd.DataFrame":
    """Return one row a shot: session, conditions and wheel, then the columns of shots.csv."""
    import pandas as pd

    rows = []
    for session in sessions:
        wheels = {
            each.name: each.parts.get("wheel", {}).get("diameter_mm") for each in session.setups
        }
        for shot in session.shots:
            rows.append(
                {
                    "session": session.name,
                    "folder": session.folder,
                    "filmed_on": session.filmed_on,
                    **{name: session.conditions.get(name) for name in CONDITIONS},
                    "wheel_diameter_mm": wheels[shot.setup],
                    **{name: value for name, value in asdict(shot).items() if name != "reasons"},
                    "quality": str(shot.quality),
                    "reason": shot.reason,
                }
            )
    frame = pd.DataFrame(rows)
    numbers = [each for each in frame.columns if each.endswith(NUMBER_ENDINGS)]
    return frame.astype(dict.fromkeys(numbers, "float64"))


NUMBER_ENDINGS = ("_m", "_mm", "_g", "_s", "_mps", "_deg", "_c", "_hpa", "_percent", "_coefficient")
"""A column that ends in a unit holds numbers, also where every cell is empty."""


def exported(sessions: Iterable[LoggedSession], ending: str) -> bytes:
    """Return the shots as the bytes of a CSV or a Parquet file.

    Parameters
    ----------
    sessions : iterable of LoggedSession
    ending : str
        One of `FORMATS`.

    Raises
    ------
    InputError
        For another ending, or where Parquet's library is not installed.
    """
    if ending not in FORMATS:
        raise InputError(
            f"a file that ends in {ending!r} cannot be written" if ending else "has no ending",
            where="log export",
            remedy=f"end its name in {' or '.join(FORMATS)}",
        )
    frame = shots_frame(sessions)
    if ending == ".csv":
        text: str = frame.to_csv(index=False, lineterminator="\n")
        return text.encode("utf-8")
    made = io.BytesIO()
    try:
        frame.to_parquet(made, index=False, engine="pyarrow")
    except ImportError:
        raise InputError(
            "Parquet needs a library that is not installed",
            where="log export",
            remedy="run: pip install 'lobmeter[parquet]', or export to a name that ends in .csv",
        ) from None
    return made.getvalue()
