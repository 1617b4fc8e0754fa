"""Track to flight: the launch that explains the pixels, and how well it is known."""

from tracker.fitting.circumstances import Circumstances
from tracker.fitting.conditions import Conditions, circumstances_of
from tracker.fitting.figures import FIGURES, Figures, figures_of
from tracker.fitting.fit import (
    FittedFlight,
    fit_flight,
    fit_given_gusts,
    initial_parameters,
    refit_gusts,
)
from tracker.fitting.observations import Instants, Observations
from tracker.fitting.outlook import ExpectedFlight, expected_fit, expected_flight
from tracker.fitting.parameters import PARAMETERS

__all__ = [
    "FIGURES",
    "PARAMETERS",
    "Circumstances",
    "Conditions",
    "ExpectedFlight",
    "Figures",
    "FittedFlight",
    "Instants",
    "Observations",
    "circumstances_of",
    "expected_fit",
    "expected_flight",
    "figures_of",
    "fit_flight",
    "fit_given_gusts",
    "initial_parameters",
    "refit_gusts",
]
