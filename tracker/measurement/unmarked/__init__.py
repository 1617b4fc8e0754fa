"""Clips for which nobody taped anything, or too little to fix the camera: gravity is the scale."""

from tracker.measurement.unmarked.clip import UnmarkedResult, measure_unmarked

__all__ = ["UnmarkedResult", "measure_unmarked"]
