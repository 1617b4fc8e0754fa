"""Print what moves the mean of a fit's errors: every prior's share, and the positions'.

``python -m tests.bench.mean_error --seeds 60`` draws sessions without filming them, calibrates
their cameras, fits positions with white noise and splits each error. At the optimum the error of
the parameters is ``C (P (prior - truth) + J' W (position - true position))``, with the covariance
C, the priors' information P and the whitened slopes J' W: exact where the model is linear, so the
shares add up to the error but for the last line.
"""

import argparse
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from calibration.camera import Camera
from calibration.errors import InputErrors
from tests.bench.scoring import FIGURES
from tracker.fitting import (
    PARAMETERS,
    Circumstances,
    FittedFlight,
    Observations,
    circumstances_of,
    figures_of,
    fit_flight,
)
from tracker.fitting.parameters import (
    CAMERA_AT,
    DRAG_AT,
    FADE_AT,
    GRAVITY_AT,
    GUSTS_AT,
    LIFT_AT,
    LIGHT_AT,
    MEAN_WIND_AT,
    POSITION_AT,
    READOUT_AT,
    RELEASE_AT,
    SLOPE_AT,
    VELOCITY_AT,
    WIND_AT,
)
from tracker.fitting.residuals import FlightResiduals
from tracker.fitting.weighting import Weighting
from tracker.records import Track
from tracker.session import read_session
from tracker.synthetic.clip import Take
from tracker.synthetic.draw import draw_session
from tracker.synthetic.flight import FlownBall
from tracker.synthetic.recipes import RECIPES, Recipe
from tracker.synthetic.session import session_toml
from tracker.workflow.stand import calibrate, request_of

Array = NDArray[np.float64]

NOISE_PX = 0.06
"""Standard deviation of a position's coordinates: that of drawn 1080p film."""

FEWEST = 15
"""Positions below which a shot is left out."""

SHARES = {
    "release": np.arange(POSITION_AT.start, POSITION_AT.stop),
    "drag": np.array([DRAG_AT]),
    "lift": np.arange(LIFT_AT.start, LIFT_AT.stop),
    "fade of lift": np.array([FADE_AT]),
    "slope of drag": np.array([SLOPE_AT]),
    "gravity": np.array([GRAVITY_AT]),
    "wind": np.concatenate(WIND_AT),
    "readout": np.array([READOUT_AT]),
    "light": np.arange(LIGHT_AT.start, LIGHT_AT.stop),
    "camera": np.arange(CAMERA_AT, len(PARAMETERS)),
}
"""Parameters of each prior."""


def true_parameters(known: Circumstances, shot: FlownBall, take: Take) -> Array:
    """Return the parameters of a fit that fly and see the shot as it was, light left out."""
    found = known.prior_mean()
    ball, air, launch = shot.ball, shot.air, shot.launch
    area = np.pi * ball.diameter_m**2 / 4.0
    displaced_kg = air.density_kgpm3 * area * ball.diameter_m * 2.0 / 3.0
    moved_kg = ball.mass_kg + 0.5 * displaced_kg
    # Mass, size and density act as the coefficients do.
    reach = air.density_kgpm3 * area / (2.0 * moved_kg) / known.forces.reach_per_m
    tilt = np.radians(launch.spin_tilt_deg)
    found[RELEASE_AT], found[POSITION_AT] = launch.release_s, launch.release_m
    found[VELOCITY_AT] = launch.velocity()
    found[DRAG_AT] = ball.drag_coefficient * reach
    found[LIFT_AT] = ball.lift_coefficient * reach * np.array([np.cos(tilt), np.sin(tilt)])
    found[MEAN_WIND_AT] = air.wind_mps[:2]
    found[GUSTS_AT:CAMERA_AT] = found[LIGHT_AT] = found[SLOPE_AT] = 0.0
    found[FADE_AT], found[READOUT_AT] = ball.lift_fade, take.sensor.readout_s
    weight = air.gravity_mps2 * (ball.mass_kg - displaced_kg) / moved_kg
    found[GRAVITY_AT] = weight - known.forces.gravity_mps2
    found[CAMERA_AT:] = _change(known.camera, take.camera)
    return found


def _change(camera: Camera, true: Camera) -> Array:
    """Return the change of a calibrated camera's parameters that makes it the true one."""
    return np.concatenate(
        [
            Rotation.from_matrix(true.rotation @ camera.rotation.T).as_rotvec(),
            true.position - camera.position,
            [np.log(true.focal_px / camera.focal_px)],
            true.centre_px - camera.centre_px,
            true.distortion - camera.distortion,
        ]
    )


def shares_of(
    known: Circumstances, observed: Observations, fit: FittedFlight, truth: tuple[Array, Array]
) -> dict[str, Array]:
    """Return each share of the errors of `FIGURES`, in standard uncertainties, shape (3,).

    Parameters
    ----------
    known : Circumstances
    observed : Observations
        Without a bounce.
    fit : FittedFlight
    truth : tuple of ndarray
        True parameters, shape (P,), and true places, shape (N, 2).
    """
    known = fit.with_gusts(known)
    flight = FlightResiduals(known, observed)
    weighting = Weighting.of(flight.white(fit.parameters))
    factor = np.where(weighting.used, weighting.factor, 0.0) / np.sqrt(fit.correlation_factor)
    _, slopes = flight.weighted(fit.parameters, factor)
    slopes = slopes[: 2 * len(observed.track.frames)]
    prior = flight.prior.information(fit.parameters)
    covariance = np.linalg.inv(slopes.T @ slopes + prior)
    figures = figures_of(known, fit.parameters)
    by_parameter = np.array([figures.slope(name) for name in FIGURES])
    u = np.array([figures.u(fit.covariance)[name] for name in FIGURES])
    white = flight.roots * factor[:, None, None]
    off = np.einsum("nij,nj->ni", white, observed.track.pixels - truth[1]).ravel()
    shares = {"positions": by_parameter @ covariance @ (slopes.T @ off) / u}
    for name, places in SHARES.items():
        departure = np.zeros(len(PARAMETERS))
        departure[places] = (known.prior_mean() - truth[0])[places]
        shares[name] = by_parameter @ covariance @ prior @ departure / u
    return shares


def sightings(take: Take, shot: FlownBall) -> tuple[Array, Array, Array]:
    """Return times (N,), row shares (N,) and true places (N, 2), px, of a shot in a film."""
    release_s, landing_s = shot.launch.release_s, shot.landing_s
    times, share = np.arange(release_s, landing_s, 1.0 / take.sensor.fps), np.zeros(1)
    for _ in range(4):
        read = np.clip(times + take.sensor.readout_s * share, release_s, landing_s - 1e-6)
        pixels = take.camera.project(shot.positions(read))
        share = (pixels[:, 1] + 0.5) / take.camera.size_px[1] - 0.5
    read = times + take.sensor.readout_s * share
    seen = take.camera.in_frame(pixels) & (read > release_s) & (read < landing_s)
    return times[seen], share[seen], pixels[seen]


def split_session(recipe: Recipe, seed: int) -> Iterator[tuple[Array, dict[str, Array]]]:
    """Yield the errors of each shot of a session that is not filmed, in u, and their shares."""
    drawn, rng = draw_session(recipe, seed), np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "clips").mkdir()
        for clip in drawn.clips:
            (folder / clip.file).touch()
        (folder / "session.toml").write_text(session_toml(drawn), encoding="utf-8")
        session = read_session(folder)
    for clip, entry in zip(drawn.clips, session.clips, strict=True):
        take = clip.take
        camera = calibrate(session, entry, take.camera.size_px).camera
        known = circumstances_of(camera, request_of(session, entry))
        for shot in take.shots:
            times, share, true = sightings(take, shot)
            count = len(times)
            if count < FEWEST:
                continue
            track = Track(
                frames=np.arange(count),
                times_s=times,
                pixels=true + rng.normal(0.0, NOISE_PX, true.shape),
                covariances=np.tile(NOISE_PX**2 * np.eye(2), (count, 1, 1)),
                lean=np.zeros(count),
            )
            observed = Observations(track, share)
            guess = known.prior_mean()[1 : LIFT_AT.stop + 2]
            guess[3:6] = shot.launch.velocity()
            fit = fit_flight(known, observed, shot.launch.release_s, guess)
            truth = true_parameters(known, shot, take)
            figures = figures_of(known, fit.parameters)
            u = figures.u(fit.covariance)
            launch = shot.launch
            right = (launch.exit_speed_mps, launch.launch_angle_deg, shot.carry_m)
            error = [
                (figures.value(name) - value) / u[name]
                for name, value in zip(FIGURES, right, strict=True)
            ]
            yield np.array(error), shares_of(known, observed, fit, (truth, true))


def main() -> None:
    """Draw, fit, split and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.mean_error", description=__doc__)
    parser.add_argument("--seeds", type=int, default=60)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--recipe", choices=sorted(RECIPES), default="wide")
    options = parser.parse_args()
    means: list[dict[str, Array]] = []
    for seed in range(options.first, options.first + options.seeds):
        try:
            shots = list(split_session(RECIPES[options.recipe], seed))
        except InputErrors as faults:
            print(f"seed {seed}: {faults}")
            continue
        lines = [{"all": error, **shares} for error, shares in shots]
        for line in lines:
            line["not linear"] = line["all"] - sum(line[name] for name in line if name != "all")
        if lines:
            means.append({name: np.mean([line[name] for line in lines], 0) for name in lines[0]})
    print(f"{len(means)} sessions; mean z of {', '.join(FIGURES)}")
    for name in means[0]:
        values = np.array([mean[name] for mean in means])
        u = values.std(axis=0, ddof=1) / np.sqrt(len(values))
        shown = "  ".join(
            f"{v:+.3f} ± {e:.3f}" for v, e in zip(values.mean(axis=0), u, strict=True)
        )
        print(f"  {name:14} {shown}")


if __name__ == "__main__":
    main()
