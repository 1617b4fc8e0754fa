"""The adjustment of a site: one camera, its covariance, and the verdict on it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment import (
    Adjustment,
    Limits,
    NotDetermined,
    adjust,
    redundancy_numbers,
    w_values,
)
from calibration.camera import Camera
from calibration.errors import CameraField, InputError, Undetermined
from calibration.site.accuracy import Quantity, bend, flight_quantities, ground_covariances
from calibration.site.bends import bending
from calibration.site.blunders import (
    AGREES,
    ALARM,
    Findings,
    Suspect,
    blunders,
    explained,
    largest_w,
)
from calibration.site.observations import CAMERA_SIZE, Observations, Posed, moved
from calibration.site.sources import parts_of
from calibration.site.stand import Site, check, is_line
from calibration.site.starts import Start, starts
from calibration.site.weakness import Weakness, weakness

Array = NDArray[np.float64]

ALIKE_CHI_SQUARE = 9.0
"""Two solutions whose chi-square differs by less fit equally well: three sigma, squared."""

HANGING_CHI_SQUARE = 25.0
"""Fall of chi-square that makes a camera that hangs upside down the explanation: five sigma."""

THOROUGH, QUICK, ROUGH = Limits(), Limits(iterations=15), Limits(iterations=25, step=0.1)
"""Limits of the final adjustment, of one under a presumed mistake, and of a first iteration."""

BLUNT = 30.0
"""Factor of the pixels' uncertainties in a first iteration; tried on drawn fields."""

LOOSEST_TURN_RAD, LOOSEST_SHIFT_SHARE = 0.2, 0.3
"""Uncertainties of the camera's direction, and of its position as a share of the distance to the
markers, from which on linear propagation means nothing: the camera is undetermined."""

SAME_PLACE_M, SAME_TURN, SAME_ZOOM = 0.05, 0.01, 0.01
"""Position (m), direction (rad) and logarithm of the focal length within which two solutions are
one: far above what iterations leave and far below what distinguishes two."""

ROUGH_BEND = 0.5
"""Departure from linear propagation, as a share, from which on uncertainties are called rough."""


@dataclass(frozen=True)
class Calibration:
    """An adjusted camera, its accuracy and the verdict on its observations.

    Attributes
    ----------
    camera : Camera
        With its covariance.
    camera_parts : mapping of str to ndarray, shape (14, 14)
        That covariance by what it comes from, in the order of `SOURCES`; the parts add up to it.
    markers : tuple of str
        Names of the markers in the order of the arrays below.
    pixels : ndarray, shape (N, 2)
        As picked.
    points_m : ndarray, shape (N, 3)
        Adjusted ground coordinates.
    residuals_px : ndarray, shape (N, 2)
        Picked pixel less the projection of the taped coordinates.
    ground_residuals_m : ndarray, shape (N, 3)
        The smallest shift of the taped point that would bring it under the picked pixel.
    redundancy : ndarray, shape (N, 2)
        How far each picked pixel coordinate is checked by everything else, 0 to 1.
    w : ndarray, shape (N,)
        Largest absolute test value of each marker's observations (Baarda 1968); NaN where
        nothing checks them.
    chi_square, dof, p_value : float, int, float
        Verdict on the whole.
    suspects : tuple of Suspect
        What does not agree with the rest, worst first.
    left_out : str
        Name of the one marker that contradicts all the others and was left out; empty without.
    competing : str
        A sentence where something is wrong and several mistakes explain it; else empty.
    weakest : Weakness
    quantities : tuple of Quantity
        Of a flight along the firing line, with the uncertainty that comes from the camera.
    notes : tuple of str
        Sentences for a person.
    summary : str
        One line: what the calibration allows.
    """

    camera: Camera
    camera_parts: Mapping[str, Array]
    markers: tuple[str, ...]
    pixels: Array
    points_m: Array
    residuals_px: Array
    ground_residuals_m: Array
    redundancy: Array
    w: Array
    chi_square: float
    dof: int
    p_value: float
    suspects: tuple[Suspect, ...]
    weakest: Weakness
    quantities: tuple[Quantity, ...]
    notes: tuple[str, ...]
    summary: str
    left_out: str = ""
    competing: str = ""


class _Unfit(InputError):
    """No place of the camera explains what was picked."""


def solve(site: Site, look_for_mistakes: bool = True) -> Calibration:
    """Turn everything that is known about a camera stand into one camera.

    Parameters
    ----------
    site : Site
    look_for_mistakes : bool
        Whether observations that do not agree are searched for the mistake that explains it: some
        fifty further adjustments. Without, there are no suspects and no marker is left out, for an
        answer while a marker is being moved.

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
    try:
        fit = _best(observations)
        refuse_undetermined(observations, fit)
    except _Unfit as unfit:
        if not look_for_mistakes:
            raise
        error, found = explained(site, _refit)
        solved = _without(site, found)
        if solved is None:
            raise (error or unfit) from None
        return solved
    found = blunders(observations, fit, _refit) if look_for_mistakes else Findings()
    return _without(site, found) or _calibration(*bending(observations, fit, found))


def _without(site: Site, found: Findings) -> Calibration | None:
    """Return the calibration without what contradicts the rest: a straight lens, or a marker."""
    if not (found.left_out or found.wide):
        return None
    rest = tuple(marker for marker in site.markers if marker.name != found.left_out)
    try:
        solved = solve(replace(site, markers=rest, wide=site.wide or found.wide))
    except InputError:
        return None
    if solved.suspects:
        return None
    if found.wide:
        return replace(solved, notes=(*found.notes, *solved.notes))
    note = f"{found.suspects[0].text}; the camera is calibrated without it"
    return replace(
        solved, suspects=found.suspects, notes=(note, *solved.notes), left_out=found.left_out
    )


def _refit(site: Site) -> Adjustment | None:
    """Adjust another site, determined or not; None where nothing fits at all."""
    observations = Observations(site)
    fits: list[Adjustment] = []
    _adjust_into(fits, observations, starts(observations, most=2), QUICK)
    # What agrees explains the site, though markers along one line let the camera drift around it.
    fits = [fit for fit in fits if _is_upright(fit) and (fit.settled or fit.p_value > AGREES)]
    return min(fits, key=lambda fit: fit.chi_square, default=None)


def _best(observations: Observations) -> Adjustment:
    """Adjust from every start and return the best solution that can be true."""
    fits: list[Adjustment] = []
    _adjust_into(fits, observations, starts(observations))
    best = min((fit.chi_square for fit in fits), default=float("inf"))
    if not fits or max(fit.p_value for fit in fits) < ALARM:
        # A hanging camera is tried only where nothing fits well.
        hanging: list[Adjustment] = []
        _adjust_into(hanging, observations, starts(observations, upright=False))
        if any(
            fit.chi_square < best - HANGING_CHI_SQUARE and not _is_upright(fit) for fit in hanging
        ):
            raise _mirrored(observations)
        fits.extend(fit for fit in hanging if _is_upright(fit))
    fits = sorted((fit for fit in fits if _is_upright(fit)), key=lambda fit: fit.chi_square)
    if not fits:
        raise _nowhere()
    best_fit = fits[0]
    for other in fits[1:]:
        if other.chi_square - best_fit.chi_square < ALIKE_CHI_SQUARE and other.settled:
            first, second = (fit.state.camera.position for fit in (best_fit, other))
            # Where all agrees, a flight's fall tells what the markers leave open.
            fault = Undetermined if best_fit.p_value > ALARM else InputError
            raise fault(
                "the markers fit two different places of the camera equally well, "
                f"{_place(first)} and {_place(second)}",
                remedy="tape the camera's position",
            )
    return best_fit


def _adjust_into(
    fits: list[Adjustment],
    observations: Observations,
    guesses: list[Start],
    limits: Limits = THOROUGH,
) -> None:
    """Adjust from each guess and keep the solutions that were not reached before."""
    for guess in guesses:
        state = Posed(guess.camera, observations.taped)
        try:
            if not observations.site.placed:
                # Distance and focal length compensate each other along a narrow, bent valley:
                # larger uncertainties of the pixels widen it.
                blunt = observations.blunted(BLUNT)
                state = adjust(observations.model, state, blunt, move=moved, limits=ROUGH).state
            fit = adjust(
                observations.model, state, observations.uncertainty, move=moved, limits=limits
            )
        except NotDetermined:
            continue
        if all(_differs(fit, other) for other in fits):
            fits.append(fit)


def _is_upright(fit: Adjustment) -> bool:
    return bool(fit.state.camera.rotation[1, 2] < 0)


def _differs(one: Adjustment, other: Adjustment) -> bool:
    """Return whether two fits are two solutions, not one reached twice."""
    mine, theirs = one.state.camera, other.state.camera
    apart = float(np.linalg.norm(mine.position - theirs.position))
    turned = float(np.linalg.norm(mine.rotation - theirs.rotation))
    zoomed = abs(float(np.log(mine.focal_px / theirs.focal_px)))
    return apart > SAME_PLACE_M or turned > SAME_TURN or zoomed > SAME_ZOOM


def _nowhere() -> InputError:
    return _Unfit(
        "no place of the camera brings the markers to where they were picked",
        remedy="check that every marker's pixel belongs to its name, and that across is "
        "positive to the left of the firing line",
    )


def _mirrored(observations: Observations) -> InputError:
    if observations.site.position_m is None:
        return _Unfit(
            "the camera would have to hang upside down to see the markers where they were picked",
            remedy="check that the markers are not named from the wrong end, that across is "
            "positive to the left of the firing line, seen looking downrange, and that the clip "
            "is not mirrored, as a phone's front camera may write it",
        )
    across = observations.site.position_m[1]
    return _Unfit(
        "from its taped position the camera would have to hang upside down to see the markers "
        "where they were picked",
        where=CameraField("position_m"),
        remedy=f"check the sign of its across, {across:g} (positive to the left of the firing "
        "line, seen looking downrange), that the markers are not named from the wrong end, and "
        "that the clip is not mirrored, as a phone's front camera may write it",
    )


def _place(position: Array) -> str:
    return f"[{position[0]:.1f}, {position[1]:.1f}, {position[2]:.1f}]"


def refuse_undetermined(observations: Observations, fit: Adjustment) -> None:
    """Raise `InputError` where the camera's position or direction is undetermined."""
    camera = fit.state.camera
    away = float(np.linalg.norm(observations.taped - camera.position, axis=1).mean())
    turn = float(np.sqrt(np.diag(fit.covariance)[:3].max()))
    shift = float(np.sqrt(np.diag(fit.covariance)[3:6].max()))
    determined = turn < LOOSEST_TURN_RAD and shift < LOOSEST_SHIFT_SHARE * away
    if fit.rank == len(fit.covariance) and determined and fit.settled:
        return
    if fit.p_value < ALARM:
        raise _nowhere()
    what = "what is known does not determine the camera"
    if shift >= LOOSEST_SHIFT_SHARE * away:
        what += f": its position stays open by {shift:.1f} m"
    elif turn >= LOOSEST_TURN_RAD:
        what += f": its direction stays open by {np.degrees(turn):.0f}°"
    remedy = (
        "tape the camera's position"
        if observations.site.position_m is None
        else "pick a marker off the line, or stand a pole of known height at a marker"
        if is_line(observations.taped)
        else "give the field of view, or pick more markers"
    )
    raise Undetermined(what, remedy=remedy)


def _calibration(observations: Observations, fit: Adjustment, found: Findings) -> Calibration:
    """Return the calibration that an adjustment gives."""
    # Disagreement enlarges the covariance (Birge 1932, ratio).
    factor = max(1.0, fit.variance_factor) if fit.p_value < ALARM else 1.0
    whole = factor * (fit.covariance + fit.covariance.T) / 2.0
    camera: Camera = fit.state.camera.with_covariance(whole[:CAMERA_SIZE, :CAMERA_SIZE])
    pixels, by_point, _ = camera.project_with_jacobians(observations.taped)
    misfit = observations.pixels - pixels
    landing = max(10.0, float(observations.taped[:, 0].max()))
    quantities = flight_quantities(camera, landing)
    if not quantities:
        raise InputError(
            "the camera does not look at the firing line",
            remedy="check the markers' coordinates: along runs down the firing line",
        )
    count = len(observations.markers)
    return Calibration(
        camera=camera,
        camera_parts=parts_of(observations, fit, factor),
        markers=tuple(marker.name for marker in observations.markers),
        pixels=observations.pixels,
        points_m=fit.state.points,
        residuals_px=misfit,
        ground_residuals_m=np.einsum("nij,nj->ni", np.linalg.pinv(by_point), misfit),
        redundancy=redundancy_numbers(fit)[: 2 * count].reshape(count, 2),
        w=largest_w(observations, w_values(fit)),
        chi_square=fit.chi_square,
        dof=fit.degrees_of_freedom,
        p_value=fit.p_value,
        suspects=found.suspects,
        weakest=weakness(observations, camera, whole, quantities),
        quantities=quantities,
        notes=(*found.notes, *_notes(observations, fit, camera, landing)),
        summary=_summary(camera, landing),
        competing=found.competing,
    )


def _notes(
    observations: Observations, fit: Adjustment, camera: Camera, landing: float
) -> tuple[str, ...]:
    """Return what else a person should know."""
    site = observations.site
    found = []
    if fit.p_value < ALARM:
        found.append(
            "the uncertainties were enlarged by "
            f"{np.sqrt(max(1.0, fit.variance_factor)):.1f} because the observations do not agree"
        )
    if site.lens is None and site.field_of_view_deg is None:
        width = site.size_px[0]
        own = np.degrees(2.0 * np.arctan(width / 2.0 / camera.focal_px))
        sd = 100.0 * np.sqrt(camera.covariance[6, 6])
        found.append(
            f"no lens and no field of view were given: the markers say {own:.1f}° across the "
            f"frame (focal length to {sd:.1f} %)"
        )
    if site.lens is not None and site.field_of_view_deg is not None:
        found.append("the field of view was not used, because there is a lens")
    lowest = float(observations.taped[:, 2].min())
    if camera.position[2] < lowest:
        found.append(
            f"the camera stands {lowest - camera.position[2]:.1f} m below the lowest marker: "
            "check the height in its position, which is that above the ground at the release"
        )
    if bend(camera, landing) > ROUGH_BEND:
        found.append(
            "what is known determines the camera so loosely that the uncertainties are only rough"
        )
    return tuple(found)


def _summary(camera: Camera, landing: float) -> str:
    point = np.array([[landing, 0.0, 0.0]])
    along, across = 1.96 * np.sqrt(np.diag(ground_covariances(camera, point)[0]))
    return (
        f"a landing at {landing:.0f} m: ±{along:.2f} m along, ±{across:.2f} m across "
        "(95 %, ball placed to half a pixel)"
    )
