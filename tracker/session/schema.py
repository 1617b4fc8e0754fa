"""Which fields a person may write into ``session.toml`` and ``lens.toml``, and within what range.

Everything is optional here that may be left out; what is left out takes the default of
`tracker.session.entries`. What depends on more than one field is in `tracker.session.checks`.
The tables of a ``[[setup]]`` are those of the launcher's model (`tracker.launcher.fields`).
"""

import datetime
from collections.abc import Sequence
from functools import cache
from typing import Annotated

from tracker.launcher.fields import CHOICES, NUMBERS, TABLES
from tracker.session.kinds import (
    BallName,
    Between,
    Day,
    Flag,
    Numbers,
    OneOf,
    Rows,
    Square,
    Text,
)
from tracker.session.table import Entry, TableSchema, extended

FIELD_M = (-2000.0, 2000.0)
"""Range of a coordinate, m: no measured field is larger, a larger number is a slip of the pen."""
SMALLEST_U = 1e-4
"""Least standard uncertainty, in the field's unit: no tape and no eye gives less. Common practice,
no source."""
FRAME_PX = (16.0, 20000.0)
"""Range of a frame's width and height, px: a smaller one shows no flight, a larger one is no
camera's. Common practice, no source."""
LENS_FACTORS = ("k1", "k2", "p1", "p2", "k3")
"""Names of the distortion factors, as OpenCV's calib3d has them."""

Point = Annotated[tuple[float, ...], Numbers("along, across, up", *FIELD_M)]
Pixel = Annotated[tuple[float, ...], Numbers("column, row", -0.5, 100000.0)]


class BallSchema(TableSchema):
    """``[ball]``."""

    type: Annotated[str | None, BallName()] = None
    mass_g: Annotated[float | None, Between(0.5, 5000.0)] = None
    diameter_mm: Annotated[float | None, Between(5.0, 500.0)] = None
    drag_coefficient: Annotated[float | None, Between(0.02, 2.0)] = None


class AirSchema(TableSchema):
    """``[air]``."""

    temperature_c: Annotated[float | None, Between(-40.0, 60.0)] = None
    pressure_hpa: Annotated[float | None, Between(500.0, 1100.0)] = None
    altitude_m: Annotated[float | None, Between(-500.0, 6000.0)] = None
    humidity_percent: Annotated[float | None, Between(0.0, 100.0)] = None
    wind_along_mps: Annotated[float | None, Between(-40.0, 40.0)] = None
    wind_across_mps: Annotated[float | None, Between(-40.0, 40.0)] = None
    wind_u_mps: Annotated[float | None, Between(SMALLEST_U, 20.0)] = None


class ReleaseSchema(TableSchema):
    """``[release]``."""

    height_m: Annotated[float | None, Between(0.0, 100.0)] = None
    along_m: Annotated[float | None, Between(*FIELD_M)] = None
    across_m: Annotated[float | None, Between(*FIELD_M)] = None
    u_m: Annotated[float | None, Between(SMALLEST_U, 10.0)] = None
    angle_deg: Annotated[float | None, Between(-90.0, 90.0)] = None


class CameraSchema(TableSchema):
    """``[camera]``."""

    lens: Annotated[str | None, Text(needed=True)] = None
    field_of_view_deg: Annotated[float | None, Between(5.0, 150.0)] = None
    field_of_view_u_deg: Annotated[float | None, Between(SMALLEST_U, 60.0)] = None
    position_m: Point | None = None
    position_u_m: Annotated[float | None, Between(SMALLEST_U, 100.0)] = None
    capture_fps: Annotated[float | None, Between(1.0, 100000.0)] = None
    readout_s: Annotated[float | None, Between(0.0, 0.2)] = None
    level: Annotated[bool | None, Flag()] = None
    level_u_deg: Annotated[float | None, Between(0.001, 45.0)] = None


class PlannedSchema(TableSchema):
    """``[planned]``."""

    frame_px: Annotated[tuple[float, ...] | None, Numbers("width, height", *FRAME_PX)] = None
    fps: Annotated[float | None, Between(10.0, 10000.0)] = None
    shutter_s: Annotated[float | None, Between(1e-5, 1.0)] = None
    aim_m: Point | None = None
    position_taped: Annotated[bool | None, Flag()] = None
    setup: Annotated[str | None, Text()] = None
    exit_speed_mps: Annotated[float | None, Between(1.0, 100.0)] = None
    exit_speed_u_mps: Annotated[float | None, Between(0.0, 50.0)] = None
    launch_angle_u_deg: Annotated[float | None, Between(0.0, 30.0)] = None
    contrast_luma: Annotated[float | None, Between(1.0, 255.0)] = None
    noise_luma: Annotated[float | None, Between(0.1, 100.0)] = None
    clear_m: Annotated[float | None, Between(0.0, 500.0)] = None


class MarkerSchema(TableSchema):
    """``[[marker]]`` and ``[[clip.marker]]``."""

    name: Annotated[str, Text(needed=True)]
    ground_m: Point | None = None
    u_m: Annotated[float | None, Between(SMALLEST_U, 100.0)] = None
    pixel: Pixel | None = None
    pixel_u: Annotated[float | None, Between(0.01, 1000.0)] = None


class ClipSchema(TableSchema):
    """``[[clip]]``."""

    file: Annotated[str, Text(needed=True)]
    setup: Annotated[str, Text(needed=True)]
    marker: Sequence[MarkerSchema] = ()


class SetupSchema(TableSchema):
    """``[[setup]]``; `setup_schema` adds the tables of the launcher's model."""

    name: Annotated[str, Text(needed=True)]

    def parts(self) -> dict[str, dict[str, float | str]]:
        """Return what was written in the launcher's tables, by table and field."""
        given = self.given()
        return {name: given[name].given() for name in TABLES if name in given}


class SessionSchema(TableSchema):
    """``session.toml``; `session_schema` adds ``[[setup]]``."""

    name: Annotated[str | None, Text()] = None
    date: Annotated[datetime.date | None, Day()] = None
    notes: Annotated[str | None, Text()] = None
    ball: BallSchema = BallSchema()
    air: AirSchema = AirSchema()
    release: ReleaseSchema = ReleaseSchema()
    camera: CameraSchema = CameraSchema()
    planned: PlannedSchema = PlannedSchema()
    marker: Sequence[MarkerSchema] = ()
    clip: Sequence[ClipSchema] = ()
    setup: Sequence[SetupSchema] = ()


class DecisionSchema(TableSchema):
    """``[[decision]]`` of ``review.toml``."""

    clip: Annotated[str, Text(needed=True)]
    release_s: Annotated[float, Between(-3600.0, 1e6)]
    verdict: Annotated[str | None, OneOf(("reject", "accept"))] = None
    setup: Annotated[str | None, Text(needed=True)] = None
    reason: Annotated[str | None, Text()] = None
    landing_m: Annotated[tuple[float, ...] | None, Numbers("along, across", *FIELD_M)] = None
    landing_u_m: Annotated[float | None, Between(SMALLEST_U, 100.0)] = None
    landing_px: Pixel | None = None
    landing_px_u: Annotated[float | None, Between(0.01, 1000.0)] = None
    landing_s: Annotated[float | None, Between(-3600.0, 1e6)] = None
    release_px: Pixel | None = None
    release_px_u: Annotated[float | None, Between(0.01, 1000.0)] = None
    moved_release_s: Annotated[float | None, Between(-3600.0, 1e6)] = None


class AddedSchema(TableSchema):
    """``[[added]]`` of ``review.toml``."""

    clip: Annotated[str, Text(needed=True)]
    places: Annotated[list[list[float]], Rows("time, column, row", 2, -3600.0, 1e6)]
    px_u: Annotated[float | None, Between(0.01, 1000.0)] = None
    setup: Annotated[str | None, Text(needed=True)] = None
    reason: Annotated[str | None, Text()] = None


class ReviewSchema(TableSchema):
    """``review.toml``."""

    decision: Sequence[DecisionSchema] = ()
    added: Sequence[AddedSchema] = ()


class LensSchema(TableSchema):
    """``lens.toml``."""

    device: Annotated[str, Text()] = ""
    zoom: Annotated[str, Text()] = ""
    size_px: Annotated[tuple[float, ...], Numbers("width, height", *FRAME_PX)]
    focal_px: Annotated[float, Between(10.0, 1e6)]
    centre_px: Annotated[tuple[float, ...], Numbers("column, row", -20000.0, 20000.0)]
    distortion: Annotated[tuple[float, ...], Numbers(", ".join(LENS_FACTORS), -100.0, 100.0)]
    covariance: Annotated[list[list[float]], Square(len(LENS_FACTORS) + 3)]


@cache
def session_schema() -> type[SessionSchema]:
    """Return the schema of ``session.toml`` with the launcher's tables in its setups."""
    setup = extended(SetupSchema, {name: Entry(table=one) for name, one in _parts().items()})
    return extended(SessionSchema, {"setup": Entry(table=setup, many=True)})


def _parts() -> dict[str, type[TableSchema]]:
    """Return the schema of each of the launcher's tables."""
    tables: dict[str, dict[str, Entry]] = {name: {} for name in TABLES}
    for choice in CHOICES:
        tables[choice.table][choice.name] = Entry(kind=OneOf(choice.words))
    for number in NUMBERS:
        tables[number.table][number.name] = Entry(kind=Between(number.low, number.high))
    for number in NUMBERS:
        tables[number.table][number.u_name] = Entry(kind=Between(0.0))
    return {name: extended(TableSchema, entries) for name, entries in tables.items()}
