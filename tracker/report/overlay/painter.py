"""Draws flights into frames as they grow, with metre ticks along the firing line."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.site import Drawing
from tracker.report.composite import Image
from tracker.report.labels import Box, box_about, place_label
from tracker.report.look import across, spaced
from tracker.report.overlay.flight import Event, OverlayFlight
from tracker.report.overlay.sprites import label_sprite, lay
from tracker.report.signs import CORNERS, EVENTS

Array = NDArray[np.float64]

Colour = tuple[int, int, int]
PATH: Colour = (255, 255, 255)
"""Blue, green, red of the fitted flight."""
CASING: Colour = (60, 48, 34)
"""Of the outline that keeps it readable before a bright sky."""
SEEN: Colour = (0, 176, 255)
"""Of the places where the ball was found."""

BALL_FREE_S = 0.03
"""The path stays this far behind the ball, true s, so that the ball itself is seen."""
LINGER_S = 2.0
"""Time for which a flight stays in the picture after its landing, true s; a matter of looks."""
LETTERS = 0.020
"""Size of letters as a share of the frame's height plus a third of its width."""
FEWEST_LETTERS_PX = 12
"""Least size of letters that can be read on a phone."""
TICKS = (0.3, 0.65)
"""Nearest and farthest end of a tick from its place, in sizes of letters; a matter of looks."""
SIGN = 12.0
"""Width of an event's sign, in widths of a line; a matter of looks."""
APART = 5.0
"""Least way along the flight between places with ticks, in widths of a line: the gaps are then
wider than the ticks."""
TICK = 0.5
"""Length of a metre tick in sizes of letters; a matter of looks."""
PATH_POINTS = 1000
"""Points of a flight that a label may cover; a matter of looks."""
SHIFT = 4
"""Bits of a pixel's fraction in what OpenCV draws: a sixteenth."""


@dataclass
class OverlayPainter:
    """Draws what is known at a time into the frame of that time.

    Attributes
    ----------
    size_px : tuple of int
        Width and height of the frames.
    flights : sequence of OverlayFlight
    ground : Drawing or None
        Firing line and ticks; None where no camera is calibrated.
    """

    size_px: tuple[int, int]
    flights: Sequence[OverlayFlight]
    ground: Drawing | None = None
    _placed: dict[tuple[int, int], tuple[int, int]] = field(default_factory=dict)

    @property
    def letters_px(self) -> int:
        """Size of the letters."""
        width, height = self.size_px
        return max(FEWEST_LETTERS_PX, round(LETTERS * (height + width / 3.0)))

    @property
    def thick_px(self) -> int:
        """Width of the lines."""
        return max(1, round(self.letters_px / 11))

    def paint(self, frame: Image, time_s: float) -> None:
        """Draw into a frame, in place, what is known at a true time.

        Parameters
        ----------
        frame : ndarray of uint8, shape (H, W, 3)
            Blue, green, red.
        time_s : float
            From the clip's first frame.
        """
        self._paint_ground(frame)
        begun = [flight.times_s[0] <= time_s for flight in self.flights]
        for number, flight in enumerate(self.flights):
            # A flight that is over makes room for the next, whose its figures would seem to be.
            linger_s = 0.0 if any(begun[number + 1 :]) else LINGER_S
            if begun[number] and time_s <= flight.times_s[-1] + linger_s:
                self.paint_flight(frame, number, time_s)

    def paint_still(self, frame: Image, number: int) -> None:
        """Draw one flight beside its balls, which stay in sight: ticks, events and names."""
        self._paint_ground(frame)
        self._tick_places(frame, self.flights[number].seen_px)
        for each, event in enumerate(self.flights[number].events):
            self._paint_event(frame, number, each, event)
        name = label_sprite(self.flights[number].name, self.letters_px)
        lay(frame, name, (self.letters_px, self.letters_px))

    def _tick_places(self, frame: Image, places: Array) -> None:
        """Draw a tick on either side of each place, across the flight; of crowded ones some."""
        near, far = (reach * self.letters_px for reach in TICKS)
        if not len(places):
            return
        kept = spaced(places, APART * self.thick_px)
        for place, normal in zip(places[kept], across(places)[kept], strict=True):
            for side in (-1.0, 1.0):
                ends = np.array([place + side * near * normal, place + side * far * normal])
                fixed = np.round(np.clip(ends, -1e4, 1e5) * 2**SHIFT).astype(np.int32)
                cv2.polylines(
                    frame, [fixed.reshape(-1, 1, 2)], False, SEEN, self.thick_px, cv2.LINE_AA, SHIFT
                )

    def paint_flight(self, frame: Image, number: int, time_s: float = np.inf) -> None:
        """Draw one flight up to a time; the whole of it when no time is given."""
        flight = self.flights[number]
        drawn_s = time_s if time_s >= flight.times_s[-1] else time_s - BALL_FREE_S
        path = flight.pixels[flight.times_s <= drawn_s]
        if flight.times_s[0] < drawn_s < flight.times_s[-1]:
            tip = [np.interp(drawn_s, flight.times_s, flight.pixels[:, axis]) for axis in (0, 1)]
            path = np.vstack([path, tip])
        self._line(frame, path, self.thick_px)
        for place in flight.seen_px[flight.seen_s <= drawn_s]:
            _ring(frame, place, self.thick_px, SEEN, cv2.FILLED)
        for each, event in enumerate(flight.events):
            if event.time_s <= time_s:
                self._paint_event(frame, number, each, event)
        name = label_sprite(flight.name, self.letters_px)
        lay(frame, name, (self.letters_px, self.letters_px))

    def _paint_event(self, frame: Image, number: int, each: int, event: Event) -> None:
        width, height = self.size_px
        if not (0 <= event.pixel[0] < width and 0 <= event.pixel[1] < height):
            return
        corners = np.array(event.pixel) + SIGN * self.thick_px * np.array(
            CORNERS[EVENTS[event.sign]]
        )
        self._line(frame, np.vstack([corners, corners[:2]]), self.thick_px)
        key = (number, each)
        if key not in self._placed:
            self._place_labels(number)
        lay(frame, label_sprite(event.words, self.letters_px), self._placed[key])

    def _place_labels(self, number: int) -> None:
        """Choose where the labels of a flight go: off its path and off each other."""
        flight = self.flights[number]
        width, height = self.size_px
        # `place_label` works in inches of a usual sheet: here one is as wide as seven letters.
        inch = 7.0 * self.letters_px
        bounds = Box(0.05, 0.05, width / inch - 0.05, height / inch - 0.05)
        heading = label_sprite(flight.name, self.letters_px)
        taken = [Box(0.0, 0.0, heading.shape[1] / inch + 0.4, heading.shape[0] / inch + 0.4)]
        taken += [
            box_about((event.pixel[0] / inch, event.pixel[1] / inch), (0.2, 0.2))
            for event in flight.events
        ]
        for sprite, (left, top) in self._tick_labels():
            right, bottom = left + sprite.shape[1], top + sprite.shape[0]
            taken.append(Box(left / inch, top / inch, right / inch, bottom / inch))
        # A flight covered is worse than a label far away: its points count several times.
        path = _filled(flight.pixels, PATH_POINTS)
        aside = TICKS[1] * self.letters_px * across(path)
        drawn = [path, path + aside, path - aside]
        if self.ground is not None:
            drawn += [_filled(line) for line in self.ground.firing_line]
        lines = np.vstack(drawn)
        lines = lines[np.isfinite(lines).all(axis=1)] / inch
        for each, event in enumerate(flight.events):
            sprite = label_sprite(event.words, self.letters_px)
            size = (sprite.shape[1] / inch, sprite.shape[0] / inch)
            at = (event.pixel[0] / inch, event.pixel[1] / inch)
            box = place_label(at, size, taken, lines, bounds)
            taken.append(box)
            self._placed[number, each] = (round(box.left * inch), round(box.top * inch))

    def _paint_ground(self, frame: Image) -> None:
        """Draw the firing line, and a tick with its metres every five or ten."""
        if self.ground is None:
            return
        thin = max(1, self.thick_px // 2)
        for line in self.ground.firing_line:
            self._line(frame, line, thin)
        for tick in self.ground.ticks:
            column, row = (float(value) for value in tick.ends_px[0])
            ends = np.array([[column, row], [column, row + TICK * self.letters_px]])
            self._line(frame, ends, thin)
        for sprite, corner in self._tick_labels():
            lay(frame, sprite, corner, 0.6)

    def _tick_labels(self) -> list[tuple[Image, tuple[int, int]]]:
        """Return the metres of the ticks as labels and where they go, none over another."""
        found: list[tuple[Image, tuple[int, int]]] = []
        right = -1.0
        for tick in () if self.ground is None else self.ground.ticks:
            sprite = label_sprite(f"{tick.along_m:g} m", self._small_px)
            column, row = (float(value) for value in tick.ends_px[0])
            most = self.size_px[0] - sprite.shape[1]
            left = round(min(max(column - sprite.shape[1] / 2, 0.0), most))
            if left > right:
                found.append((sprite, (left, round(row + 1.6 * TICK * self.letters_px))))
                right = left + 1.2 * sprite.shape[1]
        return found

    @property
    def _small_px(self) -> int:
        return max(FEWEST_LETTERS_PX, round(0.8 * self.letters_px))

    def _line(self, frame: Image, points: Array, thick: int) -> None:
        """Draw a line with its outline, leaving out what is not finite."""
        kept = points[np.isfinite(points).all(axis=1)]
        if len(kept) < 2:
            return
        fixed = np.round(np.clip(kept, -1e4, 1e5) * 2**SHIFT).astype(np.int32).reshape(-1, 1, 2)
        for colour, width in ((CASING, 3 * thick), (PATH, thick)):
            cv2.polylines(frame, [fixed], False, colour, width, cv2.LINE_AA, SHIFT)


def _filled(line: Array, count: int = 200) -> Array:
    """Return a line with points close enough together to see whether a label covers it."""
    at = np.linspace(0.0, len(line) - 1.0, count)
    each = [np.interp(at, np.arange(len(line)), line[:, axis]) for axis in (0, 1)]
    return np.column_stack(each)


def _ring(frame: Image, place: Array, radius: int, colour: Colour, thick: int) -> None:
    if np.isfinite(place).all():
        column, row = np.round(np.clip(place, -1e4, 1e5) * 2**SHIFT).astype(int).tolist()
        centre, size = (column, row), radius << SHIFT
        cv2.circle(frame, centre, size, colour, thick, cv2.LINE_AA, SHIFT)
