"""From a session's entries to the ball and the air it flew through."""

from tracker.flight.air import Air, Weather, air_from
from tracker.flight.ball import Ball, ball_from
from tracker.session import Session


def ball_of(session: Session) -> Ball:
    """Return the ball that was thrown, what was measured in place of the table's figures."""
    entry = session.ball
    return ball_from(entry.type, entry.mass_g, entry.diameter_mm, entry.drag_coefficient)


def air_of(session: Session) -> Air:
    """Return the air that the ball flew through."""
    entry = session.air
    return air_from(
        Weather(
            temperature_c=entry.temperature_c,
            pressure_hpa=entry.pressure_hpa,
            altitude_m=entry.altitude_m,
            humidity_percent=entry.humidity_percent,
            wind_along_mps=entry.wind_along_mps,
            wind_across_mps=entry.wind_across_mps,
            wind_u_mps=entry.wind_u_mps,
        )
    )
