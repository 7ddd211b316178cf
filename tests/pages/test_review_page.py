"""The review page in a browser: decided by keyboard and by mouse, kept, safe, and readable.

By hand: every expected entry is written down beside the keys that make it.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from roadrisk.records.decision_store import DecisionStore
from tests.pages.review_page import Opened, Served, open_review, serve_made
from tests.pages.small_png import small_png
from tests.sightings import made_reviewed as made

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser

MORE = 20
QUEUE = made.QUEUED + MORE
KEYS = {"accept": "a", "ask back": "b", "not sure": "n", "reject": "r"}
# What is decided on the first 20 reports of the queue, and with which reason (its number).
PLAN = [("accept", 0), ("reject", 2), ("ask back", 1), ("not sure", 3), ("accept", 0)] * 4
REASONS = {
    ("reject", 2): "outside the study area",
    ("ask back", 1): "where exactly it was",
    ("not sure", 3): "the date",
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    found = tmp_path / "étude à côté"
    found.mkdir()
    return found


@pytest.fixture
def served(folder: Path) -> Iterator[Served]:
    running = serve_made(folder, more=MORE)
    yield running
    assert running.stop() == 0, running.said()
    assert "Traceback" not in running.said()


def made_keys() -> list[str]:
    return list(made.made_reviewed(MORE).queue)


def history(folder: Path) -> list[tuple[str, ...]]:
    """What is on the disk, in short."""
    return [
        (e.kind, e.report_key, e.verdict or e.other_key, e.reason)
        if e.kind != "undo"
        else ("undo", str(e.undoes))
        for e in DecisionStore(folder).history()
    ]


def decide_by_key(page: Page, verdict: str, reason: int) -> None:
    page.keyboard.press(KEYS[verdict])
    if reason:
        expect(page.locator("#reasons")).to_be_visible()
        page.keyboard.press(str(reason))


def decide_by_mouse(page: Page, verdict: str, reason: int) -> None:
    page.locator(f"[data-verdict='{verdict}']").click()
    if reason:
        page.locator("#reason_choices button").nth(reason - 1).click()


@pytest.mark.parametrize("how", ["keyboard", "mouse"])
def test_twenty_reports_are_decided_and_kept(
    served: Served, folder: Path, browser: Browser, how: str
) -> None:
    """Each is on the disk when the page calls it kept; a reload shows the same."""
    opened = open_review(browser, served)
    page, keys = opened.page, made_keys()
    decide = decide_by_key if how == "keyboard" else decide_by_mouse
    expected: list[tuple[str, ...]] = []
    for number, (verdict, reason) in enumerate(PLAN, 1):
        opened.at(f"{number} of {QUEUE}")
        decide(page, verdict, reason)
        opened.at(f"{number + 1} of {QUEUE}")
        opened.said("Kept: ")
        expected.append(("verdict", keys[number - 1], verdict, REASONS.get((verdict, reason), "")))
        assert history(folder) == expected
    expect(page.locator("#to_go")).to_have_text(f"{QUEUE - 20} to decide")

    # The last two are taken back, one by one; the page goes to what was taken back.
    for number in (20, 19):
        page.keyboard.press("u") if how == "keyboard" else page.locator("#undo").click()
        opened.at(f"{number} of {QUEUE}")
        expect(page.locator("#said")).to_contain_text("Taken back: ")
        expected.append(("undo", str(number)))
        assert history(folder) == expected
    expect(page.locator("#to_go")).to_have_text(f"{QUEUE - 18} to decide")
    page.reload()
    opened.at(f"19 of {QUEUE}")
    expect(page.locator("#state")).to_have_text("Not decided yet")
    page.keyboard.press("k")
    opened.at(f"18 of {QUEUE}")
    expect(page.locator("#state")).to_contain_text("Ask")
    expect(page.locator("#state")).to_contain_text("by Ann Reed on")
    expect(page.locator("#state")).to_contain_text("where exactly it was")
    assert opened.complaints == []


def test_a_place_is_moved_by_arrow_keys(served: Served, folder: Path, browser: Browser) -> None:
    """Two steps of 50 m north and one of 5 m west; the map doesn't move away under it."""
    opened = open_review(browser, served)
    page = opened.page
    page.keyboard.press("j")
    opened.at(f"2 of {QUEUE}")
    was = _place(opened)
    page.keyboard.press("m")
    expect(page.locator("#mover")).to_be_visible()
    for key in ("Shift+ArrowUp", "Shift+ArrowUp", "ArrowLeft"):
        page.keyboard.press(key)
    expect(page.locator("#mover_far")).to_have_text("100 m north of where it was reported")
    page.keyboard.press("Enter")
    opened.said("Kept: the new place.")
    (entry,) = DecisionStore(folder).history()
    assert (entry.kind, entry.report_key) == ("place", made_keys()[1])
    # A degree of latitude is 111,195 m on the sphere that the page counts with.
    assert entry.latitude == pytest.approx(was[0] + 100 / 111_195, abs=2e-6)
    assert entry.longitude == pytest.approx(was[1] - 5 / 111_195 / 0.6129, abs=2e-6)
    expect(page.locator("#facts")).to_contain_text("Heron Road")
    page.keyboard.press("u")
    opened.said("Taken back: Moved")
    assert _place(opened) == was


def test_a_place_is_moved_by_mouse_and_brought_back(
    served: Served, folder: Path, browser: Browser
) -> None:
    opened = open_review(browser, served)
    page = opened.page
    page.locator("#next").click()
    opened.at(f"2 of {QUEUE}")
    page.locator("#move").click()
    mark = page.locator(".here.moving")
    box = mark.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y, steps=5)
    page.mouse.up()
    expect(page.locator("#mover_far")).to_contain_text(" east of where it was reported")
    page.locator("#map").click(position={"x": 300, "y": 200})
    expect(page.locator("#mover_far")).to_contain_text("north")
    page.locator("#mover_keep").click()
    opened.said("Kept: the new place.")
    page.locator("#move").click()
    page.locator("#mover_back").click()
    opened.said("Kept: back to where it was reported.")
    there, back = DecisionStore(folder).history()
    assert there.longitude is not None
    assert (back.kind, back.longitude, back.latitude) == ("place", None, None)


def test_a_place_is_moved_by_writing_it(served: Served, folder: Path, browser: Browser) -> None:
    """A comma is as good as a point; what is no place is refused and stays to be mended."""
    opened = open_review(browser, served)
    page = opened.page
    page.keyboard.press("m")
    page.locator("#latitude").fill("52,2°")
    page.locator("#longitude").fill("east")
    page.keyboard.press("Enter")
    expect(page.locator("#trouble")).to_contain_text("That is no place")
    expect(page.locator("#longitude")).to_have_value("east")
    assert history(folder) == []
    page.locator("#longitude").fill("19.4102")
    page.keyboard.press("Enter")
    opened.said("Kept: the new place.")
    (entry,) = DecisionStore(folder).history()
    assert (entry.latitude, entry.longitude) == (52.2, 19.4102)
    expect(page.locator("#no_place")).to_be_hidden()


def test_the_proposed_position_is_one_key(served: Served, folder: Path, browser: Browser) -> None:
    opened = open_review(browser, served)
    expect(opened.page.locator("#no_place")).to_be_visible()
    expect(opened.page.locator("#doubts")).to_contain_text("can't count even if it is accepted")
    opened.page.keyboard.press("p")
    opened.said("Kept: the proposed position.")
    (entry,) = DecisionStore(folder).history()
    assert (entry.kind, entry.latitude, entry.longitude) == ("place", 52.1996, 19.4102)
    expect(opened.page.locator("#proposed")).to_be_hidden()
    expect(opened.page.locator("#doubts")).not_to_contain_text("can't count")


def test_a_group_is_split_and_another_joined(
    served: Served, folder: Path, browser: Browser
) -> None:
    opened = open_review(browser, served)
    page = opened.page
    page.keyboard.press("j")
    opened.at(f"2 of {QUEUE}")
    first = page.locator("#linked li").first
    expect(first).to_contain_text("probably (93 in 100)")
    expect(_button(first, "Same animal")).to_have_attribute("aria-pressed", "true")
    page.keyboard.press("g")
    for _ in range(3):  # the report itself, "Same animal", "Not the same"
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    opened.said("Kept: not the same animal")
    line = page.locator("#linked li").first
    expect(line).to_contain_text("taken apart by Ann Reed")
    expect(_button(line, "Not the same")).to_have_attribute("aria-pressed", "true")
    page.locator("#near_box summary").click()
    near = page.locator("#near li").first
    _button(near, "Same animal").click()
    opened.said("Kept: the same animal")
    page.reload()
    expect(page.locator("#linked li").filter(has_text="joined by Ann Reed")).to_have_count(1)
    expect(page.locator("#linked li").filter(has_text="taken apart by")).to_have_count(1)
    apart, same = DecisionStore(folder).history()
    assert (apart.kind, apart.report_key, apart.other_key) == ("apart", "R-02", "R-03")
    assert apart.other_fingerprint == "mark0002"
    assert (same.kind, same.report_key) == ("same", "R-02")


def test_no_answer_is_said_and_the_entry_stays(
    folder: Path, browser: Browser, tmp_path: Path
) -> None:
    """kill -9 while a reason is being written; the decision before it is there afterwards."""
    served = serve_made(folder, more=MORE)
    opened = open_review(browser, served)
    page = opened.page
    page.keyboard.press("a")
    opened.said("Kept: accepted.")
    page.keyboard.press("r")
    page.locator("#reason").fill("a garden gnome")
    served.cut_off()
    page.keyboard.press("Enter")
    expect(page.locator("#trouble")).to_contain_text("No answer from roadrisk")
    expect(page.locator("#reason")).to_have_value("a garden gnome")
    expect(page.locator("#reasons")).to_be_visible()
    expect(page.locator("#said")).to_be_empty()
    # On the same port again the old page has no key to the new server, and says so.
    again = serve_made(folder, more=MORE, port=served.port)
    page.keyboard.press("Enter")
    expect(page.locator("#trouble")).to_contain_text("opens only by the address")
    expect(page.locator("#reason")).to_have_value("a garden gnome")
    second = open_review(browser, again)
    expect(second.page.locator("#to_go")).to_have_text(f"{QUEUE - 1} to decide")
    assert [h[:3] for h in history(folder)] == [("verdict", made_keys()[0], "accept")]
    assert again.stop() == 0


def test_a_decision_of_somebody_else_meanwhile_is_shown(
    served: Served, folder: Path, browser: Browser
) -> None:
    """A second writer (here: an import) decides on the report that is on the screen."""
    from roadrisk.decisions import Draft

    opened = open_review(browser, served)
    page, key = opened.page, made_keys()[0]
    draft = Draft("verdict", key, "mark0000", verdict="reject", reason="a log")
    DecisionStore(folder).append([draft], who="Ole Fen", source="sheet.xlsx")
    page.keyboard.press("a")
    expect(page.locator("#trouble")).to_contain_text("Not kept: Ole Fen decided on this report")
    expect(page.locator("#state")).to_contain_text("Rejected by Ole Fen")
    assert len(history(folder)) == 1
    page.keyboard.press("u")
    opened.said("There is nothing of yours to take back.")


def test_letters_in_a_box_are_letters(served: Served, folder: Path, browser: Browser) -> None:
    """No shortcut fires while somebody writes, and a key that leads to a box isn't written."""
    opened = open_review(browser, served)
    page = opened.page
    page.keyboard.press("r")
    page.locator("#reason").focus()
    page.keyboard.type("abnruj / 12 ? a marble")
    expect(page.locator("#reason")).to_have_value("abnruj / 12 ? a marble")
    page.keyboard.press("Escape")
    opened.at(f"1 of {QUEUE}")
    page.keyboard.press("/")
    expect(page.locator("#list_search")).to_be_focused()
    expect(page.locator("#list_search")).to_have_value("")
    page.keyboard.type("a/?l")
    expect(page.locator("#list_search")).to_have_value("a/?l")
    page.keyboard.press("Escape")
    opened.at(f"1 of {QUEUE}")
    assert history(folder) == []


def test_a_held_key_and_a_double_click_decide_once(
    served: Served, folder: Path, browser: Browser
) -> None:
    opened = open_review(browser, served)
    page = opened.page
    for _ in range(6):
        page.keyboard.down("a")  # without an up between them these are repeats
    opened.at(f"2 of {QUEUE}")
    page.keyboard.up("a")
    page.locator("[data-verdict='accept']").dblclick()
    opened.at(f"3 of {QUEUE}")
    page.wait_for_timeout(300)
    assert len(history(folder)) == 2


def test_single_keys_can_be_switched_off(served: Served, folder: Path, browser: Browser) -> None:
    """For people whose voice software types letters (WCAG 2.2, criterion 2.1.4)."""
    opened = open_review(browser, served)
    page = opened.page
    page.keyboard.press("?")
    page.locator("#keys_on").uncheck()
    page.locator("#help_close").click()
    page.keyboard.press("a")
    page.keyboard.press("l")
    page.wait_for_timeout(200)
    opened.at(f"1 of {QUEUE}")
    expect(page.locator("#list")).to_be_hidden()
    assert history(folder) == []
    page.get_by_role("button", name="Accept").click()
    opened.at(f"2 of {QUEUE}")


def test_a_report_from_the_list_lies_in_the_middle_of_the_map(
    served: Served, browser: Browser
) -> None:
    """The map was out of sight while the list was shown, and had no size."""
    opened = open_review(browser, served)
    page = opened.page
    page.keyboard.press("l")
    page.locator("#list_state").select_option("all")
    page.locator("#list_search").fill("R-07")
    expect(page.locator("#list_found")).to_have_text("1 report")
    page.locator("#list_lines button").click()
    expect(page.locator("#facts")).to_contain_text("R-07")
    here, box = page.locator(".here").bounding_box(), page.locator("#map").bounding_box()
    assert here is not None
    assert box is not None
    for side, size in (("x", "width"), ("y", "height")):
        middle = (here[side] + here[size] / 2 - box[side]) / box[size]
        assert middle == pytest.approx(0.5, abs=0.1)


def test_a_decision_is_changed_from_the_list(
    served: Served, folder: Path, browser: Browser
) -> None:
    """Search, open, decide anew; the page goes back to where it was in the queue."""
    opened = open_review(browser, served)
    page = opened.page
    page.keyboard.press("a")
    opened.at(f"2 of {QUEUE}")
    page.keyboard.press("l")
    page.locator("#list_state").select_option("accept")
    page.locator("#list_search").fill("R-01")
    expect(page.locator("#list_found")).to_have_text("1 report")
    page.locator("#list_lines button").click()
    opened.at(f"1 of {QUEUE}")
    expect(page.locator("#state")).to_contain_text("Accepted by Ann Reed")
    page.keyboard.press("r")
    page.keyboard.press("6")
    opened.at(f"2 of {QUEUE}")
    assert [h[2:] for h in history(folder)] == [("accept", ""), ("reject", "a test or a joke")]
    page.keyboard.press("h")
    lines = page.locator("#latest_lines li")
    expect(lines).to_have_count(2)
    _button(lines.nth(0), "Take back").click()
    expect(lines).to_have_count(1)
    page.keyboard.press("Escape")
    expect(page.locator("#state")).to_contain_text("Accepted by Ann Reed")


def test_the_end_of_the_queue(folder: Path, browser: Browser) -> None:
    """What was gone past waits at the end; then there is nothing more to do, also on reload."""
    served = serve_made(folder, more=0)
    opened = open_review(browser, served)
    page = opened.page
    page.keyboard.press("j")
    for number in range(2, made.QUEUED + 1):
        opened.at(f"{number} of {made.QUEUED}")
        page.keyboard.press("a")
    opened.at(f"1 of {made.QUEUED}")
    page.keyboard.press("k")
    opened.said("This is the first report of the queue.")
    page.keyboard.press("a")
    expect(page.locator("#done_title")).to_have_text("Every report of the queue is decided")
    expect(page.locator("#bar")).to_have_attribute("aria-valuenow", str(made.QUEUED))
    page.reload()
    expect(page.locator("#done_title")).to_have_text("Every report of the queue is decided")
    page.keyboard.press("l")
    expect(page.locator("#list_found")).to_contain_text("reports")
    assert opened.complaints == []
    assert served.stop() == 0


def test_what_sways_a_decision_is_shown_only_on_request(served: Served, browser: Browser) -> None:
    """Not only unseen: the tags' names don't reach the page before the switch is on."""
    opened = open_review(browser, served)
    page, bodies = opened.page, []
    page.on("response", lambda r: bodies.append(r.text()) if "/api/report" in r.url else None)
    for number in range(2, 8):
        page.keyboard.press("j")
        opened.at(f"{number} of {QUEUE}")
    expect(page.locator("#title")).to_be_visible()
    assert "R-07" in bodies[-1]
    assert not any("T05" in body for body in bodies)
    expect(page.locator("#tags")).to_be_empty()
    expect(page.locator("#hidden_box")).to_contain_text("sway a decision and tell a thief")
    page.keyboard.press("t")
    expect(page.locator("#tags")).to_contain_text("T05")
    expect(page.locator("#hot_words")).to_be_visible()
    page.keyboard.press("t")
    expect(page.locator("#tags")).to_be_empty()
    expect(page.locator("#hot_words")).to_be_hidden()
    page.reload()
    opened.at(f"7 of {QUEUE}")
    expect(page.locator("#show_hidden")).not_to_be_checked()


@pytest.mark.parametrize("width", [1280, 390])
def test_hostile_text_stays_text(served: Served, browser: Browser, width: int) -> None:
    """Everything is opened and clicked on every report; nothing runs, nothing leaves."""
    opened = open_review(browser, served, width=width, height=844, reviewer=made.PICTURE[:80])
    page = opened.page
    for number in range(1, made.QUEUED + 1):
        opened.at(f"{number} of {QUEUE}")
        _click_everything(opened)
        page.keyboard.press("j")
    page.keyboard.press("l")
    page.locator("#list_state").select_option("all")
    page.locator("#list_search").fill("<script>")
    page.wait_for_timeout(400)
    expect(page.locator("#list_lines button")).not_to_have_count(0)
    for line in page.locator("#list_lines button").all():
        line.scroll_into_view_if_needed()
    page.locator("#list_lines button").first.click()
    page.keyboard.press("h")
    expect(page.locator("#latest")).to_be_visible()
    assert page.evaluate("window.__hacked === undefined")
    assert page.locator("script").count() == 2
    assert page.locator("img, iframe, object, svg[onload]").count() == 0
    assert all(u.startswith(f"http://127.0.0.1:{served.port}/") for u in opened.requests)
    assert [c for c in opened.complaints if "404" not in c] == []


def _click_everything(opened: Opened) -> None:
    page = opened.page
    page.locator("#show_hidden").check()
    expect(page.locator("#tags li")).not_to_have_count(0)
    page.keyboard.press("m")
    page.keyboard.press("Escape")
    for verdict in ("ask back", "not sure", "reject"):
        page.locator(f"[data-verdict='{verdict}']").click()
        page.locator("#reason").fill(made.CLOSING)
        page.locator("#reason_cancel").click()
    if page.locator("#proposed").is_visible():
        page.locator("#use_proposed").click()
        opened.said("Kept: the proposed position.")
    for choice in page.locator("#linked .pair_choice button").all()[:4]:
        choice.click()
        opened.said("Kept: ")
    if page.locator("#near_box").is_visible():
        page.locator("#near_box summary").click()
    page.locator(".leaflet-control-zoom-out").click()
    page.locator("#show_hidden").uncheck()
    expect(page.locator("#tags li")).to_have_count(0)


def test_a_photo_in_the_study_folder_is_shown(
    served: Served, folder: Path, browser: Browser
) -> None:
    """Of three that the report names one is there; the others are names."""
    (folder / "photos").mkdir()
    (folder / "photos" / "a b.jpg").write_bytes(small_png())
    opened = open_review(browser, served)
    page = opened.page
    for number in (2, 3):
        page.keyboard.press("j")
        opened.at(f"{number} of {QUEUE}")
    expect(page.locator("#photos figure")).to_have_count(3)
    picture = page.locator("#photos img")
    expect(picture).to_have_count(1)
    expect(picture).to_be_visible()
    assert picture.evaluate("p => p.decode().then(() => p.naturalWidth)") == 1
    expect(page.locator("#photos")).to_contain_text(made.URL)
    with opened.context.expect_page() as tab:
        picture.click()
    assert tab.value.evaluate("document.images.length") == 1
    assert opened.complaints == []


def test_marks_that_turn_text_around_are_seen(served: Served, browser: Browser) -> None:
    opened = open_review(browser, served)
    page = opened.page
    for number in range(2, 7):
        page.keyboard.press("j")
        opened.at(f"{number} of {QUEUE}")
    expect(page.locator("#remark")).to_have_text("turtle[U+202E]gnp.exe[U+2066] [U+200F]left")
    page.keyboard.press("k")
    opened.at(f"5 of {QUEUE}")
    expect(page.locator("#remark")).to_contain_text("bell[U+0007], tab")
    page.keyboard.press("k")
    opened.at(f"4 of {QUEUE}")
    expect(page.locator("#remark")).to_contain_text(
        f"({len(made.SAID_AT_LENGTH):,} characters in all)"
    )


AT_REST = "#title"
STATES = {
    "queue": ([], AT_REST), "reason": (["r"], "#reason"), "moving": (["m"], "#latitude"),
    "list": (["l"], "#list_lines li"), "help": (["?"], "#help_keys"),
    "latest": (["h"], "#latest_title"), "hidden": (["t"], "#tags li"),
}  # fmt: skip


@pytest.mark.parametrize("width", [1280, 390])
def test_no_serious_barrier(served: Served, browser: Browser, width: int) -> None:
    """Against something outside: axe-core's rules (WCAG 2 A and AA and its best practices)."""
    opened = open_review(browser, served, width=width, height=844, reviewer="")
    page = opened.page
    expect(page.locator("#who")).to_be_visible()
    found = {"who": _barriers(page)}
    page.locator("#who_name").fill("Ann Reed")
    page.keyboard.press("Enter")
    expect(page.locator("#who")).to_be_hidden()
    page.keyboard.press("a")
    opened.at(f"2 of {QUEUE}")
    for name, (keys, seen) in STATES.items():
        for key in keys:
            page.keyboard.press(key)
        expect(page.locator(seen).first).to_be_visible()
        if name == "list":
            page.locator("#list_state").select_option("all")
        found[name] = _barriers(page)
        if keys and keys != ["t"]:
            page.keyboard.press("Escape")
            expect(page.locator(AT_REST)).to_be_visible()
    assert {name: some for name, some in found.items() if some} == {}


def _barriers(page: Page) -> list[str]:
    page.wait_for_timeout(200)
    report = Axe().run(page).response
    return [
        f"{v['impact']}: {v['id']}: {v['nodes'][0]['html'][:120]}"
        for v in report["violations"]
        if v["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("width", [1280, 390])
def test_everything_fits_the_window(served: Served, browser: Browser, width: int) -> None:
    """Nothing to scroll sideways; buttons as large as a thumb (WCAG 2.2: 24 px; here 44)."""
    opened = open_review(browser, served, width=width, height=844)
    page = opened.page
    for number in range(2, 8):
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert page.evaluate("document.documentElement.scrollHeight <= window.innerHeight")
        page.keyboard.press("j")
        opened.at(f"{number} of {QUEUE}")
    for name in ("#verdicts button", ".pair_choice button", "#tools button"):
        for one in page.locator(name).all():
            box = one.bounding_box()
            if one.is_visible() and box is not None:
                assert box["height"] >= 44, name
                assert box["width"] >= 44, name


def test_the_page_says_what_it_does_to_a_screen_reader(served: Served, browser: Browser) -> None:
    opened = open_review(browser, served)
    page = opened.page
    expect(page.get_by_role("main")).to_have_count(1)
    expect(page.get_by_role("banner")).to_have_count(1)
    expect(page.get_by_role("progressbar", name="Decided so far")).to_be_visible()
    page.keyboard.press("a")
    expect(page.get_by_role("status").filter(has_text="Kept: accepted")).to_be_visible()
    expect(page.locator("#title")).to_be_focused()
    page.keyboard.press("r")
    expect(page.locator("#reason_title")).to_be_focused()
    page.keyboard.press("Enter")  # chooses nothing
    expect(page.locator("#reasons")).to_be_visible()
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name=re.compile("another species"))).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.locator("#title")).to_be_focused()
    assert page.title().startswith(f"2 of {QUEUE}")


def _button(where: Locator, name: str) -> Locator:
    return where.get_by_role("button", name=name, exact=True)


def _place(opened: Opened) -> tuple[float, float]:
    """Latitude and longitude as the form for moving shows them."""
    page = opened.page
    page.keyboard.press("m")
    expect(page.locator("#mover")).to_be_visible()
    found = (float(page.locator("#latitude").input_value()),
             float(page.locator("#longitude").input_value()))  # fmt: skip
    page.keyboard.press("Escape")
    expect(page.locator("#mover")).to_be_hidden()
    return found
