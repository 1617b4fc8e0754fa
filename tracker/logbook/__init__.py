"""Every measured session in one database, SQLite by default, any SQLAlchemy URL otherwise.

`tracker.logbook.logbook.open_logbook` opens one to write and to read it, and
`tracker.logbook.asking.asking` to read alone, in a fraction of the time.
"""

from tracker.logbook.entries import (
    Added,
    Filter,
    LoggedClip,
    LoggedEvening,
    LoggedEvenings,
    LoggedSession,
    LoggedSetup,
    LoggedShots,
    Summary,
)

__all__ = [
    "Added",
    "Filter",
    "LoggedClip",
    "LoggedEvening",
    "LoggedEvenings",
    "LoggedSession",
    "LoggedSetup",
    "LoggedShots",
    "Summary",
]
