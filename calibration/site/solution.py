"""The adjustment of a site: one camera, its covariance, and what to think of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import Adjustment, NotDetermined, adjust
from calibration.camera import Camera
from calibration.errors import InputError
from calibration.site.accuracy import ground_covariances
from calibration.site.observations import CAMERA_SIZE, Observations, Posed, moved
from calibration.site.stand import Site, check, is_line
from calibration.site.starts import starts
from calibration.site.weakness import Weakness, weakness

Array = NDArray[np.float64]

ALIKE_CHI_SQUARE = 9.0
"""Two solutions whose chi-square differs by less fit about equally well (3 sigma)."""


@dataclass(frozen=True)
class Suspect:
    """A marker that does not agree with the rest, and by how many standard uncertainties."""

    name: str
    w: float


@dataclass(frozen=True)
class Calibration:
    """An adjusted camera and everything there is to say about it.

    Attributes
    ----------
    camera : Camera
        With its covariance.
    markers : tuple of str
        Names of the markers in the order of the arrays below.
    points_m : ndarray, shape (N, 3)
        Adjusted ground coordinates.
    residuals_px : ndarray, shape (N, 2)
        Picked pixel less the projection of the taped coordinates.
    ground_residuals_m : ndarray, shape (N, 3)
        The smallest shift of the taped point that would bring it under the picked pixel.
    redundancy : ndarray, shape (N, 2)
        How far each picked pixel coordinate is checked by everything else, 0 to 1.
    chi_square, dof, p_value : float, int, float
        Verdict on the whole.
    suspects : tuple of Suspect
        Markers that do not agree with the rest, worst first.
    weakest : Weakness
    notes : tuple of str
        Sentences for a person.
    summary : str
        One line: what the calibration allows.
    """

    camera: Camera
    markers: tuple[str, ...]
    points_m: Array
    residuals_px: Array
    ground_residuals_m: Array
    redundancy: Array
    chi_square: float
    dof: int
    p_value: float
    suspects: tuple[Suspect, ...]
    weakest: Weakness
    notes: tuple[str, ...]
    summary: str


def solve(site: Site) -> Calibration:
    """Turn everything that is known about a camera stand into one camera.

    Parameters
    ----------
    site : Site

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        With one clear sentence for each thing that cannot work.
    """
    check(site)
    observations = Observations(site)
    fit = _best(observations)
    _refuse_undetermined(observations, fit)
    return _told(observations, fit)


def _best(observations: Observations) -> Adjustment:
    """Adjust from every start and return the best solution that can be true."""
    fits: list[Adjustment] = []
    for start in starts(observations):
        try:
            fit = adjust(
                observations.model,
                Posed(start.camera, observations.taped),
                observations.uncertainty,
                move=moved,
            )
        except NotDetermined:
            continue
        if all(_differs(fit, other) for other in fits):
            fits.append(fit)
    upright = [fit for fit in fits if fit.state.camera.rotation[1, 2] < 0]
    hanging = [fit for fit in fits if fit.state.camera.rotation[1, 2] >= 0]
    if not upright:
        raise (
            _mirrored(observations)
            if hanging
            else InputError(
                "no place of the camera brings the markers to where they were picked",
                remedy="check that every marker's pixel belongs to its name, and that across is "
                "positive to the left of the firing line",
            )
        )
    upright.sort(key=lambda fit: fit.chi_square)
    best = upright[0]
    if hanging and min(fit.chi_square for fit in hanging) < best.chi_square - 25.0:
        raise _mirrored(observations)
    if len(upright) > 1 and upright[1].chi_square - best.chi_square < ALIKE_CHI_SQUARE:
        first, second = (fit.state.camera.position for fit in upright[:2])
        raise InputError(
            "the markers fit two different places of the camera equally well, "
            f"{_place(first)} and {_place(second)}",
            remedy="tape the camera's position",
        )
    return best


def _differs(one: Adjustment, other: Adjustment) -> bool:
    """Tell whether two fits are two solutions, not one reached twice."""
    mine, theirs = one.state.camera, other.state.camera
    apart = float(np.linalg.norm(mine.position - theirs.position))
    turned = float(np.linalg.norm(mine.rotation - theirs.rotation))
    zoomed = abs(float(np.log(mine.focal_px / theirs.focal_px)))
    return apart > 0.05 or turned > 0.01 or zoomed > 0.01


def _mirrored(observations: Observations) -> InputError:
    if observations.site.position_m is None:
        return InputError(
            "the camera would have to hang upside down to see the markers where they were picked",
            remedy="check that along and across of the markers are not mirrored: across is "
            "positive to the left of the firing line, seen looking downrange",
        )
    across = observations.site.position_m[1]
    return InputError(
        "from its taped position the camera would have to hang upside down to see the markers "
        "where they were picked",
        where="camera, position_m",
        remedy=f"check the sign of its across, {across:g}: it is positive to the left of the "
        "firing line, seen looking downrange",
    )


def _place(position: Array) -> str:
    return f"[{position[0]:.1f}, {position[1]:.1f}, {position[2]:.1f}]"


def _refuse_undetermined(observations: Observations, fit: Adjustment) -> None:
    camera = fit.state.camera
    away = float(np.linalg.norm(observations.taped - camera.position, axis=1).mean())
    turn = float(np.sqrt(np.diag(fit.covariance)[:3].max()))
    shift = float(np.sqrt(np.diag(fit.covariance)[3:6].max()))
    if fit.rank == len(fit.covariance) and turn < 0.2 and shift < 0.3 * away and fit.settled:
        return
    line = is_line(observations.taped)
    what = "what is known does not fix the camera"
    if shift >= 0.3 * away:
        what += f": its position stays open by {shift:.1f} m"
    elif turn >= 0.2:
        what += f": its direction stays open by {np.degrees(turn):.0f}°"
    remedy = (
        "tape the camera's position"
        if observations.site.position_m is None
        else "pick a marker off the line, or stand a pole of known height at a marker"
        if line
        else "give the field of view, or pick more markers"
    )
    raise InputError(what, remedy=remedy)


def _told(observations: Observations, fit: Adjustment) -> Calibration:
    from calibration.adjustment import redundancy_numbers

    bare: Camera = fit.state.camera
    covariance = fit.covariance[:CAMERA_SIZE, :CAMERA_SIZE]
    camera = bare.with_covariance((covariance + covariance.T) / 2.0)
    pixels, by_point, _ = camera.project_with_jacobians(observations.taped)
    misfit = observations.pixels - pixels
    shift = np.einsum("nij,nj->ni", np.linalg.pinv(by_point), misfit)
    landing = np.array([max(10.0, float(observations.taped[:, 0].max())), 0.0, 0.0])
    count = len(observations.markers)
    return Calibration(
        camera=camera,
        markers=tuple(marker.name for marker in observations.markers),
        points_m=fit.state.points,
        residuals_px=misfit,
        ground_residuals_m=shift,
        redundancy=redundancy_numbers(fit)[: 2 * count].reshape(count, 2),
        chi_square=fit.chi_square,
        dof=fit.degrees_of_freedom,
        p_value=fit.p_value,
        suspects=(),
        weakest=weakness(camera, landing),
        notes=(),
        summary=_summary(camera, landing),
    )


def _summary(camera: Camera, landing: Array) -> str:
    along, across = 1.96 * np.sqrt(np.diag(ground_covariances(camera, landing[None, :])[0]))
    return (
        f"a landing at {landing[0]:.0f} m: ±{along:.2f} m along, ±{across:.2f} m across "
        "(95 %, ball placed to half a pixel)"
    )
