"""A place to film from, in tables and sentences."""

import math
from collections.abc import Mapping, Sequence

from rich.table import Table

from tracker.report.budget_table import budget_sentence
from tracker.report.rounding import MISSING, with_uncertainty
from tracker.report.terminal import RULED
from tracker.report.vantage_facts import Change, Forecast, Vantage

SHOWN = (
    ("exit speed", "m/s", "exit_speed_mps"),
    ("launch angle", "°", "launch_angle_deg"),
    ("azimuth", "°", "azimuth_deg"),
    ("carry", "m", "carry_m"),
    ("apex", "m", "apex_m"),
)

WORTH_DOING = 0.98
"""A change that leaves more of the uncertainty than this is not worth a walk."""

FAINT_SNR, SMALL_PX, TIGHT_SHARE, FEW_FRAMES = 8.0, 1.5, 0.02, 30
"""Below these a person is told to beware: a ball that hardly stands out, or is hardly wider than
a pixel, an edge that is near, frames so few that a bird may take the place of some (common
practice, no source)."""


def forecast_table(forecast: Forecast) -> Table:
    """Return what can be had: expected figures and the uncertainty of a single shot."""
    table = _table("a single shot\n", *(f"{name}\n{unit}" for name, unit, _ in SHOWN))
    table.add_row(
        "expected ± u",
        *(with_uncertainty(forecast.values[key], forecast.u[key]) for _, _, key in SHOWN),
    )
    table.add_row("95 % within", *(f"±{_two_digits(1.96 * forecast.u[key])}" for *_, key in SHOWN))
    return table


def moments_table(forecast: Forecast) -> Table:
    """Return the ball as the camera will see it at release, apex and landing."""
    table = _table(
        "\n\n", "column\n\npx", "row\n\npx", "ball\n\npx", "a frame\n\npx", "streak\n\npx",
        "placed\nto\npx", "over\nnoise\n", "to the\nedge\npx", "any\nshot\npx",
    )  # fmt: skip
    for one in forecast.moments:
        if not one.margin_px > 0.0:
            table.add_row(one.name, *[MISSING] * 7, "out", "out")
            continue
        table.add_row(
            one.name,
            f"{one.pixel[0]:.0f}",
            f"{one.pixel[1]:.0f}",
            f"{one.diameter_px:.1f}",
            f"{one.step_px:.1f}",
            f"{one.streak_px:.1f}",
            f"{one.place_u_px:.2f}",
            f"{one.snr:.0f}",
            f"{one.margin_px:.0f}",
            f"{one.worst_margin_px:.0f}" if one.worst_margin_px > 0.0 else "out",
        )
    return table


def changes_table(changes: Sequence[Change], quantity: str, before: Mapping[str, float]) -> Table:
    """Return the changes that are worth doing, with the uncertainties after each."""
    table = _table("", *(f"{name}\n{unit}" for name, unit, _ in SHOWN), "less\n")
    table.add_row("as it is", *(_two_digits(before[key]) for *_, key in SHOWN), "")
    for one in worth_doing(changes, quantity, before):
        less = 100.0 * (1.0 - one.u[quantity] / before[quantity])
        text = one.text + (" (a shot leaves the view)" if one.loses_view else "")
        table.add_row(text, *(_two_digits(one.u[key]) for *_, key in SHOWN), f"{less:.0f} %")
    return table


def worth_doing(
    changes: Sequence[Change], quantity: str, before: Mapping[str, float]
) -> list[Change]:
    """Return the changes that lessen the uncertainty of a figure, in their order."""
    return [one for one in changes if one.u[quantity] < WORTH_DOING * before[quantity]]


def idle_sentence(vantage: Vantage) -> str | None:
    """Return what would bring next to nothing, or harm."""
    before = vantage.forecast.u[vantage.quantity]
    useful = {
        one.text for one in worth_doing(vantage.changes, vantage.quantity, vantage.forecast.u)
    }
    idle = [
        one.text
        for one in vantage.changes
        if one.text not in useful and one.u[vantage.quantity] <= before / WORTH_DOING
    ]
    worse = [
        f"{one.text} ({_two_digits(one.u[vantage.quantity])})"
        for one in vantage.changes
        if one.u[vantage.quantity] > before / WORTH_DOING
    ]
    said = []
    if idle:
        said.append(f"Next to nothing would come of this: {'; '.join(idle)}.")
    if worse:
        said.append(f"Worse would be: {'; '.join(worse)}.")
    return " ".join(said) or None


def sentences(vantage: Vantage) -> list[str]:
    """Return what the tables do not say: view, shutter, sightings, and what limits the figures."""
    forecast = vantage.forecast
    return [
        _view(forecast),
        _motion(forecast),
        _shutter(forecast),
        *_sightings(forecast),
        budget_sentence(forecast.budget)[:1].upper() + budget_sentence(forecast.budget)[1:] + ".",
    ]


def _view(forecast: Forecast) -> str:
    out = [one.name for one in forecast.moments if not one.margin_px > 0.0]
    risky = [
        one.name
        for one in forecast.moments
        if one.name not in out and not one.worst_margin_px > 0.0
    ]
    if out:
        said = f"Out of view: {_listed(out)} of the expected shot."
    elif forecast.fastest_mps is None:
        said = "A part of the expected shot is out of view."
    elif forecast.margin_px > 0.0:
        said = (
            "Release, apex and landing of every expected shot stay in view, "
            f"{forecast.margin_px:.0f} px or more from the edge."
        )
    else:
        named = _listed(risky) if risky else "some of the way"
        said = (
            f"The expected shot stays in view; of those that are one standard uncertainty faster, "
            f"slower, steeper, flatter or aside, {named} can be out of it."
        )
    if forecast.fastest_mps is not None:
        said += f" At this angle the whole flight is in view up to {forecast.fastest_mps:.1f} m/s."
    width = max(forecast.camera.size_px)
    if 0.0 < forecast.margin_px < TIGHT_SHARE * width:
        said += (
            " That is tight: aim by the marker farthest out, and keep a hand's breadth of spare."
        )
    return said


def _motion(forecast: Forecast) -> str:
    seen, flown = forecast.frames_seen, forecast.frames_flown
    said = f"The ball shows in {seen} of the {flown} frames of its flight."
    if seen < FEW_FRAMES:
        said += " These are few: a higher frame rate makes it surer to be found."
    return said


def _shutter(forecast: Forecast) -> str:
    longest = forecast.longest_shutter_s
    said = (
        f"Shutter: no longer than {_shutter_words(longest)}. Up to there the streak of the ball at "
        "its fastest is no longer than the ball is wide, so that its middle keeps its whole "
        "contrast; beyond, contrast falls as the streak grows, and the ball is placed less well."
    )
    if forecast.shutter_s > 1.001 * longest:
        said += f" {_shutter_words(forecast.shutter_s)} is too long for this ball."
    else:
        said += f" These figures hold for {_shutter_words(forecast.shutter_s)}."
    return said


def _sightings(forecast: Forecast) -> list[str]:
    shown = [one for one in forecast.moments if one.margin_px > 0.0]
    faint = [one.name for one in shown if one.snr < FAINT_SNR]
    small = min((one.diameter_px for one in shown), default=SMALL_PX)
    said = []
    if faint:
        said.append(
            f"At {_listed(faint)} the ball stands out by less than {FAINT_SNR:g} times the noise "
            "and may not be found in every frame: stand nearer, zoom in or seek a darker "
            "background."
        )
    if small < SMALL_PX:
        said.append(
            f"The ball is only {small:.1f} px wide at its smallest: leaves and birds look like it."
        )
    return said


def _shutter_words(seconds: float) -> str:
    return f"1/{1.0 / seconds:.0f} s" if seconds < 0.5 else f"{seconds:.2g} s"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _table(*headings: str) -> Table:
    table = Table(box=RULED, pad_edge=False, padding=(0, 1, 0, 0))
    for place, heading in enumerate(headings):
        table.add_column(heading, justify="right" if place else "left", no_wrap=place > 0)
    return table


def _two_digits(u: float) -> str:
    """Return two digits, the second of them too, so that small differences show."""
    if not 0.0 < u < math.inf:
        return MISSING
    return f"{u:.{max(0, 1 - math.floor(math.log10(u)))}f}"
