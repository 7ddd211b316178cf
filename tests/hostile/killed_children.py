"""Commands in child processes that can be killed at any time, and what they were doing then.

A child is forked from a process that has loaded all libraries and computed nothing, so that most
of its time is the command's own.
"""

from __future__ import annotations

import mmap
import os
import signal
import sys
import time
import traceback
import warnings
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from roadrisk.base.progress import Tick

_LONGEST = 100


def load() -> None:
    """Load what the commands need, before the first child."""
    import roadrisk.analysis
    import roadrisk.cli
    import roadrisk.reporting.documents.brief
    import roadrisk.reporting.documents.pdf
    import roadrisk.reporting.documents.proposal
    import roadrisk.reporting.documents.word
    import roadrisk.reporting.editions.public_page
    import roadrisk.reporting.exchange.darwin_core
    import roadrisk.reporting.exchange.layers
    import roadrisk.reporting.exchange.workbook
    import roadrisk.reporting.writing
    import roadrisk.review.server  # noqa: F401


class Shown:
    """Progress that leaves the name of the step where the parent can read it."""

    def __init__(self) -> None:
        self._told = mmap.mmap(-1, _LONGEST)

    @contextmanager
    def step(self, words: str, total: int) -> Iterator[Tick]:
        """Open a step."""
        del total
        self._told[:] = words.encode()[:_LONGEST].ljust(_LONGEST, b"\0")
        yield lambda _=1: None
        if words == "Reading":
            self._told[:] = b"Computing".ljust(_LONGEST, b"\0")

    @property
    def now(self) -> str:
        """The step that is or was being done."""
        return self._told[:].rstrip(b"\0").decode("utf-8", "replace") or "Starting"


@dataclass
class Child:
    """A command that runs."""

    pid: int
    out: Path
    shown: Shown
    began: float = field(default_factory=time.monotonic)
    code: int | None = None

    def ended(self) -> bool:
        """Whether it ended by itself, or was killed and waited for."""
        if self.code is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.code = os.waitstatus_to_exitcode(status)
        return self.code is not None

    def wait(self) -> int:
        """Wait for its end and return its exit code."""
        if self.code is None:
            self.code = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        return self.code

    def kill(self) -> bool:
        """Kill it as a power cut would; False if it had ended before."""
        if self.ended():
            return False
        os.kill(self.pid, signal.SIGKILL)
        return self.wait() == -signal.SIGKILL

    def said(self) -> str:
        """What it has printed."""
        return self.out.read_text("utf-8", "replace")


def started(words: list[str], out: Path) -> Child:
    """Start a command; what it prints goes into the file `out`."""
    shown = Shown()
    out.write_bytes(b"")
    sys.stdout.flush()
    sys.stderr.flush()
    with warnings.catch_warnings():
        # Threads of numerical libraries sleep: nothing was computed yet.
        warnings.simplefilter("ignore", DeprecationWarning)
        pid = os.fork()
    if pid:
        return Child(pid, out, shown)
    code = 70
    try:
        handle = os.open(out, os.O_WRONLY)
        os.dup2(handle, 1)
        os.dup2(handle, 2)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        _command(words, shown)
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
    except BaseException:  # noqa: BLE001
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def _command(words: list[str], shown: Shown) -> None:
    from roadrisk import cli, cli_run

    @contextmanager
    def progress() -> Iterator[Shown]:
        yield shown

    cli._progress = cli_run.progress = progress
    cli.main(words)
    raise SystemExit(0)
