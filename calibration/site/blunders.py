"""Blunders: data snooping first, then an adjustment under each likely mistake."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from calibration.adjustment import (
    Adjustment,
    critical_w,
    falls_of_chi_square,
    smallest_findable,
    w_values,
)
from calibration.errors import Contradiction, InputError
from calibration.markers import Marker
from calibration.site.mistakes import MOST_MARKERS_TO_SWAP, Mistake, likely_mistakes
from calibration.site.observations import Observations
from calibration.site.stand import Site

ALARM = 0.001
"""Level of the chi-square test of the whole: 0.1 %, Baarda's customary level."""

AGREES = 0.01
"""Chance of chi-square from which a mistake makes everything agree. Common practice, no source."""

CLEAR = 9.0
"""Difference of chi-square by which one explanation is clear of the next: three sigma, squared."""

MOST_TO_LEAVE_OUT = 6
"""Of more markers, those left out in turn: the ones without which chi-square would fall most."""

BLUNT = 30.0
"""Factor of the pixels' uncertainties under which markers that fit no camera are ranked."""

WRONG_LABEL_M = 10.0
"""Error of a wrong label, m: the usual spacing of markers."""

WRONG_POSITION_M = 1.0
"""Error of the camera's taped position that should not go unnoticed, m."""

Refit = Callable[[Site], Adjustment | None]


@dataclass(frozen=True)
class Suspect:
    """A marker, or another statement, that does not agree with the rest.

    Attributes
    ----------
    name : str
        The marker's name; "camera position" or "field of view" for those.
    w : float
        Largest test value of its observations (Baarda 1968), standard normal when all is well.
    text : str
        What is probably wrong, as a sentence.
    """

    name: str
    w: float
    text: str


@dataclass(frozen=True)
class Findings:
    """What the search for blunders found.

    Attributes
    ----------
    suspects : tuple of Suspect
    notes : tuple of str
    left_out : str
        The one marker without which everything agrees, where that is the only explanation; else
        empty.
    competing : str
        The explanations in a sentence where there are several; else empty.
    wide : bool
        Whether a lens that bends straight lines explains everything, and nobody erred.
    """

    suspects: tuple[Suspect, ...] = ()
    notes: tuple[str, ...] = ()
    left_out: str = ""
    competing: str = ""
    wide: bool = False


def blunders(observations: Observations, fit: Adjustment, refit: Refit) -> Findings:
    """Return the suspected blunders of a site that was adjusted.

    Parameters
    ----------
    observations : Observations
    fit : Adjustment
    refit : callable
        Adjusts another site; None where that has no solution.
    """
    w = w_values(fit)
    largest = np.nanmax(np.abs(w), initial=0.0)
    if fit.p_value >= ALARM and largest < critical_w(len(w), ALARM):
        return Findings(notes=_blind_spots(observations, fit))
    doubtful = _doubtful(observations, fit)
    found, clear = _explanations(observations.site, doubtful, refit, fit.chi_square)
    if not found:
        note = (
            f"the observations do not agree within their uncertainties (chi-square "
            f"{fit.chi_square:.0f} with {fit.degrees_of_freedom} degrees of freedom), and no "
            "single marker explains it: look at every marker's pixel and coordinates"
        )
        return Findings(notes=(note,))
    if found[0].widens:
        return Findings(notes=(found[0].text,), wide=True)
    named = tuple(
        Suspect(name, _largest_w(observations, w, name), mistake.text)
        for mistake in (found[:1] if clear else found)
        for name in mistake.names
    )
    if not clear:
        return Findings(named, (_unclear(found),), competing=_unclear(found))
    note = f"{found[0].text}; without that everything agrees"
    return Findings(named, (note,), left_out=found[0].leaves_out)


def explained(site: Site, refit: Refit) -> tuple[InputError | None, Findings]:
    """Return the mistakes that keep a site from being solved, as an error and as findings.

    The error is None where no mistake explains it.
    """
    found, clear = _explanations(site, _doubtful_of_none(site, refit), refit, float("inf"))
    if not found:
        return None, Findings()
    if not clear:
        remedy = "look at these, and pick one more marker"
        doubted = tuple(dict.fromkeys(name for mistake in found for name in mistake.names))
        error = Contradiction(_unclear(found), remedy=remedy, names=doubted)
        return error, Findings(competing=_unclear(found))
    best = found[0]
    if best.widens:
        return None, Findings(notes=(best.text,), wide=True)
    named = tuple(Suspect(name, float("nan"), best.text) for name in best.names)
    note = f"{best.text}; without that everything agrees"
    remedy = "correct it or leave it out" if best.leaves_out else "correct it"
    error = Contradiction(best.text, remedy=remedy, names=best.names)
    return error, Findings(named, (note,), left_out=best.leaves_out)


def _unclear(mistakes: list[Mistake]) -> str:
    texts = "; or ".join(mistake.text for mistake in mistakes)
    return f"something is wrong, and the markers do not show what: {texts}"


def _doubtful(observations: Observations, fit: Adjustment) -> tuple[Marker, ...]:
    """Return the markers to leave out in turn: all of few, the worst of many."""
    markers = observations.markers
    if len(markers) <= MOST_MARKERS_TO_SWAP:
        return markers
    owner = np.array([row.marker for row in observations.rows])
    kinds = np.array([row.kind for row in observations.rows])
    pixels = [np.flatnonzero((owner == i) & (kinds == "pixel")) for i in range(len(markers))]
    falls = np.nan_to_num(falls_of_chi_square(fit, pixels))
    return tuple(markers[at] for at in np.argsort(-falls)[:MOST_TO_LEAVE_OUT])


def _doubtful_of_none(site: Site, refit: Refit) -> tuple[Marker, ...]:
    """Return the markers to leave out in turn where no camera fits them all."""
    if len(site.picked) <= MOST_MARKERS_TO_SWAP:
        return site.picked
    blunt = tuple(replace(m, pixel_u=BLUNT * m.pixel_u) for m in site.picked)
    fit = refit(replace(site, markers=blunt))
    if fit is None:
        return ()
    names = {m.name for m in _doubtful(Observations(replace(site, markers=blunt)), fit)}
    return tuple(marker for marker in site.picked if marker.name in names)


def _explanations(
    site: Site, doubtful: tuple[Marker, ...], refit: Refit, chi_square: float
) -> tuple[list[Mistake], bool]:
    """Return the mistakes that make everything agree, best first, and whether one is clear."""
    tried = []
    for mistake in likely_mistakes(site, doubtful):
        fit = refit(mistake.site)
        if fit is not None and fit.degrees_of_freedom > 0:
            tried.append((fit.chi_square, fit.p_value, mistake))
    good = [
        (cost, mistake)
        for cost, chance, mistake in tried
        if chance > AGREES and cost < chi_square - CLEAR
    ]
    good.sort(key=lambda pair: pair[0])
    near = [mistake for cost, mistake in good if cost < good[0][0] + CLEAR]
    # A mistake that explains all and keeps every observation beats one that drops some.
    whole = [mistake for mistake in near if mistake.keeps_all]
    # A wide lens bends much else into shape, but never so well as what is truly wrong.
    if whole and whole[0].widens:
        return whole[:1], True
    whole = [mistake for mistake in whole if not mistake.widens]
    rest = [mistake for mistake in near if not mistake.widens]
    near = [mistake for mistake in near if mistake.evident] or whole or rest
    return near[:4], len(near) == 1


def largest_w(observations: Observations, w: np.ndarray) -> np.ndarray:
    """Return the largest absolute test value of each marker's observations, shape (N,)."""
    return np.array([_largest_w(observations, w, one.name) for one in observations.markers])


def _largest_w(observations: Observations, w: np.ndarray, name: str) -> float:
    kinds = {"camera position": "position", "field of view": "view", "lens": "lens"}
    names = [marker.name for marker in observations.markers]
    mine = [
        i
        for i, row in enumerate(observations.rows)
        if (row.marker >= 0 and names[row.marker] == name) or row.kind == kinds.get(name)
    ]
    values = np.abs(w[mine])
    return float(np.nanmax(values)) if np.any(np.isfinite(values)) else float("nan")


def _blind_spots(observations: Observations, fit: Adjustment) -> tuple[str, ...]:
    """Return notes on mistakes that no test would detect."""
    smallest = smallest_findable(fit)
    notes = []
    unseen = [
        observations.markers[row.marker].name
        for i, row in enumerate(observations.rows)
        if row.kind == "tape" and row.axis == "along" and smallest[i] > WRONG_LABEL_M
    ]
    if unseen and len(unseen) == len(observations.markers):
        notes.append(
            "the markers cannot check each other: a wrong label would not be noticed; pick one "
            "more marker"
        )
    elif unseen:
        names = ", ".join(f'"{name}"' for name in unseen)
        notes.append(f"nothing would notice a wrong label of marker {names}; pick one more marker")
    open_m = [smallest[i] for i, row in enumerate(observations.rows) if row.kind == "position"]
    if open_m and max(open_m) > WRONG_POSITION_M:
        notes.append(
            "nothing checks the camera's taped position: an error of "
            f"{WRONG_POSITION_M:g} m would not be noticed; tape it once more, from another marker"
        )
    return tuple(notes)
