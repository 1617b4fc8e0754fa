"""What a report shows, as finished facts."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from tracker.comparison.compare import Comparison
from tracker.comparison.setups import SetupShots
from tracker.records import Shot


@dataclass(frozen=True)
class SessionFacts:
    """One session: its name, its day (empty where it is not known), and what was noted."""

    name: str
    day: str = ""
    notes: str = ""


@dataclass(frozen=True)
class Curve:
    """The flight of one shot from the side.

    Attributes
    ----------
    setup : str
    label : str
        Which shot it is.
    seen : tuple of (float, float)
        Along and up of the places that were found, m.
    rest : tuple of (float, float)
        From the last of them to the landing; empty where the landing is not known.
    """

    setup: str
    label: str
    seen: tuple[tuple[float, float], ...]
    rest: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class ShotFigures:
    """One row of the table of shots, and what its uncertainties come from.

    Attributes
    ----------
    session : str
    shot : Shot
    budget : mapping
        By figure and source the standard uncertainty; empty where it is not known.
    """

    session: str
    shot: Shot
    budget: Mapping[str, Mapping[str, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class CalibrationFacts:
    """The camera of one clip, or of several that share their markers.

    Attributes
    ----------
    clips : tuple of str
    sentences : tuple of str
    markers : tuple of (str, str, str, str)
        Name, residual in columns and rows (px), and on the ground (cm).
    picture : bytes
        A JPEG file; empty where there is none.
    """

    clips: tuple[str, ...]
    sentences: tuple[str, ...]
    markers: tuple[tuple[str, str, str, str], ...] = ()
    picture: bytes = b""


@dataclass(frozen=True)
class Still:
    """The picture of one shot: what it shows, and a JPEG file."""

    caption: str
    picture: bytes


@dataclass(frozen=True)
class InputFile:
    """A file that the results were made from, with its SHA-256."""

    session: str
    file: str
    sha256: str


@dataclass(frozen=True)
class ReportFacts:
    """Everything that a report shows.

    Attributes
    ----------
    sessions : tuple of SessionFacts
    setups : tuple of SetupShots
    comparisons : tuple of Comparison
        The carry first; each made from `setups`, in the same order.
    shots : tuple of ShotFigures
    curves : tuple of Curve
    calibrations : tuple of CalibrationFacts
    stills : tuple of Still
    inputs : tuple of InputFile
    versions : tuple of str
        Of the program that measured.
    notes : tuple of str
        Sentences that a person should read.
    assumed : tuple of str
        What was assumed and noticed of the clips, as sentences.
    """

    sessions: tuple[SessionFacts, ...]
    setups: tuple[SetupShots, ...]
    comparisons: tuple[Comparison, ...]
    shots: tuple[ShotFigures, ...]
    curves: tuple[Curve, ...] = ()
    calibrations: tuple[CalibrationFacts, ...] = ()
    stills: tuple[Still, ...] = ()
    inputs: tuple[InputFile, ...] = ()
    versions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
