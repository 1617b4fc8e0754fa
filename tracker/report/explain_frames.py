"""Reads what the pictures of `measure --explain` show from the clip, which is decoded again."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tracker.records import Candidates, MeasuredShot, RejectedCandidate
from tracker.report.composite import Image, cut
from tracker.report.explain_picture import Explained, Instant, explain_picture
from tracker.video import ClipFacts, from_pictures

Array = NDArray[np.float64]

GROUND_FRAMES = 7
INSTANTS = 12
MOST_RIVALS = 4
LEAST_RIVAL = -50.0
"""Support below which a flight was no rival of a shot in any sense."""

HALF_PX = 16
"""Half the side of a close-up in a frame 1920 pixels wide."""

AROUND_S = 0.3
"""Candidates of so long before and after a flight are shown too."""


@dataclass
class CandidateLog:
    """The candidates of every frame of a clip, without their pictures."""

    times_s: list[Array] = field(default_factory=list)
    pixels: list[Array] = field(default_factory=list)

    def add(self, candidates: Candidates) -> None:
        """Keep where a frame's candidates are."""
        self.times_s.append(np.full(len(candidates.pixels), candidates.time_s))
        self.pixels.append(candidates.pixels)

    def between(self, first_s: float, last_s: float) -> tuple[Array, Array]:
        """Return times, shape (N,), and pixels, shape (N, 2), of the candidates of a time."""
        times = np.concatenate([np.zeros(0), *self.times_s])
        pixels = np.concatenate([np.zeros((0, 2)), *self.pixels])
        during = (times >= first_s) & (times <= last_s)
        return times[during], pixels[during]


def explain(
    facts: ClipFacts,
    log: CandidateLog,
    shots: Sequence[MeasuredShot],
    rejected_candidates: Sequence[RejectedCandidate],
) -> dict[str, bytes]:
    """Return pictures by the ending of their name: one a shot, or one of a clip without any.

    Parameters
    ----------
    facts : ClipFacts
    log : CandidateLog
        Of the same clip.
    shots : sequence of MeasuredShot
    rejected_candidates : sequence of RejectedCandidate
    """
    drawn = {}
    for shot in shots:
        if shot.path is None:
            continue
        span = (float(shot.path.times_s[0]), float(shot.path.times_s[-1]))
        near = [each for each in rejected_candidates if _overlaps(each, span)]
        rivals = _strongest([each for each in near if each.support > LEAST_RIVAL])
        name = f"shot-{shot.shot.shot}-explained.jpg"
        heading = f"Shot {shot.shot.shot} of {shot.shot.clip}: why it was taken for one"
        drawn[name] = _drawn(facts, log, heading, shot, rivals, span)
    if not drawn:
        rivals = _strongest(rejected_candidates)
        whole = (0.0, float(facts.times_s[-1]))
        heading = f"No shot was measured in {facts.path.name}: what came nearest to one"
        drawn["explained.jpg"] = _drawn(facts, log, heading, None, rivals, whole)
    return drawn


def _overlaps(each: RejectedCandidate, span: tuple[float, float]) -> bool:
    shown = each.times_s[np.isfinite(each.pixels).all(axis=1)]
    return bool(len(shown) and shown[0] < span[1] and shown[-1] > span[0])


def _strongest(rivals: Sequence[RejectedCandidate]) -> tuple[RejectedCandidate, ...]:
    return tuple(sorted(rivals, key=lambda each: -each.support)[:MOST_RIVALS])


def _drawn(
    facts: ClipFacts,
    log: CandidateLog,
    heading: str,
    shot: MeasuredShot | None,
    rivals: tuple[RejectedCandidate, ...],
    span: tuple[float, float],
) -> bytes:
    times, pixels = log.between(span[0] - AROUND_S, span[1] + AROUND_S)
    found: set[int] = set()
    way: tuple[Array, Array] | None = None
    strip_of = ""
    if shot is not None and shot.path is not None:
        used = [point for point in shot.points if point.used]
        found = {point.frame for point in used}
        way, strip_of = (shot.path.times_s, shot.path.pixels), "Along the shot's way:"
        if used:
            first, last = used[0].time_s - 0.001, used[-1].time_s + 0.001
            during = np.clip(shot.path.times_s, first, last)
            way = (
                during,
                np.column_stack(
                    [np.interp(during, shot.path.times_s, shot.path.pixels[:, i]) for i in (0, 1)]
                ),
            )
    elif rivals:
        way, strip_of = (rivals[0].times_s, rivals[0].pixels), "Along the way of number 1:"
    began_s = span[0] if shot is not None else (float(way[0][0]) if way is not None else 0.0)
    ground, strip = _pictures(facts, span, way, found, began_s)
    return explain_picture(Explained(heading, ground, times, pixels, shot, rivals, strip, strip_of))


def _pictures(
    facts: ClipFacts,
    span: tuple[float, float],
    way: tuple[Array, Array] | None,
    found: set[int],
    began_s: float,
) -> tuple[Image, tuple[Instant, ...]]:
    """Return what stays in the frame, and close-ups at instants along a way."""
    moments = np.linspace(max(span[0], 0.0), span[1], GROUND_FRAMES)
    ground_frames = {_frame_at(facts, moment) for moment in moments.tolist()}
    half = round(HALF_PX * max(1.0, max(facts.size_px) / 1920))
    tiles: dict[int, tuple[float, Array]] = {}
    if way is not None:
        shown = np.isfinite(way[1]).all(axis=1)
        inside = shown & np.all((way[1] >= 0) & (way[1] < np.array(facts.size_px)), axis=1)
        if np.any(inside):
            times, pixels = way[0][inside], way[1][inside]
            for moment in np.linspace(times[0], times[-1], INSTANTS).tolist():
                frame = _frame_at(facts, moment)
                exact = float(facts.times_s[frame])
                place = np.array([np.interp(exact, times, pixels[:, axis]) for axis in (0, 1)])
                tiles[frame] = (exact - began_s, place)
    grounds: list[Image] = []
    cutouts: dict[int, Image] = {}

    def take(index: int, image: Image) -> None:
        if index in ground_frames:
            grounds.append(image.copy())
        if index in tiles:
            patch = cut(index, image, tiles[index][1], half)
            if patch is not None:
                cutouts[index] = patch.image

    from_pictures(facts, ground_frames | set(tiles), take)
    width, height = facts.size_px
    ground = (
        np.median(np.stack(grounds), axis=0).astype(np.uint8)
        if grounds
        else np.full((height, width, 3), 128, np.uint8)
    )
    strip = tuple(
        Instant(tiles[frame][0], cutouts[frame], frame in found) for frame in sorted(cutouts)
    )
    return ground, strip


def _frame_at(facts: ClipFacts, moment_s: float) -> int:
    return int(np.argmin(np.abs(facts.times_s - moment_s)))
