"""What to expect where two numbers of a setup change at once."""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tracker.comparison.built import Setup
from tracker.comparison.candidates import untested
from tracker.comparison.knowledge import Knowledge
from tracker.comparison.many import mean_carries, mean_speeds
from tracker.comparison.words import WORDINGS, spread
from tracker.launcher.sweep import Sweep, changed, check_gaps, stated
from tracker.statistics.components import Estimate

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Grid:
    """Predictions over two numbers of a setup.

    Attributes
    ----------
    base : str
        The setup whose other numbers hold.
    across, up : Sweep
    quantity : str
        ``"carry_m"``; ``"exit_speed_mps"`` where no launch angle is known.
    values, u : ndarray, shape (up, across)
        Mean and standard uncertainty; the mean is no number where the ball does not get out.
    shot : tuple of (str, float, float)
        Name and place of each setup that was shot.
    beyond : str
        In words how far the greatest lies beyond the setups that were shot; empty inside.
    """

    base: str
    across: Sweep
    up: Sweep
    quantity: str
    values: Array
    u: Array
    shot: tuple[tuple[str, float, float], ...]
    beyond: str

    def sentence(self) -> str:
        """Return the greatest value in words."""
        if not np.isfinite(self.values).any():
            return f'No ball gets out of "{self.base}" anywhere on this map.'
        row, column = self._greatest()
        wording = WORDINGS[self.quantity]
        half = Estimate(0.0, float(self.u[row, column])).expanded()
        figure = spread(float(self.values[row, column]), half, wording.unit)
        place = (
            f"{self.across.key} = {self.across.values[column]:.4g}, "
            f"{self.up.key} = {self.up.values[row]:.4g}"
        )
        far = f"; {self.beyond}, where the model is not tested" if self.beyond else ""
        return f"The greatest {wording.noun} on the map is {figure} at {place}{far}."

    def _greatest(self) -> tuple[int, int]:
        row, column = np.unravel_index(np.nanargmax(self.values), self.values.shape)
        return int(row), int(column)


def grid_of(known: Knowledge, base: Setup, across: Sweep, up: Sweep) -> Grid:
    """Return the predictions over two sweeps of a setup."""
    assert base.machine is not None
    for sweep in (across, up):
        check_gaps(sweep, 1e3 * base.outdoors.ball.diameter_m)
    machines = [
        changed(changed(base.machine, across.key, x), up.key, y)
        for y, x in product(up.values, across.values)
    ]
    speeds, spread_ = mean_speeds(known, machines)
    quantity, values, u = "exit_speed_mps", speeds, spread_
    if base.outdoors.release is not None:
        quantity = "carry_m"
        values, u = mean_carries(known, base, speeds, spread_)
    shape = (len(up.values), len(across.values))
    values, u = values.reshape(shape), u.reshape(shape)
    shot = tuple(
        (setup.name, x, y)
        for setup in known.setups
        if setup.shots.shots
        and setup.machine is not None
        and (x := stated(setup.machine, across.key)) is not None
        and (y := stated(setup.machine, up.key)) is not None
    )
    far = ""
    if np.isfinite(values).any():
        best = machines[int(np.nanargmax(values.ravel()))]
        far = untested(replace(base, machine=best), known.setups)
    return Grid(base.name, across, up, quantity, values, u, shot, far)
