"""How much the ground of a session rises, downrange and to the left; unknown for earlier ones."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

NAMES = ("ground_rise_along_percent", "ground_rise_across_percent")


def upgrade() -> None:
    """Add the columns."""
    for name in NAMES:
        op.add_column("session", sa.Column(name, sa.Double))


def downgrade() -> None:
    """Drop the columns."""
    for name in NAMES:
        op.drop_column("session", name)
