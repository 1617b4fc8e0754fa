"""How well a shot could be measured at best: the Cramér-Rao bound of its clip."""

import numpy as np
from numpy.typing import NDArray

from calibration.adjustment.normal import inverse_of_normal
from tracker.fitting.figures import figures_of
from tracker.fitting.model import Circumstances, Instants, predict

Array = NDArray[np.float64]


def cramer_rao(
    circumstances: Circumstances,
    parameters: Array,
    instants: Instants,
    covariances: Array,
) -> dict[str, float]:
    """Return the least standard uncertainty that each figure can have.

    The Fisher information of the pixels is added to that of everything known beforehand, the
    camera's covariance included (van Trees' form of the bound: H. L. van Trees, Detection,
    Estimation, and Modulation Theory, part I, 1968, 2.4).

    Parameters
    ----------
    circumstances : Circumstances
    parameters : ndarray, shape (P,)
        The true ones, in the order of `PARAMETERS`.
    instants : Instants
        Of the frames in which the ball shows.
    covariances : ndarray, shape (N, 2, 2)
        Least covariance of each position, px².

    Returns
    -------
    dict of str to float
        By the names of `tracker.fitting.figures.FIGURES`.
    """
    _, jacobian, _ = predict(circumstances, parameters, instants)
    information = circumstances.prior_information()
    information += np.einsum("nai,nab,nbj->ij", jacobian, np.linalg.inv(covariances), jacobian)
    covariance = inverse_of_normal(information)
    return figures_of(circumstances, parameters).u(covariance)
