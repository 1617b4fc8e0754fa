"""What detection and following find in a clip."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.records.reasons import Reason, sentence

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Cutouts:
    """Square cutouts of one component of a frame, background subtracted.

    Attributes
    ----------
    patches : ndarray of int16, shape (N, S, S)
        Twice the frame minus an earlier and a later one, around each candidate.
    corners : ndarray of int, shape (N, 2)
        Column and row of each cutout's first pixel, in the component's own pixels.
    behind : ndarray of uint8, shape (N, M, M), or None
        Mean of the earlier and the later frame in the middle of each cutout: what a ball hides.
    """

    patches: NDArray[np.int16]
    corners: NDArray[np.int64]
    behind: NDArray[np.uint8] | None = None

    def part(self, rows: NDArray[np.int64]) -> "Cutouts":
        """Return the chosen rows."""
        behind = None if self.behind is None else self.behind[rows]
        return Cutouts(self.patches[rows], self.corners[rows], behind)


@dataclass(frozen=True)
class ColourParts:
    """Squares of a frame as it was decoded, one around each candidate, for pictures.

    Attributes
    ----------
    luma : ndarray of uint8, shape (N, S, S)
    blue, red : ndarray of uint8, shape (N, S / 2, S / 2)
        Colour differences.
    corners : ndarray of int, shape (N, 2)
        Column and row of each square's first pixel in the frame, both even.
    form : tuple of str, int and int
        The decoder's names for how the planes lie, which colours they mean, and their range.
    """

    luma: NDArray[np.uint8]
    blue: NDArray[np.uint8]
    red: NDArray[np.uint8]
    corners: NDArray[np.int64]
    form: tuple[str, int, int]

    def part(self, rows: NDArray[np.int64]) -> "ColourParts":
        """Return the chosen rows."""
        return ColourParts(
            self.luma[rows], self.blue[rows], self.red[rows], self.corners[rows], self.form
        )


def no_cutouts(count: int) -> Cutouts:
    """Return cutouts without a pixel, for so many candidates whose cutouts nobody needs."""
    return Cutouts(np.zeros((count, 0, 0), np.int16), np.zeros((count, 2), np.int64))


@dataclass(frozen=True)
class Backdrop:
    """What one component of a frame is like where no candidate is, block by block.

    Attributes
    ----------
    window : tuple of int
        First column, first row, end column, end row of the watched part, in the component's pixels.
    limit : ndarray, shape (rows, columns)
        Least summed change of four pixels that makes a candidate in a block, luma steps.
    level : ndarray, shape (rows, columns)
        Usual summed change there, luma steps: a candidate's change over its strength.
    light, texture : ndarray, shape (rows, columns)
        Mean and standard deviation of the picture in a block, luma steps.
    weakest : float
        Least strength of the candidates that were kept, where a frame had too many; else 0.
    """

    window: tuple[int, int, int, int]
    limit: NDArray[np.float32]
    level: NDArray[np.float32]
    light: NDArray[np.float32]
    texture: NDArray[np.float32]
    weakest: float = 0.0


@dataclass(frozen=True)
class Steadied:
    """What the correction of the camera's motion did to the candidates of a frame.

    Attributes
    ----------
    filmed_pixels : ndarray, shape (N, 2)
        Where the candidates are in the frame as filmed.
    still_pixels : ndarray, shape (N, 2)
        Where the still camera sees them: the frame drawn anew is off by some tenths of a pixel,
        since a homography is all that it is drawn through.
    covariances : ndarray, shape (N, 2, 2)
        Of the correction, px².
    """

    filmed_pixels: Array
    still_pixels: Array
    covariances: Array

    def part(self, rows: NDArray[np.int64]) -> "Steadied":
        """Return the chosen rows."""
        return Steadied(self.filmed_pixels[rows], self.still_pixels[rows], self.covariances[rows])


@dataclass(frozen=True)
class Candidates:
    """Places in one frame that may be a ball.

    Attributes
    ----------
    frame : int
        Index of the frame in the clip.
    time_s : float
        True time of the frame from the clip's first frame, s.
    pixels : ndarray, shape (N, 2)
        Column and row of the strongest pixel.
    strength : ndarray, shape (N,)
        Contrast over the usual contrast at that place, in the component that shows it best.
    luma : Cutouts
    blueness : Cutouts or None
        Of the blue difference, whose pixels are twice as large; None where the clip has none.
    steadied : Steadied or None
        What the correction of the camera's motion did, one a candidate; None where the camera stood
        still.
    backdrops : tuple of Backdrop
        Of luma and of the blue difference, as far as the clip has them.
    colours : ColourParts or None
        What a picture shows of the frame around each candidate, where that was asked for.
    everywhere : tuple of ndarray or None
        Pixels and strength of what is found in the whole frame, where that was asked for.
    """

    frame: int
    time_s: float
    pixels: Array
    strength: Array
    luma: Cutouts
    blueness: Cutouts | None
    steadied: Steadied | None = None
    backdrops: tuple[Backdrop, ...] = ()
    colours: ColourParts | None = None
    everywhere: tuple[Array, Array] | None = None

    def in_whole_frame(self) -> "Candidates":
        """Return what is found in the whole frame, as places without cutouts."""
        assert self.everywhere is not None
        pixels, strength = self.everywhere
        nothing = no_cutouts(len(pixels))
        return Candidates(self.frame, self.time_s, pixels, strength, nothing, None)

    def in_window(self) -> "Candidates":
        """Return the candidates in the watched window."""
        return self if self.everywhere is None else replace(self, everywhere=None)

    def with_colours(self, colours: ColourParts | None) -> "Candidates":
        """Return the candidates with squares of the frame around them."""
        return replace(self, colours=colours)

    def with_steadied(self, steadied: Steadied) -> "Candidates":
        """Return the candidates with what the correction of the camera's motion did."""
        return replace(self, steadied=steadied)

    def part(self, rows: NDArray[np.int64]) -> "Candidates":
        """Return the chosen candidates."""
        blueness, steadied, colours = self.blueness, self.steadied, self.colours
        return replace(
            self,
            pixels=self.pixels[rows],
            strength=self.strength[rows],
            luma=self.luma.part(rows),
            blueness=None if blueness is None else blueness.part(rows),
            steadied=None if steadied is None else steadied.part(rows),
            colours=None if colours is None else colours.part(rows),
        )


@dataclass(frozen=True)
class Pictures:
    """How the ball's pictures look in the frames of a track.

    Attributes
    ----------
    contrasts : ndarray, shape (N, components)
        Ball's middle less its background in luma and in the blue difference, luma steps; NaN where
        the ball was not found in that component.
    purity : ndarray, shape (N,)
        Energy of the ball's picture over that of everything else in the cutout, noise left out.
    """

    contrasts: Array
    purity: Array

    def part(self, rows: NDArray[np.bool_]) -> "Pictures":
        """Return the chosen rows."""
        return Pictures(self.contrasts[rows], self.purity[rows])


@dataclass(frozen=True)
class Track:
    """One ball's positions in the clip, in order of time.

    Attributes
    ----------
    frames : ndarray of int, shape (N,)
    times_s : ndarray, shape (N,)
        True time of each frame; with a rolling shutter the row's own delay is added later.
    pixels : ndarray, shape (N, 2)
    covariances : ndarray, shape (N, 2, 2)
        Covariance of each position, px².
    lean : ndarray, shape (N,)
        Shift of each position per luma step of uneven light on the ball, px.
    snr : ndarray, shape (N,), or None
        Contrast of the ball in each frame over its standard deviation, where it was measured.
    pictures : Pictures or None
        How the ball looks in each frame, where it was measured.
    filmed_pixels : ndarray, shape (N, 2), or None
        The positions in the frames as filmed, where the camera moved: their rows decide when they
        were read.
    """

    frames: NDArray[np.int64]
    times_s: Array
    pixels: Array
    covariances: Array
    lean: Array
    snr: Array | None = None
    pictures: Pictures | None = None
    filmed_pixels: Array | None = None

    def part(self, rows: NDArray[np.bool_]) -> "Track":
        """Return the chosen positions."""
        return Track(
            self.frames[rows],
            self.times_s[rows],
            self.pixels[rows],
            self.covariances[rows],
            self.lean[rows],
            None if self.snr is None else self.snr[rows],
            None if self.pictures is None else self.pictures.part(rows),
            None if self.filmed_pixels is None else self.filmed_pixels[rows],
        )


@dataclass(frozen=True)
class RejectedCandidate:
    """A flight that was a candidate for a shot and was rejected, with the reason.

    Attributes
    ----------
    clip : str
    release_s : float
        On the file's own clock, as in `Shot`.
    support : float
        Log-likelihood ratio of its detections against the hypothesis without a ball.
    frames_seen, frames_crossed : int
        Frames with a detection where the ball should be, and frames in which it should show.
    reasons : tuple of Reason
    times_s : ndarray, shape (N,)
        True times from the clip's first frame of `pixels`.
    pixels : ndarray, shape (N, 2)
        Its path through the frame.
    """

    clip: str
    release_s: float
    support: float
    frames_seen: int
    frames_crossed: int
    reasons: tuple[Reason, ...]
    times_s: Array
    pixels: Array

    @property
    def reason(self) -> str:
        """The reasons as one sentence."""
        return sentence(self.reasons)
