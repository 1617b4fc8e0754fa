"""Which files are mutated, and which tests should notice."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Room:
    """Patterns, from the root, of the code to mutate and of the tests that should notice."""

    code: tuple[str, ...]
    tests: tuple[str, ...]


ROOMS = {
    "measurement": Room(
        ("tracker/measurement/**/*.py",),
        (
            "tests/tracker/test_measurement_*.py",
            "tests/tracker/test_anywhere_*.py",
        ),
    ),
    "following": Room(
        ("tracker/following/**/*.py",),
        ("tests/tracker/test_following_*.py", "tests/tracker/test_anywhere_*.py"),
    ),
    "fitting": Room(
        ("tracker/fitting/**/*.py",),
        ("tests/tracker/test_fitting_*.py", "tests/laws/test_fitting_laws.py"),
    ),
    "calibration.adjustment": Room(
        ("calibration/adjustment/**/*.py",),
        (
            "tests/calibration/test_adjustment*.py",
            "tests/calibration/test_reweighted.py",
            "tests/calibration/test_site*.py",
            "tests/laws/test_calibration_laws.py",
            "tests/published/test_calibration_*.py",
        ),
    ),
}
