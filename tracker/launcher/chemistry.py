"""How the voltage and the resistance of a battery change while its charge is drawn."""

from dataclasses import dataclass

import numpy as np

from tracker.launcher.arrays import Array


@dataclass(frozen=True)
class Chemistry:
    """A kind of battery.

    Attributes
    ----------
    charges : tuple of float
        States of charge, ascending from 0 to 1.
    volts : tuple of float
        Voltage of a cell at rest at each.
    empty_resistance : float
        Resistance when empty over that when full.
    knee : float
        State of charge above which the resistance is that of a full one.
    """

    charges: tuple[float, ...]
    volts: tuple[float, ...]
    empty_resistance: float
    knee: float

    def voltage_share(self, charge: Array) -> Array:
        """Return the voltage at rest over that of a full battery."""
        return np.asarray(np.interp(charge, self.charges, self.volts)) / self.volts[-1]

    def resistance_share(self, charge: Array) -> Array:
        """Return the resistance over that of a full battery."""
        drawn = np.clip((self.knee - charge) / self.knee, 0.0, 1.0)
        return 1.0 + (self.empty_resistance - 1.0) * drawn


CHEMISTRIES = {
    "lead-acid": Chemistry((0.0, 1.0), (2.0012, 2.18), 2.0, 1.0),
    "lithium-ion": Chemistry(
        (0.0, 0.0151, 0.0452, 0.0955, 0.1508, 0.2915, 0.4573, 0.8342, 0.9497, 1.0),
        (2.5061, 2.8981, 3.1461, 3.3231, 3.4218, 3.5737, 3.7017, 4.0637, 4.1009, 4.1932),
        2.0,
        0.2,
    ),
    "lithium-iron-phosphate": Chemistry(
        (0.0, 0.0033, 0.0117, 0.0267, 0.0534, 0.0885, 0.2972, 1.0),
        (2.0102, 2.4177, 2.7405, 2.9299, 3.0872, 3.1942, 3.2772, 3.3511),
        2.0,
        0.2,
    ),
}
"""By the word of ``[setup.battery] kind``; mains are not in it, they do not sag.

Lead-acid: ``E = 2.18 V - 0.6 mV/K (273 K + 25 K) (1 - charge)``, the form of M. Ceraolo, IEEE
Transactions on Power Systems 15, 1184 (2000), with the constants of R. Jackey, SAE paper
2007-01-0778 (50 A h). Lithium: open-circuit voltages of a 21700 cell and of an iron-phosphate
18650 cell discharged in 32 hours, S. Sunil, K. R. Pattipati and B. Balasingam, IEEE Transactions on
Instrumentation and Measurement (2025), the points of their tables; for iron phosphate without the
last two hundredths of the charge, whose excess is gone after a rest. Resistances that double
towards empty: common practice, no source."""
