"""The pieces that pages are built of: plain elements with the look of `static/page.css`.

A text that a person wrote goes through these functions only: it is shown as it is, never read as
HTML.
"""

import re
from collections.abc import Awaitable, Callable, Iterable, Sequence
from functools import partial
from inspect import isawaitable
from typing import Any

from nicegui import ui
from nicegui.elements.mixins.text_element import TextElement

from calibration.errors import InputError

Handler = Callable[[], Any]


class Text(TextElement):
    """An element of any tag that holds a text."""

    def __init__(self, tag: str, text: str, kind: str = "") -> None:
        super().__init__(tag=tag, text=text)
        if kind:
            self.classes(kind)

    def _text_to_model_text(self, text: str) -> None:
        super()._text_to_model_text(unbroken(text))


def unbroken(words: str) -> str:
    """Return words with no-break spaces between a number, its ± and its unit."""
    return _WITHIN_FIGURE.sub("\N{NO-BREAK SPACE}", words)


_WITHIN_FIGURE = re.compile(
    r"(?<=\d) (?=[±%°])|(?<=±) (?=\d)|(?<=\d) (?=(?:mm|cm|m|m/s|px|s|V|A|W|J|g|N|rpm)(?!\w))"
)


def text(tag: str, words: str, kind: str = "") -> Text:
    """Put an element with a text; `kind` is a class of the style sheet."""
    return Text(tag, words, kind)


def heading(words: str, level: int = 2) -> Text:
    """Put a heading; each page has one of level 1 already, its title."""
    return Text(f"h{level}", words)


def sentence(words: str, kind: str = "") -> Text:
    """Put a sentence; kinds are ``quiet``, ``lead``, ``caution`` and ``doubt``."""
    return Text("p", words, kind)


class Lines:
    """Sentences that change in place: what says the same is not touched.

    Parameters
    ----------
    kind : str
        Class of the group that they stand in.
    """

    def __init__(self, kind: str = "") -> None:
        self.place = group(kind)
        self._kinds: tuple[str, ...] = ()
        self._made: list[Text] = []

    def show(self, lines: Iterable[tuple[str, str]]) -> None:
        """Show sentences, each with its kind as `sentence` takes it; empty ones are left out."""
        shown = [(words, kind) for words, kind in lines if words]
        kinds = tuple(kind for _, kind in shown)
        if kinds != self._kinds:
            self._kinds = kinds
            self.place.clear()
            with self.place:
                self._made = [sentence(words, kind) for words, kind in shown]
            return
        for made, (words, _) in zip(self._made, shown, strict=True):
            if made.text != words:
                made.text = words


def group(kind: str = "", tag: str = "div", label: str = "") -> ui.element:
    """Put a group of elements, as in ``with group("row"):``; kinds: ``row``, ``stack``, ``two``."""
    made = ui.element(tag)
    if kind:
        made.classes(kind)
    if label:
        made.props["aria-label"] = label
        made.props["role"] = "group"
    return made


def button(words: str, on_click: Handler, main: bool = False, key: str = "") -> Text:
    """Put a button.

    Parameters
    ----------
    words : str
    on_click : callable
        A function or a coroutine function.
    main : bool
        Whether it is the step that the page leads to; one a page.
    key : str
        The key that does the same, shown on it; registered with `View.key`.
    """
    made = Text("button", words, "main" if main else "")
    made.props["type"] = "button"
    if key:
        made.props["aria-keyshortcuts"] = key
        made.props["data-key"] = key
    made.on("click", lambda: on_click())
    return made


def link(words: str, address: str, download: bool = False) -> Text:
    """Put a link; the address comes from `View.address` or another function of the view."""
    made = Text("a", words)
    made.props["href"] = address
    if download:
        made.props["download"] = ""
    return made


def picture(address: str, described: str) -> ui.element:
    """Put a picture with what it shows in words."""
    made = ui.element("img")
    made.props.update({"src": address, "alt": described, "loading": "lazy"})
    return made


class Entry(ui.element):
    """What a `field` is typed into; its property ``value`` is what stands in it on the screen.

    A text is replaced once the file says what was made of it, never while somebody types on, nor
    where it was refused.
    """

    def __init__(self, value: str, on_change: Callable[[str], Any]) -> None:
        super().__init__("input")
        self.props.update({"type": "text", "value": value, "autocomplete": "off"})
        self._on_change = on_change
        self._said = self._put = value
        self._saving: list[str] = []
        self.on("input", lambda event: self._typed(str(event.args)), js_handler=_TYPED)
        self.on("change", lambda event: self._changed(str(event.args)), js_handler=_VALUE)

    def rewrite(self, words: str, accepted: str | None = None) -> None:
        """Show what the file says, unless somebody types on or has to correct what is there.

        Parameters
        ----------
        words : str
        accepted : str, optional
            What was typed and is saved, which may say the same in other words.
        """
        shown = self.props["value"]
        saved = words != self._said and self._saving[:1] == [shown]
        self._said = words
        if shown != words and not (saved or shown in (self._put, accepted)):
            return
        self._put = words
        if shown != words:
            self.props["value"] = words

    def _typed(self, words: str) -> None:
        with self.props.suspend_updates():
            self.props["value"] = words

    async def _changed(self, words: str) -> None:
        self._typed(words)
        self._saving.append(words)
        try:
            done = self._on_change(words)
            if isawaitable(done):
                await done
        finally:
            self._saving.remove(words)


def field(
    label: str,
    value: str,
    on_change: Callable[[str], Any],
    unit: str = "",
    hint: str = "",
) -> Entry:
    """Put a labelled field; `on_change` gets its text when the person has finished it.

    Parameters
    ----------
    label, value : str
    on_change : callable
        A function or a coroutine function.
    unit : str
        Shown behind it; lengths accept feet and inches (`tracker.session.length_m`).
    hint : str
        A sentence below it.
    """
    with ui.element("label").classes("field"):
        Text("span", label, "label")
        with ui.element("span").classes("entry"):
            entry = Entry(value, on_change)
            if unit:
                Text("span", unit, "unit")
        if hint:
            Text("span", hint, "hint")
    return entry


def choice(
    label: str, options: Iterable[tuple[str, str]], value: str, on_change: Callable[[str], Any]
) -> ui.element:
    """Put a labelled choice among (value, words) options."""
    with ui.element("label").classes("field"):
        Text("span", label, "label")
        chosen = ui.element("select")
        chosen.on("change", lambda event: on_change(str(event.args)), js_handler=_VALUE)
        with chosen:
            for key, words in options:
                option = Text("option", words)
                option.props["value"] = key
                if key == value:
                    option.props["selected"] = True
    return chosen


def renew_choice(chosen: ui.element, options: Sequence[tuple[str, str]], value: str) -> None:
    """Show other options in a `choice`, or another value, without putting it anew."""
    if [each.props["value"] for each in chosen] != [key for key, _ in options]:
        chosen.clear()
        with chosen:
            for key, words in options:
                Text("option", words).props["value"] = key
    chosen.props["value"] = value
    chosen.update()


def show_if(wanted: bool, made: ui.element) -> None:
    """Show an element, or hide it from everybody."""
    if made.props.get("hidden", False) == wanted:
        made.props["hidden"] = not wanted


def slider(
    label: str, bounds: tuple[float, float, float], value: float, on_change: Callable[[float], Any]
) -> ui.element:
    """Put a labelled slider over (lowest, highest, step); `on_change` gets its number."""
    with ui.element("label").classes("field"):
        Text("span", label, "label")
        moved = ui.element("input")
        low, high, step = bounds
        moved.props.update({"type": "range", "min": low, "max": high, "step": step, "value": value})
        moved.on("input", js_handler=KEPT)
        moved.on(
            "input", lambda event: on_change(float(event.args)), js_handler=_VALUE, throttle=0.05
        )
    return moved


def table(
    head: Sequence[str], rows: Iterable[Sequence[str]], caption: str, numeric: Sequence[int] = ()
) -> ui.element:
    """Put a table of texts; `numeric` are the columns that are set flush right.

    On a narrow screen each row becomes a small block with its column names.
    """
    with group("scroll", label=caption) as scroll:
        # Whoever has no mouse scrolls a wide table with the keys.
        scroll.props["tabindex"] = "0"
        made = ui.element("table")
        with made:
            Text("caption", caption)
            with ui.element("thead"), ui.element("tr"):
                for number, words in enumerate(head):
                    cell = Text("th", words, "number" if number in numeric else "")
                    cell.props["scope"] = "col"
            with ui.element("tbody"):
                for row in rows:
                    with ui.element("tr"):
                        for number, words in enumerate(row):
                            cell = Text("td", words, "number" if number in numeric else "")
                            cell.props["data-head"] = head[number]
    return made


def dim(made: ui.element, rows: Iterable[int]) -> None:
    """Show rows of a `table`, by their number from 0, as ones that do not count."""
    body = next(each for each in made.descendants() if each.tag == "tbody")
    for number in rows:
        body.default_slot.children[number].classes("dimmed")


def fold(summary: str, opened: bool = False) -> ui.element:
    """Put details that unfold, used as ``with fold("More"):``."""
    made = ui.element("details")
    if opened:
        made.props["open"] = True
    with made:
        Text("summary", summary)
    return made


def bar(share: float, label: str) -> ui.element:
    """Put a bar of progress, 0 to 1; move it by ``made.props["value"] = …`` and ``update()``."""
    made = ui.element("progress")
    made.props.update({"max": 1, "value": round(share, 4), "aria-label": label})
    return made


def fill(waiting: str, prepare: Callable[[], Awaitable[Handler]]) -> None:
    """Put a place that is filled once the tab is connected.

    Parameters
    ----------
    waiting : str
        A sentence that stands there until then.
    prepare : callable
        A coroutine function that returns what builds the content; its InputError is shown instead.
    """
    with group() as place:
        sentence(waiting, "quiet")

    async def come() -> None:
        try:
            build = await prepare()
        except InputError as error:
            build = partial(_faults, error)
        place.clear()
        with place:
            build()

    ui.timer(0.0, come, once=True)


def _faults(error: InputError) -> None:
    for words in error.sentences():
        sentence(words, "fault")


_VALUE = "(event) => emit(event.target.value)"

_KEEP = "Vue.toRaw(element).props.value = event.target.value"

KEPT = f"(event) => {{ {_KEEP} }}"
"""What is being typed is not replaced by the earlier value when the page draws itself anew."""

_TYPED = f"(event) => {{ {_KEEP}; emit(event.target.value) }}"
