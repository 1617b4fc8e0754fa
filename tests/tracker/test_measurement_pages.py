"""Freed memory stays with the process, page by page."""

import json
import platform
import subprocess
import sys

import pytest

FAULTS = """
import json, resource, sys
from threading import Thread
from tracker.measurement.pages import keep_pages

def taken():
    pieces = [bytearray(b"1") * 1_000_000 for _ in range(12)]

def faults():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for _ in range(20):
        taken()
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before

found = []
def work():
    taken()
    found.append(faults())
    found.append(keep_pages())
    taken()
    found.append(faults())

thread = Thread(target=work)
thread.start()
thread.join()
print(json.dumps(found))
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="settings of glibc's allocator")
def test_memory_that_was_freed_is_taken_again_without_page_faults() -> None:
    done = subprocess.run(
        [sys.executable, "-c", FAULTS], capture_output=True, text=True, check=True
    )
    before, kept, after = json.loads(done.stdout)
    # Twelve pieces of a million bytes are 2,900 pages of 4,096.
    assert before > 20 * 1000
    assert kept is True
    assert after < 1000
