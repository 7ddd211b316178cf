"""What the review page calls kept: still there after kill -9, and exactly what a run goes by.

By hand: what was pressed is written down and held against the file and the run's tables.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import threading
from http.client import HTTPConnection, HTTPException
from typing import TYPE_CHECKING, Any

import pyproj
import pytest
from playwright.sync_api import expect

from roadrisk.analysis import analyse
from roadrisk.records.decision_store import DecisionStore
from roadrisk.records.study_folder import read_study
from tests.conftest import with_few_draws
from tests.pages.review_page import Opened, open_review, serve_made, serve_study
from tests.pages.test_review_page import PLAN, REASONS, decide_by_key, decide_by_mouse

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser

SHORT = {
    "accept": "accepted by Ann Reed on ",
    "reject": "rejected by Ann Reed on ",
    "ask back": "asked back by Ann Reed on ",
    "not sure": "Ann Reed was not sure on ",
}


@pytest.fixture
def study(demo_area: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "étude à côté"
    shutil.copytree(
        demo_area, folder, ignore=shutil.ignore_patterns("truth", "*.py", "__pycache__")
    )
    return with_few_draws(folder, animals=1, paths=20, draws=19)


def test_a_review_that_is_cut_off_and_the_run_after_it(study: Path, browser: Browser) -> None:
    """Twenty reports by keyboard and by mouse with kill -9 between; then the run's tables."""
    served = serve_study(study, "--reviewer", "Ann Reed")
    opened = open_review(browser, served, reviewer="")
    kept: dict[str, tuple[str, str]] = {}
    pairs: dict[frozenset[str], bool] = {}
    moved: tuple[str, float, float] | None = None
    for number, (verdict, reason) in enumerate(PLAN, 1):
        if number == 4:
            moved = _move(opened, study)
        if number in (5, 15):
            pairs |= _turn_a_pair_around(opened, study)
        if number == 10:
            # In the middle: at once after the page has said that it is kept.
            served.cut_off()
            opened.page.keyboard.press("a")
            expect(opened.page.locator("#trouble")).to_contain_text("No answer from roadrisk")
            opened.context.close()
            served = serve_study(study, "--reviewer", "Ann Reed")
            opened = open_review(browser, served, reviewer="")
        before = len(DecisionStore(study).history())
        decide = decide_by_key if number % 2 else decide_by_mouse
        decide(opened.page, verdict, reason)
        opened.said("Kept: ")
        (entry,) = DecisionStore(study).history()[before:]
        assert (entry.verdict, entry.reason) == (verdict, REASONS.get((verdict, reason), ""))
        kept[entry.report_key] = (verdict, entry.reason)
        expect(opened.page.locator("#state")).to_have_text("Not decided yet")
    opened.page.keyboard.press("u")
    opened.said("Taken back: ")
    undone = list(kept)[-1]
    del kept[undone]
    opened.page.reload()
    expect(opened.page.locator("#state")).to_have_text("Not decided yet")
    assert opened.complaints == []
    assert served.stop() == 0
    assert "The review ended" in served.said()
    assert moved is not None
    assert len(pairs) == 2
    _check_the_run(study, kept, pairs, moved)


def _check_the_run(
    study: Path,
    kept: dict[str, tuple[str, str]],
    pairs: dict[frozenset[str], bool],
    moved: tuple[str, float, float],
) -> None:
    read = read_study(study)
    found = analyse(read)
    assert read.held is not None
    records = read.sightings.set_index("report_key")["occurrenceID"].to_dict()
    held = read.held.set_index("report_key")["occurrenceID"].to_dict()
    records |= held
    states = found.reports.states.set_index("record")
    decided = states[states["state"] != "undecided"]
    assert set(decided.index) == {records[key] for key in kept}
    left_out = found.left_out.set_index("record")["reason"]
    for key, (verdict, reason) in kept.items():
        row = decided.loc[records[key]]
        assert (row["state"], row["reason"], row["decided_by"]) == (verdict, reason, "Ann Reed")
        if verdict == "accept":
            why = left_out.get(records[key], "")
            # What lies nowhere or has no date can't count, accepted or not; the page says so.
            assert not why.startswith(tuple(SHORT.values())) or (key in held and "; but it" in why)
        else:
            assert left_out[records[key]].startswith(SHORT[verdict])
            assert row["counts_as"] == 0
    ours = left_out[left_out.str.contains("Ann Reed") & ~left_out.str.contains("; but it")]
    assert len(ours) == sum(verdict != "accept" for verdict, _ in kept.values())
    by_hand = found.reports.links
    by_hand = by_hand[by_hand["by_hand"]]
    said = {
        frozenset((r.record, r.other)): r.probability > 0.5 for r in by_hand.itertuples(index=False)
    }
    # A pair of which one report doesn't count has no link in a run.
    there = {p: same for p, same in pairs.items() if not p & set(ours.index)}
    assert {p: same for p, same in said.items() if p in there} == there
    assert set(said) <= set(pairs)
    key, longitude, latitude = moved
    if kept.get(key, ("",))[0] == "accept":
        place = found.sightings.set_index("report_key").loc[key, "geometry"]
        to_metres = pyproj.Transformer.from_crs("EPSG:4326", read.crs, always_xy=True)
        x, y = to_metres.transform(longitude, latitude)
        assert place.x == pytest.approx(x, abs=0.2)
        assert place.y == pytest.approx(y, abs=0.2)


def _move(opened: Opened, study: Path) -> tuple[str, float, float]:
    """Move the report on the screen by 55 m, as long as it lies somewhere."""
    page = opened.page
    page.keyboard.press("m")
    for key in ("Shift+ArrowUp", "ArrowRight"):
        page.keyboard.press(key)
    page.keyboard.press("Enter")
    opened.said("Kept: the new place.")
    entry = DecisionStore(study).history()[-1]
    assert entry.kind == "place"
    assert entry.longitude is not None
    assert entry.latitude is not None
    return entry.report_key, entry.longitude, entry.latitude


def _turn_a_pair_around(opened: Opened, study: Path) -> dict[frozenset[str], bool]:
    """Go on to a report that may be of one animal with another, and say the opposite."""
    page = opened.page
    row = page.evaluate("location.hash")
    number = int(page.locator("#position").inner_text().split()[0])
    while not page.locator("#linked li").filter(has_text="in 100").count():
        page.keyboard.press("j")
        number += 1
        opened.at(re.compile(f"^{number} of"))
    line = page.locator("#linked li").filter(has_text="in 100").first
    line.locator("button[aria-pressed='false']").click()
    opened.said("Kept: ")
    entry = DecisionStore(study).history()[-1]
    assert entry.kind in ("same", "apart")
    # Back to where it was: the address names the report, and is read when the page loads.
    page.evaluate(f"history.replaceState(null, '', '{row}')")
    page.reload()
    expect(page.locator("#position")).not_to_be_empty()
    expect(page.locator("body")).not_to_have_class(re.compile("busy"))
    return {frozenset((entry.report_key, entry.other_key)): entry.kind == "same"}


def test_whatever_was_confirmed_before_a_kill_is_there(tmp_path: Path) -> None:
    """Cut off six times at arbitrary moments while decisions come as fast as they can."""
    folder = tmp_path / "study"
    folder.mkdir()
    chance = random.Random(20)
    confirmed: list[tuple[int, str]] = []
    for _ in range(6):
        served = serve_made(folder, more=60, reviewer="Ann Reed")
        session = _session(served.port, served.address)
        stop = threading.Timer(chance.uniform(0.05, 0.5), served.cut_off)
        stop.start()
        tries = 0
        try:
            while tries < 2000:
                row = chance.randrange(18, 78)
                verdict = chance.choice(["accept", "not sure"])
                tries += 1
                seen = 10**9
                body = {"row": row, "verdict": verdict, "reason": "", "seen": seen}
                if _ask(session, "POST", "/api/decide", body) is not None:
                    confirmed.append((row, verdict))
        except (OSError, HTTPException):
            pass
        stop.join()
        assert tries > 1
        history = DecisionStore(folder).history()
        said = [(18 + int(e.report_key.removeprefix("X-")), e.verdict) for e in history]
        assert _is_within(confirmed, said)
        # At most the one on its way at each kill was written and not confirmed.
        assert len(said) - len(confirmed) <= 6
        confirmed = said
    assert len(confirmed) > 20


def _is_within(some: list[tuple[int, str]], all_: list[tuple[int, str]]) -> bool:
    """Whether all of `some` stand in `all_`, in the same order."""
    rest = iter(all_)
    return all(one in rest for one in some)


Session = tuple[int, dict[str, str]]


def _session(port: int, address: str) -> Session:
    host = {"Host": f"127.0.0.1:{port}"}
    link = HTTPConnection("127.0.0.1", port, timeout=10)
    link.request("GET", address.split(str(port), 1)[1], headers=host)
    answer = link.getresponse()
    cookie = answer.getheader("Set-Cookie", "").split(";")[0]
    link.close()
    link.request("GET", "/", headers=host | {"Cookie": cookie})
    page = link.getresponse().read().decode()
    link.close()
    token = page.split('name="page-token" content="')[1].split('"')[0]
    more = {"Cookie": cookie, "Origin": f"http://127.0.0.1:{port}", "X-Review-Token": token}
    return port, host | more


def _ask(session: Session, method: str, path: str, body: Any) -> Any:
    """Return what was answered; None if it was refused."""
    port, headers = session
    link = HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        more = {"Content-Type": "application/json"}
        link.request(method, path, body=json.dumps(body), headers=headers | more)
        answer = link.getresponse()
        text = answer.read()
        return json.loads(text) if answer.status == 200 else None
    finally:
        link.close()
