"""The steps of whole jobs in order."""
