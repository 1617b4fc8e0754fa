"""What processes that measure import, for those that start them."""

MEASURING = (
    "tracker.workflow.jobs",
    "tracker.measurement.starts",
    "tracker.report.shot_picture",
    "scipy.special",
)
"""What measuring a clip imports, most of it on demand: a process else spends a second on it."""
