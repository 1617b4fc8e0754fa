"""Where jobs run side by side: in this process, in processes of this computer, or on Dask workers.

An engine knows nothing of clips: it runs a function for each of many items, passes on what the
function reports while it runs, and gives each result as soon as it is there.
"""

from tracker.engines.local import LocalEngine, process_context
from tracker.engines.protocol import Engine, Job, Report

__all__ = ["Engine", "Job", "LocalEngine", "Report", "process_context"]
