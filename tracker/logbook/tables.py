"""The tables of the logbook. Columns carry their units; the shot's are those of shots.csv."""

from typing import Any

import sqlalchemy as sa

from tracker.logbook.columns import FIGURES, SHARED
from tracker.records import Quality

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
"""Names of constraints, fixed so that a migration can name them on every database."""

metadata = sa.MetaData(naming_convention=NAMING)

session = sa.Table(
    "session",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("identity_sha256", sa.String(64), nullable=False, unique=True),
    sa.Column("content_sha256", sa.String(64), nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("folder", sa.Text, nullable=False),
    sa.Column("notes", sa.Text, nullable=False),
    sa.Column("filmed_on", sa.Date, index=True),
    sa.Column("added_utc", sa.DateTime, nullable=False),
    sa.Column("lobmeter_version", sa.Text, nullable=False),
    sa.Column("ball_type", sa.Text, nullable=False, index=True),
    sa.Column("ball_mass_g", sa.Double),
    sa.Column("ball_diameter_mm", sa.Double),
    sa.Column("ball_drag_coefficient", sa.Double),
    sa.Column("temperature_c", sa.Double),
    sa.Column("pressure_hpa", sa.Double),
    sa.Column("altitude_m", sa.Double),
    sa.Column("humidity_percent", sa.Double),
    sa.Column("wind_along_mps", sa.Double),
    sa.Column("wind_across_mps", sa.Double),
    sa.Column("wind_u_mps", sa.Double),
    sa.Column("release_height_m", sa.Double),
    sa.Column("release_angle_deg", sa.Double),
    sa.Column("ground_rise_along_percent", sa.Double),
    sa.Column("ground_rise_across_percent", sa.Double),
)


def _to(column: str) -> sa.ForeignKey:
    return sa.ForeignKey(column, ondelete="CASCADE")


setup = sa.Table(
    "setup",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("session_id", sa.Integer, _to("session.id"), nullable=False),
    sa.Column("name", sa.Text, nullable=False, index=True),
    sa.Column("wheel_diameter_mm", sa.Double, index=True),
    sa.Column("tables_sha256", sa.String(64), nullable=False, server_default=""),
    sa.UniqueConstraint("session_id", "name"),
)

setup_field = sa.Table(
    "setup_field",
    metadata,
    sa.Column("setup_id", sa.Integer, _to("setup.id"), primary_key=True),
    sa.Column("part", sa.Text, primary_key=True),
    sa.Column("field", sa.Text, primary_key=True),
    sa.Column("number", sa.Double),
    sa.Column("text", sa.Text),
    sa.CheckConstraint("(number IS NULL) <> (text IS NULL)", name="one_value"),
)

clip = sa.Table(
    "clip",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("session_id", sa.Integer, _to("session.id"), nullable=False),
    sa.Column("file", sa.Text, nullable=False),
    sa.Column("sha256", sa.String(64), nullable=False),
    sa.Column("own_markers", sa.Boolean, nullable=False),
    sa.UniqueConstraint("session_id", "file"),
)

_KINDS: dict[str, sa.types.TypeEngine[Any]] = {
    "frames_seen": sa.Integer(),
    "landing_seen": sa.Boolean(),
    "quality": sa.Text(),
    "reasons": sa.JSON(),
}
_NEEDED = ("release_s", "frames_seen", "landing_seen", "quality", "reasons")

shot = sa.Table(
    "shot",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("clip_id", sa.Integer, _to("clip.id"), nullable=False),
    sa.Column("setup_id", sa.Integer, _to("setup.id"), nullable=False, index=True),
    sa.Column("number", sa.Integer, nullable=False),
    *(
        sa.Column(name, _KINDS.get(name, sa.Double()), nullable=name not in _NEEDED)
        for name in FIGURES
    ),
    *(sa.Column(name, sa.Double) for name in SHARED.values()),
    sa.UniqueConstraint("clip_id", "number"),
    sa.CheckConstraint(f"quality IN ({', '.join(repr(str(q)) for q in Quality)})", name="quality"),
)

packed_shots = sa.Table(
    "packed_shots",
    metadata,
    sa.Column("setup_id", sa.Integer, _to("setup.id"), primary_key=True),
    sa.Column("cells", sa.LargeBinary, nullable=False),
)
"""The numbers of each setup's shots once more, as `tracker.logbook.packing` packs them."""
