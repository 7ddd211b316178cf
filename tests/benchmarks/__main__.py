"""Each step of a run beside the library that it would be written with by hand.

    python -m tests.benchmarks [--sizes 1 10 100] [--only PART OF A NAME ...] [--big]

Sizes are multiples of the made-up study's. Each step and size runs in a process of its own; both
ways are asserted to give equal answers (tolerance told), then timed in turn: medians of up to five
rounds. The ratio is the library's time over ours at the largest size that the library takes; beside
it the ratio of processor time, which other work on the machine moves less (ours uses all cores,
libraries mostly one). Memory is the most that the call needs beyond what was there before. Growth
is the slope of log time, and of log memory, over log size between the two largest sizes. --big adds
the sizes that a state needs (placing: 1,000,000 reports on 1,000,000 segments; steps: 100,000 on
1,000,000 segments; others as told).
"""

from __future__ import annotations

import argparse
import json
import math
import subprocess
import sys
from dataclasses import dataclass

from tests.benchmarks.beside import Measured, Step, measure

MODULES = (
    "network_steps", "road_steps", "animal_steps", "report_steps", "place_steps", "measure_steps",
)  # fmt: skip
TIMEOUT_S = 1800


def all_steps() -> tuple[Step, ...]:
    """Return every step, in the order of a run."""
    found: list[Step] = []
    for name in MODULES:
        found += __import__(f"tests.benchmarks.{name}", fromlist=["STEPS"]).STEPS
    return tuple(found)


@dataclass(frozen=True)
class Row:
    """A step and what was measured, by size."""

    step: Step
    measured: list[Measured]

    def beside(self) -> Measured | None:
        """Return what was measured at the largest size that the library took."""
        both = [m for m in self.measured if not math.isnan(m.ratio)]
        return both[-1] if both else None

    def slope(self, name: str) -> float:
        """Return the exponent of growth between the two largest sizes."""
        if len(self.measured) < 2:
            return math.nan
        one, two = self.measured[-2:]
        least = 1.0 if name == "ours_mib" else 1e-9
        a, b = max(getattr(one, name), least), max(getattr(two, name), least)
        return math.log(b / a) / math.log(two.size / one.size)


def in_a_process(step: Step, size: int) -> Measured:
    """Measure in a new process."""
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "tests.benchmarks", "--one", step.name, str(size)],
        capture_output=True, text=True, timeout=TIMEOUT_S, check=False,
    )  # fmt: skip
    if done.returncode:
        raise SystemExit(f"{step.name}, size {size}: {done.stderr.strip()[-2000:]}")
    return Measured(**json.loads(done.stdout.splitlines()[-1]))


def table(rows: list[Row]) -> str:
    """Return the table as Markdown."""
    out = [
        "| step | library | size | ours s | library s | ratio | of processor time | MiB ours, "
        "library | growth of time | of memory | same answers |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    notes = []
    for row in rows:
        step, last, both = row.step, row.measured[-1], row.beside()
        at = both or last
        out.append(
            f"| {step.name} | {step.library} | {at.size:,} {step.counts} | {_n(at.ours_s)} | "
            f"{_n(at.theirs_s)} | {_n(at.ratio)} | {_n(at.theirs_cpu_s / at.ours_cpu_s)} | "
            f"{_n(at.ours_mib)}, {_n(at.theirs_mib)} | {_n(row.slope('ours_s'))} | "
            f"{_n(row.slope('ours_mib'))} | {step.tolerance} |"
        )
        if last is not at:
            notes.append(
                f"{step.name}: ours alone takes {last.size:,} {step.counts} in {_n(last.ours_s)} s "
                f"and {_n(last.ours_mib)} MiB."
            )
        if both and both.ratio < step.wanted:
            notes.append(
                f"{step.name}: {_n(both.ratio)} of {step.wanted:g}. "
                f"{step.why or 'Not yet explained.'}"
            )
    return "\n".join([*out, "", *notes])


def _n(value: float) -> str:
    if math.isnan(value):
        return "–"
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.2g}"


def main(words: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--sizes", type=float, nargs="+", default=[1, 10, 100])
    parser.add_argument("--only", nargs="+", default=[])
    parser.add_argument("--big", action="store_true")
    parser.add_argument("--one", nargs=2, metavar=("STEP", "SIZE"), help=argparse.SUPPRESS)
    asked = parser.parse_args(words)
    if asked.one:
        step = next(s for s in all_steps() if s.name == asked.one[0])
        print(json.dumps(measure(step, int(asked.one[1])).as_dict()))
        return
    rows = []
    for step in all_steps():
        if asked.only and not any(part in step.name for part in asked.only):
            continue
        sizes = sorted({max(round(step.demo * times), 15) for times in asked.sizes})
        sizes = [size for size in sizes if size <= step.largest]
        if asked.big and step.big > sizes[-1]:
            sizes.append(step.big)
        row = Row(step, [])
        for size in sizes:
            row.measured.append(in_a_process(step, size))
            m = row.measured[-1]
            print(f"{step.name}, {size:,}: {_n(m.ours_s)} s, {step.library} {_n(m.theirs_s)} s, "
                  f"ratio {_n(m.ratio)}", file=sys.stderr, flush=True)  # fmt: skip
        rows.append(row)
    print(table(rows))


if __name__ == "__main__":
    main()
