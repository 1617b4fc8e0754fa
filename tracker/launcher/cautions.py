"""What is dangerous about a machine: the energy of its ball and of its wheels."""

from collections.abc import Sequence

from tracker.flight.energy import harm
from tracker.launcher.prediction import Outdoors, Prediction

LEAST_CHANCE = 0.01
"""Chance of sticking below which nothing is said of it."""


def cautions(found: Sequence[tuple[str, Prediction, Outdoors]]) -> tuple[str, ...]:
    """Return the cautions for machines by their names, once for all: those of the worst."""
    if not found:
        return ()
    name, prediction, outdoors = max(found, key=lambda one: one[1].exit_speed.value)
    heaviest, stored = max(
        ((one, float(made.launch.stored_j)) for one, made, _ in found), key=lambda pair: pair[1]
    )
    ball = prediction.ball_energy_j(outdoors.ball)
    return (
        f'The ball of "{name}" leaves with {ball:.1f} J, the wheels of "{heaviest}" hold '
        f"{stored:.0f} J and coast after the switch is off: guard the gap, disconnect the battery "
        "before reaching in.",
        *harm(outdoors.ball, prediction.exit_speed.value),
    )


def troubles(name: str, prediction: Prediction) -> tuple[str, ...]:
    """Return in words what keeps a machine from shooting, if anything may."""
    if not prediction.starts:
        return (
            f'"{name}": the motor cannot start its wheel, the bearings hold it; check '
            "[setup.losses] bearing_mnm, the motor's torque and duty_percent.",
        )
    if prediction.sticks >= LEAST_CHANCE:
        return (
            f'"{name}": the ball sticks in the gap with a chance of '
            f"{100.0 * prediction.sticks:.0f} %; the figures are of balls that get through. More "
            "gap, a softer ball, more friction or heavier wheels would help.",
        )
    return ()
