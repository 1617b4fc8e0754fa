"""The logbook's questions in SQL, and sessions put together again from their rows."""

from collections import defaultdict
from typing import Any

import sqlalchemy as sa

from calibration.errors import InputError
from tracker.logbook import tables as t
from tracker.logbook.entries import CONDITIONS, Filter, LoggedClip, LoggedSession, LoggedSetup
from tracker.records import Quality, Reason, Shot

SAME_WHEEL_MM = 0.5
"""Wheels that differ by less than this in diameter count as one size, mm: what a rule reads to."""


def wanted_sessions(wanted: Filter) -> sa.Select[Any]:
    """Return the query for the numbers of the sessions that fit a filter."""
    conditions: list[sa.ColumnElement[bool]] = []
    if wanted.ball is not None:
        conditions.append(t.session.c.ball_type == wanted.ball)
    if wanted.since is not None:
        conditions.append(t.session.c.filmed_on >= wanted.since)
    if wanted.until is not None:
        conditions.append(t.session.c.filmed_on <= wanted.until)
    if wanted.wheel_mm is not None or wanted.setup is not None:
        # Few setups of many: their sessions are listed once, not looked for session by session.
        having = sa.select(t.setup.c.session_id).where(*setup_conditions(wanted))
        conditions.append(t.session.c.id.in_(having))
    return sa.select(t.session.c.id).where(*conditions)


def setup_conditions(wanted: Filter) -> list[sa.ColumnElement[bool]]:
    """Return what a setup must fulfil to fit a filter."""
    conditions: list[sa.ColumnElement[bool]] = []
    if wanted.wheel_mm is not None:
        least, most = wanted.wheel_mm - SAME_WHEEL_MM, wanted.wheel_mm + SAME_WHEEL_MM
        conditions.append(t.setup.c.wheel_diameter_mm.between(least, most))
    if wanted.setup is not None:
        conditions.append(t.setup.c.name == wanted.setup)
    return conditions


def summaries_query(wanted: Filter, most: int | None) -> sa.Select[Any]:
    """Return the query for the list of sessions, newest first."""
    chosen = (
        wanted_sessions(wanted)
        .order_by(t.session.c.filmed_on.desc().nulls_last(), t.session.c.id.desc())
        .limit(most)
        .subquery()
    )
    kept = t.shot.c.quality != str(Quality.REJECTED)
    counted = (
        sa.select(
            t.clip.c.session_id,
            sa.func.count().label("shots"),
            sa.func.sum(sa.case((kept, 0), else_=1)).label("rejected"),
            sa.func.avg(sa.case((kept, t.shot.c.carry_m))).label("mean_carry_m"),
        )
        .join(t.shot, t.shot.c.clip_id == t.clip.c.id)
        .where(t.clip.c.session_id.in_(sa.select(chosen.c.id)))
        .group_by(t.clip.c.session_id)
        .subquery()
    )
    setups = (
        sa.select(t.setup.c.session_id, sa.func.count().label("setups"))
        .group_by(t.setup.c.session_id)
        .subquery()
    )
    return (
        sa.select(
            t.session.c.id,
            t.session.c.filmed_on,
            t.session.c.name,
            t.session.c.folder,
            t.session.c.ball_type.label("ball"),
            sa.func.coalesce(setups.c.setups, 0).label("setups"),
            sa.func.coalesce(counted.c.shots, 0).label("shots"),
            sa.func.coalesce(counted.c.rejected, 0).label("rejected"),
            counted.c.mean_carry_m,
        )
        .join(chosen, chosen.c.id == t.session.c.id)
        .outerjoin(counted, counted.c.session_id == t.session.c.id)
        .outerjoin(setups, setups.c.session_id == t.session.c.id)
        .order_by(t.session.c.filmed_on.desc().nulls_last(), t.session.c.id.desc())
    )


def sessions_from(
    connection: sa.Connection, chosen: sa.Select[Any], wanted: Filter
) -> tuple[LoggedSession, ...]:
    """Read sessions whole.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    chosen : sqlalchemy.Select
        The numbers of the sessions.
    wanted : Filter
        Setups and shots that do not fit it are left out.
    """
    numbers = chosen.scalar_subquery()
    heads = connection.execute(
        sa.select(t.session)
        .where(t.session.c.id.in_(numbers))
        .order_by(t.session.c.filmed_on.nulls_first(), t.session.c.id)
    ).all()
    setups, names = _setups(connection, numbers, wanted)
    clips, files = _clips(connection, numbers)
    shots, shared = _shots(connection, numbers, wanted, (names, files))
    return tuple(
        LoggedSession(
            name=head.name,
            folder=head.folder,
            notes=head.notes,
            lobmeter_version=head.lobmeter_version,
            filmed_on=head.filmed_on,
            conditions={name: getattr(head, name) for name in CONDITIONS},
            setups=tuple(setups[head.id]),
            clips=tuple(clips[head.id]),
            shots=tuple(shots[head.id]),
            shared_u=shared[head.id],
        )
        for head in heads
    )


def _setups(
    connection: sa.Connection, numbers: sa.ScalarSelect[Any], wanted: Filter
) -> tuple[dict[int, list[LoggedSetup]], dict[int, str]]:
    """Return the setups by session, and their names by their own numbers."""
    mine = [t.setup.c.session_id.in_(numbers), *setup_conditions(wanted)]
    parts: dict[int, dict[str, dict[str, float | str]]] = defaultdict(lambda: defaultdict(dict))
    for row in connection.execute(
        sa.select(t.setup_field)
        .join(t.setup, t.setup.c.id == t.setup_field.c.setup_id)
        .where(*mine)
    ):
        parts[row.setup_id][row.part][row.field] = row.text if row.number is None else row.number
    found: dict[int, list[LoggedSetup]] = defaultdict(list)
    names: dict[int, str] = {}
    for row in connection.execute(sa.select(t.setup).where(*mine).order_by(t.setup.c.id)):
        names[row.id] = row.name
        found[row.session_id].append(
            LoggedSetup(row.name, {part: dict(each) for part, each in parts[row.id].items()})
        )
    return found, names


def _clips(
    connection: sa.Connection, numbers: sa.ScalarSelect[Any]
) -> tuple[dict[int, list[LoggedClip]], dict[int, tuple[int, str]]]:
    """Return the clips by session, and session and file by the clips' own numbers."""
    found: dict[int, list[LoggedClip]] = defaultdict(list)
    files: dict[int, tuple[int, str]] = {}
    for row in connection.execute(
        sa.select(t.clip).where(t.clip.c.session_id.in_(numbers)).order_by(t.clip.c.id)
    ):
        files[row.id] = (row.session_id, row.file)
        found[row.session_id].append(LoggedClip(row.file, row.sha256, bool(row.own_markers)))
    return found, files


def _shots(
    connection: sa.Connection,
    numbers: sa.ScalarSelect[Any],
    wanted: Filter,
    known: tuple[dict[int, str], dict[int, tuple[int, str]]],
) -> tuple[dict[int, list[Shot]], dict[int, dict[tuple[str, int], dict[str, float]]]]:
    """Return the shots of the setups named, and their shared uncertainties, by session."""
    names, files = known
    found: dict[int, list[Shot]] = defaultdict(list)
    shared: dict[int, dict[tuple[str, int], dict[str, float]]] = defaultdict(dict)
    heads = (t.shot.c.clip_id, t.shot.c.setup_id, t.shot.c.number)
    columns = [t.shot.c[name] for name in (*t.FIGURES, *t.SHARED.values())]
    for clip_id, setup_id, number, *values in connection.execute(
        sa.select(*heads, *columns)
        .join(t.clip, t.clip.c.id == t.shot.c.clip_id)
        .join(t.setup, t.setup.c.id == t.shot.c.setup_id)
        .where(t.clip.c.session_id.in_(numbers), *setup_conditions(wanted))
        .order_by(t.shot.c.id)
    ):
        session_id, file = files[clip_id]
        figures = dict(zip(t.FIGURES, values[: len(t.FIGURES)], strict=True))
        figures["quality"] = Quality(figures["quality"])
        figures["reasons"] = tuple(reason_of(each) for each in figures["reasons"])
        figures["landing_seen"] = bool(figures["landing_seen"])
        found[session_id].append(Shot(clip=file, setup=names[setup_id], shot=number, **figures))
        pairs = zip(t.SHARED, values[len(t.FIGURES) :], strict=True)
        parts = {figure: u for figure, u in pairs if u is not None}
        if parts:
            shared[session_id][file, number] = parts
    return found, shared


def reason_of(kept: dict[str, Any]) -> Reason:
    """Return a reason as a shot's row keeps it.

    Raises
    ------
    InputError
        For one that this version does not know.
    """
    try:
        return Reason.read(kept)
    except ValueError:
        raise InputError(
            f"a shot has the reason {kept['code']}, which a newer Lobmeter gave it",
            where="the logbook",
            remedy="install that version: pip install --upgrade lobmeter",
        ) from None
