"""Squares of 2 by 2 pixels that may have changed by more than their limit: none is left out."""

import cv2
import numpy as np

from tracker.detection.difference import Luma, Places

WORD = 8
"""Pixels that are compared as one number of 64 bits in the search for those over a limit."""

STRIP = 1_000_000
"""Pixels that are worked on at a time at most, for memory: each strip costs calls, and the buffers
of a whole reduced frame pass the cache as fast. Measured on frames of 0.1 to 2 million pixels."""

MOST_WORDS = 1500
"""Words that alarm above which the sums of a whole frame cost less than those of each square."""

NEVER = 255
"""Limit that no sum is over, since sums saturate there."""

Part = tuple[slice, slice]
"""Rows and columns of a part of a picture."""


class Frames:
    """The last frames of a component in one block of memory, and what changed between them.

    Each row is lengthened by zeros, one at least, to whole words.

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
        self.wide = (shape[1] // WORD + 1) * WORD
        self.pixels = np.zeros((count, shape[0], self.wide), np.uint8)
        self.gaps = np.zeros_like(self.pixels)
        self.watched: Part = slice(0, shape[0]), slice(0, self.wide)
        """The part of the frames that is looked at; its columns are whole words."""
        self._pushed = 0

    def watch(self, rows: slice, columns: slice) -> None:
        """Look at no more than a part of the frames from now on, made wider to whole words."""
        first, end = columns.start // WORD * WORD, -(-columns.stop // WORD) * WORD
        self.watched = rows, slice(first, min(end, self.wide))

    def picture(self, number: int) -> Luma:
        """Return the frame of a number, counted from the first given, shape (rows, columns)."""
        return self.pixels[number % self.count, :, : self.shape[1]]

    def next(self) -> Luma:
        """Return where the next frame is to be put; then call `pushed`."""
        return self.picture(self._pushed)

    def pushed(self) -> None:
        """Take in the frame that was put."""
        at = self._pushed % self.count
        if self._pushed >= self.lag:
            earlier = self.pixels[(self._pushed - self.lag) % self.count][self.watched]
            gaps = self.gaps[at][self.watched]
            cv2.absdiff(self.pixels[at][self.watched], earlier, dst=gaps)
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
        rows, wide = frames.shape[0], frames.wide
        self._limit = np.full((rows, wide), NEVER, np.uint8)
        strip = min(max(STRIP // wide, 1), rows - 1)
        self._least, self._pairs = (np.zeros((strip + 1, wide), np.uint8) for _ in range(2))
        # The last column of a strip holds no square, and stays zero.
        self._over = np.zeros(-(-strip * wide // WORD**2) * WORD**2, np.uint8)
        self._alarms = np.zeros(self._over.size // WORD, bool)

    def follow(self, limit: Luma) -> None:
        """Take the limit of each square, named by its upper left pixel, shape (rows, columns)."""
        self._limit[:-1, : self._frames.shape[1] - 1] = limit[:-1, :-1]

    def squares(self, number: int) -> Places | None:
        """Return the names of the squares of a frame to look at, in reading order.

        They are places in the frame's line of pixels, and hold all squares that are over their
        limit. None where so many alarm that the whole frame is to be looked at.

        Parameters
        ----------
        number : int
            Of the frame; the one `lag` frames later must have been given.
        """
        frames = self._frames
        rows, columns = frames.watched
        end = min(rows.stop, frames.shape[0] - 1)
        found: list[Places] = []
        words = 0
        for first in range(rows.start, end, len(self._least) - 1):
            last = min(first + len(self._least) - 1, end)
            names = self._strip(number, slice(first, last), columns)
            words += len(names)
            if words > MOST_WORDS:
                return None
            if len(names):
                found.append(self._names(names, first, columns))
        return np.concatenate(found) if found else np.zeros(0, np.int64)

    def _strip(self, number: int, rows: slice, columns: slice) -> Places:
        """Compute by how much some rows are over their limit; return the words that are."""
        frames = self._frames
        high, wide = rows.stop - rows.start, columns.stop - columns.start
        both = slice(rows.start, rows.stop + 1), columns
        earlier = frames.gaps[number % frames.count][both]
        later = frames.gaps[(number + frames.lag) % frames.count][both]
        least, pairs = self._least[: high + 1, :wide], self._pairs[:high, :wide]
        cv2.min(earlier, later, dst=least)
        cv2.add(least[:-1], least[1:], dst=pairs)
        size = high * wide
        flat = self._over[: -(-size // WORD**2) * WORD**2]
        over = flat[:size].reshape(high, wide)
        sums = over[:, :-1]
        cv2.add(pairs[:, :-1], pairs[:, 1:], dst=sums)
        cv2.subtract(sums, self._limit[rows, columns][:, :-1], dst=sums)
        over[:, -1] = 0
        flat[size:] = 0
        alarms = self._alarms[: flat.size // WORD]
        np.not_equal(flat.view(np.uint64), 0, out=alarms)
        # Eight words at a time, of which nearly all are none.
        groups = np.flatnonzero(alarms.view(np.uint64))
        group, word = np.nonzero(alarms.reshape(-1, WORD)[groups])
        return np.asarray(WORD * groups[group] + word)

    def _names(self, words: Places, first: int, columns: slice) -> Places:
        """Return the names of the squares in words of the strip that begins with a row."""
        word, place = np.nonzero(self._over.reshape(-1, WORD)[words])
        row, column = np.divmod(WORD * words[word] + place, columns.stop - columns.start)
        return np.asarray((first + row) * self._frames.wide + columns.start + column)
