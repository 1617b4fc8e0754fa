"""Frames in order with true times, and single pictures."""

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from av.container import InputContainer
from av.error import EOFError as EndOfFile
from av.error import FFmpegError
from av.video.frame import VideoFrame
from av.video.stream import VideoStream
from numpy.typing import NDArray

from calibration.errors import InputError
from tracker.video.facts import ClipFacts
from tracker.video.listing import open_clip
from tracker.video.pixels import Image, colour, luma

Taken = TypeVar("Taken")

_READ_ERRORS = 20
"""So many failures to read in a row end a clip."""


@dataclass(frozen=True)
class Frame:
    """One frame as a person is shown it.

    Attributes
    ----------
    index : int
        Place among the frames that the file lists.
    time_s : float
        True seconds from the clip's first frame.
    file_time_s : float
        Time on the file's own clock.
    luma : ndarray of uint8, shape (height, width)
        Read-only; rotated as the file asks.
    suspect : bool
        True when the picture may be damaged: something was lost since the last key frame.
    """

    index: int
    time_s: float
    file_time_s: float
    luma: Image
    suspect: bool


@dataclass
class _Damage:
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
        """Hold everything suspect that is decoded from the same key frames as `indices`."""
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
        # Frames shown before their key frame lean on the group before it as well.
        leads = index < self.key_of_group.get(group, -1) and group - 1 in self.spoilt
        suspect = group in self.spoilt or leads
        self.doubtful += suspect
        return suspect

    def sentences(self) -> list[str]:
        """Say what was lost."""
        told = []
        lost = np.flatnonzero(~self.seen)
        times = self.facts.file_times_s
        if len(lost):
            told.append(
                f"{len(lost)} of {self.facts.frame_count} frames could not be read, between "
                f"{times[lost[0]]:.2f} and {times[lost[-1]]:.2f} s; the rest is used."
            )
        if self.doubtful:
            told.append(
                f"{self.doubtful} frames may be damaged, since something before them was lost; "
                "they are marked."
            )
        if self.broke_off:
            told.append("The file breaks off while being read.")
        return told


def frames(facts: ClipFacts, *, on_note: Callable[[str], None] | None = None) -> Iterator[Frame]:
    """Decode a clip once, from its first frame to its last.

    Parameters
    ----------
    facts : ClipFacts
        From `inspect`.
    on_note : callable, optional
        Told, once at the end, a sentence for each kind of loss.

    Yields
    ------
    Frame
        Its luma is the decoder's own memory where the picture needs no turning: hold as few
        frames as possible, and never write into one.

    Raises
    ------
    InputError
        When the size of the picture changes, or no frame at all can be decoded.
    """
    damage = _Damage(facts)
    true_times = facts.times_s
    with open_clip(facts.path) as container:
        stream = _film(container, facts)
        for index, frame, suspect in _indexed(container, stream, damage):
            yield Frame(
                index=index,
                time_s=float(true_times[index]),
                file_time_s=float(facts.file_times_s[index]),
                luma=luma(frame, facts.rotation_deg, facts.size_px),
                suspect=suspect,
            )
    if not damage.seen.any():
        raise InputError("not one frame of the video can be decoded", where=str(facts.path))
    if on_note is not None:
        for sentence in damage.sentences():
            on_note(sentence)


def picture(facts: ClipFacts, index: int) -> Image:
    """Return one frame as shown, in blue, green, red, shape (height, width, 3).

    Raises
    ------
    InputError
        When the clip has no such frame, or the frame cannot be decoded.
    """
    return pictures(facts, [index])[index]


def pictures(facts: ClipFacts, indices: Iterable[int]) -> dict[int, Image]:
    """Return several frames as shown, by index, in one pass.

    Raises
    ------
    InputError
        When the clip has no such frame, or one of them cannot be decoded.
    """
    wanted = sorted({int(index) for index in indices})
    found = from_pictures(facts, wanted, lambda _, image: image)
    missing = [index for index in wanted if index not in found]
    if missing:
        raise InputError(
            f"frame {missing[0]} cannot be decoded", where=str(facts.path), remedy="choose another"
        )
    return found


def from_pictures(
    facts: ClipFacts, indices: Iterable[int], take: Callable[[int, Image], Taken]
) -> dict[int, Taken]:
    """Return what `take` makes of each of several frames, by index, in one pass.

    Only one frame is held at a time, so that many can be looked at in little memory.

    Parameters
    ----------
    facts : ClipFacts
    indices : iterable of int
    take : callable
        Given a frame's index and its picture as from `picture`.

    Returns
    -------
    dict
        Without the frames that cannot be decoded.

    Raises
    ------
    InputError
        When the clip has no such frame.
    """
    wanted = sorted({int(index) for index in indices})
    for index in wanted:
        if not 0 <= index < facts.frame_count:
            raise InputError(
                f"there is no frame {index}",
                where=str(facts.path),
                remedy=f"the clip's frames are numbered 0 to {facts.frame_count - 1}",
            )
    found: dict[int, Taken] = {}
    with open_clip(facts.path) as container:
        stream = _film(container, facts)
        for run in _runs(facts, wanted):
            found.update(_taken_from_run(container, stream, facts, run, take))
    return found


def decode_only(facts: ClipFacts) -> float:
    """Return the seconds that it takes to decode the clip with its pixels untouched."""
    began = time.perf_counter()
    with open_clip(facts.path) as container:
        for _ in _decoded(container, _film(container, facts), _Damage(facts)):
            pass
    return time.perf_counter() - began


def _film(container: InputContainer, facts: ClipFacts) -> VideoStream:
    """Return the clip's film track, set to decode with as many threads as help."""
    stream = container.streams[facts.listing.stream_index]
    assert isinstance(stream, VideoStream)
    stream.thread_type = "AUTO"
    return stream


def _indexed(
    container: InputContainer, stream: VideoStream, damage: _Damage
) -> Iterator[tuple[int, VideoFrame, bool]]:
    """Yield index, frame, and whether it is suspect, of every frame that the file lists."""
    facts = damage.facts
    places = facts.listing.index_by_ticks()
    last = -1
    ahead: int | None = None
    for frame in _decoded(container, stream, damage):
        if facts.listing.by_order:
            # Times of storing run ahead of those of showing by a constant number of frames.
            stored = -1 if frame.dts is None else places.get(frame.dts, -1)
            ahead = stored if ahead is None else ahead
            index = max(last + 1, stored - ahead)
        else:
            index = -1 if frame.pts is None else places.get(frame.pts, -1)
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


def _decoded(
    container: InputContainer, stream: VideoStream, damage: _Damage
) -> Iterator[VideoFrame]:
    """Yield decoded frames, going on after what cannot be decoded."""
    places = damage.facts.listing.index_by_ticks()
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
        told = packet.dts if damage.facts.listing.by_order else packet.pts
        index = None if told is None else places.get(told)
        if index is not None:
            damage.waiting.add(index)
        try:
            yield from packet.decode()
        except FFmpegError:
            damage.spoil(damage.waiting)


def _runs(facts: ClipFacts, wanted: list[int]) -> list[list[int]]:
    """Part the wanted frames into runs, each read from one key frame on."""
    keys = np.flatnonzero(facts.listing.keys)
    runs: list[list[int]] = []
    for index in wanted:
        key = np.searchsorted(keys, index, side="right")
        if runs and np.searchsorted(keys, runs[-1][-1], side="right") == key:
            runs[-1].append(index)
        else:
            runs.append([index])
    return runs


def _taken_from_run(
    container: InputContainer,
    stream: VideoStream,
    facts: ClipFacts,
    run: list[int],
    take: Callable[[int, Image], Taken],
) -> dict[int, Taken]:
    """Decode the frames of one run, starting from the nearest key frame that leads to them."""
    listing = facts.listing
    before = np.flatnonzero(listing.keys[: run[0] + 1])[::-1][:3]
    starts = [0] if listing.by_order else [*(int(key) for key in before), 0]
    found: dict[int, Taken] = {}
    for start in starts:
        container.seek(int(listing.ticks[start]), stream=stream, backward=True)
        for index, frame, _ in _indexed(container, stream, _Damage(facts)):
            if index > run[0] and not found:
                # The file's index led past the frame that was asked for: begin further back.
                break
            if index in run:
                found[index] = take(index, colour(frame, facts.rotation_deg, facts.size_px))
            if index >= run[-1]:
                return found
        found = {}
    return found
