"""What runs in a Dask worker."""

import pickle
import threading
import zlib

ALONE = threading.Lock()
"""Held by the job that runs: pictures are drawn with libraries that know no threads."""


def run_packed(packed: bytes, topic: str) -> bytes:
    """Run one job and return its result, pickled.

    Parameters
    ----------
    packed : bytes
        Job and item, pickled and compressed.
    topic : str
        Under which the client hears what the job reports.
    """
    from distributed import get_worker

    worker = get_worker()
    job, item = pickle.loads(zlib.decompress(packed))
    with ALONE:
        result = job(item, lambda said: worker.log_event(topic, pickle.dumps(said)))
    return pickle.dumps(result, protocol=pickle.HIGHEST_PROTOCOL)
