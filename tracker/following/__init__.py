"""Candidates to tracks: flights found by gravity, then followed frame by frame."""

from tracker.following.hypothesis import Hypothesis, SearchContext
from tracker.following.kalman import Followed, consistency, follow
from tracker.following.search import FlightSearch

__all__ = ["FlightSearch", "Followed", "Hypothesis", "SearchContext", "consistency", "follow"]
