"""Simulated evenings with few shots: how often the intervals of a comparison hold the truth.

``python -m tests.bench.comparison_coverage [--trials 2000]`` prints for each case, in percent:
mean: intervals of a setup's mean that hold it; pair: intervals of a difference that hold the true
one; all: trials in which all of them do; false: trials of alike setups with a difference that is
called real. A setup's carry is 30 m and more, one calibration error multiplies all that was
measured under it, and an evening moves all carries, half of the variance for all setups alike.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.tracker.invented_outings import shots_of
from tracker.comparison.compare import compare
from tracker.comparison.setups import SetupShots

TRUTHS_M = (30.0, 31.5, 34.0)
"""True mean carries where setups differ."""


@dataclass(frozen=True)
class Case:
    """What is simulated.

    Attributes
    ----------
    name : str
    shots : tuple of mapping of str to int
        By setup, how many shots on each evening.
    scatters_m : tuple of float
        By setup, from shot to shot.
    calibration : float
        Relative standard uncertainty of the calibration of each evening.
    evening_m : float
        Standard deviation between evenings.
    """

    name: str
    shots: tuple[dict[str, int], ...]
    scatters_m: tuple[float, ...]
    calibration: float = 0.0
    evening_m: float = 0.0


def on(*counts: int) -> tuple[dict[str, int], ...]:
    """Return setups with that many shots each, all on one evening."""
    return tuple({"may": count} for count in counts)


MOVED = ({"may": 5}, {"may": 3, "june": 4}, {"june": 5})
APART = ({"may": 5}, {"june": 5})
TWICE = ({"may": 5, "june": 5}, {"may": 5, "june": 5})
CASES = (
    Case("two, 5 5", on(5, 5), (0.4, 0.4)),
    Case("two, 3 3", on(3, 3), (0.4, 0.4)),
    Case("two, 3 5, scatter 3 to 1", on(3, 5), (1.2, 0.4)),
    Case("two, 3 5, scatter 1 to 3", on(3, 5), (0.4, 1.2)),
    Case("three, 3 4 5", on(3, 4, 5), (0.4, 0.4, 0.4)),
    Case("three, 3 4 5, scatter 3 2 1", on(3, 4, 5), (1.2, 0.8, 0.4)),
    Case("three, 5 5 5, calibration 1 %", on(5, 5, 5), (0.4, 0.4, 0.4), 0.01),
    Case("three, 3 4 5, 3 2 1, calibration 2 %", on(3, 4, 5), (1.2, 0.8, 0.4), 0.02),
    Case("apart, calibration 1 %", APART, (0.4, 0.4), 0.01),
    Case("moved, calibration 1 %", MOVED, (0.4, 0.6, 0.4), 0.01),
    Case("moved, calibration 1 %, evening 1.5 %", MOVED, (0.4, 0.6, 0.4), 0.01, 0.45),
    Case("twice, calibration 1 %, evening 1.5 %", TWICE, (0.4, 0.4), 0.01, 0.45),
    Case("apart, evening 1.5 %", APART, (0.4, 0.4), 0.0, 0.45),
)


def drawn(case: Case, truths_m: tuple[float, ...], draw: np.random.Generator) -> list[SetupShots]:
    """Return the setups of one trial."""
    evenings = sorted({name for counts in case.shots for name in counts})
    part_m = case.evening_m * np.sqrt(0.5)
    errors = {name: 1.0 + case.calibration * draw.normal() for name in evenings}
    common = {name: part_m * draw.normal() for name in evenings}
    blank = shots_of("140 mm wheels", 1)[0]
    setups = []
    for place, (counts, truth) in enumerate(zip(case.shots, truths_m, strict=False)):
        values, names = [], []
        for name, count in counts.items():
            middle = truth + common[name] + part_m * draw.normal()
            values += list(errors[name] * draw.normal(middle, case.scatters_m[place], count))
            names += [name] * count
        u = [case.calibration * value for value in values]
        cells = [
            {"carry_m": value, "carry_u_m": each or 0.01}
            for value, each in zip(values, u, strict=True)
        ]
        shots = tuple(type(blank)(**{**vars(blank), "shot": i, **c}) for i, c in enumerate(cells))
        shared = tuple({"carry_m": each} for each in u)
        setups.append(SetupShots(f"setup {place}", shots, names, shared, names))
    return setups


def trials(case: Case, count: int, alike: bool, seed: int = 1) -> Iterator[tuple[list[bool], ...]]:
    """Give of each trial which means' and which differences' intervals hold, and what is real."""
    truths = (TRUTHS_M[0],) * 3 if alike else TRUTHS_M
    draw = np.random.default_rng(seed)
    true = {f"setup {place}": truth for place, truth in enumerate(truths)}
    for _ in range(count):
        made = compare(drawn(case, truths, draw), remarks=False)
        means, pairs = [], []
        for each in made.summaries:
            assert each.mean is not None
            low, high = each.mean.interval()
            means.append(low <= true[each.name] <= high)
        for one in made.contrasts:
            low, high = one.pair.interval
            pairs.append(low <= true[one.better] - true[one.other] <= high)
        yield means, pairs, [one.pair.significant for one in made.contrasts]


def shares(case: Case, count: int, seed: int = 1) -> tuple[float, float, float, float]:
    """Return in percent how often means, pairs and all pairs hold, and false differences."""
    differ = list(trials(case, count, False, seed))
    alike = list(trials(case, count, True, seed + 1))
    return (
        100.0 * float(np.mean([means for means, *_ in differ])),
        100.0 * float(np.mean([pairs for _, pairs, _ in differ])),
        100.0 * float(np.mean([all(pairs) for _, pairs, _ in differ])),
        100.0 * float(np.mean([any(real) for *_, real in alike])),
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    print(f"{'':<40} {'mean':>6} {'pair':>6} {'all':>6} {'false':>6}")
    for case in CASES:
        found = shares(case, given.trials, given.seed)
        print(f"{case.name:<40}" + "".join(f" {share:6.1f}" for share in found), flush=True)


if __name__ == "__main__":
    main()
