"""Sessions, setups, clips and shots."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

SHOT_FIGURES = (
    *("exit_speed_mps", "exit_speed_u_mps", "launch_angle_deg", "launch_angle_u_deg"),
    *("azimuth_deg", "azimuth_u_deg", "carry_m", "carry_u_m"),
    *("landing_along_m", "landing_along_u_m", "landing_across_m", "landing_across_u_m"),
    *("apex_m", "apex_u_m", "flight_time_s", "flight_time_u_s"),
    *("landing_speed_mps", "landing_angle_deg"),
)
SHARED = (
    *("exit_speed_shared_u_mps", "launch_angle_shared_u_deg", "azimuth_shared_u_deg"),
    *("carry_shared_u_m", "landing_along_shared_u_m", "landing_across_shared_u_m"),
    *("apex_shared_u_m", "flight_time_shared_u_s"),
)
SESSION_NUMBERS = (
    *("ball_mass_g", "ball_diameter_mm", "ball_drag_coefficient", "temperature_c"),
    *("pressure_hpa", "altitude_m", "humidity_percent", "wind_along_mps", "wind_across_mps"),
    *("wind_u_mps", "release_height_m", "release_angle_deg"),
)


def upgrade() -> None:
    """Make the tables."""
    _sessions_and_setups()
    _clips_and_shots()


def _parent(name: str) -> sa.Column[int]:
    target = f"{name}.id"
    key = sa.ForeignKey(target, ondelete="CASCADE")
    return sa.Column(f"{name}_id", sa.Integer, key, nullable=False)


def _sessions_and_setups() -> None:
    op.create_table(
        "session",
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
        *(sa.Column(name, sa.Double) for name in SESSION_NUMBERS),
    )
    op.create_table(
        "setup",
        sa.Column("id", sa.Integer, primary_key=True),
        _parent("session"),
        sa.Column("name", sa.Text, nullable=False, index=True),
        sa.Column("wheel_diameter_mm", sa.Double, index=True),
        sa.UniqueConstraint("session_id", "name"),
    )
    op.create_table(
        "setup_field",
        _parent("setup"),
        sa.Column("part", sa.Text, nullable=False),
        sa.Column("field", sa.Text, nullable=False),
        sa.Column("number", sa.Double),
        sa.Column("text", sa.Text),
        sa.PrimaryKeyConstraint("setup_id", "part", "field"),
        sa.CheckConstraint("(number IS NULL) <> (text IS NULL)", name="one_value"),
    )


def _clips_and_shots() -> None:
    op.create_table(
        "clip",
        sa.Column("id", sa.Integer, primary_key=True),
        _parent("session"),
        sa.Column("file", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("own_markers", sa.Boolean, nullable=False),
        sa.UniqueConstraint("session_id", "file"),
    )
    op.create_table(
        "shot",
        sa.Column("id", sa.Integer, primary_key=True),
        _parent("clip"),
        sa.Column(
            "setup_id",
            sa.Integer,
            sa.ForeignKey("setup.id", ondelete="CASCADE"),
            nullable=False,
            index=True,
        ),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("release_s", sa.Double, nullable=False),
        *(sa.Column(name, sa.Double) for name in SHOT_FIGURES),
        *(sa.Column(name, sa.Double) for name in SHARED),
        sa.Column("frames_seen", sa.Integer, nullable=False),
        sa.Column("landing_seen", sa.Boolean, nullable=False),
        sa.Column("quality", sa.Text, nullable=False),
        sa.Column("reasons", sa.JSON, nullable=False),
        sa.UniqueConstraint("clip_id", "number"),
        sa.CheckConstraint("quality IN ('good', 'check', 'rejected')", name="quality"),
    )


def downgrade() -> None:
    """Drop the tables."""
    for name in ("shot", "clip", "setup_field", "setup", "session"):
        op.drop_table(name)
