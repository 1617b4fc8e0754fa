"""Drift of the exit speed over the shots of a clip, beside the predicted sag of the battery."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tracker.comparison.setups import SetupShots
from tracker.comparison.words import rounded
from tracker.records import cells_of, coded
from tracker.statistics.components import Estimate
from tracker.statistics.means import groups_of

FAMILY_ERROR = 0.05
"""Chance of a false drift among all setups that are tested together (common practice)."""

LEAST_SHOTS = 4
"""Shots of one clip below which a drift is not looked for: three leave one degree of freedom."""


@dataclass(frozen=True)
class Drift:
    """Change of a setup's exit speed from one shot of a clip to the next.

    Attributes
    ----------
    name : str
    shots : int
        That it was taken from.
    per_shot : Estimate
        Relative, with its degrees of freedom.
    """

    name: str
    shots: int
    per_shot: Estimate


def drift_of(setup: SetupShots) -> Drift | None:
    """Return the drift of a setup, None where no clip of it has enough shots.

    Notes
    -----
    Least squares on the logarithm of the exit speed against the place of the shot in its clip, one
    slope for all clips of the setup and a height for each: as many degrees of freedom as shots
    less clips less one (J. Neter et al., Applied Linear Statistical Models, analysis of
    covariance; from memory).
    """
    occasions, (files, file_of) = setup.by_occasion[1], coded(cells_of(setup.shots, "clip"))
    # A file of two evenings may have one name.
    known, clips = np.unique(occasions * len(files) + file_of, return_inverse=True)
    order = np.lexsort((setup.column("release_s"), clips))
    clips, speeds = clips[order], setup.figures("exit_speed_mps")[order]
    places = np.arange(clips.size) - np.searchsorted(clips, clips)
    counts = speeds > 0.0
    clips, places, speeds = clips[counts], places[counts], speeds[counts]
    enough = np.bincount(clips, minlength=len(known))[clips] >= LEAST_SHOTS
    _, clips = np.unique(clips[enough], return_inverse=True)
    if not clips.size:
        return None
    x, y = (_centred(each[enough], clips) for each in (places, np.log(speeds)))
    dof, square = x.size - int(clips.max()) - 2, float(x @ x)
    slope = float(x @ y) / square
    variance = float(np.sum((y - slope * x) ** 2)) / dof
    return Drift(setup.name, int(x.size), Estimate(slope, math.sqrt(variance / square), float(dof)))


def _centred(values: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Return values less the mean of their group."""
    return np.asarray(values - groups_of(places, values).means[places])


def drift_sentences(found: Sequence[Drift], predicted: Mapping[str, float]) -> list[str]:
    """Return in words which setups drift, and whether the battery's sag predicts as much.

    Parameters
    ----------
    found : sequence of Drift
    predicted : mapping of str to float
        Relative change of the exit speed a shot as its battery sags, where that is known.
    """
    level = 1.0 - FAMILY_ERROR / max(len(found), 1)
    said = []
    for one in found:
        low, high = one.per_shot.interval(level)
        sag = predicted.get(one.name)
        drifts = low > 0.0 or high < 0.0
        agrees = sag is not None and low <= sag <= high
        if not drifts and (sag is None or agrees):
            continue
        said.append(f"{_measured(one, drifts, level)}; {_beside(sag, agrees)}.")
    return said


def _measured(one: Drift, drifts: bool, level: float) -> str:
    half = 100.0 * one.per_shot.expanded(level)
    size = f"{rounded(100.0 * abs(one.per_shot.value), half)} % ± {rounded(half, half)} %"
    if not drifts:
        return f'The exit speed of "{one.name}" keeps its height over {one.shots} shots ({size})'
    way = "falls" if one.per_shot.value < 0.0 else "rises"
    return (
        f'The exit speed of "{one.name}" {way} by {size} from shot to shot within a clip '
        f"({one.shots} shots)"
    )


def _beside(sag: float | None, agrees: bool) -> str:
    if sag is None:
        return "give [setup.battery] capacity_ah to compare it with the battery's sag"
    share = f"{100.0 * abs(sag):.2g} %"
    if agrees:
        return f"the battery's predicted sag is {share}, which explains it"
    return (
        f"the battery's predicted sag is {share}, which does not explain it: check the battery, a "
        "motor that warms up, rims that polish"
    )
