"""What was measured, in the first sentences that a person reads."""

import math
from collections.abc import Mapping, Sequence
from statistics import median

from tracker.records import Quality, ReasonCode, Shot
from tracker.report.rounding import decimals_of, figure_rows, stated, with_uncertainty

FIGURES = (
    ("exit speed", "exit_speed_mps", "exit_speed_u_mps", "m/s"),
    ("launch angle", "launch_angle_deg", "launch_angle_u_deg", "°"),
    ("carry", "carry_m", "carry_u_m", "m"),
    ("flight time", "flight_time_s", "flight_time_u_s", "s"),
)
"""Name, column, column of its standard uncertainty, and unit of what is asked for most."""

BETTER = 0.9
"""Share of an uncertainty below which its fall is stated: a tenth is within what the rounding of
figures shows."""


MUCH_WORSE = 1.5
"""Factor between the uncertainties of shots from which both are stated: "each ±" stands for all
within it. Common practice, no source."""


def counted(shots: Sequence[Shot]) -> str:
    """Return how many shots there are: ``5 shots, 1 of them rejected``."""
    rejected = sum(shot.quality is Quality.REJECTED for shot in shots)
    count = "no shot" if not shots else f"{len(shots)} shot{'s' if len(shots) > 1 else ''}"
    return f"{count}, {rejected} of them rejected" if rejected else count


def shot_rows(shots: Sequence[Shot]) -> list[list[str]]:
    """Return number, figures and quality of each shot; those of one column are aligned."""
    figures = figure_rows(shots, [(column, u) for _, column, u, _ in FIGURES])
    return [
        [str(shot.shot), *cells, shot.quality.value]
        for shot, cells in zip(shots, figures, strict=True)
    ]


def answer_sentence(shots: Sequence[Shot]) -> str:
    """Return the answer of a session in one sentence; where there is no shot, that.

    Parameters
    ----------
    shots : sequence of Shot
        Of one session; rejected ones are only counted.
    """
    believed = [shot for shot in shots if shot.quality is not Quality.REJECTED]
    if not believed:
        return "No shot was found." if not shots else "Every shot is rejected."
    if len(believed) == 1:
        (shot,) = believed
        said = [f"{_value(shot, figure)} {figure[0]}" for figure in FIGURES[::2]]
        of = "One shot" if len(shots) == 1 else f"1 of {len(shots)} shots counted"
        return f"{of}: {', '.join(said)}."
    parts = [_range(believed, figure) for figure in FIGURES[::2]]
    of = f"{len(believed)} shots"
    if len(believed) < len(shots):
        of = f"{len(believed)} of {len(shots)} shots counted"
    return f"{of}: {', '.join(part for part in parts if part)}."


def next_step(shots: Sequence[Shot]) -> str:
    """Return what one taped distance would gain, empty where gravity is not the only scale."""
    gains = [
        reason.numbers
        for shot in shots
        for reason in shot.reasons
        if reason.code is ReasonCode.TAPE_ONE_DISTANCE
    ]
    if not gains:
        return ""
    distance, before, after = (
        median(numbers[name] for numbers in gains)
        for name in ("distance_m", "before_mps", "after_mps")
    )
    return (
        f"Tape one distance, from the foot of the launcher to a mark {distance:g} m down the line, "
        f"and each exit speed becomes ±{stated(after)} m/s in place of ±{stated(before)}."
    )


def known_to(shots: Sequence[Shot]) -> dict[str, float]:
    """Return how well figures are known: by column, the median of its standard uncertainty."""
    medians = {u_name: _median(shots, u_name) for _, _, u_name, _ in FIGURES}
    return {u_name: u for u_name, u in medians.items() if u is not None}


def improvements(before: Mapping[str, float], after: Mapping[str, float]) -> list[str]:
    """Return by how much figures became better known from one measurement to the next.

    Parameters
    ----------
    before, after : mapping of str to float
        As `known_to` returns them.
    """
    found = []
    for name, _, u_name, unit in FIGURES:
        was, now = before.get(u_name), after.get(u_name)
        if was is not None and now is not None and now < BETTER * was:
            found.append(
                f"The {name} is now known to ±{stated(now)} {unit}; before, ±{stated(was)}."
            )
    return found


def _value(shot: Shot, figure: tuple[str, str, str, str]) -> str:
    _, name, u_name, unit = figure
    space = "" if unit == "°" else " "
    return f"{with_uncertainty(getattr(shot, name), getattr(shot, u_name))}{space}{unit}"


def _range(shots: Sequence[Shot], figure: tuple[str, str, str, str]) -> str:
    """Return the range of a figure, and how well each of them is known."""
    words, name, u_name, unit = figure
    values = [value for shot in shots if (value := getattr(shot, name)) is not None]
    known = _finite(shots, u_name)
    if not values or not known:
        return ""
    u = median(known)
    decimals = decimals_of(u) if u > 0.0 else 1
    span = f"{min(values):.{decimals}f} to {max(values):.{decimals}f}"
    least, most = min(known), max(known)
    each = (
        f"each ±{stated(u)}"
        if most < MUCH_WORSE * least
        else f"±{stated(least)} to ±{stated(most)}"
    )
    return f"{words} {span} {unit}, {each}"


def _median(shots: Sequence[Shot], name: str) -> float | None:
    values = _finite(shots, name)
    return median(values) if values else None


def _finite(shots: Sequence[Shot], name: str) -> list[float]:
    """Return the finite values of a column of the shots that count."""
    return [
        value
        for shot in shots
        if shot.quality is not Quality.REJECTED
        and (value := getattr(shot, name)) is not None
        and math.isfinite(value)
    ]
