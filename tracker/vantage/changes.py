"""Single changes to a stand, each judged on paper."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from calibration.camera import Camera
from calibration.errors import InputError
from calibration.lens import Lens
from calibration.markers import Marker
from calibration.site import markers_in_view
from tracker.fitting.conditions import usual_readout
from tracker.vantage.judging import Judgement, judge
from tracker.vantage.shots import ExpectedShots
from tracker.vantage.stand import Stand

TAPE_U_M, CLOSE_TAPE_U_M, RELEASE_U_M, MARKER_U_M = 0.10, 0.03, 0.01, 0.01
"""Standard uncertainties of a tape over tens of metres, of the same with care, and close by, m
(common practice, no source; as in `calibration.site.remedies`)."""

LEVEL_U_DEG, WIND_U_MPS, PICK_U_PX = 0.2, 0.3, 0.3
"""Standard uncertainties of a spirit level, an anemometer and a marker picked on an enlarged frame
(common practice, no source)."""

LENS_SD = (0.002, 2.0, 2.0, 0.003, 0.006, 0.0003, 0.0003, 1e-6)
"""Standard uncertainties of a lens measured with a printed board: log focal length; column and row
of the principal point, px; k1, k2, p1, p2, k3 (common practice, no source)."""

POLE_M, ASIDE_M = 2.0, 5.0
"""Height of a pole, and how far off the line a further marker stands, m (common practice, no
source)."""

MOVE_SHARE, HIGHER_M = 0.15, 1.0
"""A step aside or away, as a share of the distance, and a step up, m (common practice, no
source)."""

SPARE_SHARE, LEAST_ZOOM_SHARE = 0.03, 0.01
"""Margin that a longer zoom keeps, and the least that it must gain, as shares of the frame's longer
side (common practice, no source)."""

FINEST_PX = 3840
"""More pixels are suggested below this width only, px: 4K is what phones film."""

Variant = tuple[str, Stand]


@dataclass(frozen=True)
class Change:
    """One single change, and what it brings.

    Attributes
    ----------
    text : str
        What to do, as a clause.
    u : mapping
        By figure the standard uncertainty after it.
    loses_view : bool
        Whether some expected shot leaves the frame that did not before.
    """

    text: str
    u: Mapping[str, float]
    loses_view: bool = False


def changes(
    stand: Stand, shots: ExpectedShots, before: Judgement, quantity: str
) -> tuple[Change, ...]:
    """Return what each single change brings, the one that helps a figure most first.

    Parameters
    ----------
    stand : Stand
    shots : ExpectedShots
    before : Judgement
        Judgement of the unchanged stand.
    quantity : str
        Figure that the changes are ranked by.
    """
    found = []
    for text, other in (
        *_places(stand),
        *_pictures(stand, before),
        *_knowledge(stand, before.camera),
        *_more_markers(stand, before.camera),
    ):
        try:
            judged = judge(other, shots)
        except InputError:
            continue
        loses = judged.margin_px <= 0.0 < before.margin_px
        found.append(Change(text, judged.u, loses))
    return tuple(sorted(found, key=lambda change: change.u[quantity]))


def _places(stand: Stand) -> Iterator[Variant]:
    """Yield other places: nearer, farther, sideways, higher."""
    along, across, _ = stand.position_m
    # Off the launcher where the camera stands on the firing line, else off the line.
    off = np.array([0.0, across]) if abs(across) > 1.0 else np.array([along, across])
    step = max(round(MOVE_SHARE * float(np.linalg.norm(off))), 1)
    way = off / max(float(np.linalg.norm(off)), 1e-9) * step
    yield f"stand {step:g} m nearer", _moved(stand, -way[0], -way[1])
    yield f"stand {step:g} m farther off", _moved(stand, way[0], way[1])
    yield f"stand {step:g} m farther downrange", _moved(stand, step, 0.0)
    yield f"stand {step:g} m farther uprange", _moved(stand, -step, 0.0)
    yield f"stand {HIGHER_M:g} m higher", _moved(stand, 0.0, 0.0, HIGHER_M)


def _moved(stand: Stand, along: float, across: float, up: float = 0.0) -> Stand:
    return replace(stand, position_m=stand.position_m + np.array([along, across, up]))


def _pictures(stand: Stand, before: Judgement) -> Iterator[Variant]:
    """Yield other ways to film from the same place."""
    width, height = stand.site.size_px
    # At the same bit rate an encoder would smooth the ball away first.
    double = f"film {2 * stand.fps:g} frames a second, with twice the bits"
    shorter = min(stand.shutter_s, 0.5 / stand.fps)
    yield double, replace(stand, fps=2.0 * stand.fps, shutter_s=shorter)
    if max(width, height) < FINEST_PX:
        finer = replace(stand.site, size_px=(2 * width, 2 * height))
        double = f"film {2 * width} x {2 * height} pixels, with four times the bits"
        yield double, replace(stand, site=finer)
    streak = stand.shutter_s * np.linalg.norm(before.view.motion_px, axis=1)
    if np.nanmax(streak) > 1.0:
        yield "halve the shutter time, as bright", replace(stand, shutter_s=stand.shutter_s / 2.0)
    view = stand.site.field_of_view_deg
    share = before.margin_px / max(width, height)
    if view is not None and stand.site.lens is None and share > SPARE_SHARE + LEAST_ZOOM_SHARE:
        spare = 1.0 - 2.0 * (share - SPARE_SHARE)
        narrow = np.degrees(2.0 * np.arctan(np.tan(np.radians(view) / 2.0) * spare))
        u = stand.site.view_u_deg * narrow / view
        closer = replace(stand.site, field_of_view_deg=float(narrow), field_of_view_u_deg=u)
        yield f"zoom in to a view of {narrow:.0f}°", replace(stand, site=closer)


def _knowledge(stand: Stand, camera: Camera) -> Iterator[Variant]:
    """Yield what else could be measured."""
    site, conditions = stand.site, stand.conditions

    def knowing(**known: object) -> Stand:
        return replace(stand, site=replace(site, **known))  # type: ignore[arg-type]

    def stating(**known: object) -> Stand:
        return replace(stand, conditions=replace(conditions, **known))  # type: ignore[arg-type]

    if site.position_m is None:
        yield (
            f"tape the camera's position to {TAPE_U_M:g} m",
            knowing(position_m=stand.position_m, position_u_m=TAPE_U_M),
        )
    elif site.position_u_m > CLOSE_TAPE_U_M:
        yield (
            f"tape the camera's position to {CLOSE_TAPE_U_M:g} m",
            knowing(position_u_m=CLOSE_TAPE_U_M),
        )
    if site.level_u_deg is None or site.level_u_deg > LEVEL_U_DEG:
        yield f"set the camera level to {LEVEL_U_DEG:g}°", knowing(level_u_deg=LEVEL_U_DEG)
    if site.lens is None:
        lens = Lens(
            camera.focal_px,
            camera.centre_px,
            camera.distortion,
            np.diag(np.square(LENS_SD)),
            site.size_px,
        )
        yield "measure the lens with a printed board", knowing(lens=lens)
        if site.field_of_view_deg is None:
            view = float(np.degrees(2.0 * np.arctan(site.size_px[0] / 2.0 / camera.focal_px)))
            yield "look up the camera's field of view", knowing(field_of_view_deg=view)
    if any(marker.pixel_u > PICK_U_PX for marker in site.markers):
        closer = tuple(
            replace(marker, pixel_u=min(marker.pixel_u, PICK_U_PX)) for marker in site.markers
        )
        yield f"pick the markers to {PICK_U_PX:g} px", knowing(markers=closer)
    if any(marker.u_m > MARKER_U_M for marker in site.markers):
        taped = tuple(replace(marker, u_m=min(marker.u_m, MARKER_U_M)) for marker in site.markers)
        yield f"tape the markers to {MARKER_U_M:g} m", knowing(markers=taped)
    if conditions.air.wind_u_mps > WIND_U_MPS:
        calm = replace(conditions.air, wind_u_mps=WIND_U_MPS)
        yield f"measure the wind aloft to {WIND_U_MPS:g} m/s", stating(air=calm)
    if conditions.release_u_m > RELEASE_U_M:
        yield f"tape the release to {RELEASE_U_M:g} m", stating(release_u_m=RELEASE_U_M)
    if conditions.readout_s is None:
        yield (
            "find out the camera's readout time",
            stating(readout_s=usual_readout(1.0 / stand.fps)[0]),
        )


def _more_markers(stand: Stand, camera: Camera) -> Iterator[Variant]:
    """Yield markers and poles that could be added."""
    site = stand.site
    seen = markers_in_view(site, camera)
    if not seen:
        return
    far = max(seen, key=lambda marker: float(marker.ground_m[0]))
    near = min(seen, key=lambda marker: float(marker.ground_m[0]))
    toward = float(np.sign(stand.position_m[1] - far.ground_m[1])) or 1.0
    side = "left" if toward > 0 else "right"
    other = "right" if toward > 0 else "left"
    u_m, pixel_u = float(seen[0].u_m), float(seen[0].pixel_u)

    def added(*places: tuple[float, float, float]) -> Stand:
        more = tuple(
            Marker(f"added {number}", np.array(place), u_m, None, pixel_u)
            for number, place in enumerate(places)
        )
        return replace(stand, site=replace(site, markers=(*site.markers, *more)))

    for one in (far, near):
        along, across, up = (float(value) for value in one.ground_m)
        pole = f'stand a plumb pole of {POLE_M:g} m at "{one.name}" and pick its top'
        yield pole, added((along, across, up + POLE_M))
    along, across, up = (float(value) for value in far.ground_m)
    for word, sign in ((side, toward), (other, -toward)):
        yield (
            f'add a marker {ASIDE_M:g} m to the {word} of "{far.name}"',
            added((along, across + sign * ASIDE_M, up)),
        )
    line = sorted(float(marker.ground_m[0]) for marker in seen)
    between = [((a + b) / 2.0, 0.0, 0.0) for a, b in pairwise(line) if b - a > 2.0]
    if between:
        yield "add a marker halfway between every two", added(*between)
