"""The fields of the tables of a `[[setup]]`: units, ranges, defaults, uncertainties.

A number may be followed by its standard uncertainty: the same name with ``u`` before the unit,
``diameter_u_mm`` beside ``diameter_mm``. Where it is left out, the uncertainty of the table
holds. docs/methods/launcher.md shows these tables and is checked against them.
"""

from dataclasses import dataclass

UNITS = (
    "n_per_mm",
    "percent",
    "gm2",
    "rpm",
    "mnm",
    "mps",
    "ohm",
    "mm",
    "s",
    "ah",
    "g",
    "a",
    "v",
    "w",
)


@dataclass(frozen=True)
class Number:
    """A field that holds a number.

    Attributes
    ----------
    table, name : str
    meaning : str
    low, high : float
        Least and greatest number that makes sense.
    default : float or None
        None where nothing is known of a field that is left out, or another field gives it.
    u_share : float
        Standard uncertainty where none is given, as a share of the value.
    u_default : float
        The same where the field itself is left out, as a share of the default.
    learned : bool
        Whether shots may correct it, the same for all setups of a launcher.
    """

    table: str
    name: str
    meaning: str
    low: float
    high: float
    default: float | None = None
    u_share: float = 0.0
    u_default: float = 0.0
    learned: bool = False

    @property
    def key(self) -> str:
        """Table and name with a dot between them."""
        return f"{self.table}.{self.name}"

    @property
    def u_name(self) -> str:
        """Name of the field that holds its standard uncertainty."""
        for unit in UNITS:
            if self.name.endswith(f"_{unit}"):
                return f"{self.name.removesuffix(unit)}u_{unit}"
        return f"{self.name}_u"


@dataclass(frozen=True)
class Choice:
    """A field that holds one of a few words."""

    table: str
    name: str
    meaning: str
    words: tuple[str, ...]

    @property
    def key(self) -> str:
        """Table and name with a dot between them."""
        return f"{self.table}.{self.name}"


NUMBERS = (
    Number("wheel", "diameter_mm", "outer diameter of the wheels", 15, 1500, None, 0.005),
    Number("wheel", "mass_g", "mass of one wheel without what was added", 1, 50000, None, 0.01),
    Number("wheel", "width_mm", "width of the rim", 1, 1000),
    Number("wheel", "inner_diameter_mm", "inner diameter of a ring", 0, 1500),
    Number("wheel", "rim_mass_g", "mass added to the rim of one wheel", 0, 50000, 0.0, 0.02),
    Number("wheel", "inertia_gm2", "measured inertia of one wheel about its axle, without what "
           "was added (1 g m² = 10 kg cm²)", 1e-5, 1e5, None, 0.03),
    Number("wheel", "swing_s", "time of one full small swing of a wheel that hangs from a nail; "
           "gives the inertia", 0.05, 20, None, 0.015),
    Number("wheel", "swing_arm_mm", "from the nail to the axle; half the diameter when left out",
           1, 1500, None, 0.01),
    Number("wheel", "driven", "wheels that a motor drives, 1 or 2", 1, 2, 2.0),
    Number("wheel", "speed_rpm", "speed before the shot by a tachometer, in place of the motor's",
           1, 60000, None, 0.01),
    Number("wheel", "second_speed_rpm", "speed of the second wheel before the shot, when it "
           "differs", 1, 60000, None, 0.01),
    Number("motor", "supply_v", "voltage at which the no-load speed holds; the battery's too "
           "unless rest_v gives that", 0.5, 1000, None, 0.02),
    Number("motor", "no_load_rpm", "speed without load", 10, 200000, None, 0.05, learned=True),
    Number("motor", "no_load_current_a", "current without load; 5 % of the stall current when "
           "left out", 0, 200, None, 0.1),
    Number("motor", "stall_current_a", "current at standstill", 0, 2000, None, 0.1),
    Number("motor", "stall_torque_mnm", "torque at standstill", 0, 500000, None, 0.1,
           learned=True),
    Number("motor", "rated_power_w", "greatest mechanical power, at half the no-load speed",
           0, 50000, None, 0.2, learned=True),
    Number("motor", "duty_percent", "pulse-width control, share of the time switched on",
           1, 100, 100.0, 0.01),
    Number("motor", "second_duty_percent", "pulse-width control of the second motor, when it "
           "differs", 1, 100, None, 0.01),
    Number("motor", "gear_ratio", "turns of the motor for one turn of its wheel", 0.02, 50, 1.0),
    Number("motor", "gear_efficiency_percent", "efficiency of gear or belt", 10, 100, 100.0, 0.03),
    Number("motor", "rotor_inertia_gm2", "inertia of the rotor of one motor", 0, 1000, 0.0, 0.2),
    Number("battery", "rest_v", "voltage without load at the beginning of an evening; that of the "
           "motor when left out", 0.5, 1000, None, 0.01),
    Number("battery", "resistance_ohm", "resistance inside the battery, with its leads", 0, 20,
           0.05, 0.1, 0.6),
    Number("battery", "capacity_ah", "charge when full", 0.01, 2000, None, 0.1),
    Number("battery", "usable_percent", "share of the charge that is to be used", 1, 100, 80.0),
    Number("battery", "interval_s", "time from shot to shot with the wheels running", 0.5, 3600,
           15.0),
    Number("grip", "gap_mm", "gap between the rims (or rim and plate); three quarters of the ball "
           "when left out", 1, 1000, None, 0.01, 0.04),
    Number("grip", "friction", "friction coefficient of rim on ball", 0.02, 3, 0.7, 0.1, 0.2,
           learned=True),
    Number("grip", "stiffness_n_per_mm", "force over squeeze of the ball between the rims",
           0.1, 2000, 15.0, 0.1, 0.3),
    Number("grip", "squeeze_loss_percent", "share of the energy of the squeeze that turns into "
           "heat", 0, 100, 40.0, 0.2, 0.4, learned=True),
    Number("grip", "feed_speed_mps", "speed at which the ball is fed", 0, 20, 0.5, 0.2, 0.5),
    Number("losses", "bearing_mnm", "torque of the bearings of one wheel beyond the motor's own",
           0, 10000, 2.0, 0.2, 0.8, learned=True),
    Number("losses", "run_down_s", "time in which a wheel on its unplugged motor runs "
           "down from one speed to another; gives the torque of its bearings", 0.1, 3600, None,
           0.03),
    Number("losses", "run_down_from_rpm", "speed at the beginning of that time", 1, 60000, None,
           0.01),
    Number("losses", "run_down_to_rpm", "speed at its end", 0, 60000, None, 0.01),
    Number("losses", "windage_factor", "drag of the air over that of a smooth disc: 1.5 for a "
           "disc or ring, 10 for open spokes or ribs when left out", 0.5, 200, None, 0.2, 0.8,
           learned=True),
)  # fmt: skip
"""Every number of a setup, in the order of its tables."""

CHOICES = (
    Choice("wheel", "kind", "shape, for the inertia", ("disc", "ring", "spoked")),
    Choice("wheel", "material", "what the wheel is made of, for its burst stress",
           ("plastic", "wood", "aluminium", "steel")),
    Choice("wheel", "partner", "what faces a single driven wheel", ("plate", "idle")),
    Choice("wheel", "arrangement", "where the first wheel lies: over the ball, under it, or "
           "beside it to the left", ("over", "under", "beside")),
    Choice("battery", "kind", "chemistry, for how its voltage falls over an evening",
           ("lead-acid", "lithium-ion", "lithium-iron-phosphate", "mains")),
)  # fmt: skip
"""Every word of a setup; the first is the default."""

WINDAGE = {"disc": 1.5, "ring": 1.5, "spoked": 10.0}
"""Windage factor of each kind where it is left out; common practice, no source."""

GAP_SHARE = 0.75
"""Gap over the ball's diameter where it is left out; common practice, no source."""

TABLES = ("wheel", "motor", "battery", "grip", "losses")


def number_at(key: str) -> Number | None:
    """Return the number of that key, ``"wheel.diameter_mm"``, or None."""
    return next((number for number in NUMBERS if number.key == key), None)
