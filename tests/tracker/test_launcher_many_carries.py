"""Carries of many shots, read off a surface through some of them."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.invented_outings import AIR, TENNIS
from tracker.flight.figures import FIGURES, figures
from tracker.flight.forces import forces_on
from tracker.flight.integration import fly, fly_many
from tracker.launcher import carry
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


@pytest.mark.parametrize(("count", "airs"), [(12, 3), pytest.param(30, 15, marks=pytest.mark.long)])
def test_few_flights_are_integrated_each_in_its_own_air(count: int, airs: int) -> None:
    flights, there = invented(count, airs)
    within = 3e-4 if airs > module.MOST_AIRS else 1e-5
    assert many_carries(flights, TENNIS, there) == pytest.approx(exact(flights, there), rel=within)


@pytest.mark.parametrize("airs", [pytest.param(2, marks=pytest.mark.long), 40])
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


@pytest.mark.parametrize("lift", [0.0, 0.3, 1.0, 2.0])
def test_a_flight_that_stays_up_long_is_integrated_to_its_end(
    monkeypatch: pytest.MonkeyPatch, lift: float
) -> None:
    """Half the time suffices without lift; one that sails is flown on, to the same place."""
    release, durations = Release(0.8, 40.0), []

    def noted(rows, forces, duration_s, step_s):
        durations.append(duration_s)
        return fly_many(rows, forces, duration_s, step_s)

    monkeypatch.setattr(carry, "fly_many", noted)
    row = carry.start_of(20.0, lift, release, TENNIS, AIR, "under")
    (found,) = carry.carries_from(row[None], TENNIS, AIR)
    longest = float(carry._longest(row, 0.8))
    assert durations[0] == pytest.approx(0.5 * longest, abs=0.03)
    assert len(durations) == (1 if lift < 1.0 else 2)
    if len(durations) > 1:
        assert durations[1] == longest
    flight = fly(row, forces_on(TENNIS, AIR), longest, step_s=0.02, with_sensitivities=True)
    ended = figures(flight, 0.5 * TENNIS.diameter_m)
    assert ended is not None
    assert found == pytest.approx(ended.values[FIGURES.index("carry_m")], abs=2e-3)
