"""Setups that were shot with different balls: a comparison states it."""

from collections import Counter
from collections.abc import Sequence

from tracker.comparison.built import Setup
from tracker.flight.ball import Ball


def ball_sentences(setups: Sequence[Setup], quantity: str, in_still_air: bool = False) -> list[str]:
    """Return a sentence on balls that differ between or within setups; nothing where they do not.

    Parameters
    ----------
    setups : sequence of Setup
    quantity : str
        The column of shots.csv that is compared.
    in_still_air : bool
        Whether the carries in still standard air are stated beside the measured ones.
    """
    shot = {setup.name: _balls(setup) for setup in setups}
    every = list(dict.fromkeys(ball for balls in shot.values() for ball in balls))
    if len(every) < 2:
        return []
    called = {ball: _called(ball, every) for ball in every}
    alone = Counter(balls[0] for balls in shot.values() if len(balls) == 1)
    usual = next((ball for ball, count in alone.most_common(1) if count > 1), None)
    parts = [
        f'"{name}" {" and ".join(called[ball] for ball in balls)}'
        for name, balls in shot.items()
        if balls and balls != (usual,)
    ]
    parts += [] if usual is None else [f"the others {called[usual]}"]
    covered = (
        "still air takes wind and density out of the carries, not the ball"
        if quantity == "carry_m" and in_still_air
        else "no figure is corrected for that"
    )
    return [
        f"The balls differ ({', '.join(parts)}), and mass, size and felt change a flight as a "
        f"setup does: {covered}; shoot one kind of ball to compare setups."
    ]


def _balls(setup: Setup) -> tuple[Ball, ...]:
    """Return the balls of the evenings on which a setup was shot."""
    names, _ = setup.shots.by_evening
    return tuple(dict.fromkeys(setup.airs[name].ball for name in names if name in setup.airs))


def _called(ball: Ball, every: Sequence[Ball]) -> str:
    """Return the name of a ball, with mass and size where another one has the same name."""
    if sum(other.name == ball.name for other in every) < 2:
        return ball.name
    return f"{ball.name} of {1e3 * ball.mass_kg:.4g} g and {1e3 * ball.diameter_m:.4g} mm"
