"""Spoil thousands of inputs and print each that did not end in a sentence.

``python -m tests.fuzz --kind text --count 10000`` is the long run; the tests do a hundred of each
kind. A fault is found again by its number: ``--kind text --first 4711 --count 1``.
"""

import argparse
import tempfile
from collections import Counter
from pathlib import Path

from tests.fuzz.cases import Case, prepared
from tests.fuzz.trial import Trial, tried

KINDS = ("text", "results", "video")


def run(kind: str, first: int, count: int, seed: int) -> list[Trial]:
    """Try cases one after another and return those with a fault."""
    # Imported once, before any process is split off.
    import tracker.cli.program
    import tracker.workflow.measure  # noqa: F401

    found = []
    with tempfile.TemporaryDirectory(prefix="fuzz-") as place:
        sound = Path(place) / "sound"
        prepared(sound)
        for number in range(first, first + count):
            trial = tried(Case(kind, number, seed), sound)
            if trial.fault:
                found.append(trial)
    return found


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--kind", choices=KINDS, default="text")
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    faults: Counter[str] = Counter()
    for first in range(options.first, options.first + options.count, 100):
        left = min(100, options.first + options.count - first)
        for trial in run(options.kind, first, left, options.seed):
            if trial.fault not in faults:
                print(
                    f"{options.kind} {trial.case.number} {trial.words}: {trial.fault}", flush=True
                )
            faults[trial.fault] += 1
    print(f"{options.count} of {options.kind}, {faults.total()} faults of {len(faults)} sorts")


if __name__ == "__main__":
    main()
