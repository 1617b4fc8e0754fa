"""The energy that a ball carries, and what has been published of the harm it does."""

from dataclasses import dataclass

from tracker.flight.ball import Ball

TOY_LIMIT_J = 0.08
"""Energy above which a toy's projectile is judged by its energy per area (ASTM F963-17)."""

TOY_LIMIT_JPM2 = 2500.0
"""Greatest energy per projected area of such a projectile, J/m² (ASTM F963-17, 8.14)."""


@dataclass(frozen=True)
class Injury:
    """An eye injury and the energy per projected area, J/m², that half of those hit suffer it."""

    name: str
    half_at_jpm2: float


EYE_INJURIES = (
    Injury("corneal abrasion", 1503.0),
    Injury("lens dislocation", 19194.0),
    Injury("hyphema", 20188.0),
    Injury("globe rupture", 23771.0),
    Injury("retinal damage", 30351.0),
)
"""S. M. Duma et al., J. Trauma (2005), doi 10.1097/01.ta.0000174830.55282.32; mildest first."""


def kinetic_energy_j(ball: Ball, speed_mps: float) -> float:
    """Return the energy of the ball's motion, J, without its spin."""
    return 0.5 * ball.mass_kg * speed_mps**2


def energy_per_area_jpm2(ball: Ball, speed_mps: float) -> float:
    """Return the energy of the ball's motion over its projected area, J/m².

    The best single predictor of injury to an eye (Duma et al., 2005). The projected area of a
    big soft ball overstates the protection, as the orbit gathers the load (common practice, no
    source).
    """
    return kinetic_energy_j(ball, speed_mps) / ball.area_m2


def harm(ball: Ball, speed_mps: float) -> tuple[str, ...]:
    """Return the cautions that this ball deserves at this speed, a sentence each, worst last.

    Empty for a ball that is slower than any published limit.
    """
    energy, density = kinetic_energy_j(ball, speed_mps), energy_per_area_jpm2(ball, speed_mps)
    said = []
    if energy > TOY_LIMIT_J and density > TOY_LIMIT_JPM2:
        said.append(
            f"{energy:.1f} J, {density:.0f} J/m²: more than the {TOY_LIMIT_JPM2:.0f} J/m² that "
            "ASTM F963 allows a toy's projectile; this is no toy."
        )
    reached = [injury for injury in EYE_INJURIES if density >= injury.half_at_jpm2]
    if reached:
        worst = reached[-1]
        said.append(
            f"At {density:.0f} J/m² a hit in the open eye is as likely as not to bring "
            f"{worst.name} (Duma et al., 2005: {worst.half_at_jpm2:.0f} J/m²): eye protection, "
            "and nobody downrange."
        )
    return tuple(said)
