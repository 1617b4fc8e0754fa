"""Squares of 2 by 2 pixels that may have changed by more than their limit: none is left out."""

import cv2
import numpy as np

from tracker.detection.difference import Luma, Places

WORD = 8
"""Pixels that are compared as one number of 64 bits in the search for those over a limit."""

STRIP = 600_000
"""Pixels that are worked on at a time: buffers of some frames would leave the cache, and more calls
cost more than that. Measured on frames of 0.1 to 2 million pixels."""

MOST_WORDS = 1500
"""Words that alarm above which the sums of a whole frame cost less than those of each square."""

NEVER = 255
"""Limit that no sum is over, since sums saturate there."""


class Frames:
    """The last frames of a component in one block of memory, and what changed between them.

    Each row is lengthened by zeros to whole words and each frame by one word, so that a whole frame
    is one line of pixels.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the frames.
    lag : int
        Frames between a frame and the two that it is held against.
    count : int
        Frames that are kept.
    """

    def __init__(self, shape: tuple[int, int], lag: int, count: int) -> None:
        self.shape, self.lag, self.count = shape, lag, count
        self.wide = -(-shape[1] // WORD) * WORD
        self.names = (shape[0] - 1) * self.wide
        """Squares, named by their upper left pixels, those over a row's end included."""
        size = shape[0] * self.wide + WORD
        self.pixels = np.zeros((count, size), np.uint8)
        self.gaps = np.zeros((count, size), np.uint8)
        self._pushed = 0

    def picture(self, number: int) -> Luma:
        """Return the frame of a number, counted from the first given, shape (rows, columns)."""
        rows, columns = self.shape
        line = self.pixels[number % self.count, : rows * self.wide]
        return line.reshape(rows, self.wide)[:, :columns]

    def next(self) -> Luma:
        """Return where the next frame is to be put; then call `pushed`."""
        return self.picture(self._pushed)

    def pushed(self) -> None:
        """Take in the frame that was put."""
        at = self._pushed % self.count
        if self._pushed >= self.lag:
            earlier = (self._pushed - self.lag) % self.count
            cv2.absdiff(self.pixels[at, None], self.pixels[earlier, None], dst=self.gaps[at, None])
        self._pushed += 1


class Alarm:
    """Finds the squares whose change may be over their limit.

    A pixel changed by no more than the lesser of its two differences. So four of these are no less
    than the change of a square, which takes one difference a frame that serves twice.

    Parameters
    ----------
    frames : Frames
    """

    def __init__(self, frames: Frames) -> None:
        self._frames = frames
        rows, self._columns = frames.shape
        self._limit = np.full((rows, frames.wide), NEVER, np.uint8)
        self._strip = max(STRIP // WORD, 1) * WORD
        longest = min(self._strip, frames.names) + frames.wide + 1
        self._least, self._pairs, self._over = (np.zeros((1, longest), np.uint8) for _ in range(3))
        self._over = np.zeros((1, -(-longest // WORD) * WORD), np.uint8)
        self._alarms = np.zeros(self._over.size // WORD, bool)

    def follow(self, limit: Luma) -> None:
        """Take the limit of each square, named by its upper left pixel, shape (rows, columns)."""
        self._limit[:-1, : self._columns - 1] = limit[:-1, :-1]

    def squares(self, number: int) -> Places | None:
        """Return the names of the squares of a frame to look at, in reading order.

        They are places in the frame's line of pixels, and hold all squares that are over their
        limit. None where so many alarm that the whole frame is to be looked at.

        Parameters
        ----------
        number : int
            Of the frame; the one `lag` frames later must have been given.
        """
        frames, wide = self._frames, self._frames.wide
        limit = self._limit.reshape(1, -1)
        earlier = frames.gaps[number % frames.count, None]
        later = frames.gaps[(number + frames.lag) % frames.count, None]
        found: list[Places] = []
        words = 0
        for first in range(0, frames.names, self._strip):
            count = min(self._strip, frames.names - first)
            reach = slice(first, first + count + wide + 1)
            least = self._least[:, : count + wide + 1]
            cv2.min(earlier[:, reach], later[:, reach], dst=least)
            pairs = self._pairs[:, : count + 1]
            cv2.add(least[:, : count + 1], least[:, wide : wide + count + 1], dst=pairs)
            over = self._over[:, :count]
            cv2.add(pairs[:, :count], pairs[:, 1:], dst=over)
            cv2.subtract(over, limit[:, first : first + count], dst=over)
            alarms = self._alarms[: count // WORD]
            np.not_equal(over[0].view(np.uint64), 0, out=alarms)
            some = np.flatnonzero(alarms)
            words += len(some)
            if words > MOST_WORDS:
                return None
            if len(some):
                word, place = np.nonzero(over.reshape(-1, WORD)[some])
                found.append(first + WORD * some[word] + place)
        return np.concatenate(found) if found else np.zeros(0, np.int64)
