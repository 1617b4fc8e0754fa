"""What safety asks of a wheel: rim speed, burst stress, stored energy, currents."""

from dataclasses import dataclass

from tracker.launcher.machine import Machine
from tracker.launcher.prediction import Prediction


@dataclass(frozen=True)
class Material:
    """What a wheel is made of.

    Attributes
    ----------
    density_kgpm3 : float
    strength_mpa : float
        Tensile strength.
    """

    density_kgpm3: float
    strength_mpa: float


MATERIALS = {
    "plastic": Material(1200.0, 35.0),
    "wood": Material(650.0, 30.0),
    "aluminium": Material(2700.0, 270.0),
    "steel": Material(7850.0, 350.0),
}
"""Cast or printed plastic along its layers, plywood, 6061-T6, mild steel: handbook values, from
memory; a printed wheel pulled across its layers has half or less."""

DISC_FACTOR = 0.4125
"""Stress at the centre of a spinning full disc over density times rim speed squared, ``(3 + v)/8``
with Poisson's ratio 0.3; a thin ring has 1. Source: S. Timoshenko and J. N. Goodier, Theory of
Elasticity, art. 32 (from memory)."""

SAFE_SHARE = 0.25
"""Share of the strength that a wheel may be stressed to: half the burst speed, for holes and screws
raise the stress (common practice, no source)."""

FUSES_A = (5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 80.0, 100.0)
"""Blade and bolt-down fuses that are sold (ISO 8820 series, from memory)."""

FUSE_MARGIN = 1.3
"""Fuse over the running current, so that it does not age; the start takes more for seconds, which a
slow fuse bears (common practice, no source)."""


def burst_mpa(machine: Machine, speed_radps: float) -> float:
    """Return the greatest stress of a wheel from its own rotation, MPa.

    ``rho v^2`` for a ring or spokes that carry only the rim, `DISC_FACTOR` of it for a full disc.
    """
    rim = float(machine.wheel.radius_m) * speed_radps
    material = MATERIALS[machine.words["wheel.material"]]
    factor = DISC_FACTOR if machine.words["wheel.kind"] == "disc" else 1.0
    return factor * material.density_kgpm3 * rim**2 / 1e6


def fuse_a(running_a: float) -> float | None:
    """Return the least fuse that bears the running current, None above the largest."""
    return next((size for size in FUSES_A if size >= FUSE_MARGIN * running_a), None)


def safety(machine: Machine, found: Prediction, present: Prediction | None) -> str:
    """Return in words what a machine asks before it is built, beside the present one."""
    speed = max(float(w) for w in found.launch.running.speeds_radps)
    rim = float(machine.wheel.radius_m) * speed
    word = machine.words["wheel.material"]
    stress = burst_mpa(machine, speed)
    allowed = SAFE_SHARE * MATERIALS[word].strength_mpa
    verdict = "within" if stress <= allowed else "ABOVE"
    stored = float(found.launch.stored_j)
    then = "" if present is None else f" against {float(present.launch.stored_j):.0f} J now"
    said = (
        f"rim speed {rim:.0f} m/s; stress of the spinning wheel {stress:.1f} MPa, {verdict} the "
        f"{allowed:.0f} MPa that {word} may bear; the wheels hold {stored:.0f} J{then}"
    )
    costs = found.costs
    if costs is not None:
        fuse = fuse_a(costs.running_a.value)
        size = "more than one fuse bears" if fuse is None else f"a slow fuse of {fuse:g} A"
        said += (
            f"; spin-up {costs.spin_up_s.value:.1f} s, {costs.start_a.value:.0f} A at the start, "
            f"{costs.running_a.value:.1f} A running: {size}"
        )

    return f"{said}. Before it runs: a guard that holds a burst wheel, nobody in the wheels' plane."
