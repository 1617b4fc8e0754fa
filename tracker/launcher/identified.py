"""Which numbers of the model the shots fix, alone or in combination, in words."""

import re
from dataclasses import dataclass

import numpy as np

from tracker.launcher.arrays import Array
from tracker.launcher.discrepancy import SIZES
from tracker.launcher.fields import number_at
from tracker.launcher.learning import Posterior

FIXED = 0.5
"""Uncertainty after the shots over that before, below which a number counts as fixed (common
practice, no source)."""

CONFOUNDED = 1.25
"""Factor on the standard deviation of a single learned number. What the model leaves out (shear,
hardening, give of the rims) looks like a change of its numbers: J. Brynjarsdóttir and A. O'Hagan,
Inverse Problems 30, 114007 (2014). With it the errors of eighty invented launchers have a root mean
square of 0.8 to 1.1; a combination, which the shots see, needs none (0.8), nor do predictions."""

SURE = 0.03
"""Relative uncertainty up to which a number counts as measured by its builder, and is not
reported (common practice, no source)."""

LOADING = 0.35
"""Least part of a number in a combination for it to be named."""

MISSED = 0.04
"""Share of the exit speed left out by the model from which on it is said to miss the shots."""


@dataclass(frozen=True)
class Finding:
    """A number, or a product of powers of numbers, that the shots fix.

    Attributes
    ----------
    keys : tuple of str
    powers : tuple of float
        The greatest is one.
    log, u, before : float
        Natural logarithm of its factor on what the setups state, its standard uncertainty, and
        that before the shots.
    """

    keys: tuple[str, ...]
    powers: tuple[float, ...]
    log: float
    u: float
    before: float

    def sentence(self) -> str:
        """Return it in words."""
        first, *rest = zip(self.keys, self.powers, strict=True)
        name = first[0] + "".join(_power(key, power) for key, power in rest)
        if not rest:
            name = f"{_called(name)[:1].upper()}{_called(name)[1:]} ({name})"
        lead = "" if len(self.keys) == 1 else "Together better than each alone: "
        if {"grip.friction", "grip.stiffness_n_per_mm"} <= set(self.keys):
            lead = "The pull of the rims on the ball: "
        return (
            f"{lead}{name}: {np.exp(self.log):.2f} times what the setups state, known to "
            f"{100.0 * self.u:.0f} % (before the shots: {100.0 * self.before:.0f} %)."
        )


def _called(key: str) -> str:
    """Return what a number of the model is, as far as its meaning names it."""
    number = number_at(key)
    return key if number is None else re.split("[:;,]", number.meaning)[0]


def _power(key: str, power: float) -> str:
    sign = " × " if power > 0.0 else " / "
    size = abs(power)
    return f"{sign}{key}" + ("" if abs(size - 1.0) < 0.05 else f"^{size:.1f}")


def findings(posterior: Posterior) -> list[Finding]:
    """Return what the shots fix: single numbers first, then the best known combinations.

    The combinations are the principal directions of the posterior in units of the prior
    uncertainties, with the numbers that are named anyway left out.
    """
    learned = [place for place, u in enumerate(posterior.priors) if u > SURE]
    scaled = posterior.logs[:, learned] / posterior.priors[learned]
    keys = [posterior.keys[place] for place in learned]
    priors = posterior.priors[learned]
    single = [i for i in range(len(keys)) if CONFOUNDED * scaled[:, i].std() < FIXED]
    found = [_finding(keys, priors, scaled, np.eye(len(keys))[i]) for i in single]
    others = [i for i in range(len(keys)) if i not in single]
    if len(others) > 1:
        _, directions = np.linalg.eigh(np.cov(scaled[:, others].T))
        way = np.zeros(len(keys))
        way[others] = np.where(np.abs(directions[:, 0]) > LOADING, directions[:, 0], 0.0)
        combined = _finding(keys, priors, scaled, way)
        if len(combined.keys) > 1 and combined.u < FIXED * combined.before:
            found.append(combined)
    return found


def _finding(keys: list[str], priors: Array, scaled: Array, way: Array) -> Finding:
    """Return a direction of the scaled numbers as a product of powers."""
    powers = way / priors
    order = [i for i in np.argsort(-np.abs(powers)) if way[i] != 0.0]
    powers = powers / powers[order[0]]
    values = (scaled * priors) @ powers
    return Finding(
        tuple(keys[i] for i in order),
        tuple(float(powers[i]) for i in order),
        float(values.mean()),
        float(values.std()) * (CONFOUNDED if len(order) == 1 else 1.0),
        float(np.linalg.norm(powers * priors)),
    )


def sentences(posterior: Posterior) -> list[str]:
    """Return in words what the shots say of the model, and what they do not."""
    if not posterior.lessons:
        return []
    found = findings(posterior)
    said = [one.sentence() for one in found]
    if not found:
        said.append("The shots fix no number of the model better than the setups state it.")
    named = {key for one in found for key in one.keys}
    open_ = [
        key
        for key, u in zip(posterior.keys, posterior.priors, strict=True)
        if key not in named and u > SURE
    ]
    if open_:
        said.append(f"The shots say little of {_listed([_called(key) for key in open_])}.")
    size = float(np.array(SIZES)[posterior.sizes].mean())
    left = f"What the model leaves out is about {100.0 * size:.1g} % of the exit speed"
    if size > MISSED:
        left += ": it misses these shots; check the numbers of the setups"
    said.append(f"{left}.")
    return said


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
