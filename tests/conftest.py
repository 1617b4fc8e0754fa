"""What holds for every test: nothing depends on the clock, and workers leave each other room."""

import os
import sys

from hypothesis import HealthCheck, settings

# One thread of linear algebra each: the workers share the cores already. Set by the process that
# starts them, before any of them imports numpy; programs that tests start inherit it too.
for library in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(library, "1")

# Workers and the programs that tests start compile the project once, not each of them anew, also
# where the environment says otherwise. Trials of faults must not: they say so to this process.
if os.environ.pop("PYTHONDONTWRITEBYTECODE", ""):
    sys.dont_write_bytecode = False

# No test finds what another, or an earlier run, has measured.
os.environ["LOBMETER_CACHE"] = ""

# A law holds or fails whatever else the machine is doing. Other examples are drawn in every run.
settings.register_profile(
    "without a clock",
    deadline=None,
    max_examples=40,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("without a clock")
