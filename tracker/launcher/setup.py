"""From the tables of a `[[setup]]` to a machine, with every fault in one report."""

import math
from collections.abc import Mapping

from calibration.errors import InputErrors
from tracker.launcher.fields import GAP_SHARE, WINDAGE
from tracker.launcher.form import Form
from tracker.launcher.machine import Machine
from tracker.launcher.motor import RPM
from tracker.launcher.plausible import check_motor, check_wheels, gap_fault
from tracker.launcher.workshop import GRAVITY_MPS2, run_down_torque, swing_inertia

RUN_DOWN = ("losses.run_down_s", "losses.run_down_from_rpm", "losses.run_down_to_rpm")
"""Fields that give the bearing's torque together."""

WINDAGE_SHARE = 0.8
"""Standard uncertainty of a windage factor left out, over itself; common practice, no source."""


def machine_from_setup(
    tables: Mapping[str, Mapping[str, float | str]],
    where: str = "",
    ball_diameter_m: float | None = None,
) -> Machine:
    """Return the machine that the tables of a setup describe.

    Parameters
    ----------
    tables : mapping
        ``{"wheel": {"diameter_mm": 140.0, ...}, "motor": {...}, ...}`` as in session.toml, its
        fields, types and ranges checked (`tracker.session.schema`).
    where : str
        File and setup, for faults.
    ball_diameter_m : float, optional
        Of the ball that is shot; with it the gap is checked.

    Raises
    ------
    InputErrors
        One for each field that is missing or impossible.
    """
    form = Form(tables, where)
    _inertia_from_swing(form)
    check_wheels(form)
    check_motor(form)
    if ball_diameter_m is not None:
        gap = form.values.get("grip.gap_mm")
        if gap is not None and "grip.gap_mm" in form.given:
            check = gap_fault(gap, 1e3 * ball_diameter_m)
            if check:
                form.at("grip.gap_mm", *check)
        elif "grip.gap_mm" not in form.given:
            form.values["grip.gap_mm"] = GAP_SHARE * 1e3 * ball_diameter_m
            form.u["grip.gap_mm"] = 0.04 * 1e3 * ball_diameter_m
    if form.faults:
        raise InputErrors(form.faults)
    if "losses.windage_factor" not in form.values:
        factor = WINDAGE[form.words["wheel.kind"]]
        form.values["losses.windage_factor"] = factor
        form.u["losses.windage_factor"] = WINDAGE_SHARE * factor
    _bearing_from_run_down(form)
    if form.faults:
        raise InputErrors(form.faults)
    return Machine(form.values, form.words, form.u)


def _inertia_from_swing(form: Form) -> None:
    """Fill in the inertia of a wheel that was swung from a nail."""
    values, u = form.values, form.u
    period, mass = values.get("wheel.swing_s"), values.get("wheel.mass_g")
    diameter = values.get("wheel.diameter_mm")
    if period is None:
        if "wheel.swing_arm_mm" in form.given:
            form.at("wheel.swing_arm_mm", "belongs to swing_s, which is missing", "give swing_s")
        return
    if "wheel.inertia_gm2" in form.given:
        form.at("wheel.swing_s", "gives the inertia a second time", "keep it or inertia_gm2")
        return
    if mass is None or diameter is None:
        return
    arm = values.setdefault("wheel.swing_arm_mm", diameter / 2.0)
    arm_u = u.setdefault("wheel.swing_arm_mm", 0.01 * arm)

    def inertia(mass_g: float, arm_mm: float, seconds: float) -> float:
        return 1e3 * swing_inertia(mass_g / 1e3, arm_mm / 1e3, seconds)

    try:
        found = inertia(mass, arm, period)
    except ValueError:
        shortest = 2.0 * math.pi * math.sqrt(arm / 1e3 / GRAVITY_MPS2)
        form.at(
            "wheel.swing_s",
            f"{period:g} s is too short for an arm of {arm:g} mm, which swings no quicker than "
            f"{shortest:.3f} s",
            "time twenty swings there and back and divide by twenty",
        )
        return
    suspended = found + mass * (arm / 1e3) ** 2
    parts = (
        found * u["wheel.mass_g"] / mass,
        (suspended / arm - 2.0 * mass * arm / 1e6) * arm_u,
        2.0 * suspended * u["wheel.swing_s"] / period,
    )
    values["wheel.inertia_gm2"], u["wheel.inertia_gm2"] = found, math.hypot(*parts)


def _bearing_from_run_down(form: Form) -> None:
    """Fill in the bearing's torque of a wheel that ran down by itself."""
    values, u = form.values, form.u
    known = [key for key in RUN_DOWN if key in values]
    if not known:
        return
    for key in RUN_DOWN:
        if key not in values:
            form.at(key, "is missing", f"give it beside {known[0].split('.')[1]}")
    if len(known) < len(RUN_DOWN):
        return
    if "losses.bearing_mnm" in form.given:
        form.at("losses.run_down_s", "gives the bearing a second time", "keep it or bearing_mnm")
        return
    seconds, fast, slow = (values[key] for key in RUN_DOWN)
    if slow >= fast:
        form.at(
            "losses.run_down_to_rpm",
            f"{slow:g} rpm is not slower than {fast:g} rpm",
            "give the speed at the end of the time",
        )
        return
    machine = Machine(values, form.words, u)
    wheel, motor = machine.wheel, machine.motor
    friction = 0.0
    if motor is not None:
        friction = float(motor.constant_vs * motor.no_load_current_a)
        friction *= values["motor.gear_ratio"]
    torque = run_down_torque(wheel, fast * RPM, slow * RPM, seconds, friction)
    mean = wheel.inertia_kgm2 * (fast - slow) * RPM / seconds
    air = wheel.air_nm(0.5 * (fast + slow) * RPM)
    shares = (
        u["losses.run_down_s"] / seconds,
        math.hypot(u["losses.run_down_from_rpm"], u["losses.run_down_to_rpm"]) / (fast - slow),
        u.get("wheel.inertia_gm2", u.get("wheel.mass_g", 0.0))
        / values.get("wheel.inertia_gm2", values.get("wheel.mass_g", 1.0)),
    )
    windage = u["losses.windage_factor"] / values["losses.windage_factor"]
    values["losses.bearing_mnm"] = 1e3 * torque
    u["losses.bearing_mnm"] = 1e3 * math.hypot(
        mean * math.hypot(*shares), air * windage, 0.1 * friction
    )
