"""From the tables of a `[[setup]]` to a machine, with every fault in one report."""

import math
from collections.abc import Mapping
from typing import Any

from calibration.errors import InputError, InputErrors
from tracker.launcher.fields import CHOICES, GAP_SHARE, NUMBERS, TABLES, WINDAGE, Number
from tracker.launcher.machine import Machine
from tracker.launcher.motor import RPM
from tracker.launcher.wheel import STEEL_KGPM3
from tracker.launcher.workshop import GRAVITY_MPS2, run_down_torque, swing_inertia

RUN_DOWN = ("losses.run_down_s", "losses.run_down_from_rpm", "losses.run_down_to_rpm")
"""Fields that give the bearing's torque together."""

WINDAGE_SHARE = 0.8
"""Standard uncertainty of a windage factor left out, over itself; common practice, no source."""

TORQUE_FIELDS = ("stall_current_a", "stall_torque_mnm", "rated_power_w")


class _Form:
    """The tables of one setup while they are read."""

    def __init__(self, tables: Mapping[str, Any], where: str) -> None:
        self.where = where
        self.faults: list[InputError] = []
        self.values: dict[str, float] = {}
        self.words: dict[str, str] = {}
        self.u: dict[str, float] = {}
        self.given: set[str] = set()
        self.tables: dict[str, Mapping[str, Any]] = {}
        for name, table in tables.items():
            if name not in TABLES:
                known = ", ".join(f"[setup.{known}]" for known in TABLES)
                self.fault(f"[setup.{name}]", "is no table of a setup", f"the tables are {known}")
            elif not isinstance(table, Mapping):
                self.fault(f"[setup.{name}]", "is not a table", f"open it with [setup.{name}]")
            else:
                self.tables[name] = table

    def fault(self, field: str, what: str, remedy: str = "") -> None:
        """Remember a fault of a field."""
        where = ", ".join(part for part in (self.where, field) if part)
        self.faults.append(InputError(what, where=where, remedy=remedy))

    def at(self, key: str, what: str, remedy: str = "") -> None:
        """Remember a fault of the field with that key."""
        table, name = key.split(".")
        self.fault(f"[setup.{table}] {name}", what, remedy)

    def read(self) -> None:
        """Read every field that stands in the tables, and take defaults for the others."""
        for number in NUMBERS:
            table = self.tables.get(number.table, {})
            if number.name in table:
                self.given.add(number.key)
                value = self._number(number.key, table[number.name], number.low, number.high)
                if value is not None:
                    self.values[number.key] = value
                    self.u[number.key] = abs(value) * number.u_share
            elif number.default is not None:
                self.values[number.key] = number.default
                self.u[number.key] = number.default * number.u_default
            if number.u_name in table:
                u = self._number(
                    f"{number.table}.{number.u_name}", table[number.u_name], 0.0, math.inf
                )
                if number.key not in self.values:
                    self.at(
                        f"{number.table}.{number.u_name}",
                        f"belongs to {number.name}, which was left out",
                        f"give {number.name} too",
                    )
                elif u is not None:
                    self.u[number.key] = u
        for choice in CHOICES:
            word = self.tables.get(choice.table, {}).get(choice.name)
            if word is None:
                self.words[choice.key] = choice.words[0]
            elif word in choice.words:
                self.words[choice.key] = str(word)
                self.given.add(choice.key)
            else:
                self.words[choice.key] = choice.words[0]
                known = ", ".join(f'"{known}"' for known in choice.words)
                self.at(choice.key, f"{word!r} is none of the words", f"use one of {known}")
        self._strangers()

    def _number(self, key: str, value: object, low: float, high: float) -> float | None:
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.at(key, f"{value!r} is not a number", "write it without quotes and unit")
            return None
        if not math.isfinite(value) or not low <= value <= high:
            span = f"at least {low:g}" if math.isinf(high) else f"from {low:g} to {high:g}"
            self.at(key, f"{value:g} is out of range", f"give a number {span}")
            return None
        return float(value)

    def _strangers(self) -> None:
        for name, table in self.tables.items():
            mine: list[Number] = [number for number in NUMBERS if number.table == name]
            known = [number.name for number in mine]
            known += [choice.name for choice in CHOICES if choice.table == name]
            allowed = {*known, *(number.u_name for number in mine)}
            for field in table:
                if field not in allowed:
                    self.fault(
                        f"[setup.{name}] {field}",
                        "is no field of this table",
                        f"the fields are {', '.join(known)}",
                    )


def machine_from_setup(
    tables: Mapping[str, Any], where: str = "", ball_diameter_m: float | None = None
) -> Machine:
    """Return the machine that the tables of a setup describe.

    Parameters
    ----------
    tables : mapping
        ``{"wheel": {"diameter_mm": 140.0, ...}, "motor": {...}, ...}`` as in session.toml.
    where : str
        File and setup, for faults.
    ball_diameter_m : float, optional
        Of the ball that is shot; with it the gap is checked.

    Raises
    ------
    InputErrors
        One for each field that is missing, unknown, out of range or impossible.
    """
    form = _Form(tables, where)
    form.read()
    _inertia_from_swing(form)
    _check_wheels(form)
    _check_motor(form)
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


def _inertia_from_swing(form: _Form) -> None:
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


def _bearing_from_run_down(form: _Form) -> None:
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


def _check_wheels(form: _Form) -> None:
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


def _check_motor(form: _Form) -> None:
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


def _check_strength(form: _Form, known: list[str]) -> None:
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
