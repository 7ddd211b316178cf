"""Kills at random times of `run` and `review`: no half-written output, no lost decision.

    python -m tests.hostile.kills --count 200 --seed 1

Half are of `run`, half of `review`. Half of the kills of `run` fall anywhere in its time (most with
all worked out anew, the others with what is kept of earlier runs), half into the time in which
files are staged and take their places. After each, the folder must hold
the whole old edition or the whole new one, byte for byte, and the next run must succeed and leave
nothing of the killed one behind. `review` is killed while several requests are under way: every
decision that was acknowledged must be in the history afterwards. Prints a line for each failure,
and figures; exit code 1 if anything failed.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from tests.hostile.killed_children import Child, load, started
from tests.hostile.killed_reviews import ReviewKills
from tests.truth import small_worlds

# Of ten runs so many are of the public edition, which is quick and has a log to keep.
PUBLIC_IN_TEN = 8
_POLL_S = 0.0003


def small_study(folder: Path) -> Path:
    """Write a study that runs in a few seconds."""
    world = small_worlds.one_road(small_worlds.whole_world())
    world = world.without(
        "fixes", "animals", "nests", "trials", "surveys", "population", "stages", "habitat"
    )
    reports = small_worlds.public(world.tables["sightings"]).head(20).copy()
    world.having(sightings=reports).write(folder)
    settings = folder / "study.toml"
    settings.write_text(settings.read_text("utf-8").replace("draws = 39", "draws = 19"), "utf-8")
    return folder


@dataclass
class RunKills:
    """Kills of ``roadrisk run``.

    Attributes
    ----------
    folder : pathlib.Path
        Everything is written in it.
    rng : random.Random
    editions : tuple of str
    failures : list of str
    counts : collections.Counter
        Of kills by what was being done, and by what lay there afterwards.
    """

    folder: Path
    rng: random.Random
    editions: tuple[str, ...] = ("public", "agency")
    failures: list[str] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    number: int = 0
    _took_s: dict[tuple[str, bool], float] = field(default_factory=dict)
    _staged_s: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.study = small_study(self.folder / "study")
        self._settings = (self.study / "study.toml").read_text("utf-8")
        for edition in self.editions:
            for anew in (True, False):
                self._change()
                self._whole_run(edition, anew=anew)

    def kill_one(self) -> None:
        """Change the study, kill a run of it, look at what is there, and run it to its end."""
        edition = self.editions[0 if self.rng.random() < PUBLIC_IN_TEN / 10 else -1]
        before = _files(self._out(edition))
        fresh = self.rng.random() < 0.15
        if fresh:
            shutil.rmtree(self._out(edition))
            before = {}
        self._change()
        self._killed(edition)
        self.number += 1
        found = _files(self._out(edition))
        problem = _half(found)
        what = "new" if found != before else "old"
        if found != before and problem:
            self._fail(f"{edition}: {problem}")
        after = self._whole_run(edition)
        if found not in (before, after):
            self._fail(f"{edition}: neither the old edition nor the new one")
        self.counts[f"then {'nothing' if not found else what}"] += 1

    def _out(self, edition: str) -> Path:
        return self.folder / "reports" / edition

    def _change(self) -> None:
        """Make the next edition another one, with little to be worked out anew for it."""
        whom = f"the keeper in hut {self.rng.randrange(10**9)} (invented)"
        changed = f'{self._settings}\n[replies]\ninjured_call = "{whom}"\n'
        (self.study / "study.toml").write_text(changed, "utf-8")

    def _start(self, edition: str, *, anew: bool) -> Child:
        words = ["run", str(self.study), "--edition", edition, "--out", str(self._out(edition))]
        return started([*words, *["--fresh"] * anew], self.folder / "said.txt")

    def _staging(self, edition: str) -> Path:
        return self._out(edition).with_name(f".{edition}.unfinished")

    def _killed(self, edition: str) -> None:
        """Start runs until one was killed before its end."""
        while True:
            anew = self.rng.random() < 0.35
            child = self._start(edition, anew=anew)
            if anew or self.rng.random() < 0.2:
                delay = self.rng.uniform(0, self._took_s[edition, anew])
                _wait(child, child.began + delay)
            else:
                self._await_staging(child, edition)
                delay = self.rng.uniform(0, 1.2 * self._staged_s[edition])
                _wait(child, time.monotonic() + delay)
            staged = self._staging(edition).exists()
            if child.kill():
                doing = "Taking places" if staged else child.shown.now
                self.counts[f"killed: {doing}"] += 1
                return
            if child.code != 0:
                self._fail(f"a run that was to be killed ended with {child.code}: {child.said()}")
                self._change()

    def _await_staging(self, child: Child, edition: str) -> None:
        while not self._staging(edition).exists() and not child.ended():
            time.sleep(_POLL_S)

    def _whole_run(self, edition: str, *, anew: bool = False) -> dict[str, bytes]:
        """Run to the end, and say what is wrong with it; return the files."""
        child = self._start(edition, anew=anew)
        self._await_staging(child, edition)
        begun = time.monotonic()
        while self._staging(edition).exists():
            time.sleep(_POLL_S)
        # Timings follow the load of the machine.
        self._staged_s[edition] = time.monotonic() - begun
        code = child.wait()
        self._took_s[edition, anew] = time.monotonic() - child.began
        if code != 0:
            self._fail(f"{edition}: the next run ended with {code}: {child.said()}")
        files = _files(self._out(edition))
        if problem := _half(files):
            self._fail(f"{edition}: after the next run: {problem}")
        if left := self._left(edition):
            self._fail(f"{edition}: left behind: {left}")
        return files

    def _left(self, edition: str) -> list[str]:
        """Return what a killed run of this edition left; of others it may still lie there."""
        out, staging = self._out(edition), self._staging(edition)
        found = [staging] if staging.exists() else []
        found += [p for p in out.iterdir() if p.name.startswith(".") or "meanwhile" in p.name]
        found += [p for p in self.study.iterdir() if p.name.startswith((".roadrisk", ".released"))]
        return [p.name for p in (*found, *self.study.glob(".kept/*.part"))]

    def _fail(self, words: str) -> None:
        self.failures.append(f"run {self.number}: {words}")


def _files(out: Path) -> dict[str, bytes]:
    """Return the files that a person sees."""
    if not out.exists():
        return {}
    return {p.name: p.read_bytes() for p in sorted(out.iterdir()) if not p.name.startswith(".")}


def _half(files: dict[str, bytes]) -> str:
    """Say what is missing or wrong by the edition's own provenance.json; "" if it is whole."""
    if "provenance.json" not in files:
        return "no provenance.json" if files else "nothing there"
    outputs = json.loads(files["provenance.json"])["outputs"]
    found = {n: hashlib.sha256(c).hexdigest() for n, c in files.items() if n != "provenance.json"}
    wrong = sorted(name for name in {*outputs, *found} if outputs.get(name) != found.get(name))
    return f"not as provenance.json says: {', '.join(wrong)}" if wrong else ""


def _wait(child: Child, until: float) -> None:
    while time.monotonic() < until and not child.ended():
        time.sleep(min(0.01, max(0.0, until - time.monotonic())))


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--of", choices=("run", "review"), help="only these")
    parser.add_argument("--public", action="store_true", help="runs of the public edition alone")
    asked = parser.parse_args(arguments)
    load()
    rng = random.Random(asked.seed)
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as scratch:
        kinds: dict[str, RunKills | ReviewKills] = {}
        if asked.of != "review":
            editions = ("public",) if asked.public else ("public", "agency")
            kinds["run"] = RunKills(Path(scratch) / "runs", rng, editions)
        if asked.of != "run":
            kinds["review"] = ReviewKills(small_study(Path(scratch) / "reviews" / "study"), rng)
        for k in range(asked.count):
            list(kinds.values())[k % len(kinds)].kill_one()
            if k % 10 == 9:
                seconds = time.monotonic() - began
                failed = sum(len(one.failures) for one in kinds.values())
                words = f"{k + 1} kills, {failed} failures, {seconds:.0f} s"
                print(words, file=sys.stderr, flush=True)
        if asked.of != "run":
            kinds["review"].end()
    for words, one in kinds.items():
        print(f"{words}: {one.number} kills, {len(one.failures)} failures")
        for name, count in sorted(one.counts.items()):
            print(f"  {name}: {count}")
        print("".join(f"  {line}\n" for line in one.failures), end="")
    return int(any(one.failures for one in kinds.values()))


if __name__ == "__main__":
    raise SystemExit(main())
