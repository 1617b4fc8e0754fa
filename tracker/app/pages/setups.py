"""Setups: which is the best, how surely, where their shots land, and how many more it takes."""

from collections.abc import Sequence

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.charts import chart, use_charts
from tracker.app.running import follow
from tracker.app.setups.showing import Showing
from tracker.app.stale import is_stale, notice, running
from tracker.app.view import Page, View
from tracker.comparison.setups import Summary
from tracker.comparison.words import WORDINGS
from tracker.report.document.charts import agreement, landing_map, strips
from tracker.report.standing_table import standing_table
from tracker.session import number
from tracker.session.kinds import listed
from tracker.workflow.standing import Standing, standing

STRIPS = (
    "A mark is a shot, an open one is to be checked. The thick bar is the mean with its 95 % "
    "interval, the thin one holds the next shot; a dashed one is predicted."
)
A_SHOT = "The mark is the one shot; an open one is to be checked."
FROM_ABOVE = (
    "From above, left is up. The solid outline holds half of the next landings, the dashed one "
    "95 %."
)
AGREEMENT = "The full mark is measured; the open one is predicted from the other setups' shots."

EXPANDED = "± here is a 95 % interval; on the page Measure it is one standard uncertainty."
NOTHING = (
    "No setup has a shot yet. Film some, measure them on the page Measure, and the answer stands "
    "here."
)


class Asked:
    """What is compared, and the content that answers it.

    Parameters
    ----------
    view : View
    """

    def __init__(self, view: View) -> None:
        self.view = view
        self.quantity = "carry_m"
        self.worth: float | None = None
        self._serial = 0

    def build(self) -> None:
        """Put the questions; `draw` puts the answer."""
        # Only the names of its rows may change here: they are not listed.
        follow(self.view, "measure", lambda: self._showing.ended(), lambda _: "")
        with parts.group("row"):
            names = [(key, wording.noun) for key, wording in WORDINGS.items()]
            parts.choice("What is compared", names, self.quantity, self._chosen)
            self._unit = parts.group()
            self._entry()
        self._showing = Showing(self.view)
        # Below what is asked, which so stays where it is when the answer comes.
        self._answer = parts.group("answer")
        self._answer.props["aria-live"] = "polite"
        self._content = parts.group("content")
        with self._answer:
            parts.sentence("The setups are being compared.", "quiet")

    def _entry(self) -> None:
        """Put the field for the difference that matters, in the unit of the quantity."""
        self._unit.clear()
        shown = "" if self.worth is None else f"{self.worth:g}"
        unit = WORDINGS[self.quantity].unit
        with self._unit:
            entry = parts.field("Difference that matters", shown, self._worth, unit)
            entry.props["placeholder"] = "as 1.5"

    async def _chosen(self, quantity: str) -> None:
        self.quantity, self.worth = quantity, None
        self._entry()
        await self.draw()

    async def _worth(self, text: str) -> None:
        try:
            self.worth = number(text) if text.strip() else None
        except InputError as error:
            self.view.complain(error.sentences())
            return
        await self.draw()

    async def draw(self) -> None:
        """Compute the answer and show it, unless another question came meanwhile."""
        self._serial += 1
        mine = self._serial
        self._showing.renew()
        asked = (self.view.opened.place, self.quantity, self.worth)
        found = await self.view.attempt(standing, *asked)
        if mine != self._serial or found is None:
            return
        self._answer.clear()
        self._content.clear()
        with self._answer:
            _lead(self.view, found)
            parts.sentence(EXPANDED, "hint")
        with self._content:
            _content(found)
        if await is_stale(self.view) and mine == self._serial and not running(self.view):
            with self._answer:
                notice(self.view)


def _lead(view: View, found: Standing) -> None:
    """Put the answer in its first sentence, and what else was found."""
    if not found.sentences:
        shown = [one for one in found.comparison.summaries if one.used]
        if len(shown) > 1:
            parts.sentence(single_shots(shown), "lead")
        for one in shown if len(shown) == 1 else ():
            _alone(view, one)
        if not shown:
            parts.sentence(NOTHING, "lead")
        return
    first, *rest = found.sentences
    parts.sentence(first, "lead")
    for words in rest[:2]:
        parts.sentence(words)
    for words in found.notes:
        parts.sentence(words, "doubt")
    if len(rest) > 2:
        with parts.fold("Every difference, and what limits it"), parts.group(tag="ul"):
            for words in rest[2:]:
                parts.text("li", words)


def single_shots(shown: Sequence[Summary]) -> str:
    """Return what to do where no setup has a second shot."""
    names = listed([f'"{one.name}"' for one in shown])
    return (
        f"There is one shot each of {names}. The chart shows them, but a single shot says nothing "
        "of how far the next one goes, so there is no ranking yet: shoot five of each."
    )


def _alone(view: View, one: Summary) -> None:
    """Put what there is of a setup that stands alone, and what to do."""
    shots = f"{one.used} shot{'' if one.used == 1 else 's'}"
    with parts.group("lead", "p"):
        parts.text(
            "span",
            f'"{one.name}" has {shots}, and there is no other setup to compare. Film another, or '
            "describe it on the page ",
        )
        parts.link("Launcher", view.address("launcher"))
        parts.text("span", ": then it stands here with its prediction.")


def _content(found: Standing) -> None:
    """Put charts and tables."""
    comparison, setups = found.comparison, found.setups
    if found.plan:
        parts.heading("What to shoot next")
        with parts.group(tag="ul"):
            for words in found.plan:
                parts.text("li", words)
    if not any(one.used for one in comparison.summaries) and not comparison.expected:
        return
    # One shot has no mean, no scatter and no interval.
    lonely = [one.used for one in comparison.summaries] == [1] and not comparison.expected
    with parts.group("charts"):
        with parts.group():
            parts.heading("Setup by setup")
            chart(strips(comparison, setups), A_SHOT if lonely else STRIPS)
        if any(one.landing is not None for one in comparison.summaries):
            with parts.group():
                parts.heading("Landings")
                chart(landing_map(comparison, setups), FROM_ABOVE)
        if comparison.verdicts:
            places = {one.name: place for place, one in enumerate(comparison.summaries)}
            with parts.group():
                parts.heading("Measured and predicted")
                chart(agreement(comparison.verdicts, comparison.quantity, places), AGREEMENT)
    if not lonely:
        # Below the charts, since it is wider than any of them.
        parts.heading("In figures")
        made = standing_table(comparison, found.chances)
        parts.table(made.head, made.rows, made.caption, range(1, len(made.head)))


def build(view: View) -> None:
    """Build the page."""
    use_charts(view)
    if view.look.session is None:
        parts.sentence("The setups are shown as soon as session.toml can be read.", "lead")
        view.on_change(lambda: ui.navigate.reload() if view.look.session is not None else None)
        return
    asked = Asked(view)
    asked.build()
    view.on_change(asked.draw)
    ui.timer(0.0, asked.draw, once=True)


PAGE = Page("setups", "Setups", build, order=50)
