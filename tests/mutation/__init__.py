"""Small faults are put into the code one at a time, to see whether the tests notice.

`rooms` says which tests belong to which room, `faults` draws the faults (by cosmic-ray's
operators), `coverage_of` learns which test reaches which line, `trial` runs the tests against one
fault. `python -m tests.mutation ROOM` puts them together.
"""
