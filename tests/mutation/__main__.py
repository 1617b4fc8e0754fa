"""Print the share of small faults that the tests notice.

``python -m tests.mutation following --count 60`` copies the checkout, puts sixty faults into
`tracker.following`, one at a time, runs the tests that reach the line until one fails, and prints
the faults that none noticed. What was tried is kept in the ledger, so that it can be stopped and
gone on with. A fault that changes nothing a person could see survives rightly: read the survivors.
"""

import argparse
import json
import math
import shutil
import tempfile
from dataclasses import asdict
from pathlib import Path

from tests.mutation.coverage_of import learned
from tests.mutation.faults import drawn
from tests.mutation.rooms import ROOMS
from tests.mutation.server import Server
from tests.mutation.trial import noticed, warm

ROOT = Path(__file__).resolve().parents[2]
NEEDED = ("calibration", "tracker", "tests", "sample_clips", "docs", "README.md", "pyproject.toml",
          "DEVELOPERS.md", "LICENSE")  # fmt: skip


def main() -> None:
    """Draw faults, try them, print what survived."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("room", choices=sorted(ROOMS))
    parser.add_argument("--count", type=int, default=60, help="faults to draw")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at-most", type=int, default=None, help="stop after so many this time")
    parser.add_argument(
        "--most-s", type=float, default=math.inf, help="seconds of tests that a fault is worth"
    )
    parser.add_argument("--ledger", type=Path, default=None, help="JSON lines of what was tried")
    parser.add_argument("--tree", type=Path, default=ROOT, help="another checkout")
    parser.add_argument("--code", nargs="*", help="patterns of files, in place of the room's")
    parser.add_argument("--tests", nargs="*", help="patterns of tests, in place of the room's")
    options = parser.parse_args()
    room = ROOMS[options.room]
    ledger = options.ledger or Path(f"mutation-{options.room}-{options.seed}.jsonl")
    ledger = ledger.resolve()
    with tempfile.TemporaryDirectory(prefix="mutation-") as place:
        tree = Path(place) / "tree"
        _copy(options.tree.resolve(), tree)
        code = _files(tree, options.code or room.code)
        tests = _files(tree, options.tests or room.tests)
        known = learned(tree, code, tests, ledger.with_suffix(".coverage.json"))
        warm()
        server = Server(tree, tests)
        done = {each["name"] for each in _read(ledger)}
        faults = drawn(tree, code, options.count, options.seed)
        for fault in [each for each in faults if each.name not in done][: options.at_most]:
            row = (tree / fault.file).read_text(encoding="utf-8").splitlines()[fault.line - 1]
            outcome, seconds = noticed(tree, fault, known, server, options.most_s)
            entry = {"name": fault.name, **asdict(fault), "code": row.strip(), "outcome": outcome}
            with ledger.open("a", encoding="utf-8") as file:
                file.write(json.dumps({**entry, "seconds": round(seconds, 1)}) + "\n")
            print(f"{outcome:12} {seconds:6.1f} s  {fault.name}  {row.strip()}", flush=True)
        server.close()
    print(summary(_read(ledger)))


def summary(tried: list[dict[str, object]]) -> str:
    """Return the share noticed, with its 95 % interval (E. B. Wilson, J. Am. Stat. Assoc. 22,
    209, 1927)."""
    count = len(tried)
    if not count:
        return "Nothing was tried."
    killed = sum(each["outcome"] in ("killed", "out of time") for each in tried)
    share, z = killed / count, 1.96
    middle = (share + z**2 / (2 * count)) / (1 + z**2 / count)
    reach = z * math.sqrt(share * (1 - share) / count + z**2 / (4 * count**2)) / (1 + z**2 / count)
    return (
        f"{killed} of {count} faults noticed: {share:.0%} "
        f"({middle - reach:.0%} to {middle + reach:.0%})"
    )


def _copy(source: Path, to: Path) -> None:
    to.mkdir()
    for name in NEEDED:
        if (source / name).is_dir():
            shutil.copytree(source / name, to / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copyfile(source / name, to / name)


def _files(root: Path, patterns: tuple[str, ...] | list[str]) -> list[str]:
    found = {path.relative_to(root).as_posix() for each in patterns for path in root.glob(each)}
    return sorted(found)


def _read(ledger: Path) -> list[dict[str, object]]:
    if not ledger.exists():
        return []
    return [json.loads(line) for line in ledger.read_text(encoding="utf-8").splitlines()]


if __name__ == "__main__":
    main()
