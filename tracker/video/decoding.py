"""Decoding: packets to frames with their index, also where some are lost."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import chain, dropwhile, islice, takewhile

import numpy as np
from av.container import InputContainer
from av.error import EOFError as EndOfFile
from av.error import FFmpegError
from av.video.frame import VideoFrame
from av.video.stream import VideoStream
from numpy.typing import NDArray

from calibration.errors import InputError
from tracker.video.ahead import in_one_thread
from tracker.video.facts import ClipFacts
from tracker.video.listing import open_clip

Span = tuple[int, int]
"""First and last index of a run of frames."""

KEYS_TRIED = 3
"""Key frames before a run that are tried: the index of some files leads astray."""

_READ_ERRORS = 20
"""Failures to read in a row that end a clip (common practice, no source)."""


@dataclass
class Damage:
    """What was lost while decoding."""

    facts: ClipFacts
    spoilt: set[int] = field(default_factory=set)
    waiting: set[int] = field(default_factory=set)
    seen: NDArray[np.bool_] = field(init=False)
    doubtful: int = 0
    broke_off: bool = False

    def __post_init__(self) -> None:
        self.seen = np.zeros(self.facts.frame_count, dtype=bool)
        groups = self.facts.listing.groups
        keys = self.facts.listing.keys
        self.key_of_group = {int(groups[i]): int(i) for i in np.flatnonzero(keys)}

    def spoil(self, indices: Iterable[int]) -> None:
        """Mark all frames as suspect that depend on the same key frames as `indices`."""
        self.spoilt.update(int(self.facts.listing.groups[i]) for i in indices)

    def came(self, index: int, corrupt: bool) -> bool:
        """Note that a frame came; return whether it is suspect."""
        skipped = [i for i in self.waiting if i < index]
        if skipped:
            self.spoil(skipped)
            self.waiting.difference_update(skipped)
        self.waiting.discard(index)
        self.seen[index] = True
        if corrupt:
            self.spoil([index])
        group = int(self.facts.listing.groups[index])
        # Frames shown before their key frame depend on the group before it as well.
        leads = index < self.key_of_group.get(group, -1) and group - 1 in self.spoilt
        suspect = group in self.spoilt or leads
        self.doubtful += suspect
        return suspect

    def sentences(self) -> list[str]:
        """Say what was lost."""
        found = []
        lost = np.flatnonzero(~self.seen)
        times = self.facts.file_times_s
        if len(lost):
            first, last = times[lost[0]], times[lost[-1]]
            span = (
                f"at {first:.2f} s" if len(lost) == 1 else f"between {first:.2f} and {last:.2f} s"
            )
            found.append(
                f"{len(lost)} of {self.facts.frame_count} frames could not be read, {span}; the "
                "rest is used."
            )
        if self.doubtful:
            found.append(
                f"{self.doubtful} frames may be damaged, since something before them was lost; "
                "they are marked."
            )
        if self.broke_off:
            found.append("The file breaks off while being read.")
        return found


def film(container: InputContainer, facts: ClipFacts) -> VideoStream:
    """Return the clip's film track, set to decode with as many threads as help."""
    stream = container.streams[facts.listing.stream_index]
    assert isinstance(stream, VideoStream)
    if in_one_thread():
        stream.thread_count = 1
    else:
        stream.thread_type = "AUTO"
    return stream


def indexed(
    container: InputContainer, stream: VideoStream, damage: Damage
) -> Iterator[tuple[int, VideoFrame, bool]]:
    """Yield index, frame, and whether it is suspect, of every frame that the file lists."""
    facts = damage.facts
    listing = facts.listing
    last = -1
    ahead: int | None = None
    for frame in decoded(container, stream, damage):
        if listing.by_order:
            # Times of storing run ahead of those of showing by a constant number of frames.
            stored = listing.index_of(frame.dts)
            ahead = stored if ahead is None else ahead
            index = max(last + 1, stored - ahead)
        else:
            index = listing.index_of(frame.pts)
        if index <= last or index >= facts.frame_count:
            continue
        if (frame.width, frame.height) != facts.stored_size_px:
            was = "{} x {}".format(*facts.stored_size_px)
            raise InputError(
                f"the picture changes its size from {was} to {frame.width} x {frame.height} at "
                f"{facts.file_times_s[index]:.2f} s",
                where=str(facts.path),
                remedy="cut the clip there, and use the parts as two clips",
            )
        last = index
        yield index, frame, damage.came(index, bool(frame.is_corrupt))


def within(facts: ClipFacts, span: Span) -> Iterator[tuple[int, VideoFrame, bool]]:
    """Yield a clip's first frame and a run of frames, read from the nearest key frame on."""
    first, last = max(span[0], 1), span[1]
    with open_clip(facts.path) as container:
        stream = film(container, facts)
        yield from islice(indexed(container, stream, Damage(facts)), 1)
        keys = np.flatnonzero(facts.listing.keys[: first + 1])[::-1][:KEYS_TRIED]
        for key in () if facts.listing.by_order else keys:
            try:
                container.seek(int(facts.listing.ticks[key]), stream=stream, backward=True)
            except FFmpegError:
                continue
            run = indexed(container, stream, Damage(facts))
            begun = next(run, None)
            # The file's index may lead past the frame that was asked for.
            if begun is not None and begun[0] <= first:
                yield from _cut(chain([begun], run), first, last)
                return
    with open_clip(facts.path) as container:
        stream = film(container, facts)
        yield from _cut(indexed(container, stream, Damage(facts)), first, last)


def _cut(
    run: Iterable[tuple[int, VideoFrame, bool]], first: int, last: int
) -> Iterator[tuple[int, VideoFrame, bool]]:
    return takewhile(lambda one: one[0] <= last, dropwhile(lambda one: one[0] < first, run))


def decoded(container: InputContainer, stream: VideoStream, damage: Damage) -> Iterator[VideoFrame]:
    """Yield decoded frames, going on after what cannot be decoded."""
    listing = damage.facts.listing
    failures = 0
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except (StopIteration, EndOfFile):
            return
        except FFmpegError:
            failures += 1
            damage.spoil(damage.waiting)
            if failures > _READ_ERRORS:
                damage.broke_off = True
                yield from stream.decode(None)
                return
            packets = container.demux(stream)
            continue
        failures = 0
        index = listing.index_of(packet.dts if listing.by_order else packet.pts)
        if index >= 0:
            damage.waiting.add(index)
        if packet.is_corrupt and damage.facts.missing_bytes:
            # The picture in which the file breaks off: its failure would take along those that
            # the decoder's threads still hold.
            continue
        try:
            yield from packet.decode()
        except FFmpegError:
            damage.spoil(damage.waiting)
