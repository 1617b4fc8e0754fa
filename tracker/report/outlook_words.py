"""What to expect of a machine, in the sentences that a person reads first."""

from tracker.comparison.what_if import Outlook
from tracker.comparison.words import spread
from tracker.launcher.discharge import HUNDREDTH, Discharge
from tracker.report.rounding import with_uncertainty


def outlook_sentence(found: Outlook) -> str:
    """Return the expected exit speed and carry with their 95 % intervals."""
    one = found.prediction
    if not one.starts:
        return "The motor cannot start its wheel."
    if one.exit_speed.value <= 0.0:
        return "The ball sticks in the gap."
    parts = [spread(one.exit_speed.value, one.exit_speed.expanded(), "m/s")]
    if one.carry is not None:
        parts.append(spread(one.carry.value, one.carry.expanded(), "m"))
    names = ("exit speed", "carry")
    said = " and ".join(f"{name} {part}" for name, part in zip(names, parts, strict=False))
    return f"Expected: {said} (95 %)."


def discharge_sentence(found: Discharge) -> str:
    """Return the shots on one charge and how the exit speed falls."""
    shots = with_uncertainty(found.shots.value, found.shots.u)
    fall = 100.0 * (1.0 - found.last.value)
    said = f"One charge is enough for {shots} shots; the last is {fall:.0f} % slower than the first"
    if found.shots.value >= HUNDREDTH:
        early = 100.0 * (1.0 - found.hundredth.value)
        said += f", the {HUNDREDTH}th {early:.0f} %"
    ready = with_uncertainty(found.last_ready_s.value, found.last_ready_s.u)
    return f"{said}. At the end the wheels are ready again after {ready} s."
