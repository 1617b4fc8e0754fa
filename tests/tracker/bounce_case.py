"""A drawn flight that lands, and the positions of the hop after its bounce."""

from dataclasses import dataclass, replace

import numpy as np

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, calibrated, circumstances, drawn
from tracker.fitting import FittedFlight, Observations, figures_of, fit_flight
from tracker.fitting.model import flight_of
from tracker.fitting.parameters import CAMERA_AT, DRAG_AT, LAUNCH_AT, READOUT_AT, RELEASE_AT
from tracker.following.hop import TOUCH_U_S, Hop, PredictedLanding, hop_pixels
from tracker.measurement.bounce import predicted_landing
from tracker.measurement.hop_fit import MeasuredHop, fit_hop, measured_hop
from tracker.records import Track

Array = np.ndarray

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)


@dataclass(frozen=True)
class BounceCase:
    """A flight fitted without its bounce, and the hop after it.

    `hop` is the true one, at the height of the true ground.
    """

    truth: Array
    observed: Observations
    fitted: FittedFlight
    landing: PredictedLanding
    hop: Array
    track: Track

    def measured(self, track: Track | None = None, landing: PredictedLanding | None = None):
        """Fit the hop to its positions, from near the true one, as the search for it begins."""
        landing = self.landing if landing is None else landing
        track = self.track if track is None else track
        start = self.hop + np.array([0.004, -0.03, 0.03, 0.05])
        fit = fit_hop(CONTEXT, landing, track, start, np.zeros(3))
        return measured_hop(fit, landing, Hop(*start.tolist()))

    def landed(self, hop: MeasuredHop | None) -> tuple[dict[str, float], dict[str, float]]:
        """Fit the flight with the bounce; return errors of its figures and their uncertainties."""
        seen = None if hop is None else (hop.hop.time_s, hop.u_s)
        start = self.fitted.parameters
        fitted = fit_flight(
            KNOWN,
            replace(self.observed, landed_s=seen),
            float(start[RELEASE_AT]),
            start[LAUNCH_AT],
        )
        figures, true = figures_of(KNOWN, fitted.parameters), figures_of(KNOWN, self.truth)
        u = figures.u(fitted.covariance)
        return {name: figures.value(name) - true.value(name) for name in u}, u


def bounce_case(
    rng: np.random.Generator,
    ends_before_s: float = 0.1,
    noise_px: float = 0.2,
    frames: int = 30,
    ground_u_m: float = 0.02,
) -> BounceCase:
    """Draw a flight that is seen until so long before its landing, and its hop.

    Parameters
    ----------
    rng : Generator
    ends_before_s : float
    noise_px : float
        Of the positions of the hop.
    frames : int
        In which the hop is measured.
    ground_u_m : float
        Standard deviation of the true ground's height.
    """
    case = drawn(rng, KNOWN)
    truth = case.truth
    flight_s = figures_of(KNOWN, truth).value("flight_time_s")
    observed = case.observed.part(case.track.times_s < truth[RELEASE_AT] + flight_s - ends_before_s)
    fitted = fit_flight(KNOWN, observed, truth[RELEASE_AT], truth[LAUNCH_AT])
    landing = predicted_landing(CONTEXT, fitted)
    assert landing is not None

    true_flight = flight_of(KNOWN, truth, flight_s + 0.3, 0.02)
    since = np.linspace(flight_s - 0.2, flight_s + 0.2, 4001)
    ground_m = KNOWN.ball_radius_m + rng.normal(0.0, ground_u_m)
    bounced_s = float(since[np.argmin(np.abs(true_flight.at(since)[:, 2] - ground_m))])
    true_landing = replace(
        landing,
        camera=KNOWN.camera.perturbed(truth[CAMERA_AT:]),
        trajectory=true_flight,
        began_s=float(truth[RELEASE_AT]),
        drag=float(truth[DRAG_AT]),
        readout_s=float(truth[READOUT_AT]),
    )
    hop = np.array(
        [
            truth[RELEASE_AT] + bounced_s,
            np.clip(rng.normal(0.6, 0.12), 0.3, 0.9),
            np.clip(rng.normal(0.62, 0.12), 0.3, 0.9),
            rng.normal(0.0, 0.3),
        ]
    )
    times = hop[0] + FRAME_S * (np.arange(frames) + rng.uniform())
    # It stays on the ground for some milliseconds, which the model of a hop leaves out.
    late_s = rng.normal(0.0, TOUCH_U_S)
    rows_s = times
    for _ in range(3):
        pixels = hop_pixels(true_landing, hop[None], rows_s - late_s)[0]
        rows_s = CONTEXT.rows_s(times, pixels, true_landing.readout_s)
    shown = np.isfinite(pixels).all(axis=1)
    count = int(shown.sum())
    track = Track(
        np.arange(count),
        times[shown],
        pixels[shown] + rng.normal(0.0, noise_px, (count, 2)),
        np.repeat((noise_px**2 * np.eye(2))[None], count, axis=0),
        np.zeros(count),
    )
    return BounceCase(truth, observed, fitted, landing, hop, track)
