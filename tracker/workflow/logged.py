"""Sessions of the logbook with their results, setup by setup."""

from collections.abc import Mapping, Sequence
from dataclasses import fields
from functools import lru_cache

from calibration.errors import InputError, InputErrors
from calibration.ground import LEVEL, Ground
from tracker.comparison.built import Built, Setup, joined, release_of
from tracker.comparison.labels import Filmed, session_labels
from tracker.comparison.setups import SetupShots, u_column
from tracker.flight.air import Air, Weather, air_from
from tracker.flight.ball import Ball, ball_from
from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Outdoors
from tracker.launcher.setup import machine_from_setup
from tracker.logbook import Filter, LoggedEvening, LoggedShots
from tracker.logbook.asking import asking
from tracker.logbook.columns import FIGURES
from tracker.logbook.gathering import setups_from
from tracker.records import Coded, cells_of
from tracker.workflow.outings import Outings

NEEDED = {
    *("release_s", "carry_m", "carry_u_m", "exit_speed_mps", "exit_speed_u_mps"),
    *("launch_angle_deg", "launch_angle_u_deg", "landing_along_m", "landing_across_m"),
}
"""Columns that every comparison asks of its shots, whichever quantity it compares."""


def gather_logged(url: str | None, wanted: Filter, quantity: str | None = None) -> Outings:
    """Read the logged sessions that fit a filter, with the setups that fit it.

    Parameters
    ----------
    url : str or None
        Which logbook.
    wanted : Filter
    quantity : str, optional
        Only what a comparison of this column needs is read of the shots; everything without it.

    Raises
    ------
    InputError
        Where no session fits.
    """
    needed = FIGURES if quantity is None else {*NEEDED, quantity, u_column(quantity)}
    with asking(url) as ask:
        logged = setups_from(ask, wanted, needed)
    if not logged.evenings:
        raise InputError(
            "no session of the logbook fits",
            where="--from-log",
            remedy="lobmeter log list shows what there is, lobmeter log add FOLDER adds to it",
        )
    labels = session_labels(
        [Filmed(each.name, each.filmed_on, each.folder) for each in logged.evenings]
    )
    notes: list[str] = []
    built = [_built(each, logged.evenings, labels, notes) for each in logged.setups]
    setups, renamed = joined(built)
    return Outings((), setups, (*notes, *renamed))


def _built(
    group: LoggedShots, evenings: tuple[LoggedEvening, ...], labels: list[str], notes: list[str]
) -> Built:
    """Return the setups that are one, with the air of each of their evenings."""
    name, parts = group.setup.name, group.setup.parts
    first = group.evenings[0]
    names: Sequence[str] = Coded(labels, group.evening_of)
    occasions = names
    if group.own_camera.any():
        files = cells_of(group.shots, "clip")
        occasions = tuple(
            f"{label}/{file}" if own else label
            for label, file, own in zip(names, files, group.own_camera.tolist(), strict=True)
        )
    shots = SetupShots(name, group.shots, occasions, group.shared_u, names)
    airs = _airs(group, evenings, labels)
    machine: Machine | None = None
    ball = airs[labels[first]].ball
    try:
        where = f'{labels[first]}, [[setup]] "{name}"'
        machine = machine_from_setup(parts, where, ball.diameter_m)
    except InputError as error:
        if parts:
            said = error.errors[0] if isinstance(error, InputErrors) else error
            notes.append(f'No prediction for "{name}": {said.sentences()[0]}')
    return Built(Setup(shots, machine, airs[labels[first]], airs), parts, labels[first])


def _airs(
    group: LoggedShots, evenings: tuple[LoggedEvening, ...], labels: list[str]
) -> dict[str, Outdoors]:
    """Return ball, air and release of each evening by its label."""
    rows: dict[int, list[int]] = {}
    alike: dict[int, Outdoors] = {}
    found = {}
    for place in group.evenings:
        given = evenings[place].conditions
        # Sessions in the same air share their conditions; without an angle each has its own.
        outdoors = alike.get(id(given))
        if outdoors is None:
            angle, height = _number(given, "release_angle_deg"), _number(given, "release_height_m")
            if angle is None and not rows:
                rows = _rows_of(group.evening_of.tolist())
            mine = [] if angle is not None else [group.shots[i] for i in rows.get(place, ())]
            release = release_of(height or 0.0, angle, mine, _ground(given))
            outdoors = Outdoors(_ball(given), _air(given), release)
            if angle is not None:
                alike[id(given)] = outdoors
        found[labels[place]] = outdoors
    return found


def _rows_of(evening_of: list[int]) -> dict[int, list[int]]:
    """Return the rows of each evening by its place."""
    rows: dict[int, list[int]] = {}
    for i, place in enumerate(evening_of):
        rows.setdefault(place, []).append(i)
    return rows


def _number(given: Mapping[str, float | str | None], name: str) -> float | None:
    value = given.get(name)
    return None if value is None else float(value)


def _ground(given: Mapping[str, float | str | None]) -> Ground:
    rises = (_number(given, f"ground_rise_{way}_percent") for way in ("along", "across"))
    ground = Ground(*(0.01 * (rise or 0.0) for rise in rises))
    return LEVEL if ground == LEVEL else ground


def _ball(given: Mapping[str, float | str | None]) -> Ball:
    numbers = (_number(given, f"ball_{name}") for name in ("mass_g", "diameter_mm"))
    return _ball_from(str(given["ball_type"]), *numbers, _number(given, "ball_drag_coefficient"))


_ball_from = lru_cache(maxsize=100)(ball_from)


def _air(given: Mapping[str, float | str | None]) -> Air:
    return air_from(Weather(**{each.name: _number(given, each.name) for each in fields(Weather)}))
