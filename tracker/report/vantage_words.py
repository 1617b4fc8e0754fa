"""A place to film from, in sentences: the verdict first."""

from collections.abc import Mapping, Sequence

import numpy as np

from tracker.flight.energy import harm
from tracker.report.budget_table import budget_sentence
from tracker.report.rounding import with_uncertainty
from tracker.report.vantage_tables import FIGURES, WORTH_DOING, two_digits, worth_doing
from tracker.vantage import (
    ExpectedShots,
    Finding,
    Forecast,
    Grade,
    Stand,
    Vantage,
    shutter_words,
)
from tracker.vantage.judging import Judgement

HOW_SURE = (
    "In eight drawn sessions the measured uncertainty was 0.82 to 1.26 times the predicted one."
)
"""How far a prediction can be relied on; docs/methods/vantage.md says how it was found."""

OPENING = {
    Grade.GOOD: "Good place",
    Grade.USABLE: "Usable place",
    Grade.UNSUITABLE: "Unsuitable place",
}


def summary(vantage: Vantage) -> list[str]:
    """Return the answer in a few sentences, the verdict first."""
    forecast = vantage.forecast
    edge = f"; at the edge of the box ({', '.join(vantage.at_edge)})" if vantage.at_edge else ""
    found = "Best place found" if vantage.field.box else "Camera"
    return [
        verdict_sentence(vantage),
        "",
        f"One shot, ± standard uncertainty: {figures_clause(forecast)}.",
        f"Expected: {_expectation(vantage)}.",
        f"{found}: {_place(vantage.stand, forecast)}{edge}.",
        f"Ball: {_ball(forecast)}.",
        _best_change(vantage),
    ]


def verdict_sentence(vantage: Vantage) -> str:
    """Return the verdict with the reasons for it."""
    verdict = vantage.verdict
    reasons = [_reason(finding, vantage) for finding in verdict.findings]
    if not reasons:
        margin = vantage.forecast.margin_px
        reasons = [f"every expected shot stays in view, {margin:.0f} px or more from the edge"]
    return f"{OPENING[verdict.grade]}: {'; '.join(reasons)}."


def _reason(finding: Finding, vantage: Vantage) -> str:
    """Return what speaks against a place, as a clause with its numbers."""
    forecast = vantage.forecast
    shown = [one for one in forecast.moments if one.margin_px > 0.0]
    hidden = [one.name for one in forecast.moments if not one.margin_px > 0.0]
    risky = [one.name for one in shown if not one.worst_margin_px > 0.0]
    diameter = min((one.diameter_px for one in shown), default=0.0)
    snr = min((one.snr for one in shown), default=0.0)
    return {
        Finding.OUT_OF_VIEW: f"{_listed(hidden) or 'a part'} of the expected shot out of view",
        Finding.TOO_NEAR: f"{vantage.distance_m:.1f} m from the line of fire, nearer than "
        f"{vantage.field.clear_m:g} m",
        Finding.SOME_OUT_OF_VIEW: f"{_listed(risky) or 'a part of the flight'} can be out of view "
        "when a shot is one standard uncertainty off",
        Finding.TIGHT: f"only {forecast.margin_px:.0f} px to the edge, so aim by the farthest "
        "marker",
        Finding.SMEARED: f"{shutter_words(forecast.shutter_s)} smears the ball",
        Finding.FAINT: f"the ball stands out by only {snr:.1f} times the noise, so stand nearer, "
        "zoom in or seek a darker background",
        Finding.SMALL: f"the ball is only {diameter:.1f} px wide, like leaves and birds",
        Finding.FEW_FRAMES: f"the ball shows in only {forecast.frames_seen} frames, so film at a "
        "higher rate",
    }[finding]


def figures_clause(forecast: Forecast) -> str:
    """Return the expected figures with the standard uncertainties of one shot."""
    return _figures(forecast.values, forecast.u)


def quick_figures(shots: ExpectedShots, judged: Judgement) -> str:
    """Return the same from a judgement alone, as a sentence."""
    values = {key: shots.flight.figures.value(key) for *_, key in FIGURES}
    return f"One shot, ± standard uncertainty: {_figures(values, judged.u)}."


def quick_view(judged: Judgement) -> str:
    """Return whether every expected shot stays in view, as a sentence."""
    if judged.margin_px > 0.0:
        return f"Every expected shot stays in view, {judged.margin_px:.0f} px from the edge."
    return "A part of an expected shot is out of view."


def _figures(values: Mapping[str, float], u: Mapping[str, float]) -> str:
    return ", ".join(
        f"{name} {with_uncertainty(values[key], u[key])}{'' if unit == '°' else ' '}{unit}"
        for name, unit, key in FIGURES
    )


def _expectation(vantage: Vantage) -> str:
    shots, value = vantage.shots, vantage.shots.flight.figures.value
    reach = float(np.sqrt(shots.landing_covariance[0, 0]))
    return (
        f"{with_uncertainty(shots.speed_mps.value, shots.speed_mps.u)} m/s at "
        f"{with_uncertainty(shots.angle_deg.value, shots.angle_deg.u)}°, "
        f"carry "
        f"{with_uncertainty(value('carry_m'), reach)} m, {value('flight_time_s'):.2f} s in the air "
        f"({vantage.stand.conditions.ball.name} ball)"
    )


def _place(stand: Stand, forecast: Forecast) -> str:
    """Return where the camera stands, how it films and where it looks."""
    along, across, up = stand.position_m
    forward = forecast.camera.rotation[2]
    heading = np.degrees(np.arctan2(forward[1], forward[0]))
    pitch = np.degrees(np.arctan2(forward[2], np.hypot(forward[0], forward[1])))
    width, height = stand.site.size_px
    lens = "a phone's usual view"
    if stand.site.lens is not None:
        lens = "a measured lens"
    elif stand.site.field_of_view_deg is not None:
        lens = f"{stand.site.field_of_view_deg:.3g}° wide"
    return (
        f"[{along:.1f}, {across:.1f}, {up:.1f}] m, {abs(across):.1f} m to the "
        f"{'left' if across > 0 else 'right'} of the firing line; {width} x {height}, "
        f"{stand.fps:.4g} frames a second, {lens}; aim {abs(pitch):.1f}° "
        f"{'up' if pitch >= 0 else 'down'}, heading {heading:.1f}° to the line"
    )


def _meeting(stand: Stand, forecast: Forecast) -> list[str]:
    """Return where the middle of the frame meets the upright plane of the firing line."""
    across, forward = stand.position_m[1], forecast.camera.rotation[2]
    if forward[1] * across >= 0.0:
        return []
    at = stand.position_m - across / forward[1] * forward
    return [f"The camera is aimed at a point {at[2]:.1f} m above the line, {at[0]:.1f} m along."]


def _ball(forecast: Forecast) -> str:
    shown = [one for one in forecast.moments if one.margin_px > 0.0]
    widths = [one.diameter_px for one in shown] or [0.0]
    fastest = forecast.fastest_mps
    view = "" if fastest is None else f"; all in view up to {fastest:.1f} m/s"
    return (
        f"{min(widths):.1f} to {max(widths):.1f} px wide, in {forecast.frames_seen} of "
        f"{forecast.frames_flown} frames; shutter {shutter_words(forecast.longest_shutter_s)} or "
        f"shorter{view}"
    )


def _best_change(vantage: Vantage) -> str:
    """Return the single change that helps the figure most."""
    before = vantage.forecast.u
    useful = worth_doing(vantage.changes, vantage.quantity, before)
    safe = [one for one in useful if not one.loses_view] or useful
    if not safe:
        return "No single change would help."
    name, unit = next((name, unit) for name, unit, key in FIGURES if key == vantage.quantity)
    now, then = before[vantage.quantity], safe[0].u[vantage.quantity]
    return (
        f"Best single change: {safe[0].text} ({name} ±{two_digits(then)} {unit} in place of "
        f"±{two_digits(now)})."
    )


def assumed_sentence(vantage: Vantage) -> str:
    """Return the usual values that were assumed, by the table where to state others."""
    tables: dict[str, list[str]] = {}
    for one in vantage.assumed:
        tables.setdefault(one.table, []).append(one.text)
    clauses = [f"{table} {', '.join(texts)}" for table, texts in tables.items()]
    return f"Assumed: {'; '.join(clauses)}." if clauses else ""


def cautions(vantage: Vantage) -> list[str]:
    """Return the worst that a hit by this ball can do."""
    return list(harm(vantage.stand.conditions.ball, vantage.shots.speed_mps.value)[-1:])


def details(vantage: Vantage) -> list[str]:
    """Return what the tables do not say: the shutter, the budget and how sure this is."""
    forecast = vantage.forecast
    budget = budget_sentence(forecast.budget)
    return [
        *_meeting(vantage.stand, forecast),
        f"Shutter: {shutter_words(forecast.longest_shutter_s)} is the time that the fastest ball "
        "takes for its own width. Up to there its middle keeps its whole contrast; beyond, "
        "contrast falls as the streak grows, and the ball is placed less well.",
        budget[:1].upper() + budget[1:] + ".",
        HOW_SURE,
    ]


def idle_sentence(vantage: Vantage) -> str:
    """Return the changes that bring next to nothing, and those that harm."""
    before = vantage.forecast.u[vantage.quantity]
    useful = worth_doing(vantage.changes, vantage.quantity, vantage.forecast.u)
    rest = [one for one in vantage.changes if one not in useful]
    idle = [one.text for one in rest if one.u[vantage.quantity] <= before / WORTH_DOING]
    worse = [
        f"{one.text} ({two_digits(one.u[vantage.quantity])})"
        for one in rest
        if one.u[vantage.quantity] > before / WORTH_DOING
    ]
    sentences = []
    if idle:
        sentences.append(f"Next to no effect: {'; '.join(idle)}.")
    if worse:
        sentences.append(f"Worse: {'; '.join(worse)}.")
    return " ".join(sentences)


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), *names[-1:]] if len(names) > 1 else names)
