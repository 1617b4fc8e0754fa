"""From what a session and a person say to a stand and the shots that are expected."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from calibration.errors import InputError, InputErrors
from calibration.markers import Marker
from calibration.site import Site
from tracker.flight.air import Air, Weather, air_from
from tracker.flight.ball import ball_from
from tracker.flight.gravity import gravity_from
from tracker.measurement.circumstances import ClipRequest
from tracker.session import ClipEntry, Session, read_lens, read_session
from tracker.statistics.components import Estimate
from tracker.vantage.asked import Asked, Read
from tracker.vantage.expected import (
    ANGLE_U_DEG,
    AZIMUTH_U_DEG,
    SPEED_U_SHARE,
    Shots,
    expected_speed,
    shots_of,
)
from tracker.vantage.stand import CONTRAST, NOISE, Stand
from tracker.workflow.inputs import inspected
from tracker.workflow.stand import request_of, site_of

SIZE_PX, FPS = (1920, 1080), 60.0
POSITION_U_M, PICK_U_PX, HEIGHT_M = 0.10, 1.0, 0.8
SHUTTERS_S = tuple(1.0 / n for n in (30, 60, 125, 250, 500, 1000, 2000, 4000, 8000, 16000, 32000))
"""Usual shutter times."""

SPACING_M = 10.0
"""Between markers along the firing line where nobody plans others."""


@dataclass(frozen=True)
class Planned:
    """What is to be judged.

    Attributes
    ----------
    stand : Stand
        Its position counts for nothing when a place is searched for.
    shots : Shots
    notes : tuple of str
        What was assumed, as sentences.
    """

    stand: Stand
    shots: Shots
    notes: tuple[str, ...]


def planned(asked: Asked, typed: Read) -> Planned:
    """Gather a stand and the expected shots.

    Parameters
    ----------
    asked, typed
        Options, as typed and as numbers.

    Raises
    ------
    InputError, InputErrors
        For faults of the session, and where something needed is nowhere to be had.
    """
    session = None if asked.session is None else read_session(asked.session, filmed=False)
    notes: list[str] = []
    _refuse_missing(session, asked, typed)
    request = _request(session, asked, typed)
    speed, angle = _speed(session, asked, notes), _angle(session, asked, notes)
    shots = shots_of(request, speed, angle, Estimate(0.0, AZIMUTH_U_DEG))
    size, fps = _film(session, asked, typed, notes)
    site = _site(session, asked, typed, size, shots, notes)
    shutter = typed.shutter_s
    if shutter is None:
        fastest = request.ball.diameter_m / speed.value
        shutter = next((one for one in SHUTTERS_S if one <= min(fastest, 1.0 / fps)), fastest)
        notes.append(f"Shutter time taken as {shutter_words(shutter)}; --shutter sets another.")
    contrast = CONTRAST if asked.contrast is None else asked.contrast
    noise = NOISE if asked.noise is None else asked.noise
    if asked.contrast is None or asked.noise is None:
        notes.append(
            f"Sightings: a ball that differs from what lies behind it by {contrast:g} of 255 luma "
            f"steps, and pixels that scatter by {noise:g} from sensor and encoder together; "
            "--contrast and --noise set others."
        )
    stand = Stand(
        site=site,
        position_m=_position(session, typed),
        target_m=None if typed.aim_m is None else np.array(typed.aim_m),
        fps=fps,
        shutter_s=shutter,
        contrast=contrast,
        noise=noise,
        request=request,
    )
    return Planned(stand, shots, tuple(notes))


def shutter_words(seconds: float) -> str:
    """Return ``"1/1000 s"``."""
    return f"1/{1.0 / seconds:.0f} s" if seconds < 0.5 else f"{seconds:.2g} s"


def _refuse_missing(session: Session | None, asked: Asked, typed: Read) -> None:
    faults = []
    placed = typed.position_m is not None or typed.box_m is not None
    if not placed and (session is None or session.camera.position_m is None):
        faults.append(
            InputError(
                "nothing says where the camera is to stand",
                where="--position",
                remedy="give along, across, up as in --position 20,-38,1.6, or let --search "
                "find a place",
            )
        )
    if session is None:
        for option, value, example in (
            ("--speed", asked.speed_mps, "--speed 22"),
            ("--angle", asked.angle_deg, "--angle 42"),
        ):
            if value is None:
                faults.append(
                    InputError(
                        "is needed where no session tells of the launcher",
                        where=option,
                        remedy=f"give what you expect, as in {example}",
                    )
                )
    if faults:
        raise InputErrors(faults)


def _request(session: Session | None, asked: Asked, typed: Read) -> ClipRequest:
    if session is None:
        gravity = gravity_from()
        request = ClipRequest(
            clip="",
            setup="",
            ball=ball_from(asked.ball or "tennis"),
            air=air_from(Weather()),
            gravity_mps2=gravity.mps2,
            gravity_u_mps2=gravity.u_mps2,
            release_m=np.array([0.0, 0.0, HEIGHT_M]),
            release_u_m=0.03,
            readout_s=None,
        )
    else:
        request = request_of(session, _any_clip(session))
        if asked.ball:
            request = replace(request, ball=ball_from(asked.ball))
    if asked.height_m is not None:
        release = request.release_m.copy()
        release[2] = asked.height_m
        request = replace(request, release_m=release)
    if asked.readout_s is not None:
        request = replace(request, readout_s=asked.readout_s)
    return replace(request, air=_air(request.air, asked, typed))


def _air(air: Air, asked: Asked, typed: Read) -> Air:
    if typed.wind_mps is not None:
        along, across = typed.wind_mps
        # Somebody looked: as for a session that tells the wind without an uncertainty.
        air = replace(air, wind_along_mps=along, wind_across_mps=across, wind_u_mps=0.5)
    if asked.wind_u_mps is not None:
        air = replace(air, wind_u_mps=asked.wind_u_mps)
    return air


def _any_clip(session: Session) -> ClipEntry:
    return session.clips[0] if session.clips else ClipEntry("", Path(), "", session.markers)


def _speed(session: Session | None, asked: Asked, notes: list[str]) -> Estimate:
    value, u = asked.speed_mps, asked.speed_u_mps
    if value is None:
        assert session is not None
        found, from_what = expected_speed(session, asked.setup)
        notes.append(f"Exit speed from {from_what}; --speed sets another.")
        return Estimate(found.value, found.u if u is None else u)
    return Estimate(value, SPEED_U_SHARE * value if u is None else u)


def _angle(session: Session | None, asked: Asked, notes: list[str]) -> Estimate:
    value, u = asked.angle_deg, asked.angle_u_deg
    if value is None:
        value = None if session is None else session.release.angle_deg
    if value is None:
        raise InputError(
            "nothing says at what angle the launcher is set",
            where="--angle",
            remedy="give it, or write angle_deg into [release] of session.toml",
        )
    return Estimate(value, ANGLE_U_DEG if u is None else u)


def _film(
    session: Session | None, asked: Asked, typed: Read, notes: list[str]
) -> tuple[tuple[int, int], float]:
    """Return the size of the frames and their true rate: as typed, as filmed, or as usual."""
    size, fps = typed.size_px, asked.fps
    there = [] if session is None else [clip for clip in session.clips if clip.path.is_file()]
    if session is not None and there and (size is None or fps is None):
        facts = inspected(session, there[0])
        size = size or facts.size_px
        fps = fps or facts.file_fps * facts.pace
    if fps is None and session is not None:
        fps = session.camera.capture_fps
    if size is None or fps is None:
        notes.append(
            f"Film taken as {(size or SIZE_PX)[0]} x {(size or SIZE_PX)[1]} pixels, "
            f"{fps or FPS:g} frames a second; --size and --fps set others."
        )
    return size or SIZE_PX, fps or FPS


def _position(session: Session | None, typed: Read) -> np.ndarray:
    if typed.position_m is not None:
        return np.array(typed.position_m)
    if session is not None and session.camera.position_m is not None:
        return np.array(session.camera.position_m)
    return np.zeros(3)


def _site(
    session: Session | None,
    asked: Asked,
    typed: Read,
    size: tuple[int, int],
    shots: Shots,
    notes: list[str],
) -> Site:
    taped = np.zeros(3)
    if session is None:
        site = Site(size, (), position_m=taped, position_u_m=POSITION_U_M)
    else:
        site = site_of(session, _any_clip(session), size)
        # A place that is still to be chosen will be taped, as it is said to be of this one.
        site = replace(site, position_m=taped)
    if asked.position_u_m is not None:
        site = (
            replace(site, position_m=None)
            if asked.position_u_m == 0.0
            else replace(site, position_u_m=asked.position_u_m)
        )
    if asked.lens is not None:
        site = replace(site, lens=read_lens(asked.lens), field_of_view_deg=None)
    if asked.view_deg is not None:
        site = replace(
            site, field_of_view_deg=asked.view_deg, field_of_view_u_deg=asked.view_u_deg, lens=None
        )
    if asked.level_u_deg is not None:
        site = replace(site, level_u_deg=asked.level_u_deg)
    if site.lens is None and site.field_of_view_deg is None:
        notes.append(
            "No lens and no field of view were given: a phone's main camera, 65° over the longer "
            "side, give or take 40 %."
        )
    markers = site.markers
    if typed.markers_m:
        markers = tuple(
            Marker(f"marker {number}", np.array(place))
            for number, place in enumerate(typed.markers_m, start=1)
        )
    elif not markers:
        markers = _usual_markers(shots)
        notes.append(
            f"Markers taken as one every {SPACING_M:g} m along the firing line from the launcher "
            f"to {markers[-1].ground_m[0]:g} m, taped to 0.02 m; --marker sets others."
        )
    pick = asked.pick_u_px
    return replace(
        site,
        markers=tuple(
            replace(one, pixel=None, pixel_u=one.pixel_u if pick is None else pick)
            for one in markers
        ),
    )


def _usual_markers(shots: Shots) -> tuple[Marker, ...]:
    last = max(SPACING_M, SPACING_M * round(float(shots.landing_m[0]) / SPACING_M))
    return tuple(
        Marker(f"{along:g} m", np.array([along, 0.0, 0.0]), pixel_u=PICK_U_PX)
        for along in np.arange(0.0, last + 0.1, SPACING_M)
    )
