"""The shots of each setup packed into one array of numbers, which a comparison reads."""

from itertools import groupby, islice

import numpy as np
import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

KEYS = "id setup_id clip_id number"
PLAIN = """
    release_s exit_speed_mps exit_speed_u_mps launch_angle_deg launch_angle_u_deg azimuth_deg
    azimuth_u_deg carry_m carry_u_m landing_along_m landing_along_u_m landing_across_m
    landing_across_u_m apex_m apex_u_m flight_time_s flight_time_u_s landing_speed_mps
    landing_angle_deg frames_seen
"""
CODED = (
    "CASE WHEN landing_seen THEN 1 ELSE 0 END, "
    "CASE quality WHEN 'good' THEN 0 WHEN 'check' THEN 1 WHEN 'rejected' THEN 2 END, "
    "CASE WHEN CAST(reasons AS TEXT) = '[]' THEN 0 ELSE 1 END"
)
SHARED = """
    exit_speed_shared_u_mps launch_angle_shared_u_deg azimuth_shared_u_deg carry_shared_u_m
    landing_along_shared_u_m landing_across_shared_u_m apex_shared_u_m flight_time_shared_u_s
"""
AT_ONCE = 1000
"""Setups that are packed before they are written: some megabytes."""


def upgrade() -> None:
    """Add the table and fill it."""
    table = op.create_table(
        "packed_shots",
        sa.Column("setup_id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("cells", sa.LargeBinary, nullable=False),
        sa.ForeignKeyConstraint(
            ["setup_id"],
            ["setup.id"],
            name="fk_packed_shots_setup_id_setup",
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("setup_id", name="pk_packed_shots"),
    )
    connection = op.get_bind()
    columns = ", ".join([*f"{KEYS} {PLAIN}".split(), CODED, *SHARED.split()])
    rows = connection.execute(sa.text(f"SELECT {columns} FROM shot ORDER BY setup_id, id"))
    packs = (
        {"setup_id": setup, "cells": np.array([tuple(row) for row in mine], "<f8").tobytes()}
        for setup, mine in groupby(rows, key=lambda row: row[1])
    )
    while batch := list(islice(packs, AT_ONCE)):
        connection.execute(sa.insert(table), batch)


def downgrade() -> None:
    """Drop the table."""
    op.drop_table("packed_shots")
