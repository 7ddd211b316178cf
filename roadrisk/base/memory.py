"""Memory that was freed goes back to the system between the steps of a run."""

from __future__ import annotations

import ctypes
import gc
import sys


def give_back() -> None:
    """Return freed memory to the system, where the C library keeps it for itself.

    Millions of small objects come and go in reading and placing; what they held stays with the
    process otherwise, and the next step asks for more. Of no effect but on Linux with glibc.
    """
    gc.collect()
    if not sys.platform.startswith("linux"):
        return
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:
        trim(0)
