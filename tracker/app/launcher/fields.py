"""The numbers and words of one setup as fields, in the tables of ``session.toml``."""

from collections.abc import Callable
from functools import partial

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.view import View
from tracker.launcher.fields import CHOICES, NUMBERS, Choice, Number
from tracker.report.field_words import meaning_of, unit_of
from tracker.session import FieldChange, SetupEntry, number

TABLES = {
    "wheel": "Wheels",
    "motor": "Motor",
    "grip": "Gap and ball",
    "battery": "Battery",
    "losses": "Losses",
}
"""Headings of the tables, in the order of the page."""

FIRST = (
    "wheel.diameter_mm", "wheel.mass_g", "wheel.kind", "motor.supply_v", "motor.no_load_rpm",
    "motor.rated_power_w", "motor.duty_percent", "grip.gap_mm", "battery.capacity_ah",
    "battery.kind",
)  # fmt: skip
"""Fields that are shown at once; the others unfold."""

LEFT_OUT = "left out"
"""Option of a choice that takes the default."""


class SetupFields:
    """The fields of one setup.

    Parameters
    ----------
    view : View
    name : callable
        Returns the name of the setup that is shown.
    """

    def __init__(self, view: View, name: Callable[[], str]) -> None:
        self._view, self._name = view, name
        self._entries: dict[str, ui.element] = {}

    def build(self) -> None:
        """Put the fields, those that are asked for most before the others."""
        with parts.group("fields"):
            for one in (*NUMBERS, *CHOICES):
                if one.key in FIRST:
                    self._put(one)
        for table, heading in TABLES.items():
            others = [
                one for one in (*NUMBERS, *CHOICES) if one.table == table and one.key not in FIRST
            ]
            if others:
                with parts.fold(f"{heading}: more"), parts.group("fields"):
                    for one in others:
                        self._put(one)

    def renew(self) -> None:
        """Show what the file says now; what has the focus keeps it."""
        for key, entry in self._entries.items():
            shown = self._text(key)
            if isinstance(entry, parts.Entry):
                entry.rewrite(shown)
            elif entry.props["value"] != shown:
                entry.props["value"] = shown

    @property
    def place(self) -> int:
        """Number of the setup in the file, from 0."""
        return next(i for i, one in enumerate(self._setups) if one.name == self._name())

    @property
    def _setups(self) -> tuple[SetupEntry, ...]:
        session = self._view.look.session
        return () if session is None else session.setups

    def _put(self, one: Number | Choice) -> None:
        meaning = meaning_of(one.key) if isinstance(one, Number) else one.meaning
        label = meaning[:1].upper() + meaning[1:]
        if isinstance(one, Number):
            self._entries[one.key] = parts.field(
                label, self._text(one.key), partial(self._number, one), unit_of(one.key), _hint(one)
            )
            return
        options = [("", f"{LEFT_OUT}: {one.words[0]}"), *((word, word) for word in one.words)]
        made = parts.choice(label, options, self._text(one.key), partial(self._word, one))
        made.props["value"] = self._text(one.key)
        self._entries[one.key] = made

    def _text(self, key: str) -> str:
        table, field = key.split(".")
        written = self._setups[self.place].parts.get(table, {}).get(field)
        if written is None:
            return ""
        return written if isinstance(written, str) else f"{written:g}"

    async def _number(self, one: Number, text: str) -> None:
        try:
            value = number(text) if text.strip() else None
        except InputError as error:
            self._view.complain(error.sentences(), about=self._where(one.key))
            return
        said = f"{one.name} of {self._name()} " + ("left out" if value is None else f"{value:g}")
        await self._save(one.key, value, said)

    async def _word(self, one: Choice, word: str) -> None:
        said = f"{one.name} of {self._name()} {word or LEFT_OUT}"
        await self._save(one.key, word or None, said)

    async def _save(self, key: str, value: float | str | None, said: str) -> None:
        await self._view.edit(said, FieldChange(self._where(key), value))

    def _where(self, key: str) -> tuple[str, int, str, str]:
        """Return the place of a field in ``session.toml``."""
        table, field = key.split(".")
        return ("setup", self.place, table, field)


def _hint(one: Number) -> str:
    """Return what is taken where a number is left out."""
    return "" if one.default is None else f"{LEFT_OUT}: {one.default:g}"
