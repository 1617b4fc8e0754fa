"""How well a shot could be measured at best: the Cramér-Rao bound of its clip."""

import numpy as np
from numpy.typing import NDArray

from tracker.fitting import Circumstances, ExpectedFlight, Instants, expected_fit, figures_of
from tracker.fitting.model import predict

Array = NDArray[np.float64]


def cramer_rao(
    known: Circumstances, parameters: Array, instants: Instants, covariances: Array
) -> dict[str, float]:
    """Return the least standard uncertainty of each figure, about the true parameters."""
    figures = figures_of(known, parameters)
    trajectory = predict(known, parameters, instants).trajectory
    flight = ExpectedFlight(parameters, trajectory, figures)
    return figures.u(expected_fit(known, flight, instants, covariances).covariance)
