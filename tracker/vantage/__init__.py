"""Before filming: what can be had from a place to film from, and where the best one is."""

from tracker.vantage.asked import CLEAR_M, Asked
from tracker.vantage.told import Told, foresee_vantage

__all__ = ["CLEAR_M", "Asked", "Told", "foresee_vantage"]
