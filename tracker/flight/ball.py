"""The balls that are thrown: mass, size, drag, and how well each is known."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import isfinite, pi, sqrt
from typing import NamedTuple

from calibration.errors import InputError, InputErrors, nearest
from tracker.flight.coefficients import Coefficient, SeamDrag, SmoothSphereDrag

USUAL_LIFT_U = 0.05
"""Standard uncertainty of either lift coefficient of a ball thrown with little spin (no unit): see
docs/methods/flight.md."""

SEAM_LIFT_U = 0.10
"""The same of a ball with raised seams, whose lift grows faster with spin: a spin ratio of 0.05 to
0.1, as wheels give that differ by 10 to 20 % in speed, makes 0.08 to 0.12 by ``0.62 S^0.7``
(university course notes on baseballs) and 0.08 to 0.15 by ``1.5 S`` (Sawicki, Hubbard and Stronge,
Am. J. Phys. 71, 1152, 2003; from memory)."""

WEIGHED_U_G, WEIGHED_SHARE = 0.5, 0.01
TAPED_SHARE = 0.01
BROUGHT_DRAG_SHARE = 0.1
"""Standard uncertainties of a weighed mass (g, and as a share), a taped diameter and a drag
coefficient from elsewhere (shares). Balls of one kind differ in drag by 5 % (Cross and Lindsey,
2014) and methods by more; else common practice, no source."""


@dataclass(frozen=True)
class Ball:
    """A kind of ball.

    Attributes
    ----------
    name : str
    mass_kg, mass_u_kg : float
    diameter_m, diameter_u_m : float
    drag_coefficient, drag_u : float
        What is expected before a flight is seen, and its standard uncertainty from ball to
        ball and source to source.
    lift_u : float
        Standard uncertainty of either lift coefficient about zero for a ball that is thrown
        with little spin.
    source : str
        Where mass, size and drag come from.
    drag_curve : callable, optional
        Given the Reynolds number over speed (s/m), the published coefficient as a function of
        speed; a flight has that curve times one factor, which `drag_coefficient`, stated at
        20 m/s, decides. None where the sources find no curve, or one that differs from ball to
        ball by more than its own course.
    """

    name: str
    mass_kg: float
    mass_u_kg: float
    diameter_m: float
    diameter_u_m: float
    drag_coefficient: float
    drag_u: float
    lift_u: float
    source: str
    drag_curve: Callable[[float], Coefficient] | None = None

    @property
    def area_m2(self) -> float:
        """Projected area, m²."""
        return pi * self.diameter_m**2 / 4.0

    @property
    def density_kgpm3(self) -> float:
        """Mean density, kg/m³."""
        return 6.0 * self.mass_kg / (pi * self.diameter_m**3)

    def reynolds(self, speed_mps: float, density_kgpm3: float, viscosity_pas: float) -> float:
        """Return the Reynolds number of the flight at a speed, by the diameter."""
        return density_kgpm3 * speed_mps * self.diameter_m / viscosity_pas


def _within(low: float, high: float) -> tuple[float, float]:
    """Return middle and standard uncertainty of a rectangular range (JCGM 100, 4.3.7)."""
    return (low + high) / 2.0, (high - low) / (2.0 * sqrt(3.0))


class _Drag(NamedTuple):
    """Drag of a row of the table: value, standard uncertainty and course."""

    value: float
    u: float
    curve: Callable[[float], Coefficient] | None = None


def _row(
    name: str,
    grams: tuple[float, float],
    millimetres: tuple[float, float],
    drag: _Drag,
    source: str,
    lift_u: float = USUAL_LIFT_U,
) -> Ball:
    """Return a row of the table from ranges of mass and diameter, and the drag."""
    mass, mass_u = _within(*grams)
    diameter, diameter_u = _within(*millimetres)
    return Ball(
        name,
        mass / 1e3,
        mass_u / 1e3,
        diameter / 1e3,
        diameter_u / 1e3,
        drag.value,
        drag.u,
        lift_u,
        source,
        drag.curve,
    )


def _round(low_cm: float, high_cm: float) -> tuple[float, float]:
    """Return a range of diameters, mm, from a range of circumferences, cm."""
    return 10.0 * low_cm / pi, 10.0 * high_cm / pi


_FELT_DRAG = (
    "drag: 0.507 (sd 0.024) in free flight at 15 to 30 m/s, Cross and Lindsey, Sports Eng. "
    "(2014); 0.6 to 0.7 in wind tunnels, Mehta, Alam and Subic, Sports Technol. (2008); "
    "the value lies between and covers worn cloth"
)
_SEAM_DRAG = (
    "drag: 0.13 to 0.5 surveyed by Meyer and Bohn (2008); 0.30 from a terminal speed of 42.5 m/s "
    "(school-physics worked example); the crisis lies within the range of speeds; its course: "
    "Giordano and Nakanishi, Computational Physics (2006), 2.3, from memory"
)


def _seam_drag(_: float) -> Coefficient:
    """Return the course of a baseball's drag, which is stated over speed itself."""
    return SeamDrag()


BALLS = (
    _row(
        "tennis",
        (56.0, 59.4),
        (65.4, 68.6),
        _Drag(0.53, 0.06),
        f"mass and size: ITF Rules of Tennis, Appendix I, types 1 and 2; {_FELT_DRAG}",
    ),
    _row(
        "tennis slow",
        (56.0, 59.4),
        (70.0, 73.0),
        _Drag(0.53, 0.07),
        f"mass and size: ITF Rules of Tennis, Appendix I, type 3; {_FELT_DRAG}",
    ),
    _row(
        "tennis green",
        (47.0, 51.5),
        (63.0, 68.6),
        _Drag(0.53, 0.07),
        f"mass and size: ITF stage 1, from memory; {_FELT_DRAG}",
    ),
    _row(
        "tennis orange",
        (36.0, 46.9),
        (60.0, 68.6),
        _Drag(0.53, 0.07),
        f"mass and size: ITF stage 2, from memory; {_FELT_DRAG}",
    ),
    _row(
        "foam training",
        (25.0, 43.0),
        (80.0, 90.0),
        _Drag(0.50, 0.08, SmoothSphereDrag),
        "mass and size: ITF stage 3, foam, from memory; drag: subcritical sphere, Clift, Grace "
        "and Weber, Bubbles, Drops and Particles (1978), widened as no measurement was found; its "
        "course: Haider and Levenspiel, Powder Technol. (1989)",
    ),
    _row(
        "baseball",
        (141.748, 148.835),
        (72.766, 74.787),
        _Drag(0.38, 0.09, _seam_drag),
        f"mass and size: Official Baseball Rules, 3.01; {_SEAM_DRAG}",
        lift_u=SEAM_LIFT_U,
    ),
    _row(
        "cricket",
        (155.9, 163.0),
        _round(22.4, 22.9),
        _Drag(0.45, 0.08),
        "mass and size: MCC Laws of Cricket, 4.1; drag: from memory, wind tunnels, as in Alam "
        "et al., 17th Australasian Fluid Mech. Conf. (2010)",
    ),
    _row(
        "cricket women",
        (140.0, 151.0),
        _round(21.0, 22.5),
        _Drag(0.45, 0.08),
        "mass and size: MCC Laws of Cricket, 4.6; drag: as the men's ball, from memory",
    ),
    _row(
        "cricket junior",
        (133.0, 144.0),
        _round(20.5, 22.0),
        _Drag(0.45, 0.08),
        "mass and size: MCC Laws of Cricket, 4.6, under 13; drag: as the men's ball, from memory",
    ),
    _row(
        "hockey",
        (156.0, 163.0),
        _round(22.4, 23.5),
        _Drag(0.42, 0.10),
        "mass and size: FIH Rules of Hockey; drag: from memory, between a golf ball and a smooth "
        "sphere, as its dimples bring the crisis within the range (Shah, Shakya and Mittal, Phys. "
        "Fluids, 2019)",
    ),
    _row(
        "golf",
        (45.4, 45.93),
        (42.67, 42.90),
        _Drag(0.35, 0.09),
        "mass at most and size at least: Rules of Golf, Equipment Rules part 4, other ends from "
        "memory; drag: below Re 1e5 models differ by more than 0.1, Lyu, Kensrud, Smith and "
        "Tosaya, Proceedings 2, 238 (2018); value from memory",
    ),
    _row(
        "table tennis",
        (2.67, 2.77),
        (39.5, 40.5),
        _Drag(0.47, 0.06, SmoothSphereDrag),
        "mass and size: ITTF Laws 2.3 (2.7 g, 40 mm), tolerances from memory; drag: subcritical "
        "sphere, Clift, Grace and Weber (1978); lift vanishes at some spins, lift "
        "crisis, Miyazaki et al., Eur. J. Phys. (2017); course of the drag: Haider and Levenspiel, "
        "Powder Technol. (1989)",
        lift_u=0.10,
    ),
    _row(
        "football",
        (410.0, 450.0),
        _round(68.0, 70.0),
        _Drag(0.28, 0.12),
        "mass and size: IFAB Laws of the Game 2, 2023-24; drag: the crisis lies at Re 2.2e5 to "
        "3.0e5, Asai et al., Sports Eng. (2007); 0.43 below and 0.15 above from memory",
    ),
)
"""The ball table."""


CUSTOM = "custom"

_NOTHING_KNOWN = Ball(CUSTOM, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, USUAL_LIFT_U, "given")

LIMITS = {
    "mass_g": (0.5, 5000.0),
    "diameter_mm": (5.0, 500.0),
    "drag_coefficient": (0.02, 2.0),
}
"""Smallest and largest number that is taken for a ball: g, mm and no unit."""


def ball_named(name: str) -> Ball:
    """Return the row of the ball table with this name, whatever its case and hyphens.

    Raises InputError, which lists the names that are known, when there is none.
    """
    wanted = " ".join(name.replace("-", " ").replace("_", " ").lower().split())
    for ball in BALLS:
        if ball.name == wanted:
            return ball
    known = ", ".join(ball.name for ball in BALLS)
    near = nearest(wanted, [ball.name for ball in BALLS])
    guess = f"did you mean {near}? Else use" if near else "use"
    raise InputError(
        f"{name!r} is not in the ball table",
        where="[ball] type",
        remedy=f"{guess} one of {known}, or custom with mass_g, diameter_mm and drag_coefficient",
    )


def ball_from(
    name: str,
    mass_g: float | None = None,
    diameter_mm: float | None = None,
    drag_coefficient: float | None = None,
) -> Ball:
    """Return a ball of the table, with what was measured in place of the table's figures.

    A weighed mass is taken as good to 0.5 g or 1 %, whichever is less; a taped diameter to
    1 %; a drag coefficient brought along to 10 %, as balls of one kind differ by 5 % (Cross and
    Lindsey, 2014) and methods by more.

    Parameters
    ----------
    name : str
        A row of the table, or ``"custom"`` with all of the next three.
    mass_g, diameter_mm, drag_coefficient : float, optional

    Raises
    ------
    InputErrors
        One for each number that is out of range or missing; InputError for an unknown name.
    """
    custom = name.strip().lower() == CUSTOM
    given = {"mass_g": mass_g, "diameter_mm": diameter_mm, "drag_coefficient": drag_coefficient}
    _check(given, custom)
    ball = _NOTHING_KNOWN if custom else ball_named(name)
    if mass_g is not None:
        ball = replace(
            ball, mass_kg=mass_g / 1e3, mass_u_kg=min(WEIGHED_U_G, WEIGHED_SHARE * mass_g) / 1e3
        )
    if diameter_mm is not None:
        ball = replace(
            ball, diameter_m=diameter_mm / 1e3, diameter_u_m=TAPED_SHARE * diameter_mm / 1e3
        )
    if drag_coefficient is not None:
        ball = replace(
            ball, drag_coefficient=drag_coefficient, drag_u=BROUGHT_DRAG_SHARE * drag_coefficient
        )
    return ball


def _check(given: dict[str, float | None], required: bool) -> None:
    """Raise InputErrors with one fault for each number that is out of range or missing."""
    faults = []
    for field, value in given.items():
        low, high = LIMITS[field]
        if value is None:
            if required:
                faults.append(
                    InputError(
                        "a custom ball needs this number", where=f"[ball] {field}", remedy="give it"
                    )
                )
        elif not (isfinite(value) and low <= value <= high):
            faults.append(
                InputError(
                    f"{value:g} is out of range",
                    where=f"[ball] {field}",
                    remedy=f"give a number from {low:g} to {high:g}",
                )
            )
    if faults:
        raise InputErrors(faults)
