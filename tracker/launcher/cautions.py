"""What is dangerous about a machine: the energy of its ball and of its wheels."""

from tracker.flight.energy import harm
from tracker.launcher.prediction import Outdoors, Prediction


def cautions(prediction: Prediction, outdoors: Outdoors) -> tuple[str, ...]:
    """Return the cautions for a machine, a sentence each."""
    ball = prediction.ball_energy_j(outdoors.ball)
    stored = float(prediction.launch.stored_j)
    return (
        f"The ball leaves with {ball:.1f} J, the wheels hold {stored:.0f} J and coast after "
        "the switch is off: guard the gap, disconnect the battery before reaching in.",
        *harm(outdoors.ball, prediction.exit_speed.value),
    )
