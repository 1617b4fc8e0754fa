"""From a session's entries to the ball, the air it flew through and the ground under it."""

from collections.abc import Sequence

from calibration.ground import Ground, ground_of
from tracker.flight.air import Air, air_from
from tracker.flight.ball import Ball, ball_from
from tracker.session import MarkerEntry, Session


def ball_of(session: Session) -> Ball:
    """Return the ball that was thrown, what was measured in place of the table's figures."""
    entry = session.ball
    return ball_from(entry.type, entry.mass_g, entry.diameter_mm, entry.drag_coefficient)


def air_of(session: Session) -> Air:
    """Return the air that the ball flew through."""
    return air_from(session.air)


def ground_under(markers: Sequence[MarkerEntry]) -> Ground:
    """Return the ground on which markers lie, by their taped heights."""
    return ground_of([entry.ground_m for entry in markers], [entry.u_m for entry in markers])
