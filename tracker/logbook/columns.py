"""Columns of the table ``shot``, by the names of shots.csv; without the library of databases."""

from dataclasses import fields

from tracker.records import Shot

KEYS = ("clip", "setup", "shot")
"""Columns of shots.csv that are foreign keys or the shot's number in the table."""

FIGURES = tuple(each.name for each in fields(Shot) if each.name not in KEYS)
"""Columns of shots.csv that stand in the table ``shot`` under their own names."""

SHARED = {
    name.replace("_u_", "_"): name.replace("_u_", "_shared_u_") for name in FIGURES if "_u_" in name
}
"""By figure, the column of the part of its uncertainty that a session's shots share."""
