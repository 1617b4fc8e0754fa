"""The command ``lobmeter``: parse, one call into the workflow, print."""

from tracker.cli.program import main, program

__all__ = ["main", "program"]
