"""The tables of ``session.toml`` as filled in, with the defaults of docs/formats.md."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from tracker.flight.air import Weather

Triple = tuple[float, float, float]
Part = Mapping[str, float | str]


@dataclass(frozen=True)
class BallEntry:
    """``[ball]``: a row of the ball table, and what the person measured instead of it.

    `known` is false for a video file alone of which nobody said the ball; `type` is the usual one.
    """

    type: str = "tennis"
    mass_g: float | None = None
    diameter_mm: float | None = None
    drag_coefficient: float | None = None
    known: bool = True


@dataclass(frozen=True)
class ReleaseEntry:
    """``[release]``: where the ball leaves the launcher, and the angle set on it.

    Without markers the height may be left out; then `height_known` is false, and `height_m` is
    a usual one.
    """

    height_m: float
    along_m: float = 0.0
    across_m: float = 0.0
    u_m: float = 0.03
    angle_deg: float | None = None
    height_known: bool = True


@dataclass(frozen=True)
class CameraEntry:
    """``[camera]``: what is known of the camera apart from the markers."""

    lens: Path | None = None
    field_of_view_deg: float | None = None
    field_of_view_u_deg: float | None = None
    position_m: Triple | None = None
    position_u_m: float = 0.10
    capture_fps: float | None = None
    readout_s: float | None = None
    level: bool = False
    level_u_deg: float = 1.0


@dataclass(frozen=True)
class PlannedEntry:
    """``[planned]``: what is expected before filming; measuring a session does not read it."""

    frame_px: tuple[float, float] | None = None
    fps: float | None = None
    shutter_s: float | None = None
    aim_m: Triple | None = None
    position_taped: bool = True
    setup: str = ""
    exit_speed_mps: float | None = None
    exit_speed_u_mps: float | None = None
    launch_angle_u_deg: float | None = None
    contrast_luma: float | None = None
    noise_luma: float | None = None
    clear_m: float | None = None


@dataclass(frozen=True)
class MarkerEntry:
    """``[[marker]]``: a taped point of the ground, and its pixel once it has been picked."""

    name: str
    ground_m: Triple
    u_m: float = 0.02
    pixel: tuple[float, float] | None = None
    pixel_u: float = 1.0
    where: str = ""


@dataclass(frozen=True)
class SetupEntry:
    """``[[setup]]``: one way the launcher was built; its parts by the names of their tables."""

    name: str
    parts: Mapping[str, Part] = field(default_factory=dict)


@dataclass(frozen=True)
class ClipEntry:
    """``[[clip]]``: one video file and the setup it shows.

    Attributes
    ----------
    file : str
        As it stands in ``session.toml``.
    path : Path
        Where the file lies.
    setup : str
        Name of the setup.
    markers : tuple of MarkerEntry
        The markers that hold for this clip: its own where it has any, else the session's.
    """

    file: str
    path: Path
    setup: str
    markers: tuple[MarkerEntry, ...] = ()


@dataclass(frozen=True)
class Session:
    """One filmed outing: one folder with its ``session.toml`` and its clips.

    `bare` is true for a single video file that has no ``session.toml``.
    """

    folder: Path
    name: str
    date: date | None
    notes: str
    ball: BallEntry
    air: Weather
    release: ReleaseEntry
    camera: CameraEntry
    markers: tuple[MarkerEntry, ...]
    setups: tuple[SetupEntry, ...]
    clips: tuple[ClipEntry, ...]
    bare: bool = False
    planned: PlannedEntry = field(default_factory=PlannedEntry)

    def setup(self, name: str) -> SetupEntry:
        """Return the setup of that name."""
        return next(setup for setup in self.setups if setup.name == name)
