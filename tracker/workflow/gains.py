"""How much a piece of advice would gain: its share of what makes a session's figures uncertain."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

from tracker.results import folder_of
from tracker.results.budgets import Budgets, read_budgets
from tracker.session import Session

FIGURES = ("carry_m", "exit_speed_mps")
"""Figures whose variance is looked at: what most people want to know."""

LITTLE = 0.01
"""Share of the variance below which a gain is hardly one (common practice, no source)."""

USUAL = {
    "picking": 0.14,
    "taping": 0.06,
    "stand": 0.01,
    "lens": 0.02,
    "readout": 0.03,
    "wind": 0.09,
    "air": 0.003,
}
"""Shares by source of a session that is not measured yet: means over carry and exit speed of two
drawn sessions of six and five markers, without a lens, a readout time, wind and air stated."""


class Rank(IntEnum):
    """What a piece of advice is for, the weightiest first."""

    NEEDED = 0
    GAIN = 1
    GUARD = 2
    MORE = 3


@dataclass(frozen=True)
class Advice:
    """What would help, in a sentence.

    Attributes
    ----------
    sentence : str
    rank : Rank
        `NEEDED`: something half done; `GAIN`: a figure becomes more certain; `GUARD`: a mistake
        would show; `MORE`: other figures become possible.
    sources : tuple of str
        Sources of the uncertainty (`tracker.fitting.budget`) that it lessens.
    share : float
        The part of their variance that goes.
    """

    sentence: str
    rank: Rank
    sources: tuple[str, ...] = ()
    share: float = 1.0

    def order(self, shares: Mapping[str, float]) -> tuple[float, float]:
        """Return what puts advice in order: a gain that is hardly one comes last.

        Parameters
        ----------
        shares : mapping of str to float
            Of the variance, by source.
        """
        gain = self.share * sum(shares.get(source, 0.0) for source in self.sources)
        hardly = self.rank is Rank.GAIN and gain < LITTLE
        return float(Rank.MORE if hardly else self.rank), -gain


def shares_of(session: Session) -> Mapping[str, float]:
    """Return by source its share of the variance of a session's shots, without any the usual."""
    budgets = read_budgets(folder_of(session.folder) / "shots.json")
    return mean_shares(budgets) or USUAL


def mean_shares(budgets: Budgets) -> dict[str, float]:
    """Return by source the mean share of the variance of `FIGURES` over all shots."""
    squares = [
        {source: u * u for source, u in parts[figure].items()}
        for parts in budgets.values()
        for figure in FIGURES
        if parts.get(figure)
    ]
    whole = [each for each in squares if sum(each.values()) > 0.0]
    sources = dict.fromkeys(source for each in whole for source in each)
    return {
        source: sum(each.get(source, 0.0) / sum(each.values()) for each in whole) / len(whole)
        for source in sources
    }
