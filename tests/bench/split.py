"""Where the time of a measurement goes, stage by stage, beside decoding alone."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pkgutil import resolve_name
from typing import Any, TypeVar
from unittest.mock import patch

from tracker.video import decode_only
from tracker.video.facts import ClipFacts

T = TypeVar("T")

STAGES = {
    "decoding": ["tracker.measurement.passes.frames"],
    "detection": ["tracker.measurement.passes.CandidateFinder.push"],
    "search": [
        "tracker.measurement.starts.release.FlightSearch.__init__",
        "tracker.measurement.starts.release.FlightSearch.push",
        "tracker.measurement.starts.release.FlightSearch.finish",
    ],
    "following": ["tracker.measurement.tracing.follow"],
    "sighting": ["tracker.measurement.sighting.locate_ball"],
    "fitting": [
        "tracker.measurement.tracing.fit_given_gusts",
        "tracker.measurement.tracing.refit_gusts",
        "tracker.measurement.tracing.gravity_doubt",
        "tracker.measurement.tracing.describe",
        "tracker.measurement.sighting.flight_time_of",
    ],
    "steadiness": [
        "tracker.measurement.passes.Steadier.see",
        "tracker.measurement.passes.Steadier.steadied",
    ],
    "cadence": ["tracker.measurement.passes.ChangeMeter.see"],
}
"""What is called in the course of `measure` from the release; none of these calls another."""


@dataclass
class Spent:
    """Seconds by the clock and of the processor, all threads together."""

    wall_s: float = 0.0
    cpu_s: float = 0.0
    elsewhere_s: float = 0.0
    """Of the processor's, what threads beside the main one took."""

    def over(self, other: "Spent") -> str:
        """Return both as shares of another's."""
        return f"{self.wall_s / other.wall_s:.2f} ({self.cpu_s / other.cpu_s:.2f})"

    def __str__(self) -> str:
        return f"{self.wall_s:.2f} s ({self.cpu_s:.2f} s of the processor)"

    def __add__(self, other: "Spent") -> "Spent":
        return Spent(
            self.wall_s + other.wall_s,
            self.cpu_s + other.cpu_s,
            self.elsewhere_s + other.elsewhere_s,
        )


@dataclass
class Split:
    """What a measurement took, and what decoding the same clip alone took around it.

    The stages run in threads side by side, so what they take by the clock adds up to more than the
    whole. A stage's processor time is that of the thread that it runs in; whatever else was used
    beside the measuring thread is the decoder's and counted as decoding.
    """

    whole: Spent = field(default_factory=Spent)
    decode: Spent = field(default_factory=Spent)
    stages: dict[str, Spent] = field(default_factory=lambda: {name: Spent() for name in STAGES})

    @property
    def rest(self) -> Spent:
        """What no stage accounts for."""
        counted = sum(self.stages.values(), Spent())
        return Spent(self.whole.wall_s - counted.wall_s, self.whole.cpu_s - counted.cpu_s)

    def __add__(self, other: "Split") -> "Split":
        return Split(
            self.whole + other.whole,
            self.decode + other.decode,
            {name: self.stages[name] + other.stages[name] for name in STAGES},
        )

    def lines(self) -> list[str]:
        """Return the table: each stage over decoding alone, by the clock (by the processor)."""
        parts = [f"{name} {spent.over(self.decode)}" for name, spent in self.stages.items()]
        return [
            f"over decoding alone, by the clock (by the processor): {self.whole.over(self.decode)}",
            ", ".join([*parts, f"rest {self.rest.over(self.decode)}"]),
        ]


def timed(facts: ClipFacts, measure: Callable[[], T]) -> tuple[T, Split]:
    """Measure a clip between two passes of decoding alone, and say what took how long."""
    split = Split()
    decode_only(facts)  # the file is read from disk and the decoder's code loaded once
    split.decode += _spent(lambda: decode_only(facts))
    with ExitStack() as watched:
        for name, calls in STAGES.items():
            for call in calls:
                watched.enter_context(_watching(call, split.stages[name]))
        main_s = time.thread_time()
        results: list[T] = []
        split.whole += _spent(lambda: results.append(measure()))
        main_s = time.thread_time() - main_s
    elsewhere_s = sum(spent.elsewhere_s for spent in split.stages.values())
    split.stages["decoding"].cpu_s += split.whole.cpu_s - main_s - elsewhere_s
    split.decode += _spent(lambda: decode_only(facts))
    split.decode = Spent(split.decode.wall_s / 2.0, split.decode.cpu_s / 2.0)
    return results[0], split


def _spent(work: Callable[[], Any]) -> Spent:
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    work()
    return Spent(time.perf_counter() - wall_s, time.process_time() - cpu_s)


def _watching(call: str, spent: Spent) -> Any:
    """Return a patch under which a call's time is added up, or that of each step it yields."""
    owner, name = call.rsplit(".", 1)
    target = resolve_name(owner)
    original = getattr(target, name)

    def watched(*args: Any, **options: Any) -> Any:
        with _added(spent):
            result = original(*args, **options)
        return _stepped(result, spent) if isinstance(result, Iterator) else result

    return patch.object(target, name, watched)


def _stepped(steps: Iterator[Any], spent: Spent) -> Iterator[Any]:
    while True:
        with _added(spent):
            try:
                step = next(steps)
            except StopIteration:
                return
        yield step


@contextmanager
def _added(spent: Spent) -> Iterator[None]:
    wall_s, cpu_s = time.perf_counter(), time.thread_time()
    try:
        yield
    finally:
        took_s = time.thread_time() - cpu_s
        spent.wall_s += time.perf_counter() - wall_s
        spent.cpu_s += took_s
        if threading.current_thread() is not threading.main_thread():
            spent.elsewhere_s += took_s
