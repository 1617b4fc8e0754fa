"""Many machines computed together."""

from collections.abc import Sequence

import numpy as np

from tracker.launcher.arrays import Array
from tracker.launcher.fields import number_at
from tracker.launcher.machine import Machine


def corrected(machine: Machine, keys: Sequence[str], logs: Array) -> Machine:
    """Return a machine with the numbers of `keys` multiplied, kept within their limits.

    Parameters
    ----------
    machine : Machine
    keys : sequence of str
    logs : ndarray, shape (K, N)
        Natural logarithm of the factor on each of the N numbers, for each draw.
    """
    changes = {}
    for place, key in enumerate(keys):
        if key in machine.values:
            number = number_at(key)
            value = machine.values[key] * np.exp(logs[:, place])
            changes[key] = value if number is None else np.clip(value, number.low, number.high)
    return machine.having(changes)


def together(machines: Sequence[Machine], count: int) -> list[tuple[list[int], Machine]]:
    """Return machines of like kind as one, their draws one after the other.

    Parameters
    ----------
    machines : sequence of Machine
        Each of single numbers or of `count` draws.
    count : int

    Returns
    -------
    list of (indices, Machine)
        The machines of a kind by their indices, and the one that holds all their draws.
    """
    kinds: dict[tuple[object, ...], list[int]] = {}
    for index, machine in enumerate(machines):
        kind = (frozenset(machine.values), tuple(sorted(machine.words.items())), machine.driven)
        kinds.setdefault(kind, []).append(index)
    found = []
    for indices in kinds.values():
        first = machines[indices[0]]
        values = {
            key: np.concatenate([_drawn(machines[i], key, count) for i in indices])
            for key in first.values
        }
        found.append((indices, Machine(values, first.words, {})))
    return found


def _drawn(machine: Machine, key: str, count: int) -> Array:
    return np.broadcast_to(np.asarray(machine.values[key], float), count)
