"""Clips for which nobody taped anything, or too little to fix the camera: gravity is the scale."""

from tracker.workflow.unmarked.clip import UnmarkedResult, measure_unmarked
from tracker.workflow.unmarked.words import assumed_words

__all__ = ["UnmarkedResult", "assumed_words", "measure_unmarked"]
