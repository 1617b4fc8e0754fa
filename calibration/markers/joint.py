"""Choosing one place for every marker so that all of them agree with one camera."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GATE = 13.8
"""Squared Mahalanobis distance of a place from its prediction that is allowed: 99.9 % of two
degrees of freedom."""

APART = 9.2
"""The same at 99 %, from which a place does not agree with the others."""

MOST_GAIN = 100.0
"""Log-likelihood that one place brings at most: no shape alone outweighs all the others."""

CLEAR_GAIN = 6.0
"""Difference of log-likelihood to the best choice of another place from which one is clear."""

RIVAL_SHARE = 0.7
"""Share of a place's response from which another one rivals it: the flanks of a shape have less."""

DIFFERENT_PX = 3.0
"""Places nearer to each other than this are one, px."""

LIKE_CHANCE = 0.6
"""Share of a choice's response that places elsewhere may reach together: the surroundings of right
choices reach 0.1 to 0.55 on foreign films, wrong choices are reached to 0.7 and more."""

ELSEWHERE_PX = 6.0
"""Distance from which a place is none of a shape's own flanks, px: its width."""

FEWEST = 3
"""Markers below which their agreement says nothing."""


@dataclass(frozen=True)
class Candidate:
    """One place where a marker may be.

    Attributes
    ----------
    pixel : ndarray, shape (2,)
    u_px : float
        Standard uncertainty of each coordinate.
    response : ndarray, shape (3,)
        Of each channel, in units of its scatter around.
    rivals : float
        Length of the response of usual places around.
    explained : float
        Squares of the picture that the shape explains there.
    """

    pixel: Array
    u_px: float
    response: Array
    rivals: float
    explained: float

    def gain(self, looks: Array | None) -> float:
        """Return its log-likelihood ratio, by the look that the others share where one is known."""
        strength = float(np.linalg.norm(self.response))
        if looks is not None:
            strength = float(self.response @ looks)
        return float(np.clip(0.5 * (strength * abs(strength) - self.rivals**2), -5.0, MOST_GAIN))


@dataclass(frozen=True)
class Prediction:
    """Where a camera expects a marker.

    Attributes
    ----------
    pixel : ndarray, shape (2,)
    by_camera : ndarray, shape (2, 14)
    taped : ndarray, shape (2, 2)
        Covariance that the marker's taped coordinates add.
    """

    pixel: Array
    by_camera: Array
    taped: Array


@dataclass(frozen=True)
class Choice:
    """The candidate chosen for each marker, by its number, and the log-likelihood of all.

    `mean` and `covariance` are the camera's departure from its prior as the chosen ones leave it.
    """

    chosen: dict[int, Candidate]
    gain: float
    mean: Array
    covariance: Array

    @property
    def strength(self) -> tuple[int, float]:
        """How many markers it has, and how much they explain: to choose a size by.

        With kernels of unit square sum the size that explains most fits best (least squares).
        """
        return len(self.chosen), sum(one.explained for one in self.chosen.values())

    @property
    def response(self) -> float:
        """How much all of them stand out from their surroundings together."""
        return sum(float(np.linalg.norm(one.response)) for one in self.chosen.values())


@dataclass
class _State:
    """A camera's departure from the prior and its covariance, updated place by place."""

    mean: Array
    covariance: Array

    def innovation(self, seen: Prediction, at: Candidate) -> tuple[Array, Array]:
        """Return a place less its prediction, and the covariance of that."""
        own = at.u_px**2 * np.eye(2) + seen.taped
        spread = seen.by_camera @ self.covariance @ seen.by_camera.T + own
        return at.pixel - seen.pixel - seen.by_camera @ self.mean, spread

    def take(self, seen: Prediction, at: Candidate) -> None:
        """Update by a place (Kalman's step)."""
        away, spread = self.innovation(seen, at)
        gain = np.linalg.solve(spread, seen.by_camera @ self.covariance).T
        self.mean = self.mean + gain @ away
        self.covariance = self.covariance - gain @ seen.by_camera @ self.covariance


def choose(
    predictions: Sequence[Prediction],
    candidates: Sequence[Sequence[Candidate]],
    covariance: Array,
) -> list[Choice]:
    """Return the choices from every first place, best first.

    Each candidate in turn is taken as true; the camera that it leaves predicts the others, which
    holds a line's spacing to its perspective, and the look of those taken so far is asked of the
    next. A marker whose candidates bring nothing stays without one.

    Parameters
    ----------
    predictions : sequence of Prediction
    candidates : sequence of sequence of Candidate
        Of each marker.
    covariance : ndarray, shape (14, 14)
        Of the camera.
    """
    found = [
        _grown(predictions, candidates, covariance, (first, at))
        for first, own in enumerate(candidates)
        for at in range(len(own))
    ]
    return sorted(found, key=lambda choice: -choice.gain)


def _grown(
    predictions: Sequence[Prediction],
    candidates: Sequence[Sequence[Candidate]],
    covariance: Array,
    start: tuple[int, int],
) -> Choice:
    first = candidates[start[0]][start[1]]
    state = _State(np.zeros(len(covariance)), covariance)
    away, spread = state.innovation(predictions[start[0]], first)
    gain = first.gain(None) - 0.5 * float(away @ np.linalg.solve(spread, away))
    chosen = {start[0]: first}
    state.take(predictions[start[0]], first)
    left = [k for k in range(len(predictions)) if k != start[0]]
    while left:
        # The best predicted one next.
        k = min(left, key=lambda k: float(np.trace(_spread(state, predictions[k]))))
        left.remove(k)
        looks = np.sum([one.response for one in chosen.values()], axis=0)
        looks = looks / max(float(np.linalg.norm(looks)), 1e-9)
        best, most = None, 0.0
        for candidate in candidates[k]:
            away, spread = state.innovation(predictions[k], candidate)
            distance = float(away @ np.linalg.solve(spread, away))
            worth = candidate.gain(looks) - 0.5 * distance
            if distance < GATE and worth > most:
                best, most = candidate, worth
        if best is not None:
            chosen[k] = best
            gain += most
            state.take(predictions[k], best)
    return Choice(chosen, gain, state.mean, state.covariance)


def _spread(state: _State, seen: Prediction) -> Array:
    return np.asarray(seen.by_camera @ state.covariance @ seen.by_camera.T, float)


def doubts(
    predictions: Sequence[Prediction], choices: Sequence[Choice], covariance: Array
) -> dict[int, str]:
    """Return why a chosen place is doubtful, by the marker's number; none for those that agree."""
    best = choices[0]
    apart = [choice.response for choice in choices if _is_elsewhere(choice, best)]
    by_chance = max(apart, default=0.0) > LIKE_CHANCE * best.response
    found: dict[int, str] = {}
    for k, candidate in best.chosen.items():
        state = _State(np.zeros(len(covariance)), covariance)
        for other, place in best.chosen.items():
            if other != k:
                state.take(predictions[other], place)
        away, spread = state.innovation(predictions[k], candidate)
        if len(best.chosen) < FEWEST:
            found[k] = "too few markers were found to check each other"
        elif by_chance:
            found[k] = "other places in the picture agree nearly as well"
        elif float(away @ np.linalg.solve(spread, away)) > APART:
            found[k] = "it does not agree with the others"
        else:
            rival = next((c for c in choices[1:] if _differs(c, k, candidate)), None)
            if rival is not None and best.gain - rival.gain < CLEAR_GAIN:
                found[k] = "another place fits nearly as well"
    return found


def _is_elsewhere(choice: Choice, best: Choice) -> bool:
    """Return whether a choice shares no place with the best one."""
    return all(
        float(np.linalg.norm(place.pixel - best.chosen[k].pixel)) > ELSEWHERE_PX
        for k, place in choice.chosen.items()
        if k in best.chosen
    )


def _differs(choice: Choice, k: int, candidate: Candidate) -> bool:
    other = choice.chosen.get(k)
    if other is None:
        return False
    apart = float(np.linalg.norm(other.pixel - candidate.pixel)) > DIFFERENT_PX
    stands_out = np.linalg.norm(other.response) > RIVAL_SHARE * np.linalg.norm(candidate.response)
    return apart and bool(stands_out)
