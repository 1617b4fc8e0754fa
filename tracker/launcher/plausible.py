"""Numbers of a setup that contradict each other, or that no machine has."""

import math

from tracker.launcher.form import Form
from tracker.launcher.motor import RPM
from tracker.launcher.wheel import STEEL_KGPM3

TORQUE_FIELDS = ("stall_current_a", "stall_torque_mnm", "rated_power_w")
"""Fields of which one gives the motor's strength."""


def gap_fault(gap_mm: float, ball_mm: float) -> tuple[str, str] | None:
    """Return what is wrong with a gap for a ball of that diameter, and its remedy, or None."""
    if gap_mm >= ball_mm:
        return (
            f"a gap of {gap_mm:g} mm does not touch a ball of {ball_mm:.1f} mm",
            "give the distance between the rims, less than the ball",
        )
    if gap_mm < 0.3 * ball_mm:
        return (
            f"a gap of {gap_mm:g} mm squeezes a ball of {ball_mm:.1f} mm by "
            f"{ball_mm - gap_mm:.1f} mm, more than it can give",
            f"give the distance between the rims, {0.3 * ball_mm:.0f} mm or more",
        )
    return None


def check_wheels(form: Form) -> None:
    """Remember what is missing of the wheels, and what no wheel is."""
    values = form.values
    if values.get("wheel.driven") not in (1.0, 2.0, None):
        form.at("wheel.driven", f"{values['wheel.driven']:g} is neither 1 nor 2", "give 1 or 2")
    if "wheel.diameter_mm" not in form.given:
        form.at("wheel.diameter_mm", "is missing", "measure the wheel across")
    if "wheel.mass_g" not in form.given and (
        "wheel.inertia_gm2" not in form.given or "wheel.swing_s" in form.given
    ):
        form.at("wheel.mass_g", "is missing", "weigh one wheel, or give its inertia_gm2")
    diameter, mass = values.get("wheel.diameter_mm"), values.get("wheel.mass_g")
    if diameter is None:
        return
    inner = values.get("wheel.inner_diameter_mm")
    if inner is not None and inner >= diameter:
        form.at(
            "wheel.inner_diameter_mm",
            f"{inner:g} mm does not lie within the wheel of {diameter:g} mm",
            "give the inner diameter of the ring",
        )
    # A wheel wider than its diameter is a roller: the most that anybody means by a wheel.
    width = values.get("wheel.width_mm", diameter)
    if mass is not None:
        most = STEEL_KGPM3 * math.pi / 4.0 * (diameter / 1e3) ** 2 * width / 1e3 * 1e3
        if mass > most:
            form.at(
                "wheel.mass_g",
                f"{mass:g} g is more than a solid steel disc of {diameter:g} mm by {width:g} mm "
                f"weighs ({most:.0f} g)",
                "check the mass and the diameter, or give width_mm",
            )
    inertia = values.get("wheel.inertia_gm2")
    if inertia is not None and mass is not None:
        most = mass * (diameter / 2e3) ** 2
        if inertia > most:
            form.at(
                "wheel.inertia_gm2",
                f"{inertia:g} g m² is more than {mass:g} g can have within {diameter:g} mm "
                f"({most:.3g} g m², all of it at the rim)",
                "check inertia_gm2, mass_g and diameter_mm",
            )


def check_motor(form: Form) -> None:
    """Remember what is missing of the motor, and where its figures contradict each other."""
    values = form.values
    measured = "wheel.speed_rpm" in form.given
    if "motor" not in form.tables and measured:
        return
    for name, remedy in (
        ("supply_v", "give the voltage of battery or supply"),
        ("no_load_rpm", "take it from the label or a tachometer, or give wheel.speed_rpm"),
    ):
        if f"motor.{name}" not in form.given:
            form.at(f"motor.{name}", "is missing", remedy)
    known = [name for name in TORQUE_FIELDS if f"motor.{name}" in values]
    if not any(f"motor.{name}" in form.given for name in TORQUE_FIELDS):
        form.fault(
            "[setup.motor]",
            "says nothing of the motor's strength",
            "give stall_current_a, stall_torque_mnm or rated_power_w",
        )
    needed = ("motor.supply_v", "motor.no_load_rpm")
    if known and all(key in values for key in needed):
        _check_strength(form, known)


def _check_strength(form: Form, known: list[str]) -> None:
    values = form.values
    supply, speed = values["motor.supply_v"], values["motor.no_load_rpm"] * RPM
    idle = values.get("motor.no_load_current_a", 0.0)
    stall = values.get("motor.stall_current_a")
    torque = values.get("motor.stall_torque_mnm")
    power = values.get("motor.rated_power_w")
    for name in known:
        if values[f"motor.{name}"] == 0.0 and not (name == "stall_current_a" and torque):
            form.at(f"motor.{name}", "is zero: such a motor turns nothing", "give what it has")
            return
    if stall is not None and torque and stall <= idle:
        form.at(
            "motor.stall_torque_mnm",
            f"a stall torque of {torque:g} mN m without current to make it: stall_current_a "
            f"({stall:g} A) must exceed no_load_current_a ({idle:g} A)",
            "check both currents",
        )
        return
    if stall is not None and stall <= idle:
        form.at(
            "motor.stall_current_a",
            f"{stall:g} A at standstill is not more than {idle:g} A without load",
            "check both currents",
        )
        return
    if torque is not None and power is not None:
        implied = 4e3 * power / speed
        if not 0.8 < implied / torque < 1.25:
            form.at(
                "motor.rated_power_w",
                f"{power:g} W at half the no-load speed means a stall torque of {implied:.0f} "
                f"mN m, not {torque:g} mN m",
                "keep the one that you trust",
            )
    if stall is not None:
        made = 1e3 * supply * (stall - idle) ** 2 / stall / speed
        claimed = torque if torque is not None else 4e3 * power / speed if power else None
        if claimed is not None and not 0.75 < claimed / made < 1.1:
            more = "less" if claimed < made else "more"
            key = "motor.stall_torque_mnm" if torque is not None else "motor.rated_power_w"
            form.at(
                key,
                f"a stall torque of {claimed:.0f} mN m is {more} than {stall:g} A at {supply:g} V "
                f"and this no-load speed make ({made:.0f} mN m)",
                "keep the one that you trust",
            )
