"""What is known apart from the markers, as fields: the height of release, and of the camera."""

from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.view import View
from tracker.flight.ball import BALLS
from tracker.session import FieldChange, Session, length_m, number, speed_mps, to_millimetre

PLACES = ("along", "across", "up")


class ReleaseHeight:
    """Field for the height of release, which markers need: they count from the ground below it.

    Parameters
    ----------
    view : View
    """

    def __init__(self, view: View) -> None:
        self.view = view
        save = partial(save_number, view, "height of release", ("release", "height_m"), length_m)
        self._entry = parts.field(
            "The ball leaves the launcher at", self._text(), save, "m", "above the ground there"
        )
        self._entry.props["id"] = "release-height"
        view.on_change(self._renewed)

    @property
    def known(self) -> bool:
        """Whether the session states it."""
        session = self.view.look.session
        return session is not None and session.release.height_known

    def ask(self) -> None:
        """Ask for it."""
        self.view.say(
            "First tape how high above the ground the ball leaves the launcher, and write it into "
            "the field that has the focus now. Markers count from there.",
            about=("release", "height_m"),
        )
        ui.run_javascript('document.getElementById("release-height")?.focus()')

    def _renewed(self) -> None:
        if self.view.look.session is not None:
            self._entry.rewrite(self._text())

    def _text(self) -> str:
        session = self.view.look.session
        assert session is not None
        return _text(session.release.height_m) if self.known else ""


async def save_number(
    view: View, what: str, where: tuple[str, str], read: Callable[[str], float], text: str
) -> bool:
    """Save a number that was typed, or that it is not known; return whether it was done."""
    try:
        value = read(text) if text.strip() else None
    except InputError as error:
        view.complain(error.sentences(), about=where)
        return False
    said = f"{what} not known" if value is None else f"{what} {value:g}"
    return await view.edit(said, FieldChange(where, value))


class KnownOfCamera:
    """Fields for the camera's taped position and its field of view.

    Parameters
    ----------
    view : View
    """

    def __init__(self, view: View) -> None:
        self.view = view
        self._entries: dict[str, parts.Entry] = {}
        self._typed: dict[str, str] = {}
        with parts.group("field-metres"):
            for name in PLACES:
                self._put(name, f"Camera, {name}", "m", partial(self._place, name))
        self._put(
            "view",
            "Field of view",
            "°",
            partial(save_number, view, "field of view", ("camera", "field_of_view_deg"), number),
            "from edge to edge of the frame, as the maker states it",
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
                wanted = to_millimetre(length_m(texts[key]) for key in PLACES)
            except InputError as error:
                self.view.complain(error.sentences(), about=where)
                return
            if await self.view.edit(f"camera, {name} {text}", FieldChange(where, wanted)):
                self._renewed(texts)
        else:
            self.view.say(
                "The camera's position counts once along, across and up are given.", about=where
            )

    def _renewed(self, accepted: Mapping[str, str] = MappingProxyType({})) -> None:
        session = self.view.look.session
        if session is not None and session.camera.position_m is not None:
            # Until the file has a position, what is typed of one counts, whatever else changes.
            self._typed.clear()
        if session is not None:
            for key, text in self._texts().items():
                self._entries[key].rewrite(text, accepted.get(key))

    def _texts(self) -> dict[str, str]:
        """Return what the fields show, by their keys."""
        session: Session | None = self.view.look.session
        assert session is not None
        position = session.camera.position_m or (None, None, None)
        return {
            **{name: _text(value) for name, value in zip(PLACES, position, strict=True)},
            "view": _text(session.camera.field_of_view_deg),
        }


RATE = ("camera", "capture_fps")


class KnownOfFlight:
    """Fields for the ball, the wind, the air and the film's true frame rate.

    Parameters
    ----------
    view : View
    """

    def __init__(self, view: View) -> None:
        self.view = view
        self._entries: dict[tuple[str, str], parts.Entry] = {}
        self._ball = parts.choice("Ball", _balls(self._session), self._session.ball.type, self._of)
        with parts.group("field-metres"):
            self._put("Wind along", ("air", "wind_along_mps"), speed_mps, "m/s", "with the shots")
            self._put("Wind across", ("air", "wind_across_mps"), speed_mps, "m/s", "to their left")
            self._put(
                "Wind, give or take", ("air", "wind_u_mps"), speed_mps, "m/s", "one ± of each"
            )
        parts.sentence(
            "Against the shots, or to their right: negative. 12 km/h is taken too.", "hint"
        )
        self._put("Air temperature", ("air", "temperature_c"), number, "°C")
        self._put(
            "True frame rate",
            RATE,
            number,
            "/s",
            "only where a clip plays in slow motion: 240, for instance",
        )
        view.on_change(self._renewed)

    @property
    def _session(self) -> Session:
        session: Session | None = self.view.look.session
        assert session is not None
        return session

    def _put(
        self,
        label: str,
        where: tuple[str, str],
        read: Callable[[str], float],
        unit: str,
        hint: str = "",
    ) -> None:
        async def save(text: str) -> None:
            if await save_number(self.view, label.lower(), where, _rounded(read), text):
                # It may have been typed in another unit.
                self._entries[where].rewrite(self._shown(where), text)

        self._entries[where] = parts.field(label, self._shown(where), save, unit, hint)

    async def _of(self, ball: str) -> None:
        await self.view.edit(f"ball {ball}", FieldChange(("ball", "type"), ball))

    def _renewed(self) -> None:
        if self.view.look.session is None:
            return
        parts.renew_choice(self._ball, _balls(self._session), self._session.ball.type)
        for where, entry in self._entries.items():
            entry.rewrite(self._shown(where))

    def _shown(self, where: tuple[str, str]) -> str:
        table, name = where
        return _text(getattr(getattr(self._session, table), name))


def _rounded(read: Callable[[str], float]) -> Callable[[str], float]:
    """Return what reads a number without the digits of a conversion."""
    return lambda text: round(read(text), CONVERTED_DECIMALS)


CONVERTED_DECIMALS = 3
"""Places after the point of a speed that was typed in another unit (common practice, no source)."""


def _balls(session: Session) -> list[tuple[str, str]]:
    names = [ball.name for ball in BALLS]
    names += [] if session.ball.type in names else [session.ball.type]
    return [(name, name) for name in names]


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
