"""A fuzzer over every reader: python -m tests.hostile.fuzzing --minutes 5 --seed 1 [--reader NAME].

Each input is made from a reader's name and a number, so a line of the log is enough to make it
again: --again "table/17". An input that ends in anything but acceptance or a RoadriskError, takes
more than 10 s of processor time (60 s by the clock), or more than 2 GiB of memory is a finding; it
is kept outside the checkout, and the mend gets a test here.
"""

from __future__ import annotations

import argparse
import importlib
import json
import re
import shutil
import sys
import tempfile
import time
from collections import Counter, defaultdict
from multiprocessing.connection import wait
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from tests.hostile import fuzz_seeds
from tests.hostile.fuzz_pool import Outcome, Worker, made, put, read
from tests.hostile.fuzz_readers import READERS

if TYPE_CHECKING:
    from collections.abc import Iterator

_KEPT_ALIKE = 3
# Imported before children are forked; no reader may have run before that, as some start threads.
_IMPORTS = (
    "osmium", "pyogrio.raw", "geopandas", "openpyxl", "gpxpy.gpx", "PIL.Image", "roadrisk.cli",
    "roadrisk.records.study_folder", "roadrisk.records.review_sheet_in",
    "roadrisk.records.proposal",
    "tests.sightings.made_reviewed", "roadrisk.records.osm_extract", "roadrisk.records.checking",
)  # fmt: skip


class Log:
    """Counts of what became of inputs, and findings on the disk."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.counts: dict[str, Counter[str]] = defaultdict(Counter)
        self.seconds: Counter[str] = Counter()
        self.warned: Counter[str] = Counter()
        self.alike: Counter[str] = Counter()

    def take(self, job: tuple[str, int], outcome: Outcome, seconds: float) -> None:
        reader, seed = job
        self.counts[reader][outcome.kind] += 1
        self.seconds[reader] += seconds
        self.warned.update({f"{reader}: {text}" for text in outcome.said})
        if outcome.kind not in ("accepted", "refused"):
            mark = f"{reader} {outcome.kind} {_signature(outcome.words)}"
            self.alike[mark] += 1
            if self.alike[mark] <= _KEPT_ALIKE:
                self._keep(reader, seed, outcome)
                print(f"FOUND {reader}/{seed}: {mark}", flush=True)

    def _keep(self, reader: str, seed: int, outcome: Outcome) -> None:
        place = self.folder / f"{reader.replace(' ', '_')}-{seed}"
        put(made(reader, seed) if outcome.kind != "unmade" else {}, place / "input")
        (place / "said.txt").write_text(f"{outcome.kind}\n{outcome.words}\n", encoding="utf-8")

    @property
    def inputs(self) -> int:
        """How many inputs were read."""
        return sum(count.total() for count in self.counts.values())

    def table(self) -> str:
        kinds = ("accepted", "refused", "traceback", "hang", "memory", "died", "unmade")
        lines = [f"{'reader':14}{'inputs':>9}{'s':>8}" + "".join(f"{k:>11}" for k in kinds)]
        for reader, count in sorted(self.counts.items()):
            numbers = "".join(f"{count[k]:>11}" for k in kinds)
            lines.append(f"{reader:14}{count.total():>9}{self.seconds[reader]:>8.0f}{numbers}")
        all_of = sum(self.counts.values(), Counter())
        numbers = "".join(f"{all_of[k]:>11}" for k in kinds)
        total = sum(self.seconds.values())
        lines.append(f"{'all':14}{all_of.total():>9}{total:>8.0f}{numbers}")
        return "\n".join(lines)


def _signature(words: str) -> str:
    """Return kind and place of a traceback, so that the same one isn't kept a thousand times."""
    lines = words.strip().splitlines()
    frames = re.findall(r'File "([^"]+)", line (\d+)', words)
    ours = [f"{Path(f).name}:{n}" for f, n in frames if "/roadrisk/" in f]
    return f"{lines[-1].split(':')[0] if lines else ''} {ours[-1] if ours else ''}"


def _jobs(names: list[str], seed: int) -> Iterator[tuple[str, int]]:
    """Yield readers with growing numbers, by weight, without end."""
    rng = Random(seed)
    weights = [READERS[name].weight for name in names]
    next_of: Counter[str] = Counter()
    while True:
        (name,) = rng.choices(names, weights)
        next_of[name] += 1
        yield name, seed * 10_000_000 + next_of[name]


def fuzz(
    names: list[str], *, minutes: float, seed: int, workers: int, folder: Path, most: int = 10**9
) -> Log:
    """Run inputs until the time is over.

    Parameters
    ----------
    names : list of str
        Of `READERS`.
    minutes : float
    seed : int
    workers : int
    folder : pathlib.Path
        For findings.
    most : int
        Inputs, after which it ends too.

    Returns
    -------
    Log
    """
    for module in _IMPORTS:
        importlib.import_module(module)
    for ready in (fuzz_seeds.base_files, fuzz_seeds.workbook, fuzz_seeds.photos, fuzz_seeds.review,
                  fuzz_seeds.decisions):  # fmt: skip
        ready()
    log, jobs = Log(folder), _jobs(names, seed)
    scratch = Path(tempfile.mkdtemp(prefix="fuzzing-"))
    until = time.monotonic() + 60 * minutes
    pool = [Worker.born(scratch / str(k)) for k in range(workers)]
    try:
        for worker in pool:
            worker.give(*next(jobs))
        while time.monotonic() < until and log.inputs < most:
            ready_links = wait([w.link for w in pool], timeout=0.2)
            for k, worker in enumerate(pool):
                outcome = _seen(worker, worker.link in ready_links)
                if outcome is None:
                    continue
                assert worker.job is not None
                log.take(worker.job, outcome, time.monotonic() - worker.since)
                if outcome.kind in ("hang", "memory", "died"):
                    if outcome.kind != "died":
                        worker.end()
                    pool[k] = Worker.born(worker.folder)
                pool[k].give(*next(jobs))
    finally:
        for worker in pool:
            worker.end()
        shutil.rmtree(scratch, ignore_errors=True)
    return log


def _seen(worker: Worker, is_ready: bool) -> Outcome | None:
    """Return what became of a worker's input, or None while it is at it."""
    if is_ready:
        try:
            found = worker.link.recv()
        except (EOFError, OSError):
            return Outcome("died", f"wait status {worker.end()}")
        assert isinstance(found, Outcome)
        return found
    trouble = worker.trouble()
    return Outcome(trouble, f"{worker.peak / 2**30:.2f} GiB") if trouble else None


def main(arguments: list[str] | None = None) -> int:
    """Run the fuzzer from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--reader", action="append", choices=list(READERS))
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--found", type=Path, default=Path(tempfile.gettempdir()) / "fuzz-found")
    parser.add_argument("--again", help="one input in this process, such as table/17")
    given = parser.parse_args(arguments)
    if given.again:
        reader, _, number = given.again.rpartition("/")
        folder = given.found / "again"
        put(made(reader, int(number)), folder)
        print(f"written to {folder}")
        outcome = read(reader, folder)
        print(outcome.kind, outcome.words, *outcome.said, sep="\n")
        return 0
    names = given.reader or list(READERS)
    log = fuzz(names, minutes=given.minutes, seed=given.seed, workers=given.workers,
               folder=given.found)  # fmt: skip
    print(log.table())
    if log.warned:
        print("warnings on the way:", json.dumps(dict(log.warned.most_common(30)), indent=1))
    print(f"seed {given.seed}, {given.minutes:g} minutes, {given.workers} workers; "
          f"findings in {given.found}: {sum(log.alike.values())} "
          f"({len(log.alike)} kinds)")  # fmt: skip
    return 1 if log.alike else 0


if __name__ == "__main__":
    sys.exit(main())
