"""Batteries and balls between rims against published figures."""

import math

import numpy as np
import pytest

from tracker.launcher.chemistry import CHEMISTRIES
from tracker.launcher.fields import NUMBERS
from tracker.launcher.squeeze import Squeeze

CELLS = {"lead-acid": 6, "lithium-ion": 3, "lithium-iron-phosphate": 4}
"""Cells of a battery of 12 V."""


def volts(kind: str, charge: float) -> float:
    chemistry = CHEMISTRIES[kind]
    return CELLS[kind] * chemistry.volts[-1] * float(chemistry.voltage_share(np.array(charge)))


@pytest.mark.parametrize(
    ("charge", "gravity"), [(1.0, 1.265), (0.75, 1.225), (0.5, 1.19), (0.25, 1.155)]
)
def test_lead_acid_falls_as_the_acid_thins(charge: float, gravity: float) -> None:
    """A cell has 0.84 V more than the specific gravity of its acid (handbooks, from memory).

    The constants are Jackey's (SAE paper 2007-01-0778), for a battery with denser acid: what is
    used of them is how much the voltage falls, within 0.2 V of 12.
    """
    handbook = 6 * (gravity + 0.84)
    drop = volts("lead-acid", charge) - volts("lead-acid", 1.0)
    assert drop == pytest.approx(handbook - 6 * (1.265 + 0.84), abs=0.2)


def test_lead_acid_is_the_formula_of_ceraolo() -> None:
    """E = Em0 - KE (273 + T) (1 - charge), Em0 2.18 V, KE 0.6 mV/K (Jackey), at 25 °C."""
    for charge in (0.2, 0.5, 0.9):
        want = 6 * (2.18 - 0.6e-3 * (273 + 25) * (1 - charge))
        assert volts("lead-acid", charge) == pytest.approx(want, abs=1e-3)


def test_a_lithium_ion_cell_is_like_another_maker_s() -> None:
    """Open-circuit voltages of a 40T cell of 21700, the other table of Sunil et al. (2025)."""
    other = [(0.1357, 3.4193), (0.2915, 3.5826), (0.4523, 3.6941), (0.8392, 4.0664), (1.0, 4.2)]
    for charge, want in other:
        assert volts("lithium-ion", charge) / 3 == pytest.approx(want, abs=0.03)


def test_iron_phosphate_is_flat_between_a_third_and_nearly_full() -> None:
    """Sunil et al. (2025): 3.277 V at 30 %, 3.351 V at 98 %."""
    assert volts("lithium-iron-phosphate", 0.2972) == pytest.approx(4 * 3.2772, abs=1e-9)
    assert volts("lithium-iron-phosphate", 0.9833) == pytest.approx(4 * 3.3511, abs=0.01)
    assert volts("lithium-iron-phosphate", 0.6) / volts("lithium-iron-phosphate", 0.9) > 0.985


def test_a_full_battery_has_the_resistance_that_is_stated() -> None:
    for chemistry in CHEMISTRIES.values():
        charges = np.linspace(0.0, 1.0, 21)
        share = chemistry.resistance_share(charges)
        assert share[-1] == 1.0
        assert share[0] == chemistry.empty_resistance
        assert (np.diff(share) <= 0.0).all()


def test_the_default_stiffness_is_that_of_a_tennis_ball() -> None:
    """ITF Rules of Tennis, Appendix I: 80.07 N (18 lbf) press a ball together by 5.6 to 7.4 mm."""
    stiffness = next(one for one in NUMBERS if one.name == "stiffness_n_per_mm")
    soft, hard = 80.07 / 7.4, 80.07 / 5.6
    u = stiffness.default * stiffness.u_default
    assert stiffness.default - u < soft < hard < stiffness.default + u


def test_the_default_loss_lies_between_a_slow_squeeze_and_a_bounce() -> None:
    """A bounce loses 1 - e², with 135 to 147 cm of 254 cm (ITF, Appendix I): 42 to 47 %.

    A slow squeeze to an inch and back to 18 lbf, where 8.0 to 10.8 mm are left (the same appendix),
    loses less; by the curves of this model 5 to 25 %.
    """
    loss = next(one for one in NUMBERS if one.name == "squeeze_loss_percent")
    bounce = [100 * (1 - height / 254) for height in (135, 147)]
    assert all(abs(each - loss.default) < loss.default * loss.u_default for each in bounce)
    slow = []
    for forward, back in ((6.5, 8.0), (6.5, 10.8)):
        stiffness = 80.07 / forward
        exponent = math.log(80.07 / (stiffness * 25.4)) / math.log(back / 25.4)
        slow.append(100 * (1 - 2 / (exponent + 1)))
    assert 5 < slow[0] < slow[1] < 30
    assert loss.default - 2.0 * loss.default * loss.u_default < slow[1]


@pytest.mark.parametrize("loss", [0.1, 0.4, 0.8])
def test_the_curve_of_unloading_loses_what_it_says(loss: float) -> None:
    """The exponent that the last test inverts is the model's."""
    squeeze = Squeeze(0.07, 0.0335, 0.048, 15e3, loss, plate=False)
    at = squeeze.at(np.array([-0.004, 0.004]))
    share = float(at.normal_n[0]) / float(squeeze.peak_n)
    exponent = math.log(float(at.normal_n[1]) / float(squeeze.peak_n)) / math.log(share)
    assert 1 - 2 / (exponent + 1) == pytest.approx(loss, abs=1e-9)
