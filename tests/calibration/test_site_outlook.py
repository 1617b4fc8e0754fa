"""How a camera stands and looks, against the way it was set up."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.site import outlook
from calibration.site.outlook import _values

SIZE = (1920, 1080)


def stated(camera) -> dict[str, tuple[float, float]]:
    return {figure.name: (figure.value, figure.u) for figure in outlook(camera)}


def test_a_camera_is_described_as_it_was_set_up():
    pitch, heading = np.radians(4.0), np.radians(80.0)
    way = np.array(
        [np.cos(pitch) * np.cos(heading), np.cos(pitch) * np.sin(heading), np.sin(pitch)]
    )
    place = np.array([20.0, -38.0, 1.4])
    camera = looking_at(place, place + 10.0 * way, 1500.0, SIZE, roll_rad=np.radians(1.5))
    values = stated(camera)
    assert [values[name][0] for name in ("along", "across", "up")] == pytest.approx(place)
    assert values["heading"][0] == pytest.approx(80.0)
    assert values["pitch"][0] == pytest.approx(4.0)
    assert values["roll"][0] == pytest.approx(1.5)
    assert values["field of view"][0] == pytest.approx(2 * np.degrees(np.arctan(960 / 1500.0)))
    bent = replace(camera, distortion=np.array([-0.2, 0.0, 0.0, 0.0, 0.0]))
    assert stated(bent)["field of view"][0] > values["field of view"][0] + 2.0


def test_uncertainties_match_a_thousand_draws():
    rng = np.random.default_rng(5)
    root = np.diag([0.002, 0.004, 0.001, 0.1, 0.05, 0.02, 0.01, 5, 5, 0.01, 0.01, 5e-4, 5e-4, 1e-9])
    mixed = root @ (np.eye(14) + 0.3 * rng.normal(size=(14, 14)))
    camera = looking_at((20.0, -38.0, 1.4), (18.0, 0.0, 3.0), 1500.0, SIZE).with_covariance(
        mixed @ mixed.T
    )
    drawn = np.array(
        [
            _values(camera.perturbed(mixed @ rng.normal(size=14)))  # without their uncertainties
            for _ in range(1000)
        ]
    )
    expected = [figure.u for figure in outlook(camera)]
    assert drawn.std(axis=0, ddof=1) == pytest.approx(expected, rel=0.1)
