"""Waypoints read back by gpxpy: places, short names, no time, texts that stay texts."""

from __future__ import annotations

from dataclasses import replace

import gpxpy
import pytest

from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.engineer_places import engineer_places
from roadrisk.reporting.exchange.waypoints import LONGEST_NAME, places_gpx
from tests.reporting import made_up
from tests.reporting.made_up_edition import confidential
from tests.reporting.made_up_measures import nothing_proposed


def opened(edition=None):
    """Return waypoints as another program reads them."""
    return gpxpy.parse(places_gpx(edition or confidential()).decode("utf-8"))


def test_both_ends_and_signs_are_where_the_tables_say() -> None:
    """Outside: gpxpy reads back; the coordinates are those of `engineer_places`."""
    findings = made_up.findings()
    found = {p.name: p for p in opened().waypoints}
    assert list(found) == [
        "Str A begin", "Str A end", "Site 1 begin", "Site 1 end", "Site 2 begin", "Site 2 end",
        "Site 3 begin", "Site 3 end", "Sign 1", "Sign 2", "Sign 3",
    ]  # fmt: skip
    sites = engineer_places(made_up.study(), findings.measures.chosen)
    point = found["Site 2 end"]
    assert (point.latitude, point.longitude) == tuple(sites.loc[1, ["end_latitude",
                                                                    "end_longitude"]])  # fmt: skip
    signs = engineer_places(made_up.study(), findings.measures.signs)
    assert found["Sign 3"].latitude == signs["begin_latitude"][2]
    assert found["Site 1 begin"].description == (
        "Site of a proposed measure, fence with passages, its begin: SR 12, mile 1.90 (Heron "
        "Road). All of it: SR 12, mile 1.90 to 2.50 (Heron Road)."
    )
    assert "facing traffic towards west" in found["Sign 2"].description
    assert "the engineer sets the location" in found["Sign 2"].description


def test_names_are_short_and_unique_and_nothing_has_a_time() -> None:
    findings = made_up.findings()
    many = findings.stretches.loc[findings.stretches.index.repeat(3)].assign(stretch=[1, 26, 702])
    gpx = opened(confidential(replace(findings, stretches=many)))
    names = [p.name for p in gpx.waypoints]
    assert len(set(names)) == len(names)
    assert max(map(len, names)) <= LONGEST_NAME
    assert "Str ZZ begin" in names
    assert gpx.time is None
    assert all(p.time is None for p in gpx.waypoints)
    assert b"<time>" not in places_gpx(confidential())


def test_cautions_and_edition_stand_in_the_file() -> None:
    for edition, words in (
        (confidential(), "not for publication"),
        (make_edition(made_up.study(), made_up.findings(), "agency"), "Agency edition"),
    ):
        told = opened(edition).description
        assert words in told
        assert "licensed practice" in told
        assert told.startswith("Invented demonstration data")
        assert "Made by roadrisk" in told


def test_feet_in_a_study_in_us_units() -> None:
    """Words of places come from the findings; measures are in the agency's miles either way."""
    gpx = opened(confidential(study=made_up.study(units="us")))
    assert "SR 12, mile 1.90" in gpx.waypoints[2].description


def test_the_same_edition_gives_the_same_bytes() -> None:
    assert places_gpx(confidential()) == places_gpx(confidential())


def test_hostile_texts_stay_texts() -> None:
    findings = made_up.findings()
    chosen = findings.measures.chosen.assign(
        measure_name=["</desc></wpt>", "]]><!--", "a\x00\x1b\ud800\ufffeb"], road="<b>&amp;"
    )
    measures = replace(findings.measures, chosen=chosen)
    study = made_up.study()
    name = study.settings.study.model_copy(update={"name": "</name><!ENTITY x>\x02"})
    study = replace(study, settings=study.settings.model_copy(update={"study": name}))
    gpx = opened(confidential(replace(findings, measures=measures), study))
    assert gpx.name == "</name><!ENTITY x> : places to go to"
    assert len(gpx.waypoints) == 11
    sites = [p.description for p in gpx.waypoints if p.name.startswith("Site")]
    assert "</desc></wpt>" in sites[0]
    assert "(<b>&amp;)" in sites[0]
    assert "a    b" in sites[4]


@pytest.mark.parametrize("rows", [7, 0])
def test_where_nothing_stands_out_or_is_proposed_the_list_is_what_there_is(rows: int) -> None:
    findings = made_up.findings()
    bare = replace(
        findings, stretches=findings.stretches.iloc[:0], ranked=findings.ranked.iloc[:rows],
        measures=nothing_proposed(findings.measures),
    )  # fmt: skip
    gpx = opened(confidential(bare))
    assert len(gpx.waypoints) == 2 * rows
    assert [p.name for p in gpx.waypoints[:2]] == ["Rank 1 begin", "Rank 1 end"][: 2 * rows]


def test_a_stretch_without_ends_has_no_waypoints() -> None:
    findings = made_up.findings()
    none = dict.fromkeys(("begin_x_m", "begin_y_m", "end_x_m", "end_y_m"), float("nan"))
    bare = replace(findings, stretches=findings.stretches.assign(**none))
    assert not [p for p in opened(confidential(bare)).waypoints if p.name.startswith("Str")]
