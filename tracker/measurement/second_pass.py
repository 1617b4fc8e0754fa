"""A second pass through a clip, for a closer look near the flights that a first one found."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.detection import CandidateFinder, SearchSettings
from tracker.measurement.scouting import Scouted
from tracker.measurement.steadying import Steadier
from tracker.records import Candidates, Cutouts
from tracker.video import ClipFacts, frames

Near = Callable[[Candidates], NDArray[np.bool_]]


@dataclass(frozen=True)
class Ahead:
    """When and where a flight is looked for.

    Attributes
    ----------
    begin_s, end_s : float
        True times in the clip.
    near : callable
        Tells which of a frame's candidates are kept.
    """

    begin_s: float
    end_s: float
    near: Near


def look_again(
    facts: ClipFacts,
    camera: Camera,
    scouted: Scouted,
    look: SearchSettings,
    flights: Sequence[Ahead],
    progress: Callable[[int, int], None] | None,
) -> list[list[Candidates]]:
    """Pass through a clip again and keep, for each flight, the candidates near it.

    Parameters
    ----------
    facts : ClipFacts
    camera : Camera
        Any that looks as the one that filmed might, to take its shaking out.
    scouted : Scouted
        Of the first pass, for the times of the frames.
    look : SearchSettings
    flights : sequence of Ahead
    progress : callable, optional
    """
    frame_s = 1.0 / (facts.file_fps * facts.pace)
    finder, steadier = CandidateFinder(look), Steadier(camera, frame_s)
    gathered: list[list[Candidates]] = [[] for _ in flights]
    # Before a flight the finder learns how restless the picture is.
    lead = (2 * look.lag + 12) * frame_s
    for frame in frames(facts):
        if progress is not None and frame.index % 8 == 0:
            progress(frame.index, facts.frame_count)
        if scouted.repeats is not None and scouted.repeats[frame.index]:
            continue
        time_s = float(scouted.times_s[frame.index])
        steadier.see(frame.index, frame.luma)
        if not any(flight.begin_s - lead <= time_s <= flight.end_s for flight in flights):
            continue
        candidates = finder.push(frame.index, time_s, frame.luma, frame.blueness)
        if candidates is None:
            continue
        candidates = steadier.steadied(candidates)
        for flight, kept in zip(flights, gathered, strict=True):
            if flight.begin_s - lead <= candidates.time_s <= flight.end_s:
                kept.append(part(candidates, flight.near(candidates)))
    if progress is not None:
        progress(facts.frame_count, facts.frame_count)
    return gathered


def part(candidates: Candidates, kept: NDArray[np.bool_]) -> Candidates:
    """Return the chosen candidates of a frame."""
    rows, tint = np.flatnonzero(kept), candidates.blueness
    return Candidates(
        candidates.frame,
        candidates.time_s,
        candidates.pixels[rows],
        candidates.strength[rows],
        Cutouts(candidates.luma.patches[rows], candidates.luma.corners[rows]),
        None if tint is None else Cutouts(tint.patches[rows], tint.corners[rows]),
        candidates.turn_rad,
    )
