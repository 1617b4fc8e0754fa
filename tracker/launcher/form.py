"""The tables of one `[[setup]]` as numbers, words and uncertainties, with defaults filled in."""

from collections.abc import Mapping

from calibration.errors import InputError
from tracker.launcher.fields import CHOICES, NUMBERS


class Form:
    """The tables of one setup while they are read.

    Parameters
    ----------
    tables : mapping
        ``{"wheel": {"diameter_mm": 140.0, ...}, ...}``, its fields, types and ranges checked
        (`tracker.session.schema` does).
    where : str
        File and setup, for faults.

    Attributes
    ----------
    values : dict
        Each number by its key, defaults filled in.
    words : dict
        Each word by its key.
    u : dict
        Standard uncertainty of each number.
    given : set
        Keys that were written.
    tables : set
        Names of the tables that were written.
    faults : list of InputError
    """

    def __init__(self, tables: Mapping[str, Mapping[str, float | str]], where: str) -> None:
        self.where = where
        self.faults: list[InputError] = []
        self.values: dict[str, float] = {}
        self.words: dict[str, str] = {}
        self.u: dict[str, float] = {}
        self.given: set[str] = set()
        self.tables = set(tables)
        for number in NUMBERS:
            table = tables.get(number.table, {})
            if number.name in table:
                self.given.add(number.key)
                self.values[number.key] = float(table[number.name])
                self.u[number.key] = abs(self.values[number.key]) * number.u_share
            elif number.default is not None:
                self.values[number.key] = number.default
                self.u[number.key] = number.default * number.u_default
            if number.u_name not in table:
                continue
            if number.key in self.values:
                self.u[number.key] = float(table[number.u_name])
            else:
                self.at(
                    f"{number.table}.{number.u_name}",
                    f"belongs to {number.name}, which was left out",
                    f"give {number.name} too",
                )
        for choice in CHOICES:
            word = tables.get(choice.table, {}).get(choice.name)
            self.words[choice.key] = choice.words[0] if word is None else str(word)
            if word is not None:
                self.given.add(choice.key)

    def fault(self, field: str, what: str, remedy: str = "") -> None:
        """Remember a fault of a field."""
        where = ", ".join(part for part in (self.where, field) if part)
        self.faults.append(InputError(what, where=where, remedy=remedy))

    def at(self, key: str, what: str, remedy: str = "") -> None:
        """Remember a fault of the field with that key."""
        table, name = key.split(".")
        self.fault(f"[setup.{table}] {name}", what, remedy)
