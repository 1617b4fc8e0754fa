"""The sound of a clip, carried into another file beside its pictures."""

from collections.abc import Iterator
from pathlib import Path

import av
from av.audio.resampler import AudioResampler
from av.audio.stream import AudioStream
from av.container import InputContainer, OutputContainer
from av.error import FFmpegError
from av.packet import Packet

RATE_HZ = 48_000
"""Samples a second, as a phone records them (common practice, no source)."""
FRAME_SAMPLES = 1024
"""Samples of one packet of AAC (ISO/IEC 14496-3)."""
BITS = 128_000
"""Bits a second: clear speech and a clear thump (common practice, no source)."""


class SoundTrack:
    """Encodes the sound of a source anew, in step with pictures that are written.

    Parameters
    ----------
    source : Path
        A clip, whether it has sound or not.
    container : OutputContainer
        The file that is written, before its first packet.
    """

    def __init__(self, source: Path, container: OutputContainer) -> None:
        self._container = container
        self._input: InputContainer = av.open(str(source))
        self._waiting: tuple[float, list[Packet[AudioStream]]] | None = None
        self._parts: Iterator[tuple[float, list[Packet[AudioStream]]]] = iter(())
        if self._input.streams.audio:
            self._parts = self._encoded(self._input.streams.audio[0])

    def up_to(self, time_s: float) -> None:
        """Write the sound up to a time from the clip's first frame."""
        while True:
            part = self._waiting if self._waiting is not None else next(self._parts, None)
            self._waiting = part
            if part is None or part[0] > time_s:
                return
            self._container.mux(part[1])
            self._waiting = None

    def close(self) -> None:
        """Write what is left and close the source."""
        self.up_to(float("inf"))
        self._input.close()

    def _encoded(self, sound: AudioStream) -> "Iterator[tuple[float, list[Packet[AudioStream]]]]":
        layout = "stereo" if sound.channels > 1 else "mono"
        made = self._container.add_stream("aac", rate=RATE_HZ, layout=layout)
        assert isinstance(made, AudioStream)
        made.bit_rate = BITS
        return self._packets(sound, made, layout)

    def _packets(
        self, sound: AudioStream, made: AudioStream, layout: str
    ) -> "Iterator[tuple[float, list[Packet[AudioStream]]]]":
        resampler = AudioResampler("fltp", layout, RATE_HZ, FRAME_SAMPLES)
        video = self._input.streams.video[0]
        start_s = float((video.start_time or 0) * (video.time_base or 0))
        time_s = 0.0
        try:
            for frame in self._input.decode(sound):
                for part in resampler.resample(frame):
                    time_s = float((part.pts or 0) * (part.time_base or 0)) - start_s
                    if time_s >= 0.0:
                        part.pts = round(time_s * RATE_HZ)
                        yield time_s, made.encode(part)
        except FFmpegError:
            # Damaged sound ends early; the pictures are what counts.
            pass
        yield time_s, made.encode(None)
