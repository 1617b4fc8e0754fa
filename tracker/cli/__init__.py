"""The command ``lobmeter``: parse, one call into the workflow, print."""

import atexit
import gc
import signal
import sys

INTERRUPTED = "Interrupted. What was there before is as it was."
"""The word that every command leaves with when it is interrupted, with exit code 130."""


def main() -> None:
    """Run the command line."""
    atexit.register(_leave)
    try:
        # Its libraries take a tenth of a second, in which a person can interrupt too.
        from tracker.cli.program import run

        run()
    except KeyboardInterrupt:
        sys.stderr.write(f"{INTERRUPTED}\n")
        sys.exit(130)


def _leave() -> None:
    """Prepare for Python's own end, when everything is done and written."""
    # There Python gives the signal back to the system, which would end a finished command by it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Under ``python -m`` a process whose last text that was run as code was interrupted ends by it,
    # whatever was made of it: a dataclass that is being defined is such a text.
    exec("")
    # What is left goes with the process; a last search for garbage takes 0.05 s.
    gc.freeze()
