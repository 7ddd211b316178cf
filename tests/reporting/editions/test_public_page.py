"""The page for everyone: what it must say, and what it must not know."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pandas as pd
import pytest
import shapely

from roadrisk.reporting.editions import public_page
from roadrisk.reporting.editions.edition_words import cover_words
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.editions.public_cells import cells_csv, cells_geojson
from roadrisk.reporting.editions.public_page import public_html
from roadrisk.reporting.editions.public_picture import picture, size_words
from roadrisk.settings import RepliesSection
from tests.reporting import made_up, made_up_release


def _text(content: bytes) -> str:
    """Return what the body says, without marks."""
    body = content.decode().partition("<body>")[2]
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", body)).split())


def test_it_says_what_was_found_and_how_to_help() -> None:
    page = _text(public_html(made_up_release.edition(), made_up_release.release()))
    assert "Invented demonstration data" in page
    assert made_up_release.TOTAL in page
    assert "In the 4 squares below, 61 animals were counted: 31 alive and 29 dead; for 1" in page
    for sentence in (
        *public_page.SAFETY_FIRST, *public_page.ON_THE_ROAD, *public_page.GOOD_REPORT,
        *public_page.QUIET, public_page.PERMITS, public_page.READ_SO,
        public_page.INJURED.format(whom=public_page.WHO_HELPS),
        *cover_words("public"), made_up_release.WORDS, made_up_release.WITHHELD,
    ):  # fmt: skip
        assert sentence in page
    assert page.index(public_page.SAFETY_FIRST[0]) < page.index(public_page.ON_THE_ROAD[0])
    assert "public edition; provenance.json says" in page


def test_it_names_whom_the_study_names_for_an_injured_animal() -> None:
    made = made_up.study()
    replies = RepliesSection(
        injured_call=made_up.SCRIPT + " the clinic, 000", signed="Ana Observer"
    )
    told = replace(made, settings=made.settings.model_copy(update={"replies": replies}))
    edition = make_edition(told, made_up.findings(), "public")
    page = public_html(edition, made_up_release.release()).decode()
    assert "the clinic, 000 and do what they say" in page
    assert made_up.SCRIPT not in page
    assert "Ana Observer" not in page


def test_without_an_address_it_asks_those_who_made_the_study() -> None:
    page = _text(public_html(made_up_release.edition(), made_up_release.release()))
    assert public_page.ASK_US in page
    assert "Licence: none named" in page


@pytest.mark.parametrize(
    ("to", "address"),
    [
        ("https://reports.example.org/new?kind=fen", "https://reports.example.org/new?kind=fen"),
        ("turtles@example.org", "mailto:turtles@example.org"),
        ("call 555 0100, or https://example.org", None),
        ("javascript:alert(1)", None),
        ("https://example.org/\" onclick=x", None),
        ("http://example.org", None),
    ],
)  # fmt: skip
def test_only_a_whole_address_is_a_link(to: str, address: str | None) -> None:
    page = public_html(made_up_release.edition(report_to=to), made_up_release.release()).decode()
    links = [html.unescape(link) for link in re.findall(r'href="([^"]*)"', page)]
    assert links == ([] if address is None else [address])
    assert to in _text(page.encode())
    assert public_page.ASK_US not in page


def test_nothing_told_is_said_plainly() -> None:
    page = _text(public_html(made_up_release.edition(), made_up_release.release(empty=True)))
    assert public_page.NOT_KNOWN in page
    assert public_page.NO_CELLS in page
    assert "counted from" not in page
    assert picture(made_up_release.release(empty=True).cells) == ""
    assert size_words(made_up_release.release(empty=True).cells, "metric") == ""


def test_no_road_of_the_study_is_in_any_byte() -> None:
    """Names, segment ids and ids of records of `made_up`, in all three files."""
    edition, release = made_up_release.edition(), made_up_release.release()
    whole = made_up.findings()
    known = [*whole.segments["name"], *whole.sightings["occurrenceID"]]
    known += [*whole.sightings["recordedBy"], *whole.segments["segment_id"]]
    names = {str(name) for name in known if name and not pd.isna(name)}
    assert "Heron Road" in names
    files = (
        public_html(edition, release), cells_csv(release), cells_geojson(release, edition=edition),
    )  # fmt: skip
    for content in files:
        text = html.unescape(content.decode())
        assert [n for n in names if re.search(rf"(?<!\w){re.escape(n)}(?!\w)", text)] == []


def test_hostile_text_is_escaped() -> None:
    hostile = made_up_release.HOSTILE
    edition = made_up_release.edition(report_to=hostile, license=hostile, rights_holder=hostile)
    page = public_html(edition, made_up_release.release(hostile=True)).decode()
    assert not re.search(r"<(script|img|b)\b", page)
    assert page.count(html.escape(hostile, quote=True)) >= 6
    assert "1337" not in page


def test_the_picture_has_each_cell_and_each_count_that_fits() -> None:
    cells = made_up_release.release().cells
    drawn = picture(cells)
    assert drawn.count("fill-rule") == len(cells)
    assert re.findall(r'font-weight="600">(\d+)<', drawn) == ["5", "3", "12", "41"]
    assert "3 to 41 in a square" in drawn
    # Two small squares around the small ones, no farther than the larger one.
    assert "52.2° N to 52.24° N and 19.4° E to 19.5° E" in drawn
    for entry in ("30 or more animals", "10 to 29 animals", "3 to 9 animals", "larger square"):
        assert f">{entry}" in drawn


def test_a_larger_square_that_is_cut_is_said_to_go_on() -> None:
    release, edition = made_up_release.release(), made_up_release.edition()
    assert "go on beyond the picture" in _text(public_html(edition, release))
    release = replace(release, cells=release.cells.iloc[:3])
    page = _text(public_html(edition, release))
    assert "go on beyond the picture" not in page
    assert "hatched" not in page


@pytest.mark.parametrize("west", [19.6, 19.50])
def test_a_larger_square_beyond_the_picture_stands_in_the_table(west: float) -> None:
    """Small squares with a larger one far off, and one that the frame touches at its edge."""
    release = made_up_release.release()
    small = [shapely.box(x, 52.21, x + 0.01, 52.22) for x in (19.42, 19.43, 19.48)]
    far = shapely.box(west, 52.3, west + 0.1, 52.4)
    cells = release.cells.set_geometry([*small, far], crs="EPSG:4326")
    release = replace(release, cells=cells)
    page = public_html(made_up_release.edition(), release)
    assert "go on beyond the picture" in _text(page)
    assert 'font-weight="600">5<' not in page.decode()
    assert b"<td>5</td>" in page


def test_a_count_without_room_is_left_to_the_table() -> None:
    """Two squares of 0.001 degrees a degree apart are specks."""
    cells = made_up_release.release().cells.iloc[:2]
    apart = cells.assign(size_degrees=0.001).set_geometry(
        [shapely.box(-70, -30, -69.999, -29.999), shapely.box(-69, -29, -68.999, -28.999)],
        crs="EPSG:4326",
    )
    drawn = picture(apart)
    assert 'font-weight="600">3<' not in drawn
    assert "30° S to 28.999° S and 70° W to 68.999° W" in drawn


def test_sizes_on_the_ground() -> None:
    """By hand: 0.1 degrees of a great circle of 6,371 km are 11.12 km, 6.91 miles; at latitude
    52.25 cos is 0.6122, so 6.81 km."""
    cells = made_up_release.release().cells
    assert "about 11 km from south to north and 6.8 km from west" in size_words(cells, "metric")
    assert "about 6.9 miles from south to north and 4.2 miles" in size_words(cells, "us")


def test_years_stand_in_the_table_where_they_differ() -> None:
    release = made_up_release.release()
    page = public_html(made_up_release.edition(), release)
    assert "counted from 2021 to 2023" in _text(page)
    assert b">Years<" not in page
    release = replace(release, cells=release.cells.assign(last_year=[2023, 2023, 2025, 2021]))
    page = public_html(made_up_release.edition(), release)
    assert b">Years<" in page
    assert "counted from 2021 to 2025" in _text(page)


def test_bytes_are_the_same_again() -> None:
    made = [public_html(made_up_release.edition(), made_up_release.release()) for _ in range(2)]
    assert made[0] == made[1]
