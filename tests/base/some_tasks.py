"""Tasks for tests: other processes find them here by name."""

from __future__ import annotations

import os
import signal
import time

from roadrisk.errors import InputError, Remark


def sum_of(shared, item):
    return float(shared["a"][item:].sum() * shared["b"][item % 10])


def sum_of_slowly(shared, item):
    time.sleep(0.05)
    return sum_of(shared, item)


def slow(shared, item):
    (shared["folder"] / f"{item}-{os.getpid()}").touch()
    return sum_of_slowly(shared, item), os.getpid()


def what_came(shared, item):
    return shared, item


def pid_of(shared, item):
    time.sleep(0.05)
    return os.getpid()


def kinds_of_arrays(shared, item):
    return tuple(
        {
            "writable": all(a.flags.writeable for a in arrays),
            "aligned": all(a.flags.aligned for a in arrays),
        }
        for arrays in (shared.values(), item)
    )


def spoil(shared, item):
    shared["a"][:] = -1.0


def fails(shared, item):
    if item == 7:
        raise InputError([Remark("a.csv", 3, "x", "is odd.", "Make it even.")])
    return item


def times_out(shared, item):
    raise TimeoutError("mine")


def ends_its_worker(shared, item):
    os.kill(os.getpid(), signal.SIGKILL)
