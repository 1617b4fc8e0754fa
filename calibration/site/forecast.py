"""Covariance of a camera before its calibration."""

from dataclasses import replace

import numpy as np

from calibration.adjustment import NotDetermined, adjust
from calibration.camera import Camera, looking_at
from calibration.errors import InputError
from calibration.markers import Marker
from calibration.site.bends import bending
from calibration.site.blunders import Findings
from calibration.site.drawing import visible
from calibration.site.observations import CAMERA_SIZE, Observations, Posed, moved, usual_focal_px
from calibration.site.solution import refuse_undetermined
from calibration.site.sources import parts_of
from calibration.site.stand import Array, Site, check

EDGE_SHARE = 0.01
"""Markers nearer to the frame's edge than this share of its longer side are left out: no camera is
aimed more closely (common practice, no source)."""


def camera_at(site: Site, position: Array, target: Array) -> Camera:
    """Return a site's camera as it will be, standing level at a place and aimed at another.

    The lens is that of the site; without one the field of view, and without that a phone's.

    Parameters
    ----------
    site : Site
    position, target : ndarray, shape (3,)
        Ground coordinates, m.
    """
    if site.lens is not None:
        lens = site.lens
        camera = looking_at(position, target, lens.focal_px, site.size_px, 0.0, lens.distortion)
        return replace(camera, centre_px=lens.centre_px)
    focal = usual_focal_px(site.size_px)
    if site.field_of_view_deg is not None:
        # Outermost edges to edges: the frame is as wide as it has columns.
        focal = site.size_px[0] / 2.0 / np.tan(np.radians(site.field_of_view_deg) / 2.0)
    return looking_at(position, target, float(focal), site.size_px)


def markers_in_view(site: Site, camera: Camera) -> tuple[Marker, ...]:
    """Return the site's markers that a camera sees well inside, each with the pixel where."""
    if not site.markers:
        return ()
    points = np.array([marker.ground_m for marker in site.markers])
    pixels, edge = camera.project(points), EDGE_SHARE * max(site.size_px)
    with np.errstate(invalid="ignore"):
        inside = np.all((pixels > edge) & (pixels < np.array(site.size_px) - 1 - edge), axis=1)
    return tuple(
        replace(marker, pixel=pixel)
        for marker, pixel, sees in zip(
            site.markers, pixels, inside & visible(camera, points), strict=True
        )
        if sees
    )


def forecast_camera(site: Site, camera: Camera) -> tuple[Camera, dict[str, Array]]:
    """Return a camera with the predicted covariance of its calibration, and its parts.

    Every marker in view counts as picked where it will be seen. The covariance of an adjustment
    depends on how the observations are made and not on their values, so it is known before
    (E. M. Mikhail, Observations and Least Squares, 1976, on pre-analysis;
    from memory).

    Parameters
    ----------
    site : Site
        What will be known; of the camera's position only whether and how well it will be taped.
    camera : Camera
        As it will stand.

    Returns
    -------
    camera : Camera
    parts : dict of str to ndarray, shape (14, 14)
        Its covariance by what it comes from, as in `calibration.site.Calibration`.

    Raises
    ------
    InputError
        With one clear sentence where so little would not fix a camera.
    """
    known = replace(
        site,
        markers=markers_in_view(site, camera),
        position_m=None if site.position_m is None else camera.position,
    )
    needed = 2 if known.position_m is not None else 3
    if len(known.markers) < needed:
        raise InputError(
            f"the camera would see {len(known.markers)} of the {len(site.markers)} markers, and "
            f"{needed} are needed" + ("" if needed == 2 else " where its position is not taped"),
            remedy="move it farther off, aim it elsewhere or place more markers",
        )
    check(known)
    observations = Observations(known)
    try:
        fit = adjust(
            observations.model,
            Posed(camera, observations.taped),
            observations.uncertainty,
            move=moved,
        )
    except NotDetermined:
        raise InputError(
            "the markers in view would not fix the camera",
            remedy="place one off the line, or tape the camera's position",
        ) from None
    refuse_undetermined(observations, fit)
    observations, fit, _ = bending(observations, fit, Findings())
    whole = fit.covariance[:CAMERA_SIZE, :CAMERA_SIZE]
    known_camera = camera.with_covariance((whole + whole.T) / 2.0)
    return known_camera, parts_of(observations, fit, 1.0)
