"""Track to flight: the launch that explains the pixels, and how well it is known."""

from tracker.fitting.bound import cramer_rao
from tracker.fitting.conditions import Conditions, circumstances_of
from tracker.fitting.figures import FIGURES, Figures, figures_of
from tracker.fitting.fit import (
    FittedFlight,
    first_state,
    fit_flight,
    fit_in_usual_gusts,
    with_likely_gusts,
)
from tracker.fitting.model import PARAMETERS, Circumstances, Instants
from tracker.fitting.outlook import ExpectedFlight, expected_fit, expected_flight

__all__ = [
    "FIGURES",
    "PARAMETERS",
    "Circumstances",
    "Conditions",
    "ExpectedFlight",
    "Figures",
    "FittedFlight",
    "Instants",
    "circumstances_of",
    "cramer_rao",
    "expected_fit",
    "expected_flight",
    "figures_of",
    "first_state",
    "fit_flight",
    "fit_in_usual_gusts",
    "with_likely_gusts",
]
