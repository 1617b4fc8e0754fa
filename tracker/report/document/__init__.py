"""The report of sessions: one HTML file that holds everything it shows."""

from tracker.report.document.facts import (
    CalibrationFacts,
    Curve,
    InputFile,
    ReportFacts,
    SessionFacts,
    ShotFigures,
    Still,
)
from tracker.report.document.page import report_page

__all__ = [
    "CalibrationFacts",
    "Curve",
    "InputFile",
    "ReportFacts",
    "SessionFacts",
    "ShotFigures",
    "Still",
    "report_page",
]
