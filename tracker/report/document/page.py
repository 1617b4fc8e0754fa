"""The page of a report: template and style filled with finished facts."""

import base64
from importlib.resources import files

from markupsafe import Markup

from tracker.comparison.setups import Summary
from tracker.comparison.words import WORDINGS
from tracker.records import Quality
from tracker.report.document import charts
from tracker.report.document.facts import ReportFacts
from tracker.report.document.words import (
    COMPARED,
    causes_of,
    headlines,
    setup_rows,
    shot_cells,
    unpredicted,
    words_of,
)
from tracker.report.narrow import joined

NO_BREAK = "\u00a0"
"""A space at which no line breaks, which browsers find as a plain one."""

SHOT_HEADINGS = (
    ("exit speed", "m/s"),
    ("launch angle", "°"),
    ("azimuth", "°"),
    ("carry", "m"),
    ("apex", "m"),
    ("flight time", "s"),
)


def report_page(facts: ReportFacts) -> str:
    """Return the report as one HTML document that needs no other file and no network.

    Every text in it is escaped; charts are SVG elements whose text can be searched.

    Parameters
    ----------
    facts : ReportFacts
    """
    from jinja2 import Environment, StrictUndefined

    rules = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, finalize=_unbroken
    )
    style = rules.from_string(_text("page.css")).render()
    page = rules.from_string(_text("page.html"))
    places = {setup.name: place for place, setup in enumerate(facts.setups)}
    said = [words_of(each) for each in facts.comparisons]
    level = facts.comparisons[0].level
    return page.render(
        facts=facts,
        title=_title(facts),
        style=Markup(style),
        headlines=headlines(facts.comparisons, facts.setups),
        answers=_once([text for each in said for text in each.answer]),
        setup_headings=[
            *((WORDINGS[name].noun, WORDINGS[name].unit) for name in COMPARED),
            ("scatter of the carry", "m, standard deviation"),
        ],
        setup_rows=setup_rows(facts.setups, level),
        setups=[(place, name) for name, place in places.items()],
        any_check=any(row.shot.quality is Quality.CHECK for row in facts.shots),
        strips=[
            charts.strips(each, facts.setups) for each in facts.comparisons if _used(each.summaries)
        ],
        trajectories=charts.trajectories(facts.curves, places) if facts.curves else "",
        landings=_landings(facts),
        agreements=[
            (charts.agreement(each.verdicts, each.quantity, places), words.agreement)
            for each, words in zip(facts.comparisons, said, strict=True)
            if each.verdicts
        ],
        unpredicted=unpredicted(facts.comparisons[0]),
        regions=any(each.landing is not None for each in facts.comparisons[0].summaries),
        remarks=_once([text for each in said for text in each.remarks]),
        shot_headings=SHOT_HEADINGS,
        shots=list(zip(facts.shots, shot_cells(facts.shots), strict=True)),
        causes=[
            (each, charts.shares(each.parts, f"what the {each.figure}'s variance comes from"))
            for each in causes_of(facts)
        ],
        swatch=charts.swatch,
        line_swatch=charts.line_swatch,
        picture=_embedded,
    )


def _unbroken(value: object) -> object:
    """Return a text with no-break spaces between numbers and their units; all else as it is."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return joined(value, NO_BREAK)
    return value


def _once(said: list[str]) -> list[str]:
    """Return sentences in order, a repeated one only where it stands last."""
    return list(dict.fromkeys(reversed(said)))[::-1]


def _title(facts: ReportFacts) -> str:
    names = [session.name for session in facts.sessions] or ["No session"]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _used(summaries: tuple[Summary, ...]) -> bool:
    return any(summary.used for summary in summaries)


def _landings(facts: ReportFacts) -> str:
    landed = any(
        row.shot.landing_along_m is not None
        and row.shot.landing_across_m is not None
        and row.shot.quality is not Quality.REJECTED
        for row in facts.shots
    )
    return charts.landing_map(facts.comparisons[0], facts.setups) if landed else ""


def _embedded(picture: bytes) -> str:
    """Return a JPEG file as the address of an image that holds it."""
    return f"data:image/jpeg;base64,{base64.b64encode(picture).decode('ascii')}"


def _text(name: str) -> str:
    """Return a file of this folder."""
    return files("tracker.report.document").joinpath(name).read_text(encoding="utf-8")
