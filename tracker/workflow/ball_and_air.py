"""From a session's entries to the ball and the air it flew through."""

from tracker.flight.air import Air, air_from
from tracker.flight.ball import Ball, ball_from
from tracker.session import Session


def ball_of(session: Session) -> Ball:
    """Return the ball that was thrown, what was measured in place of the table's figures."""
    entry = session.ball
    return ball_from(entry.type, entry.mass_g, entry.diameter_mm, entry.drag_coefficient)


def air_of(session: Session) -> Air:
    """Return the air that the ball flew through."""
    return air_from(session.air)
