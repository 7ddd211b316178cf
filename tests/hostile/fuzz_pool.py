"""Child processes that read one spoilt input after another, watched for time and memory (Linux)."""

from __future__ import annotations

import contextlib
import os
import resource
import shutil
import signal
import time
import traceback
import warnings
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, Pipe
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from roadrisk.errors import RoadriskError
from tests.hostile.fuzz_readers import READERS, judge

if TYPE_CHECKING:
    from tests.hostile.fuzz_readers import Files

CPU_S, WALL_S = 10.0, 60.0
MOST_BYTES = 2 * 2**30
# Above what the process has mapped (libraries, threads): a stop before the computer suffers.
_ADDRESSES = 6 * 2**30
_TICKS = os.sysconf("SC_CLK_TCK")
_PAGE = os.sysconf("SC_PAGE_SIZE")


@dataclass(frozen=True)
class Outcome:
    """What became of one input: "accepted", "refused", or a finding and its words."""

    kind: str
    words: str = ""
    said: tuple[str, ...] = ()


def made(reader: str, seed: int) -> Files:
    """Return the files that a reader is given under a seed, the same each time."""
    return READERS[reader].make(Random(f"{reader}/{seed}"))


def put(files: Files, folder: Path) -> None:
    """Write files into an emptied folder."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def read(reader: str, folder: Path) -> Outcome:
    """Have a reader read a folder, in this process."""
    said: list[str] = []

    def note(message: object, category: type[Warning], *_: object, **__: object) -> None:
        said.append(f"{category.__name__}: {str(message)[:200]}")

    with warnings.catch_warnings():
        warnings.simplefilter("always")
        warnings.showwarning = note  # type: ignore[assignment]
        try:
            accepted = READERS[reader].read(folder)
        except RoadriskError as error:
            try:
                judge(getattr(error, "remarks", ()))
            except Exception:  # noqa: BLE001  whatever it is, it is a finding
                return Outcome("traceback", traceback.format_exc()[-6000:])
            return Outcome("refused", said=tuple(said))
        except BaseException:  # noqa: BLE001  likewise
            return Outcome("traceback", traceback.format_exc()[-6000:])
    return Outcome("accepted" if accepted else "refused", said=tuple(said))


@dataclass
class Worker:
    """One child and what it is doing."""

    pid: int
    link: Connection
    folder: Path
    job: tuple[str, int] | None = None
    since: float = 0.0
    cpu_before: float = 0.0
    peak: int = field(default=0)

    @classmethod
    def born(cls, folder: Path) -> Worker:
        ours, theirs = Pipe()
        pid = os.fork()
        if pid == 0:
            ours.close()
            _serve(theirs, folder)
        theirs.close()
        return cls(pid, ours, folder)

    def give(self, reader: str, seed: int) -> None:
        self.job, self.since, self.peak = (reader, seed), time.monotonic(), 0
        self.cpu_before = self._cpu()
        self.link.send((reader, seed))

    def trouble(self) -> str:
        """Return why this child has to be ended, or ""."""
        try:
            pages = int(Path(f"/proc/{self.pid}/statm").read_text().split()[1])
        except OSError:
            return ""
        self.peak = max(self.peak, pages * _PAGE)
        if self.peak > MOST_BYTES:
            return "memory"
        slow = self._cpu() - self.cpu_before > CPU_S
        return "hang" if slow or time.monotonic() - self.since > WALL_S else ""

    def end(self) -> int:
        """End the child, and return how it ended."""
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)
        self.link.close()
        try:
            _, status = os.waitpid(self.pid, 0)
        except ChildProcessError:  # ended and seen before
            return -1
        return status

    def _cpu(self) -> float:
        try:
            parts = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            return 0.0
        return (int(parts[11]) + int(parts[12])) / _TICKS


def _serve(link: Connection, folder: Path) -> None:
    """Read inputs until the parent is gone; never returns."""
    status = 0
    try:
        mapped = int(Path("/proc/self/statm").read_text().split()[0]) * _PAGE
        resource.setrlimit(resource.RLIMIT_AS, (mapped + _ADDRESSES,) * 2)
        # A device that something writes to must not end as a core on the disk.
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        while True:
            reader, seed = link.recv()
            try:
                put(made(reader, seed), folder)
            except Exception:  # noqa: BLE001  a fault of the fuzzer, told apart
                link.send(Outcome("unmade", traceback.format_exc()[-3000:]))
                continue
            Path("/proc/self/clear_refs").write_text("5")  # the peak begins anew
            outcome = read(reader, folder)
            lines = Path("/proc/self/status").read_text().splitlines()
            peak = next(int(x.split()[1]) for x in lines if x.startswith("VmHWM")) * 1024
            if peak > MOST_BYTES and outcome.kind in ("accepted", "refused"):
                outcome = Outcome("memory", f"peak {peak / 2**30:.2f} GiB")
            link.send(outcome)
    except (EOFError, OSError):
        pass
    except BaseException:  # noqa: BLE001  the parent sees how this child ended
        status = 1
    finally:
        os._exit(status)
