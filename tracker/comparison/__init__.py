"""Measured against predicted, and setup against setup."""
