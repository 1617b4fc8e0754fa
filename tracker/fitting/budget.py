"""Uncertainty budget: the share of each source in every figure's variance."""

import numpy as np
from numpy.typing import NDArray

from tracker.fitting.circumstances import Circumstances
from tracker.fitting.figures import FIGURES, Figures
from tracker.fitting.fit import FittedFlight
from tracker.fitting.parameters import (
    CAMERA_AT,
    DRAG_AT,
    FADE_AT,
    GRAVITY_AT,
    LIFT_AT,
    LIGHT_AT,
    PARAMETERS,
    POSITION_AT,
    READOUT_AT,
    RELEASE_AT,
    SLOPE_AT,
    VELOCITY_AT,
    WIND_AT,
)
from tracker.records import Budget

Array = NDArray[np.float64]

PRIORS = {
    "light": np.r_[LIGHT_AT],
    "camera": np.arange(CAMERA_AT, len(PARAMETERS)),
    # Where nothing is taped, the release time and the direction have priors too.
    "release": np.r_[RELEASE_AT, POSITION_AT, VELOCITY_AT.start + 1],
    "readout": np.array([READOUT_AT]),
    "drag": np.array([DRAG_AT]),
    "drag slope": np.array([SLOPE_AT]),
    "spin": np.r_[LIFT_AT, FADE_AT],
    "gravity": np.array([GRAVITY_AT]),
    "wind along": WIND_AT[0],
    "wind across": WIND_AT[1],
}
"""The priors in groups that are independent of each other, with the parameters of each."""

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
    "gusts",
    "air",
    "ball",
    "spin",
    "gravity",
)
"""Sources of a covariance. A budget counts the gusts as wind. The prior of the drag depends on two
sources, the air's density and the ball. The camera counts as one source only where the parts of its
covariance are not given."""

OWN = ("pixels", "gusts", "spin")
"""Sources that differ from shot to shot. All others are the same for every shot of a session: one
camera and one taping of it, one release taped on one launcher, one kind of ball in one air, and one
sun that lights every ball from the same side."""


def shares(circumstances: Circumstances, fitted: FittedFlight) -> dict[str, Array]:
    """Split the covariance of a fit by its sources.

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
    circumstances = fitted.with_gusts(circumstances)
    information = circumstances.prior_information()
    found = {"pixels": fitted.covariance @ fitted.data_information @ fitted.covariance}
    for name, parameters in PRIORS.items():
        reach = fitted.covariance[:, parameters] @ information[np.ix_(parameters, parameters)]
        if name.startswith("wind"):
            # A shot's wind is the session's mean wind and its own gust.
            steady = circumstances.wind_covariance(own=False)
            gusty = circumstances.wind_covariance(shared=False)
            found["wind"] = found.get("wind", 0.0) + reach @ steady @ reach.T
            found["gusts"] = found.get("gusts", 0.0) + reach @ gusty @ reach.T
        else:
            found[name] = reach @ fitted.covariance[parameters]
    if circumstances.camera_parts:
        # The error of the calibrated camera is the sum of those of its sources.
        reach = fitted.covariance[:, CAMERA_AT:] @ information[CAMERA_AT:, CAMERA_AT:]
        del found["camera"]
        for name, part in circumstances.camera_parts.items():
            found[name] = reach @ part @ reach.T
    drag = found.pop("drag")
    of_air = (circumstances.drag_air_u / circumstances.drag_u) ** 2 if circumstances.drag_u else 0.0
    found["air"] = of_air * drag
    found["ball"] = (1.0 - of_air) * drag + found.pop("drag slope")
    return {name: found[name] for name in SOURCES if name in found}


def budget_of(circumstances: Circumstances, fitted: FittedFlight, figures: Figures) -> Budget:
    """Return each figure's standard uncertainty by source, and the part that a session shares.

    Figures that a flight does not have, because it never comes down, are left out.
    """
    by_source = shares(circumstances, fitted)
    variances = np.column_stack(
        [figures.variances(part, fitted.covariance) for part in by_source.values()]
    )
    known = [i for i, value in enumerate(figures.values) if np.isfinite(value)]
    common = [place for place, name in enumerate(by_source) if name not in OWN]
    shared = np.sqrt(np.sum(variances[:, common], axis=1))
    names = list(by_source)
    variances[:, names.index("wind")] += variances[:, names.index("gusts")]
    listed = [place for place, name in enumerate(names) if name != "gusts"]
    parts = np.sqrt(variances)
    return Budget(
        parts={FIGURES[i]: {names[k]: float(parts[i, k]) for k in listed} for i in known},
        shared_u={FIGURES[i]: float(shared[i]) for i in known},
    )
