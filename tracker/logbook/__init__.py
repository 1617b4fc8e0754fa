"""Every measured session in one database, SQLite by default, any SQLAlchemy URL otherwise."""

from tracker.logbook.database import default_url
from tracker.logbook.entries import (
    Added,
    Filter,
    LoggedClip,
    LoggedEvening,
    LoggedEvenings,
    LoggedSession,
    LoggedSetup,
    LoggedShots,
)
from tracker.logbook.logbook import Logbook, Summary, open_logbook

__all__ = [
    "Added",
    "Filter",
    "Logbook",
    "LoggedClip",
    "LoggedEvening",
    "LoggedEvenings",
    "LoggedSession",
    "LoggedSetup",
    "LoggedShots",
    "Summary",
    "default_url",
    "open_logbook",
]
