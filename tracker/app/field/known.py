"""What is known of the camera apart from the markers, as fields."""

from collections.abc import Callable
from functools import partial

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.view import View
from tracker.session import FieldChange, Session, length_m, number

PLACES = ("along", "across", "up")


class KnownOfCamera:
    """Fields for the camera's taped position, its field of view and the height of release.

    Parameters
    ----------
    view : View
    """

    def __init__(self, view: View) -> None:
        self.view = view
        self._entries: dict[str, ui.element] = {}
        self._typed: dict[str, str] = {}
        with parts.group("field-metres"):
            for name in PLACES:
                self._put(name, f"Camera, {name}", "m", partial(self._place, name))
        self._put(
            "view",
            "Field of view",
            "°",
            partial(self._save_number, "field of view", ("camera", "field_of_view_deg"), number),
            "from edge to edge of the frame, as the maker states it",
        )
        self._put(
            "height",
            "The ball leaves the launcher at",
            "m",
            partial(self._save_number, "height of release", ("release", "height_m"), length_m),
        )
        view.on_change(self._renewed)

    def _put(
        self, key: str, label: str, unit: str, save: Callable[[str], object], hint: str = ""
    ) -> None:
        self._entries[key] = parts.field(label, self._texts()[key], save, unit, hint)

    async def _place(self, name: str, text: str) -> None:
        """Save the position once all of it is given, or none."""
        self._typed[name] = text
        texts = {key: self._typed.get(key, self._texts()[key]).strip() for key in PLACES}
        where = ("camera", "position_m")
        if not any(texts.values()):
            await self.view.edit("camera position not taped", FieldChange(where, None))
        elif all(texts.values()):
            try:
                wanted = [length_m(texts[key]) for key in PLACES]
            except InputError as error:
                self.view.complain(error.sentences())
                return
            await self.view.edit(f"camera, {name} {text}", FieldChange(where, wanted))
        else:
            self.view.say("The camera's position counts once along, across and up are given.")

    async def _save_number(
        self, what: str, where: tuple[str, str], read: Callable[[str], float], text: str
    ) -> None:
        try:
            value = read(text) if text.strip() else None
        except InputError as error:
            self.view.complain(error.sentences())
            return
        said = f"{what} not known" if value is None else f"{what} {value:g}"
        await self.view.edit(said, FieldChange(where, value))

    def _renewed(self) -> None:
        self._typed.clear()
        if self.view.look.session is not None:
            for key, text in self._texts().items():
                if self._entries[key].props["value"] != text:
                    self._entries[key].props["value"] = text
                    self._entries[key].update()

    def _texts(self) -> dict[str, str]:
        """Return what the fields show, by their keys."""
        session: Session | None = self.view.look.session
        assert session is not None
        position = session.camera.position_m or (None, None, None)
        known = session.release.height_m if session.release.height_known else None
        return {
            **{name: _text(value) for name, value in zip(PLACES, position, strict=True)},
            "view": _text(session.camera.field_of_view_deg),
            "height": _text(known),
        }


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
