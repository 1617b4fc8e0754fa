"""Memory that one frame gives back and the next one takes again, without a page fault for each."""

import sys
from functools import cache

TRIM, MMAP = -1, -3
"""Numbers of the two settings in glibc's malloc.h: M_TRIM_THRESHOLD and M_MMAP_THRESHOLD."""

KEPT_BYTES, WHOLE_BYTES = 64_000_000, 32_000_000
"""Free memory that a thread keeps before it gives any back to the system, and the size from which
on a piece is asked of the system alone: glibc takes no larger one."""


@cache
def keep_pages() -> bool:
    """Keep freed memory for the next frame; return whether this system's allocator can.

    By its own rules glibc gives back what a frame frees, and each page of the next frame is fetched
    and cleared anew. Without glibc nothing is changed.
    """
    if not sys.platform.startswith("linux"):
        return False
    import ctypes

    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is None:
        return False
    return bool(mallopt(MMAP, WHOLE_BYTES)) and bool(mallopt(TRIM, KEPT_BYTES))
