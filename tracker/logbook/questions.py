"""The logbook's questions in SQL, as every database understands them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tracker.logbook.entries import Filter
from tracker.records import Quality

Ask = Callable[[str, Mapping[str, object]], list[tuple[Any, ...]]]
"""Runs a query, whose values are written ``:name``, and returns its rows."""

SAME_WHEEL_MM = 0.5
"""Wheels that differ by less than this in diameter count as one size, mm: what a rule reads to."""


@dataclass(frozen=True)
class Chosen:
    """Which sessions, and which setups of theirs, a query is about.

    Attributes
    ----------
    sessions : str
        The query for the numbers of the sessions.
    setups : str
        What a row of ``setup`` must fulfil; its session is one of these in any case.
    values : mapping
        The values of both.
    by_session : bool
        False where every setup that fulfils the condition is of these sessions.
    """

    sessions: str
    setups: str = "1 = 1"
    values: Mapping[str, object] = field(default_factory=dict)
    by_session: bool = True

    @property
    def mine(self) -> str:
        """The condition that a row of ``setup`` is of these sessions and wanted itself."""
        if not self.by_session:
            return self.setups
        return f"setup.session_id IN ({self.sessions}) AND {self.setups}"


def chosen_by(wanted: Filter) -> Chosen:
    """Return what fits a filter."""
    values: dict[str, object] = {}
    setups, sessions = [], []
    if wanted.wheel_mm is not None:
        values |= {
            "least_mm": wanted.wheel_mm - SAME_WHEEL_MM,
            "most_mm": wanted.wheel_mm + SAME_WHEEL_MM,
        }
        setups.append("setup.wheel_diameter_mm BETWEEN :least_mm AND :most_mm")
    if wanted.setup is not None:
        values["setup"] = wanted.setup
        setups.append("setup.name = :setup")
    if wanted.ball is not None:
        values["ball"] = wanted.ball
        sessions.append("session.ball_type = :ball")
    for name, sign, day in (("since", ">=", wanted.since), ("until", "<=", wanted.until)):
        if day is not None:
            values[name] = day.isoformat()
            sessions.append(f"session.filmed_on {sign} :{name}")
    wanted_setups = " AND ".join(setups or ["1 = 1"])
    # Few setups of many: their sessions are listed once, not looked for session by session.
    having = f"SELECT setup.session_id FROM setup WHERE {wanted_setups}"
    if setups and not sessions:
        return Chosen(having, wanted_setups, values, by_session=False)
    conditions = [*sessions, *([f"session.id IN ({having})"] if setups else [])]
    where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
    query = f"SELECT session.id FROM session{where}"
    return Chosen(query, wanted_setups, values, by_session=bool(sessions))


NEWEST_FIRST = "CASE WHEN filmed_on IS NULL THEN 1 ELSE 0 END, filmed_on DESC, id DESC"
OLDEST_FIRST = "CASE WHEN filmed_on IS NULL THEN 0 ELSE 1 END, filmed_on, id"


def summaries_query(chosen: Chosen, most: int | None) -> str:
    """Return the query for the list of sessions, newest first.

    Its columns are those of `tracker.logbook.entries.Summary`.
    """
    limit = "" if most is None else f" LIMIT {int(most)}"
    kept = f"shot.quality <> '{Quality.REJECTED}'"
    return f"""
        WITH chosen AS (
            SELECT session.* FROM session WHERE session.id IN ({chosen.sessions})
            ORDER BY {NEWEST_FIRST}{limit}
        ), counted AS (
            SELECT clip.session_id, count(*) AS shots,
                sum(CASE WHEN {kept} THEN 0 ELSE 1 END) AS rejected,
                avg(CASE WHEN {kept} THEN shot.carry_m END) AS mean_carry_m
            FROM clip JOIN shot ON shot.clip_id = clip.id
            WHERE clip.session_id IN (SELECT id FROM chosen) GROUP BY clip.session_id
        ), built AS (
            SELECT setup.session_id, count(*) AS setups FROM setup
            WHERE setup.session_id IN (SELECT id FROM chosen) GROUP BY setup.session_id
        )
        SELECT chosen.id, chosen.filmed_on, chosen.name, chosen.folder, chosen.ball_type,
            COALESCE(built.setups, 0), COALESCE(counted.shots, 0), COALESCE(counted.rejected, 0),
            counted.mean_carry_m
        FROM chosen LEFT JOIN counted ON counted.session_id = chosen.id
        LEFT JOIN built ON built.session_id = chosen.id
        ORDER BY {NEWEST_FIRST}"""
