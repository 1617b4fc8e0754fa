"""Which of the things that are not known makes how much of each figure's uncertainty."""

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.figures import FIGURES, Figures
from tracker.fitting.fit import FittedFlight
from tracker.fitting.model import CAMERA_AT, GRAVITY_AT, LIGHT_AT, READOUT_AT, Circumstances
from tracker.records import Budget

Array = NDArray[np.float64]

DRAG_AT = 7

PRIORS: dict[str, slice | NDArray[np.int64]] = {
    "light": slice(LIGHT_AT, GRAVITY_AT),
    "camera": slice(CAMERA_AT, None),
    # Where nothing was taped, the moment and the aim are presumed too.
    "release": np.array([0, 1, 2, 3, 5]),
    "readout": slice(READOUT_AT, READOUT_AT + 1),
    "wind": slice(10, 12),
    "drag": slice(DRAG_AT, DRAG_AT + 1),
    "spin": slice(8, 10),
    "gravity": slice(GRAVITY_AT, GRAVITY_AT + 1),
}
"""What is known beforehand, in groups that are independent of each other, by the parameters
that each tells something about."""

SOURCES = (
    "pixels",
    "light",
    "camera",
    "picking",
    "taping",
    "stand",
    "lens",
    "release",
    "readout",
    "wind",
    "air",
    "ball",
    "spin",
    "gravity",
)
"""The sources of a budget. The drag that is known beforehand depends on two: the air's density
and the ball. The camera counts as one only where nobody told what its covariance comes from."""

OWN = ("pixels", "spin")
"""What differs from shot to shot. All else is the same for every shot of a session: one camera
and one taping of it, one release taped on one launcher, one kind of ball in one air, and one
sun that lights every ball from the same side."""


def shares(circumstances: Circumstances, fitted: FittedFlight) -> dict[str, Array]:
    """Split the covariance of a fit by the observations that it comes from.

    Near its minimum the estimate is linear in what was observed, x = C (J' W y + sum P_g m_g),
    where P_g is the information of a group of observations g and C the covariance of all; an
    error of group g then enters with C P_g, and its covariance with C P_g C. The groups being
    independent, the shares add up to C (JCGM 100:2008, 5.1.2; C (J' W J + sum P_g) C = C).

    Parameters
    ----------
    circumstances : Circumstances
        With which the shot was fitted.
    fitted : FittedFlight

    Returns
    -------
    dict of str to ndarray, shape (P, P)
        By those of the names of `SOURCES` that there are.
    """
    information = circumstances.prior_information()
    found = {"pixels": fitted.covariance @ fitted.shown @ fitted.covariance}
    for name, parameters in PRIORS.items():
        reach = fitted.covariance[:, parameters]
        known = information[parameters][:, parameters]
        found[name] = reach @ known @ reach.T
    if circumstances.camera_parts:
        # The camera known beforehand is off by the errors of all its sources together.
        reach = fitted.covariance[:, CAMERA_AT:] @ information[CAMERA_AT:, CAMERA_AT:]
        del found["camera"]
        for name, part in circumstances.camera_parts.items():
            found[name] = reach @ part @ reach.T
    drag = found.pop("drag")
    of_air = (circumstances.drag_air_u / circumstances.drag_u) ** 2 if circumstances.drag_u else 0.0
    found["air"], found["ball"] = of_air * drag, (1.0 - of_air) * drag
    return {name: found[name] for name in SOURCES if name in found}


def budget_of(circumstances: Circumstances, fitted: FittedFlight, figures: Figures) -> Budget:
    """Return each figure's standard uncertainty by source, and the part that a session shares.

    Figures that a flight does not have, for it never comes down, are left out.
    """
    by_source = shares(circumstances, fitted)
    variances = _variances(by_source, figures)
    known = [i for i, value in enumerate(figures.values) if np.isfinite(value)]
    common = [place for place, name in enumerate(by_source) if name not in OWN]
    parts = np.sqrt(variances)
    shared = np.sqrt(np.sum(variances[:, common], axis=1))
    return Budget(
        parts={FIGURES[i]: dict(zip(by_source, parts[i].tolist(), strict=True)) for i in known},
        shared_u={FIGURES[i]: float(shared[i]) for i in known},
    )


def _variances(parts: dict[str, Array], figures: Figures) -> Array:
    """Return the variance of each figure by each source, shape (11, S)."""
    slope = figures.jacobian
    rows = [np.einsum("fi,ij,fj->f", slope, part, slope) for part in parts.values()]
    return np.maximum(np.column_stack(rows), 0.0)
