"""Kills of `review` while people decide: what was acknowledged is kept."""

from __future__ import annotations

import http.client
import json
import random
import re
import sqlite3
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from roadrisk.errors import RoadriskError
from roadrisk.records.decision_store import DecisionStore
from tests.hostile.killed_children import Child, started

if TYPE_CHECKING:
    from pathlib import Path

# How many decide at once; how long at most before a kill [s].
PEOPLE = 3
LONGEST_S = 1.5
_LONGEST_START_S = 180.0


@dataclass
class ReviewKills:
    """Kills of ``roadrisk review`` on one study.

    Attributes
    ----------
    study : pathlib.Path
    rng : random.Random
    failures : list of str
    counts : collections.Counter
    number : int
    """

    study: Path
    rng: random.Random
    failures: list[str] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    number: int = 0
    _kept: set[str] = field(default_factory=set)
    _sent: int = 0
    _started_s: float = 5.0

    def kill_one(self) -> None:
        """Start the page, decide, kill it, and look whether all that was acknowledged is kept."""
        child = self._start()
        if self.rng.random() < 0.15:
            until = child.began + self.rng.uniform(0, self._started_s)
            while time.monotonic() < until:
                time.sleep(0.002)
            self._count(child.kill(), child.shown.now)
        else:
            asking = self._enter(child)
            if asking is None:
                return
            delay = self.rng.uniform(0, LONGEST_S)
            people = [
                threading.Thread(target=self._decide, args=(asking, k)) for k in range(PEOPLE)
            ]
            for person in people:
                person.start()
            time.sleep(delay)
            self._count(child.kill(), "deciding")
            for person in people:
                person.join()
        self._check()

    def end(self) -> None:
        """Start the page once more, decide once, and end it as a person does."""
        child = self._start()
        asking = self._enter(child)
        if asking is None:
            return
        row = asking.get("/api/start")["first"] or 0
        asking.post(
            "/api/decide", {"row": row, "verdict": "accept", "reason": "last", "seen": 10**9}
        )
        self._kept.add("last")
        self._check()
        child.kill()

    def _start(self) -> Child:
        words = ["review", str(self.study), "--no-open", "--reviewer", "Ann Reed"]
        return started(words, self.study.parent / "said.txt")

    def _enter(self, child: Child) -> Asking | None:
        until = time.monotonic() + _LONGEST_START_S
        while time.monotonic() < until and not child.ended():
            found = re.search(r"http://127\.0\.0\.1:(\d+)(/enter\S+)", child.said())
            if found:
                self._started_s = time.monotonic() - child.began
                return Asking(int(found[1]), found[2])
            time.sleep(0.01)
        child.kill()
        self._fail(f"the page doesn't start: {child.said()}")
        return None

    def _decide(self, asking: Asking, person: int) -> None:
        """Decide until nobody answers; a reason that was acknowledged is noted after the answer."""
        link = asking.again()
        rng = random.Random(f"{self.number} {person}")
        for step in range(100_000):
            reason = f"{self.number}-{person}-{step}"
            row = PEOPLE * rng.randrange(6) + person
            told = {"row": row, "verdict": rng.choice(("accept", "reject")), "reason": reason,
                    "seen": 10**9}  # fmt: skip
            try:
                link.post("/api/decide", told)
            except (OSError, http.client.HTTPException):
                return
            except RoadriskError as refused:
                self._fail(f"refused: {refused}")
                return
            self._kept.add(reason)

    def _count(self, killed: bool, doing: str) -> None:
        self.number += 1
        if not killed:
            self._fail("the page had ended before it was killed")
        self.counts[f"killed: {doing}"] += 1

    def _check(self) -> None:
        try:
            store = DecisionStore(self.study)
            store.check()
            history = store.history()
        except (RoadriskError, sqlite3.Error) as error:
            self._fail(f"the history can't be read: {error}")
            return
        lost = self._kept - {entry.reason for entry in history}
        if lost:
            self._fail(f"lost: {len(lost)}, such as {min(lost)}")
        if [e.number for e in history] != list(range(1, len(history) + 1)):
            self._fail("the history has gaps")
        # At most what each had just sent may stand there without an answer.
        more = len(history) - len(self._kept)
        if more > PEOPLE * self.number:
            self._fail(f"{more} entries that nobody was told of")
        self.counts["acknowledged decisions"] = len(self._kept)
        self.counts["written, and killed before the answer"] = more

    def _fail(self, words: str) -> None:
        self.failures.append(f"review {self.number}: {words}")


class Asking:
    """What a browser sends: the entry once, then the session with every request."""

    def __init__(self, port: int, entry: str, session: tuple[str, str] | None = None) -> None:
        self._port = port
        self._link = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        if session is None:
            self._link.request("GET", entry)
            answer = self._link.getresponse()
            answer.read()
            cookie = str(answer.getheader("set-cookie")).split(";")[0]
            self._link.request("GET", "/", headers={"Cookie": cookie})
            page = self._link.getresponse().read().decode()
            found = re.search(r'name="page-token" content="([^"]+)"', page)
            assert found is not None
            session = cookie, found[1]
        self._session = session

    def again(self) -> Asking:
        """Return another connection of the same session."""
        return Asking(self._port, "", self._session)

    def get(self, path: str) -> dict[str, object]:
        """Ask for something."""
        return self._ask("GET", path, None)

    def post(self, path: str, told: dict[str, object]) -> dict[str, object]:
        """Send something, and wait for the answer."""
        return self._ask("POST", path, json.dumps(told))

    def _ask(self, method: str, path: str, body: str | None) -> dict[str, object]:
        headers = {"Cookie": self._session[0], "X-Review-Token": self._session[1]}
        if body is not None:
            headers |= {"Content-Type": "application/json",
                        "Origin": f"http://127.0.0.1:{self._port}"}  # fmt: skip
        self._link.request(method, path, body, headers)
        answer = self._link.getresponse()
        content = answer.read()
        if answer.status != 200:
            raise RoadriskError(f"{answer.status}: {content.decode('utf-8', 'replace')}")
        found: dict[str, object] = json.loads(content)
        return found
