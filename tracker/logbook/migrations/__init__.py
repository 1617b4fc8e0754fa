"""The steps by which a logbook of an earlier version becomes one of this version (alembic)."""
