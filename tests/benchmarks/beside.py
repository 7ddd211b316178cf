"""A step beside the library it would be written with by hand: same answers, then time and memory.

Both ways are run in turn in one process, so that what else the machine does falls on both. Memory
is the most that a call needs beyond what was there before it, each call in a process forked for it.
"""

from __future__ import annotations

import ctypes
import os
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median
from typing import Any

Work = Callable[[], Any]


@dataclass(frozen=True)
class Case:
    """One size of a step.

    Attributes
    ----------
    ours, theirs : callable
        The work, without what is made ready before.
    same : callable
        Takes what both return; an AssertionError if they differ by more than the tolerance.
    """

    ours: Work
    theirs: Work
    same: Callable[[Any, Any], None]


@dataclass(frozen=True)
class Step:
    """A step of a run and its library.

    Attributes
    ----------
    name : str
    library : str
    make : callable
        Takes a size, returns a Case.
    counts : str
        What the size counts.
    demo : int
        Size at 1x: about the made-up study's.
    tolerance : str
        How far both may differ.
    most : int
        Beyond this size the library takes minutes or more memory than there is, and is left out.
    largest : int
        No size beyond is run.
    big : int
        Size with --big; 0 where that is no larger than 100x.
    wanted : float
        Ratio aimed at.
    why : str
        Where the library is faster: why, and why that stays so.
    """

    name: str
    library: str
    make: Callable[[int], Case]
    counts: str
    demo: int
    tolerance: str
    most: int = 10**9
    largest: int = 10**9
    big: int = 0
    wanted: float = 1.0
    why: str = ""


@dataclass(frozen=True)
class Measured:
    """Medians of both; NaN where the library was left out or memory not asked for."""

    step: str
    size: int
    ours_s: float
    theirs_s: float
    ratio: float
    ours_cpu_s: float
    theirs_cpu_s: float
    ours_mib: float
    theirs_mib: float

    def as_dict(self) -> dict[str, Any]:
        """Return plain numbers."""
        return asdict(self)


def measure(step: Step, size: int, *, rounds: int = 5, seconds: float = 20.0,
            memory: bool = True) -> Measured:  # fmt: skip
    """Check both for equal answers, time them in turn, then their memory.

    Parameters
    ----------
    step : Step
    size : int
    rounds : int
        At most.
    seconds : float
        After so long no further round is begun (but for a second one).
    memory : bool

    Returns
    -------
    Measured
    """
    # Compiled loops are read from disk, libraries warm up.
    small = step.make(min(size, step.demo))
    small.same(small.ours(), small.theirs())
    case = step.make(size)
    both = size <= step.most
    if both:
        case.same(case.ours(), case.theirs())
    took: dict[str, list[tuple[float, float]]] = {"ours": [], "theirs": []}
    begun = time.perf_counter()
    for k in range(rounds):
        took["ours"].append(_timed(case.ours))
        if both:
            took["theirs"].append(_timed(case.theirs))
        if k > 0 and time.perf_counter() - begun > seconds:
            break
    nan = float("nan")
    ours, ours_cpu = (median(x) for x in zip(*took["ours"], strict=True))
    theirs, theirs_cpu, ratio = nan, nan, nan
    if both:
        theirs, theirs_cpu = (median(x) for x in zip(*took["theirs"], strict=True))
        # Pairs of neighbours in time: the machine's other work falls on both.
        ratio = median(t[0] / o[0] for o, t in zip(took["ours"], took["theirs"], strict=True))
    return Measured(
        step.name, size, ours, theirs, ratio, ours_cpu, theirs_cpu,
        _most_mib(case.ours) if memory else nan,
        _most_mib(case.theirs) if memory and both else nan,
    )  # fmt: skip


def _timed(work: Work) -> tuple[float, float]:
    begun, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - begun, time.process_time() - cpu


def _status(key: str) -> float:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(key):
            return float(line.split()[1]) / 1024
    return float("nan")


def _most_mib(work: Work) -> float:
    """Most memory of a call beyond what was there, in a process of its own [MiB]."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        most = -1.0
        try:
            # What earlier calls have freed goes back to the system (malloc_trim(3)); the high-water
            # mark is set back to what is there (proc(5), clear_refs).
            ctypes.CDLL(None).malloc_trim(0)
            Path("/proc/self/clear_refs").write_text("5")
            before = _status("VmRSS")
            work()
            most = _status("VmHWM") - before
        finally:
            os.write(write, f"{most:.1f}".encode())
            os._exit(0)
    os.close(write)
    with os.fdopen(read) as told:
        text = told.read()
    os.waitpid(child, 0)
    return float(text or "nan")
