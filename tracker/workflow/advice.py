"""Advice on a session: what would make its figures more certain."""

from calibration.errors import InputError
from calibration.site import Calibration
from tracker.launcher.setup import machine_from_setup
from tracker.session import SESSION_FILE, ClipEntry, Session
from tracker.workflow.ball_and_air import ball_of
from tracker.workflow.gains import Advice, Rank

ENOUGH_MARKERS = 4
"""With fewer, an error of one cannot be located (common practice, no source)."""


CALIBRATION = ("picking", "taping", "stand", "lens")
"""Sources of the uncertainty that the camera's calibration brings in."""


def camera_advice(session: Session, clip: ClipEntry, calibration: Calibration) -> list[Advice]:
    """Say what would make the camera better known."""
    found: list[Advice] = []
    picked = sum(entry.pixel is not None for entry in clip.markers)
    if picked < ENOUGH_MARKERS:
        found.append(
            Advice(
                f"{SESSION_FILE}, [[marker]]: {picked} have a pixel; with {ENOUGH_MARKERS} or more "
                "an error of one of them shows.",
                Rank.NEEDED,
            )
        )
    if session.camera.position_m is None:
        found.append(
            Advice(
                f"{SESSION_FILE}, [camera], position_m: not given; tape where the camera stood.",
                Rank.GAIN,
                ("stand", "lens"),
            )
        )
    heights = [entry.ground_m[2] for entry in clip.markers if entry.pixel is not None]
    if not any(heights):
        found.append(
            Advice(
                f"{SESSION_FILE}, [[marker]]: all heights are 0, so the field is taken as level; "
                "where it rises 1 m in 100 downrange, launch angles read 0.6° too small. Level the "
                "farthest markers from the first, and write their heights into ground_m.",
                Rank.GUARD,
            )
        )
    weakest = calibration.weakest
    left = min((one.u for one in weakest.remedies[:1]), default=weakest.u)
    gained = 1.0 - min(1.0, (left / weakest.u) ** 2) if weakest.u > 0.0 else 0.0
    found.append(Advice(f"{clip.file}: {weakest.text}.", Rank.GAIN, CALIBRATION, gained))
    return found


def session_advice(session: Session) -> list[Advice]:
    """Say what else a person could still write down."""
    found: list[Advice] = []
    camera, air = session.camera, session.air
    if camera.lens is None and camera.field_of_view_deg is None:
        found.append(
            Advice(
                f"{SESSION_FILE}, [camera], field_of_view_deg: not given; the maker states it, "
                "or a lens file holds it.",
                Rank.GAIN,
                ("lens",),
            )
        )
    if camera.readout_s is None:
        found.append(
            Advice(
                f"{SESSION_FILE}, [camera], readout_s: not given; the time from first to last row "
                "is taken as 0.006 s give or take 0.006 s.",
                Rank.GAIN,
                ("readout",),
            )
        )
    if air.temperature_c is None or (air.pressure_hpa is None and air.altitude_m is None):
        found.append(
            Advice(
                f"{SESSION_FILE}, [air]: temperature_c and pressure_hpa (or altitude_m) would "
                "narrow the drag.",
                Rank.GAIN,
                ("air",),
            )
        )
    if air.wind_along_mps is None and air.wind_across_mps is None:
        found.append(
            Advice(
                f"{SESSION_FILE}, [air], wind_along_mps: no wind given; it is taken as none, "
                "give or take 1 m/s.",
                Rank.GAIN,
                ("wind",),
            )
        )
    filmed = {clip.setup for clip in session.clips}
    for setup in session.setups:
        if setup.name not in filmed:
            found.append(
                Advice(f'{SESSION_FILE}, [[setup]] "{setup.name}": no clip shows it.', Rank.MORE)
            )
    return found


def launcher_advice(session: Session) -> list[Advice]:
    """Say which setups the launcher's model cannot read; their shots are measured all the same."""
    found: list[Advice] = []
    for entry in session.setups:
        if not entry.parts:
            found.append(
                Advice(
                    f'{SESSION_FILE}, [[setup]] "{entry.name}": nothing says how the launcher was '
                    "built; with [setup.wheel] and [setup.motor] its shots can be predicted.",
                    Rank.MORE,
                )
            )
            continue
        where = f'{SESSION_FILE}, [[setup]] "{entry.name}"'
        try:
            machine_from_setup(entry.parts, where, ball_of(session).diameter_m)
        except InputError as error:
            found.extend(
                Advice(f"No prediction: {sentence}", Rank.MORE) for sentence in error.sentences()
            )
    return found
