"""All reports of a made-up study, read back from disk."""

import hashlib
import html
import json
import re
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from roadrisk.errors import OutputError
from roadrisk.findings import Findings
from roadrisk.hotspots.ranked_rows import with_reach
from roadrisk.reporting import writing
from roadrisk.reporting.editions.edition import EditionKind
from roadrisk.reporting.provenance import METHOD_SECTIONS
from roadrisk.reporting.writing import write_reports
from roadrisk.settings import settings_from
from tests.reporting import made_up
from tests.reporting.made_up_deaths import by_evidence, not_known, only_a_bound
from tests.reporting.made_up_measures import FENCE, by_share, nothing_proposed, without_prices

write_whole_edition = partial(write_reports, edition="confidential")
PAGES = ["map.html", "stretches.html", "deaths.html", "measures.html", "ranked_stretches.geojson"]
# In the agency edition too; the others are the confidential edition's alone.
TABLES = {
    "ranked_stretches.csv": True, "stretches.csv": True, "stretch_years.csv": True,
    "power.csv": True, "segments.csv": True, "deaths_pieces.csv": True, "deaths_roads.csv": True,
    "deaths_units.csv": True, "deaths_carcasses.csv": True, "deaths_12_months.csv": True,
    "two_routes.csv": True, "death_sources.csv": True, "traffic_readings.csv": True,
    "kill_chance_assumptions.csv": True, "survey_effort.csv": True, "population.csv": True,
    "survival.csv": True, "survival_curve.csv": False, "growth.csv": True, "when.csv": True,
    "nests_by_road.csv": False, "measures.csv": True, "measure_quantities.csv": True,
    "alternatives.csv": True, "money_curve.csv": True, "measure_pieces.csv": True,
    "signs.csv": True, "traffic_what_if.csv": True, "measure_effects.csv": True,
    "constraints.csv": True, "structures_seen.csv": True, "tracked_animals.csv": False,
    "crossing_rates.csv": True, "crossing_times.csv": True, "crossing_conditions.csv": True,
    "home_ranges.csv": False, "roads_cut.csv": False, "network_k.csv": True, "local_gi.csv": True,
    "reports.csv": False, "report_links.csv": False, "report_choices.csv": True,
    "tag_matches.csv": False, "seen_alive_then_dead.csv": False, "reporters_by_month.csv": True,
    "reporters_by_place.csv": True, "left_out.csv": False, "doubts.csv": False,
    "road_mismatches.csv": True,
}  # fmt: skip
DOCUMENTS = ["brief.pdf", "proposal.pdf", "proposal.docx"]
EXCHANGE = ["ranked_stretches.xlsx", "layers.gpkg", "layers.geojson", "places.gpx"]
NAMES = [
    *PAGES, *TABLES, "columns.csv", *DOCUMENTS, *EXCHANGE, "darwin_core.zip", "provenance.json",
]  # fmt: skip


@pytest.fixture(autouse=True)
def no_documents(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Documents take seconds and have tests of their own; drawn where bytes are compared."""
    if "same_bytes" not in request.node.name:
        monkeypatch.setattr(writing, "_documents", lambda _: dict.fromkeys(DOCUMENTS, b"drawn"))


@pytest.mark.parametrize("kind", ["confidential", "agency"])
def test_the_same_bytes_again(tmp_path: Path, kind: EditionKind) -> None:
    """Two runs into two folders; and which files belong to which edition."""
    first = write_reports(made_up.study(), made_up.findings(), tmp_path / "one", edition=kind)
    kept = [name for name in NAMES if kind == "confidential" or TABLES.get(name, True)]
    assert [p.name for p in first] == kept
    other = tmp_path / "two words é"
    second = write_reports(made_up.study(), made_up.findings(), other, edition=kind)
    assert [p.read_bytes() for p in second] == [p.read_bytes() for p in first]


def test_the_agency_edition_is_the_usual_one(tmp_path: Path) -> None:
    write_reports(made_up.study(), made_up.findings(), tmp_path, command="roadrisk run fen")
    said = json.loads((tmp_path / "provenance.json").read_text("utf-8"))
    assert (said["edition"], said["command"]) == ("agency", "roadrisk run fen")
    assert set(said["inputs"]) == {"sha256", "files", "what"}
    assert set(said["settings"]) == set(METHOD_SECTIONS)
    again = write_reports(made_up.study(), made_up.findings(), tmp_path)
    assert len(again) == sum(TABLES.get(name, True) for name in NAMES)
    with pytest.raises(OutputError, match="holds files of the agency edition"):
        write_whole_edition(made_up.study(), made_up.findings(), tmp_path)


def test_an_edited_proposal_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A person's own file comes through two more runs, and is said to be kept."""
    monkeypatch.setattr(writing, "_documents", lambda _: {"proposal.docx": b"fresh"})
    write_reports(made_up.study(), made_up.findings(), tmp_path)
    (tmp_path / "proposal.docx").write_bytes(b"mine")
    written = write_reports(made_up.study(), made_up.findings(), tmp_path)
    assert (tmp_path / "proposal_edited.docx").read_bytes() == b"mine"
    assert (tmp_path / "proposal.docx").read_bytes() == b"fresh"
    assert "proposal_edited.docx" in [path.name for path in written]
    assert "proposal_edited.docx" not in (tmp_path / "provenance.json").read_text("utf-8")
    again = write_reports(made_up.study(), made_up.findings(), tmp_path)
    assert "proposal_edited.docx" not in [path.name for path in again]
    assert (tmp_path / "proposal_edited.docx").read_bytes() == b"mine"


@pytest.mark.parametrize("units", ["metric", "us"])
def test_segments_keep_their_numbers(tmp_path: Path, units: str) -> None:
    """By hand: crossing frequencies of one segment, and units."""
    findings = made_up.findings()
    write_whole_edition(made_up.study(units=units), findings, tmp_path)
    table = pd.read_csv(tmp_path / "segments.csv", encoding="utf-8-sig").set_index("segment_id")
    assert len(table) == len(findings.segments)
    row = table.loc["s01"]
    assert (row["crossing_days"], row["animals_crossing"], row["aadt"]) == (11.25, 5.12, 4200)
    assert row["crossing_days_per_animal_year"] == 1.41  # 11.25 / 8
    assert row["crossing_days_per_animal_year_low"] == 0.562
    assert row["least_crossings"] == 4
    assert row["reports_alive"] == 5.7
    assert row[["kill_chance", "kill_chance_low", "kill_chance_high"]].tolist() == [0.2, 0.08, 0.4]
    assert (row["traffic_used"], row["traffic_from"]) == (4200, "counted in 2019")
    per = "mile" if units == "us" else "km"
    # 1.4 with ends at 0.4 and 2 times of it, times 1.609344.
    assert row[[f"deaths_per_{per}_year{end}" for end in ("", "_low", "_high")]].tolist() == (
        [2.25, 0.901, 4.51] if units == "us" else [1.4, 0.56, 2.8]
    )
    # No tagged animal in reach: missing and not 0.
    assert np.isnan(table.loc["s09", ["crossing_days", "least_crossings"]].to_numpy(float)).all()
    if units == "us":
        assert row["speed_limit_mph"] == 56
        assert row["length_ft"] == 4612  # 1405.70 / 0.3048
    else:
        assert (row["speed_limit_kmh"], row["length_m"]) == (90, 1405.7)  # 704.56 + 701.14


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_stretch_with_its_ends(tmp_path: Path, units: str) -> None:
    """By hand: letter, places, measures, effect size; hostile text is no formula."""
    write_whole_edition(made_up.study(units=units), made_up.findings(), tmp_path)
    table = pd.read_csv(tmp_path / "stretches.csv", encoding="utf-8-sig")
    row = table.iloc[0]
    assert row["begin_place"] == "530 m east of the junction with Sedge Lane"
    assert not row["end_place"].startswith("=")
    assert (row["begin_measure"], row["end_measure"]) == (1.932, 2.282)
    assert (row["stretch"], row["p_value"]) == ("A", 0.004)
    assert (row["p_value_words"], row["measure_unit"]) == (0.004, "mi")
    assert (row["animals"], row["observers"], row["reports"]) == (5, 6, 7.8)
    assert row[["reports_alive", "reports_dead", "reports_other"]].tolist() == [4.5, 3.2, 0.0]
    assert row[["crossing_days_low", "crossing_days_high"]].tolist() == [6.5, 12.25]
    year = [f"deaths_per_year{end}" for end in ("", "_low", "_high")]
    assert row[year].tolist() == [0.84, 0.336, 1.68]
    per = "mile" if units == "us" else "km"
    above = [f"excess_per_{per}_year{end}" for end in ("", "_low", "_high")]
    # 1.9, 0.4, 4.1, times 1.609344.
    assert row[above].tolist() == ([3.06, 0.644, 6.6] if units == "us" else [1.9, 0.4, 4.1])
    times = [f"times_around{end}" for end in ("", "_low", "_high")]
    assert row[times].tolist() == [6.12, 3.97, 8.8]
    # 50 and 90 km/h.
    assert row["speed_limit_mph" if units == "us" else "speed_limit_kmh"] == (
        "31 to 56" if units == "us" else "50 to 90"
    )
    assert (row["aadt"], row["owner"][:17]) == ("330 to 4200", "County (invented)")
    assert row["kept_of_100"] == 97
    unit, scale = ("ft", 0.3048) if units == "us" else ("m", 1.0)
    ends = row[[f"{e}_{unit}" for e in ("begin_low", "begin_high", "end_low", "end_high")]]
    assert ends.tolist() == pytest.approx(np.array([-30, 20, 310, 390]) / scale, abs=0.5)
    assert 52.1 < row["begin_latitude"] < 52.3
    assert 19.3 < row["begin_longitude"] < row["end_longitude"] < 19.5
    power = pd.read_csv(tmp_path / "power.csv", encoding="utf-8-sig")
    assert power["found_low"].tolist() == [0.203, 0.01]
    assert power["length_ft" if units == "us" else "length_m"][0] == round(500 / scale)
    years = pd.read_csv(tmp_path / "stretch_years.csv", encoding="utf-8-sig")
    assert years["reports"].tolist() == [2.0, 1.8, 4.0]
    assert years["stretch"].tolist() == ["A"] * 3
    assert (years["effort"] == "not known").all()
    assert row["length_ft" if units == "us" else "length_m"] > 300


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_appendix_comes_back(tmp_path: Path, units: str) -> None:
    """By hand: units, rounding, hostile road names, a piece without Gi*."""
    write_whole_edition(made_up.study(units=units), made_up.findings(), tmp_path)
    k = pd.read_csv(tmp_path / "network_k.csv", encoding="utf-8-sig")
    unit, scale = ("ft", 0.3048) if units == "us" else ("m", 1.0)
    assert k[f"distance_{unit}"].tolist() == [round(50 / scale, 1), round(100 / scale, 1)]
    assert k[f"expected_{unit}"][0] == round(160.04 / scale, 1)
    assert (k["p_value_of_curve"] == 0.005).all()
    gi = pd.read_csv(tmp_path / "local_gi.csv", encoding="utf-8-sig")
    assert gi["gi_star"][0] == 4.123
    assert np.isnan(gi["gi_star"][1])
    assert not gi["road"][1].startswith("=")
    assert (gi["end_longitude"] > gi["begin_longitude"]).all()


def test_tables_of_tagged_animals_come_back(tmp_path: Path) -> None:
    """Round trip: four significant digits, months and hours, a hostile name neutralised."""
    write_whole_edition(made_up.study(units="us"), made_up.findings(), tmp_path)

    def back(name: str) -> pd.DataFrame:
        return pd.read_csv(tmp_path / name, encoding="utf-8-sig")

    animals = back("tracked_animals.csv")
    assert animals["organismID"].tolist() == ["A01", "'" + made_up.FORMULA]
    assert animals["crossing_days"].tolist() == [41.23, 0.0]
    rates = back("crossing_rates.csv").iloc[0]
    assert rates["totals_note"] == "not identified from the fixes of 1 of 2 animals"
    assert rates["population_crossing_days_per_year_high"] == 7100
    times = back("crossing_times.csv")
    assert times["month"].dropna().tolist() == list(range(1, 13))
    assert times["hour_local"].dropna().tolist() == list(range(24))
    assert times["crossing_days_per_animal_day"].dropna().tolist() == [0.08877] * 12  # 3.4 / 38.3
    assert back("crossing_conditions.csv")["total_crossings"].tolist() == [60, 80]
    assert back("roads_cut.csv")["feet_inside_kernel95"].tolist() == [616.8]  # 188 / 0.3048
    home = back("home_ranges.csv")
    assert home["kernel95_ha"].tolist() == [3.2]
    assert not [c for c in home if "itude" in c or c == "geometry"]


def test_left_outs_and_doubts_come_back(tmp_path: Path) -> None:
    """Round trip: hostile cells neutralised, rows whole numbers, a missing row empty."""
    write_whole_edition(made_up.study(), made_up.findings(), tmp_path)
    left = pd.read_csv(tmp_path / "left_out.csv", encoding="utf-8-sig", dtype=str)
    assert list(left["row"].fillna("")) == ["12", "40", ""]
    assert left["record"][1] == "'" + made_up.FORMULA
    assert left["reason"][1].startswith("'@")
    doubts = pd.read_csv(tmp_path / "doubts.csv", encoding="utf-8-sig", dtype=str)
    assert doubts["problem"][0] == "'-5 g is no mass"
    assert doubts["mend"][0] == "'+check the scale;'=1+1"


def test_provenance_holds_hashes_settings_and_versions(tmp_path: Path) -> None:
    """Outside: hashes by hashlib over the files on disk, settings read again by the model."""
    study = made_up.study()
    write_whole_edition(study, made_up.findings(), tmp_path)
    content = json.loads((tmp_path / "provenance.json").read_text("utf-8"))
    assert content["inputs"][0]["sha256"] == "ab" * 32
    assert content["seed"] == 7
    assert content["invented"] is True
    assert settings_from(content["settings"]) == study.settings
    assert {"numpy", "geopandas", "folium", "roadrisk"} <= set(content["libraries"])
    assert set(content["outputs"]) == set(NAMES) - {"provenance.json"}
    for name, digest in content["outputs"].items():
        assert hashlib.sha256((tmp_path / name).read_bytes()).hexdigest() == digest


def test_nothing_recorded_is_written_too(tmp_path: Path) -> None:
    """Every file is there, with the verdict and without a number that isn't one."""
    write_whole_edition(made_up.study(), made_up.without_evidence(), tmp_path)
    content = json.loads((tmp_path / "provenance.json").read_text("utf-8"))
    assert content["chance"]["p_value"] is None
    assert "Too few animals" in (tmp_path / "map.html").read_text("utf-8")


@pytest.mark.parametrize("poorer", [not_known, only_a_bound, by_evidence])
def test_where_less_is_known_all_is_written(
    tmp_path: Path, poorer: Callable[[Findings], Findings]
) -> None:  # fmt: skip
    """The same files; no page or list shows a number that isn't one."""
    findings = poorer(made_up.findings())
    fewer = nothing_proposed if poorer is by_evidence else by_share
    findings = replace(findings, measures=fewer(findings.measures))
    written = write_whole_edition(made_up.study(), findings, tmp_path)
    assert [path.name for path in written] == NAMES
    for name in ("stretches.html", "deaths.html", "measures.html", "ranked_stretches.csv",
                 "deaths_roads.csv"):  # fmt: skip
        text = (tmp_path / name).read_text("utf-8-sig")
        assert not re.search(r"\b(?:nan|NaN|None|<NA>)\b", text)
    for name in ("map.html", "stretches.html", "deaths.html", "provenance.json"):
        text = html.unescape((tmp_path / name).read_text("utf-8"))
        assert findings.deaths.words in text


def test_a_study_without_tagged_animals_is_written(tmp_path: Path) -> None:
    """Every crossing is missing, none is 0; the map says that nothing was watched."""
    full = made_up.findings()
    ranked = with_reach(full.ranked.drop(columns="animals_in_reach").assign(
        crossing_days=0.0), pd.Series([0] * len(full.ranked)))  # fmt: skip
    segments = full.segments.assign(animals_in_reach=0, crossing_days=0.0)
    findings = replace(full, ranked=ranked, segments=segments, crossings=full.crossings.iloc[:0])
    write_whole_edition(made_up.study(), findings, tmp_path)
    for name in ("ranked_stretches.csv", "segments.csv"):
        table = pd.read_csv(tmp_path / name, encoding="utf-8-sig")
        assert table[["crossing_days", "least_crossings"]].isna().all(axis=None)
        assert (table["animals_in_reach"] == 0).all()
    assert "tagged animals: not watched here" in (tmp_path / "map.html").read_text("utf-8")


def test_the_choice_is_in_the_list(tmp_path: Path) -> None:
    """By hand: the first three windows lie within the first site, the fourth in none."""
    write_whole_edition(made_up.study(), made_up.findings(), tmp_path)
    table = pd.read_csv(tmp_path / "ranked_stretches.csv", encoding="utf-8-sig", dtype=str)
    assert table["measure"].tolist()[:4] == [*[FENCE] * 3, "none chosen"]
    assert table["site"].fillna("").tolist()[:5] == ["1", "1", "1", "", "2"]
    list_ = json.loads((tmp_path / "ranked_stretches.geojson").read_text("utf-8"))
    assert list_["features"][4]["properties"]["site"] == "2"
    assert list_["metadata"]["measures"] == made_up.findings().measures.words


def test_without_prices_no_file_shows_a_total(tmp_path: Path) -> None:
    """Read back: no amount in any table of measures, and the page says why."""
    findings = made_up.findings()
    write_whole_edition(
        made_up.study(), replace(findings, measures=without_prices(findings.measures)), tmp_path
    )
    for name in ("measures.csv", "measure_quantities.csv", "alternatives.csv"):
        table = pd.read_csv(tmp_path / name, encoding="utf-8-sig")
        assert table.filter(regex="cost|upkeep").isna().all(axis=None)
    for name in ("measures.html", "map.html"):
        assert "Prices not confirmed" in (tmp_path / name).read_text("utf-8")


def test_an_open_list_stops_the_whole_run(tmp_path: Path) -> None:
    """The list is open in a spreadsheet program: one sentence, nothing new."""
    write_whole_edition(made_up.study(), made_up.findings(), tmp_path)
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    (tmp_path / ".~lock.ranked_stretches.csv#").write_bytes(b"")
    with pytest.raises(OutputError, match=r"ranked_stretches\.csv is open in another program"):
        write_whole_edition(made_up.study(units="us"), made_up.findings(), tmp_path)
    (tmp_path / ".~lock.ranked_stretches.csv#").unlink()
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before
