"""Digest of a setup's tables, by which setups that are built alike are found."""

import hashlib
import json

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

NAME = "tables_sha256"


def upgrade() -> None:
    """Add the column and fill it."""
    op.add_column("setup", sa.Column(NAME, sa.String(64), nullable=False, server_default=""))
    setup = sa.table("setup", sa.column("id"), sa.column(NAME))
    field = sa.table(
        "setup_field", *map(sa.column, ("setup_id", "part", "field", "number", "text"))
    )
    connection = op.get_bind()
    tables: dict[int, dict[str, dict[str, float | str]]] = {}
    for number in connection.execute(sa.select(setup.c.id)).scalars():
        tables[number] = {}
    for row in connection.execute(sa.select(field)):
        value = row.text if row.number is None else row.number
        tables[row.setup_id].setdefault(row.part, {})[row.field] = value
    filled = [{"of": number, "digest": _digest(each)} for number, each in tables.items()]
    if filled:
        change = sa.update(setup).where(setup.c.id == sa.bindparam("of"))
        connection.execute(change.values({NAME: sa.bindparam("digest")}), filled)


def _digest(tables: dict[str, dict[str, float | str]]) -> str:
    text = json.dumps(tables, sort_keys=True)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def downgrade() -> None:
    """Drop the column."""
    op.drop_column("setup", NAME)
