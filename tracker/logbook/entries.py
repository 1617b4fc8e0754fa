"""What the logbook keeps of one session, and what a reader can ask for."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from tracker.records import LazyRows, Shot

Part = Mapping[str, float | str]


class Added(StrEnum):
    """What adding a session did to the logbook."""

    NEW = "new"
    UPDATED = "updated"
    UNCHANGED = "unchanged"


@dataclass(frozen=True)
class LoggedSetup:
    """One setup: its name, and its tables as they stand in ``session.toml``."""

    name: str
    parts: Mapping[str, Part] = field(default_factory=dict)

    @property
    def digest(self) -> str:
        """SHA-256 over its tables: setups that are built alike have the same."""
        tables = {
            part: {key: value if isinstance(value, str) else float(value) for key, value in items}
            for part, items in ((part, table.items()) for part, table in self.parts.items())
            if items
        }
        text = json.dumps(tables, sort_keys=True)
        return hashlib.sha256(text.encode("utf-8")).hexdigest()


@dataclass(frozen=True)
class LoggedClip:
    """One clip: its file within the session, the SHA-256 of the video, and its camera.

    `own_markers` is true where the clip has markers of its own, so that its shots do not share
    a calibration with the other clips.
    """

    file: str
    sha256: str
    own_markers: bool = False


@dataclass(frozen=True)
class LoggedSession:
    """One measured session.

    Attributes
    ----------
    name, folder, notes, lobmeter_version : str
    filmed_on : date or None
    conditions : mapping of str to float, str or None
        Ball, air and release by column of the table ``session``; see `CONDITIONS`.
    setups : tuple of LoggedSetup
    clips : tuple of LoggedClip
    shots : tuple of Shot
        Rows of ``shots.csv``.
    shared_u : mapping
        By clip and shot number, then by figure: the part of the standard uncertainty that all
        shots of the session share.
    """

    name: str
    folder: str
    notes: str
    lobmeter_version: str
    filmed_on: date | None
    conditions: Mapping[str, float | str | None]
    setups: tuple[LoggedSetup, ...]
    clips: tuple[LoggedClip, ...]
    shots: tuple[Shot, ...]
    shared_u: Mapping[tuple[str, int], Mapping[str, float]] = field(default_factory=dict)

    @property
    def identity(self) -> str:
        """SHA-256 over the digests of its clips: the same films are the same session."""
        joined = "\n".join(sorted(clip.sha256 for clip in self.clips))
        return hashlib.sha256(joined.encode("ascii")).hexdigest()

    @property
    def content(self) -> str:
        """SHA-256 over everything that is kept, to see whether anything has changed."""
        plain = asdict(self)
        plain["shared_u"] = sorted((*key, dict(value)) for key, value in self.shared_u.items())
        text = json.dumps(plain, sort_keys=True, default=str)
        return hashlib.sha256(text.encode("utf-8")).hexdigest()


CONDITIONS = (
    "ball_type",
    "ball_mass_g",
    "ball_diameter_mm",
    "ball_drag_coefficient",
    "temperature_c",
    "pressure_hpa",
    "altitude_m",
    "humidity_percent",
    "wind_along_mps",
    "wind_across_mps",
    "wind_u_mps",
    "release_height_m",
    "release_angle_deg",
    "ground_rise_along_percent",
    "ground_rise_across_percent",
)
"""Columns of the table ``session`` that hold ball, air, release and ground, the first three named
as in formats.md; the ground's rise is empty in what an earlier version added."""


@dataclass(frozen=True)
class LoggedEvening:
    """What a comparison asks of a session: what names it, ball, air and release."""

    name: str
    folder: str
    filmed_on: date | None
    conditions: Mapping[str, float | str | None]


@dataclass(frozen=True, eq=False)
class LoggedShots:
    """The shots of all setups that have one name and are built alike.

    Attributes
    ----------
    setup : LoggedSetup
    evenings : tuple of int
        Places of its sessions in `LoggedEvenings.evenings`, shot or not, oldest first.
    shots : LazyRows of Shot
        Each made where it is asked for.
    evening_of : ndarray of int, shape (N,)
        For each shot the place of its session.
    own_camera : ndarray of bool, shape (N,)
        For each shot whether its clip has markers of its own.
    shared_u : LazyRows of mapping
        For each shot, by figure, the part of the uncertainty that its session shares.
    """

    setup: LoggedSetup
    evenings: tuple[int, ...]
    shots: LazyRows[Shot]
    evening_of: NDArray[np.intp]
    own_camera: NDArray[np.bool_]
    shared_u: LazyRows[Mapping[str, float]]


@dataclass(frozen=True)
class LoggedEvenings:
    """Many sessions, setup by setup.

    Attributes
    ----------
    evenings : tuple of LoggedEvening
        Oldest first.
    setups : tuple of LoggedShots
        In the order in which they come first.
    """

    evenings: tuple[LoggedEvening, ...]
    setups: tuple[LoggedShots, ...]


@dataclass(frozen=True)
class Summary:
    """One line of the list of sessions."""

    id: int
    filmed_on: date | None
    name: str
    folder: str
    ball: str
    setups: int
    shots: int
    rejected: int
    mean_carry_m: float | None


@dataclass(frozen=True)
class Filter:
    """Which sessions and shots are wanted; every condition that is given must hold.

    Attributes
    ----------
    wheel_mm : float or None
        Wheel diameter, to within 0.5 mm.
    ball : str or None
        Ball type, a row of the ball table.
    setup : str or None
        Name of a setup.
    since, until : date or None
        First and last day, both included.
    """

    wheel_mm: float | None = None
    ball: str | None = None
    setup: str | None = None
    since: date | None = None
    until: date | None = None


EVERYTHING = Filter()
"""The filter without a condition."""
