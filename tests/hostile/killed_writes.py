"""`write_whole` killed before each of its steps on the disk, and its recovery likewise.

    python -m tests.hostile.killed_writes --way exchange

A child writes a new edition over an old one and is killed before its n-th call that changes the
disk, for every n; for some of them a second child puts things right and is killed too. What a
reader sees meanwhile, and what lies there after one more call, is held against the old edition
and the new. Prints how many places there were; exit code 1 if anything failed.
"""

from __future__ import annotations

import argparse
import errno
import os
import random
import signal
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

from roadrisk.base import folder_swap
from roadrisk.base.whole import ready, write_whole

if TYPE_CHECKING:
    from collections.abc import Callable

WAYS = ("exchange", "two renames", "moves")
OLD = {f"{n}.csv": f"old {n}".encode() for n in "abcde"} | {"mine.txt": b"a person's own"}
NEW = {f"{n}.csv": f"new {n}".encode() for n in "cdefg"}
AFTER = OLD | NEW
# What changes the disk, as Python's audit events name it; "ctypes.dlsym" comes before an exchange.
_CHANGES = {
    "os.rename", "os.link", "os.mkdir", "os.remove", "os.rmdir", "os.truncate", "os.chmod",
    "os.chown", "os.utime", "ctypes.dlsym",
}  # fmt: skip
_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT


def killed_before(step: int, do: Callable[[], object]) -> bool:
    """Do something in a child that is killed before its n-th change; False if it got through."""
    pid = os.fork()
    if pid:
        status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
        if status not in (0, -signal.SIGKILL):
            raise RuntimeError(f"the child ended with {status}")
        return status != 0
    done = 0

    def heard(event: str, arguments: tuple[object, ...]) -> None:
        nonlocal done
        writes = event == "open" and isinstance(arguments[2], int) and arguments[2] & _WRITES
        if event in _CHANGES or writes:
            done += 1
            if done == step:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(heard)
    code = 1
    try:
        do()
        code = 0
    finally:
        os._exit(code)


def contents(out: Path) -> dict[str, bytes]:
    """Return what a person sees."""
    if not out.exists():
        return {}
    return {p.name: p.read_bytes() for p in out.iterdir() if not p.name.startswith(".")}


def look(way: str, out: Path, log: Path, old: dict[str, bytes]) -> str:
    """Say what is wrong with what lies there after a kill."""
    found = contents(out)
    after = old | NEW
    if not found and way == "two renames":
        return ""
    if way == "moves":
        strange = {n for n, c in found.items() if c not in (old.get(n), after.get(n))}
        lost = {n for n in old if n not in found}
        return f"half: {strange | lost}" if strange | lost else ""
    if found not in (old, after):
        return f"neither old nor new: {found}"
    if found == after and not log.exists():
        return "new without what must come first"
    return ""


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--way", choices=WAYS, action="append")
    parser.add_argument("--seconds", type=int, default=2, help="second kills for each first")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    # What isn't on the disk matters after a power cut alone, which nobody can do here.
    os.fsync = lambda _: None
    failures: list[str] = []
    counts: Counter[str] = Counter()
    rng = random.Random(asked.seed)
    for way in asked.way or WAYS:
        _only(way)
        for old in (OLD, {}):
            step = 0
            while True:
                step += 1
                with tempfile.TemporaryDirectory() as scratch:
                    words = f"{way}, {'over an old one' if old else 'new'}, step {step}"
                    try:
                        found = _one(way, Path(scratch), old, step, rng, asked.seconds, counts)
                    except Exception as error:  # noqa: BLE001
                        found = [repr(error)]
                    if found is None:
                        break
                    failures += [f"{words}: {line}" for line in found]
                    counts[way] += 1
    for name, count in counts.items():
        print(f"{name}: {count}")
    print("".join(f"  {line}\n" for line in failures), end="")
    return int(bool(failures))


def _only(way: str) -> None:
    """Leave one way, as on systems that have no other."""

    def none(*_: object) -> None:
        raise OSError(errno.EINVAL, "no exchange of folders")

    if way == "two renames":
        folder_swap._renameat2 = none
    if way == "moves":
        folder_swap._may_swap = lambda *_: False


def _one(
    way: str, scratch: Path, old: dict[str, bytes], step: int, rng: random.Random, seconds: int,
    counts: Counter[str],
) -> list[str] | None:  # fmt: skip
    """Kill before one step and then put right; None if there is no such step."""
    out, log = scratch / "reports" / "edition", scratch / "log"
    out.parent.mkdir()
    if old:
        write_whole(old, out)
    if not killed_before(step, lambda: write_whole(NEW, out, first=lambda: log.write_bytes(b"x"))):
        return None
    failures = [look(way, out, log, old)]
    for _ in range(seconds):
        if not killed_before(rng.randint(1, 25), lambda: _put_right(out)):
            break
        counts[f"{way}, killed again"] += 1
        failures.append(look(way, out, log, old))
    _put_right(out)
    found = contents(out)
    if found not in (old, old | NEW):
        failures.append(f"not put right: {found}")
    elif found and found != old and not log.exists():
        failures.append("new without what must come first")
    write_whole(NEW, out)
    if contents(out) != old | NEW:
        failures.append("the next call doesn't write")
    left = [str(p.relative_to(scratch)) for p in scratch.rglob(".*")]
    failures += [f"left behind: {left}"] if left else []
    return [line for line in failures if line]


def _put_right(out: Path) -> None:
    with ready(out):
        pass


if __name__ == "__main__":
    raise SystemExit(main())
