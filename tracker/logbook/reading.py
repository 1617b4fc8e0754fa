"""Sessions put together again from their rows, and the list of them."""

import json
from collections import defaultdict
from datetime import date
from typing import Any

from calibration.errors import InputError
from tracker.logbook.columns import FIGURES, SHARED
from tracker.logbook.entries import (
    CONDITIONS,
    Filter,
    LoggedClip,
    LoggedSession,
    LoggedSetup,
    Summary,
)
from tracker.logbook.questions import OLDEST_FIRST, Ask, Chosen, chosen_by, summaries_query
from tracker.records import Quality, Reason, Shot


def summaries_from(ask: Ask, wanted: Filter, most: int | None = None) -> tuple[Summary, ...]:
    """Read the list of the sessions that fit a filter, newest first."""
    chosen = chosen_by(wanted)
    rows = ask(summaries_query(chosen, most), chosen.values)
    return tuple(
        Summary(number, day_of(day), name, folder, ball, setups, shots, int(rejected), carry)
        for number, day, name, folder, ball, setups, shots, rejected, carry in rows
    )


def day_of(kept: object) -> date | None:
    """Return a day as a database gives it: SQLite has it as a text."""
    return date.fromisoformat(kept) if isinstance(kept, str) else kept  # type: ignore[return-value]


HEAD = ("id", "name", "folder", "notes", "lobmeter_version", "filmed_on")
"""Columns of the table ``session`` that are read, before the conditions."""


def sessions_from(ask: Ask, chosen: Chosen) -> tuple[LoggedSession, ...]:
    """Read sessions whole, oldest first; setups and shots that are not chosen are left out."""
    heads = ask(
        f"SELECT {', '.join((*HEAD, *CONDITIONS))} FROM session "
        f"WHERE session.id IN ({chosen.sessions}) ORDER BY {OLDEST_FIRST}",
        chosen.values,
    )
    setups, names = _setups(ask, chosen)
    clips, files = _clips(ask, chosen)
    shots, shared = _shots(ask, chosen, names, files)
    return tuple(
        LoggedSession(
            name=name,
            folder=folder,
            notes=notes,
            lobmeter_version=version,
            filmed_on=day_of(day),
            conditions=dict(zip(CONDITIONS, given, strict=True)),
            setups=tuple(setups[number]),
            clips=tuple(clips[number]),
            shots=tuple(shots[number]),
            shared_u=shared[number],
        )
        for number, name, folder, notes, version, day, *given in heads
    )


def session_from(ask: Ask, number: int) -> LoggedSession:
    """Read one session by the number that the list gives it.

    Raises
    ------
    InputError
        Where there is none of that number.
    """
    one = "SELECT session.id FROM session WHERE session.id = :number"
    found = sessions_from(ask, Chosen(one, values={"number": number}))
    if not found:
        raise InputError(
            f"there is no session {number} in the logbook",
            where="log show",
            remedy="lobmeter log list shows the numbers",
        )
    return found[0]


def _setups(ask: Ask, chosen: Chosen) -> tuple[dict[int, list[LoggedSetup]], dict[int, str]]:
    """Return the setups by session, and their names by their own numbers."""
    parts: dict[int, dict[str, dict[str, float | str]]] = defaultdict(lambda: defaultdict(dict))
    fields = ask(
        "SELECT setup_id, part, field, number, text FROM setup_field "
        f"WHERE setup_id IN (SELECT setup.id FROM setup WHERE {chosen.mine})",
        chosen.values,
    )
    for setup, part, name, number, text in fields:
        parts[setup][part][name] = text if number is None else number
    found: dict[int, list[LoggedSetup]] = defaultdict(list)
    names: dict[int, str] = {}
    rows = ask(
        f"SELECT id, session_id, name FROM setup WHERE {chosen.mine} ORDER BY id", chosen.values
    )
    for number, session, name in rows:
        names[number] = name
        tables = {part: dict(each) for part, each in parts[number].items()}
        found[session].append(LoggedSetup(name, tables))
    return found, names


def _clips(
    ask: Ask, chosen: Chosen
) -> tuple[dict[int, list[LoggedClip]], dict[int, tuple[int, str]]]:
    """Return the clips by session, and session and file by the clips' own numbers."""
    found: dict[int, list[LoggedClip]] = defaultdict(list)
    files: dict[int, tuple[int, str]] = {}
    rows = ask(
        "SELECT id, session_id, file, sha256, own_markers FROM clip "
        f"WHERE session_id IN ({chosen.sessions}) ORDER BY id",
        chosen.values,
    )
    for number, session, file, sha256, own in rows:
        files[number] = (session, file)
        found[session].append(LoggedClip(file, sha256, bool(own)))
    return found, files


def _shots(
    ask: Ask, chosen: Chosen, names: dict[int, str], files: dict[int, tuple[int, str]]
) -> tuple[dict[int, list[Shot]], dict[int, dict[tuple[str, int], dict[str, float]]]]:
    """Return the shots of the setups named, and their shared uncertainties, by session."""
    found: dict[int, list[Shot]] = defaultdict(list)
    shared: dict[int, dict[tuple[str, int], dict[str, float]]] = defaultdict(dict)
    texts = {"reasons": "CAST(reasons AS TEXT)"}
    columns = [texts.get(name, name) for name in (*FIGURES, *SHARED.values())]
    rows = ask(
        f"SELECT clip_id, setup_id, number, {', '.join(columns)} FROM shot WHERE shot.setup_id IN "
        f"(SELECT setup.id FROM setup WHERE {chosen.mine}) ORDER BY id",
        chosen.values,
    )
    for clip, setup, number, *values in rows:
        if setup not in names or clip not in files:  # added between two queries
            continue
        session, file = files[clip]
        figures: dict[str, Any] = dict(zip(FIGURES, values[: len(FIGURES)], strict=True))
        figures["quality"] = Quality(figures["quality"])
        figures["reasons"] = tuple(map(reason_of, json.loads(figures["reasons"])))
        figures["landing_seen"] = bool(figures["landing_seen"])
        found[session].append(Shot(clip=file, setup=names[setup], shot=number, **figures))
        pairs = zip(SHARED, values[len(FIGURES) :], strict=True)
        parts = {figure: u for figure, u in pairs if u is not None}
        if parts:
            shared[session][file, number] = parts
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
