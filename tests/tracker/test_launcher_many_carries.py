"""Carries of many shots, read off a surface through some of them."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.invented_outings import AIR, TENNIS
from tracker.launcher import many_carries as module
from tracker.launcher.carry import Release, carries_of
from tracker.launcher.many_carries import Flights, many_carries


def invented(count: int, airs: int) -> tuple[Flights, list]:
    draw = np.random.default_rng(4)
    there = [
        replace(AIR, density_kgpm3=AIR.density_kgpm3 * (1 + 0.03 * draw.normal()),
                wind_along_mps=2.0 * draw.normal(), wind_across_mps=draw.normal())
        for _ in range(airs)
    ]  # fmt: skip
    which = np.arange(count) % airs
    speeds, angles = draw.uniform(17.0, 24.0, count), draw.uniform(38.0, 45.0, count)
    return Flights(speeds, angles, np.full(count, 0.8), which), there


def exact(flights: Flights, airs: list) -> np.ndarray:
    return np.array(
        [
            carries_of(np.array([speed]), [Release(height, angle)], TENNIS, airs[air])[0]
            for speed, angle, height, air in zip(
                flights.speeds_mps, flights.angles_deg, flights.heights_m, flights.air_of,
                strict=True,
            )
        ]
    )  # fmt: skip


@pytest.mark.parametrize(
    ("count", "airs"), [(12, 3), pytest.param(30, 15, marks=pytest.mark.campaign)]
)
def test_few_flights_are_integrated_each_in_its_own_air(count: int, airs: int) -> None:
    flights, there = invented(count, airs)
    within = 3e-4 if airs > module.MOST_AIRS else 1e-5
    assert many_carries(flights, TENNIS, there) == pytest.approx(exact(flights, there), rel=within)


@pytest.mark.parametrize("airs", [pytest.param(2, marks=pytest.mark.campaign), 40])
def test_many_flights_agree_with_the_integration(airs: int) -> None:
    flights, there = invented(1500, airs)
    found = many_carries(flights, TENNIS, there)
    some = np.arange(0, 1500, 75)
    assert found[some] == pytest.approx(exact(flights.having(some), there), rel=1e-3)


def test_a_flight_beyond_the_others_is_integrated() -> None:
    flights, there = invented(1500, 1)
    flights.speeds_mps[:3] = 5.0, 60.0, 20.0
    found = many_carries(flights, TENNIS, there)[:3]
    assert found == pytest.approx(exact(flights.having(np.arange(3)), there), rel=1e-3)


def test_what_no_surface_fits_is_integrated_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    flights, there = invented(600, 1)
    counted = []
    monkeypatch.setattr(module, "MOST_OFF", 0.0)
    flown = module.carries_from
    monkeypatch.setattr(
        module, "carries_from", lambda rows, *rest: counted.append(len(rows)) or flown(rows, *rest)
    )
    many_carries(flights, TENNIS, there)
    assert sum(counted) == 600 + module.FITTED + module.CHECKED
