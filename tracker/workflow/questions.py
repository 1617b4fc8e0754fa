"""Questions on a session: what is possible and so unusual that it is more likely a slip."""

from calibration.site import ALARM, Calibration
from calibration.site.mistakes import METRES_PER_FOOT
from calibration.site.reach import lone_marker
from tracker.session import SESSION_FILE, BallEntry, ClipEntry, Session

HIGHEST_M = 2.5
"""Height above the ground, m, over which a release, a camera or a marker is asked about: a person
reaches no higher (common practice, no source)."""

LOWEST_M = 0.2
"""Height, m, from which a number may be meant in centimetres (common practice, no source)."""

SMALLEST_BALL_MM, LIGHTEST_BALL_G = 20.0, 1.0
"""Diameter and mass below which a ball is asked about: a table tennis ball, the lightest of the
ball table, has 40 mm and 2.7 g."""

BEHIND_M = 1.0
"""Distance behind the release, m, from which a marker counts as behind it (common practice, no
source)."""

STRONGEST_WIND_MPS = 15.0
"""Wind, m/s, in which nobody measures throws: Beaufort 7 begins at 13.9 (WMO scale)."""


def session_questions(session: Session) -> list[str]:
    """Return the questions that a session's own values raise, as sentences."""
    release, camera, air = session.release, session.camera, session.air
    found = []
    if release.height_known and release.height_m > HIGHEST_M:
        found.append(_height("[release], height_m", release.height_m))
    if camera.position_m is not None and camera.position_m[2] > HIGHEST_M:
        found.append(_height("[camera], position_m, up", camera.position_m[2]))
    for marker in session.markers:
        if marker.ground_m[2] > HIGHEST_M:
            found.append(_height(f'[[marker]] "{marker.name}", ground_m, up', marker.ground_m[2]))
    found.extend(_ball(session.ball))
    found.extend(_behind(session))
    for name in ("wind_along_mps", "wind_across_mps"):
        wind = getattr(air, name)
        if wind is not None and abs(wind) > STRONGEST_WIND_MPS:
            found.append(
                f"{SESSION_FILE}, [air], {name} = {wind:g}: a gale? In km/h it would be "
                f"{wind / 3.6:.1f} m/s."
            )
    return found


def clip_questions(clip: ClipEntry, calibration: Calibration) -> list[str]:
    """Return the questions that the calibration of a clip raises, as sentences."""
    where = f"for {clip.file}"
    found = [f"{SESSION_FILE}, [[marker]], {where}: {one.text}." for one in calibration.suspects]
    if not found and calibration.p_value < ALARM:
        found = [
            f"{SESSION_FILE}, [[marker]], {where}: were the pixels picked on a frame of this clip, "
            "with the camera where it was taped? The markers do not agree with each other "
            f"(chi-square {calibration.chi_square:.0f} with {calibration.dof} degrees of freedom)."
        ]
    if not found and _in_a_quarter(calibration):
        width, height = calibration.camera.size_px
        found.append(
            f"{SESSION_FILE}, [[marker]], {where}: were the pixels picked on a smaller copy of the "
            f"frame? All lie in the top left quarter of its {width} x {height}. If the copy was "
            f"{width // 2} x {height // 2}, multiply them by 2."
        )
    lone = lone_marker(calibration)
    if lone is not None:
        found.append(
            f'{SESSION_FILE}, [[marker]] "{lone.name}", {where}: is it {lone.along_m:.4g} m down '
            "the line? It alone carries the calibration there: a landing would be known to "
            f"±{lone.half_width_m:.0f} m, and to ±{lone.next_half_width_m:.2g} m at "
            f"{lone.next_along_m:.4g} m."
        )
    return found


def _ball(ball: BallEntry) -> list[str]:
    """Ask whether a ball's size or mass is in another unit."""
    found = []
    if ball.diameter_mm is not None and ball.diameter_mm < SMALLEST_BALL_MM:
        found.append(
            f"{SESSION_FILE}, [ball], diameter_mm = {ball.diameter_mm:g}: is the ball so small, in "
            f"millimetres? If it is in centimetres, write {10.0 * ball.diameter_mm:g}."
        )
    if ball.mass_g is not None and ball.mass_g < LIGHTEST_BALL_G:
        found.append(
            f"{SESSION_FILE}, [ball], mass_g = {ball.mass_g:g}: is the ball so light, in grams? If "
            f"it is in kilograms, write {1000.0 * ball.mass_g:g}."
        )
    return found


def _behind(session: Session) -> list[str]:
    """Ask which way along counts where all markers lie behind the release."""
    release_m = session.release.along_m
    picked = [entry for entry in session.markers if entry.pixel is not None]
    along = [entry.ground_m[0] - release_m for entry in picked]
    if len(along) < 2 or max(along) > BEHIND_M or min(along) > -BEHIND_M:
        return []
    return [
        f"{SESSION_FILE}, [[marker]], ground_m, along: do the shots fly away from the markers? All "
        "lie behind the release. If the shots fly toward them, change the sign of along and of "
        "across, in the camera's position_m too."
    ]


def _in_a_quarter(calibration: Calibration) -> bool:
    """Return whether all picks lie in the top left quarter of the frame."""
    half = [side / 2.0 - 0.5 for side in calibration.camera.size_px]
    return all(column < half[0] and row < half[1] for column, row in calibration.pixels.tolist())


def _height(field: str, metres: float) -> str:
    feet, centimetres = metres * METRES_PER_FOOT, metres / 100.0
    hint = ""
    if feet <= HIGHEST_M:
        hint = f" If it is in feet, write {feet:.2f}."
    elif LOWEST_M <= centimetres <= HIGHEST_M:
        hint = f" If it is in centimetres, write {centimetres:.2f}."
    return f"{SESSION_FILE}, {field} = {metres:g}: is it so high above the ground, in metres?{hint}"
