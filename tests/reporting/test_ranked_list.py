"""The ranked list keeps its numbers and its coordinate system in both formats."""

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest

from roadrisk.findings import Findings
from roadrisk.reporting.csv_text import csv_bytes
from roadrisk.reporting.ranked_list import ranked_geojson, ranked_table, significant
from tests.reporting import made_up, made_up_deaths

COLUMNS = [
    "rank", "basis", "road", "route", "begin_measure", "end_measure", "measure_unit", "place",
    "where", "begin_where", "end_where", "side", "begin_latitude", "begin_longitude",
    "end_latitude", "end_longitude", "length_m",
    "deaths_per_km_year", "deaths_per_km_year_low", "deaths_per_km_year_high",
    "excess_per_km_year", "excess_per_km_year_low", "excess_per_km_year_high",
    "relative_rate", "relative_rate_low", "relative_rate_high", "chance_among_worst",
    "deaths_note", "rank_low", "rank_high", "rests_on",
    "animals_in_reach", "crossing_days",
    "crossing_days_low", "crossing_days_high",
    "crossing_days_per_animal_year", "crossing_days_per_animal_year_low",
    "crossing_days_per_animal_year_high", "crossing_days_note", "least_crossings",
    "reports_alive", "reports_dead", "reports_other", "animals", "observers",
    "evidence_per_km_year", "evidence_per_km_year_low", "evidence_per_km_year_high",
    "interval_note", "p_value", "p_value_note", "kept_of_100", "stretch",
    "metres_in_stretch", "stretch_p_value", "stretch_kept_of_100", "stretch_length_m",
    "stretch_begin_low_m",
    "stretch_begin_high_m", "stretch_end_low_m", "stretch_end_high_m", "what_to_look_at", "measure",
    "site", "owner",
    "aadt", "aadt_year", "speed_limit_kmh", "segment_ids",
]  # fmt: skip


def read_csv(table: pd.DataFrame) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(csv_bytes(table)), encoding="utf-8-sig")


def test_columns_and_rounding() -> None:
    """By hand: first row of the made-up list."""
    table = read_csv(ranked_table(made_up.study(), made_up.findings()))
    assert list(table.columns) == COLUMNS
    first = table.iloc[0]
    assert (first["rank"], first["road"], first["stretch"]) == (1, "Heron Road", "A")
    assert (first["crossing_days_low"], first["crossing_days_high"]) == (4.0, 6.0)
    assert (first["crossing_days"], first["reports_alive"]) == (5.0, 2.3)
    rate = "crossing_days_per_animal_year"
    # 5 / 8, / 16, / 5 to 3 significant digits.
    assert first[[rate, f"{rate}_low", f"{rate}_high"]].tolist() == [0.625, 0.312, 1.0]
    assert first["least_crossings"] == 2
    assert table["crossing_days_note"][3] == "one animal"
    assert first["evidence_per_km_year"] == 31.4
    assert first["evidence_per_km_year_low"] == 14.1
    assert np.isnan(table["evidence_per_km_year_low"][3])
    # 9.123 and half of it more or less, were every record independent.
    assert table["interval_note"][3] == (
        "fewer than 3 animals or observers; if every record were independent: 4.56 to 13.7 per km "
        "and year"
    )
    assert first["begin_where"] == "SR 12, mile 2.05 (Heron Road)"  # 1.402 + 0.65
    assert (first["end_where"], first["side"]) == ("SR 12, mile 2.15 (Heron Road)", "both sides")
    assert (first["p_value"], first["stretch_p_value"]) == (0.004, 0.004)
    assert first["p_value_note"].startswith("no test of this row by itself")
    assert table["metres_in_stretch"][:3].tolist() == [100.0, 40.2, 0.0]
    assert np.isnan(table["metres_in_stretch"][3])
    assert (first["rests_on"][:18], table["rests_on"][6]) == (
        "1 tagged animals <",
        "a single report",
    )
    assert table["stretch"].fillna("").tolist() == ["A"] * 3 + [""] * 4
    assert first[["kept_of_100", "rank_low", "rank_high"]].tolist() == [91, 1, 7]
    # A tenth of 31.4159, with ends at 0.4 and 2 times of it; 9.123 / 10 / 0.35.
    deaths = [f"deaths_per_km_year{end}" for end in ("", "_low", "_high")]
    assert first[deaths].tolist() == [3.14, 1.26, 6.28]
    assert table["relative_rate"][3] == 2.61
    assert table["excess_per_km_year_low"][6] == -0.452  # 0.12 - 0.5 - 0.6 * 0.12
    assert first["chance_among_worst"] == 0.97
    assert table["deaths_note"].isna().all()
    ends = [f"stretch_{e}_m" for e in ("begin_low", "begin_high", "end_low", "end_high")]
    assert first[ends].tolist() == [-30, 20, 310, 390]
    assert table.loc[3:, [*ends, "stretch_p_value"]].isna().all(axis=None)
    assert (first["owner"], first["aadt"], first["measure_unit"]) == (
        "County (invented)",
        4200,
        "mi",
    )
    # Nobody watched the last window: missing and not 0.
    last = table.iloc[-1]
    assert last["animals_in_reach"] == 0
    assert last[["crossing_days", "least_crossings", "animals", rate]].isna().all()
    assert last["crossing_days_note"] == "not watched: no tagged animal within reach"


def test_ends_are_those_of_pyproj() -> None:
    """Outside: PROJ through pyproj, point by point; to half a unit of the 6th decimal."""
    ranked = made_up.findings().ranked
    table = ranked_table(made_up.study(), made_up.findings())
    to_wgs84 = pyproj.Transformer.from_crs(made_up.CRS, "EPSG:4326", always_xy=True)
    for row, line in zip(table.to_dict("records"), ranked.geometry, strict=True):
        begin = to_wgs84.transform(*line.coords[0])
        end = to_wgs84.transform(*line.coords[-1])
        assert (row["begin_longitude"], row["begin_latitude"]) == pytest.approx(begin, abs=6e-7)
        assert (row["end_longitude"], row["end_latitude"]) == pytest.approx(end, abs=6e-7)


def test_us_customary_units() -> None:
    """By hand: 1 mile is 1.609344 km exactly, 1 foot 0.3048 m exactly (NIST SP 811)."""
    table = ranked_table(made_up.study(units="us"), made_up.findings())
    assert table["length_ft"][0] == 328
    assert table["evidence_per_mile_year"][0] == 50.6  # 31.4159 * 1.609344 = 50.559
    assert table["deaths_per_mile_year_high"][0] == 10.1  # 2 * 3.14159 * 1.609344
    assert table["excess_per_mile_year"][0] == 4.25  # 2.64159 * 1.609344
    assert table["stretch_begin_low_ft"][0] == -98  # -30 / 0.3048
    assert table["speed_limit_mph"][0] == 56
    assert table["feet_in_stretch"][1] == 132  # 40.25 / 0.3048
    # 4.5615 and 13.6845 per km.
    assert table["interval_note"][3].endswith("7.34 to 22 per mile and year")
    assert not [c for c in table if "km" in c or "metre" in c or c == "length_m"]
    assert "per mile" in table["basis"][0]


def test_geojson_says_what_the_table_says() -> None:
    """Round trip through geopandas: the same numbers, WGS 84, lines where they were."""
    study, findings = made_up.study(), made_up.findings()
    content = ranked_geojson(study, findings)
    back = gpd.read_file(io.BytesIO(content))
    assert back.crs == "EPSG:4326"
    table = ranked_table(study, findings)
    for column in table.select_dtypes("number"):
        np.testing.assert_array_equal(
            back[column].to_numpy(dtype=float, na_value=np.nan),
            table[column].to_numpy(dtype=float, na_value=np.nan),
        )
    for column in ("road", "place", "what_to_look_at", "basis", "stretch"):
        assert list(back[column]) == list(table[column])
    # 6 decimals of a degree are at most 0.11 m.
    apart = back.geometry.to_crs(made_up.CRS).hausdorff_distance(findings.ranked.geometry)
    assert apart.max() < 0.12


@pytest.mark.parametrize(("poorer", "words"), [
    (lambda findings: findings, "expected road deaths per km and year"),
    (made_up_deaths.not_known, "how many die isn't known"),
    (made_up_deaths.only_a_bound, "only an upper bound is known"),
    (made_up_deaths.by_evidence, "not by deaths"),
])  # fmt: skip
def test_what_the_rank_goes_by_is_said(
    poorer: Callable[[Findings], Findings], words: str
) -> None:  # fmt: skip
    """The reader of either file sees what was ranked by, and that data are invented."""
    study, findings = made_up.study(), poorer(made_up.findings())
    metadata = json.loads(ranked_geojson(study, findings))["metadata"]
    assert words in metadata["rank_goes_by"]
    assert metadata["deaths"] == findings.deaths.words
    assert metadata["deaths_notes"] == list(findings.deaths.notes)
    assert metadata["among_worst"] == 5
    assert metadata["invented"] is True
    assert any("no proof of safety" in text for text in metadata["cautions"])
    assert any("not for publication" in text for text in metadata["cautions"])
    basis = ranked_table(study, findings)["basis"]
    assert basis.str.contains(words, regex=False).all()
    assert basis.str.contains("invented").all()


def test_deaths_that_are_not_known_are_missing_and_say_why() -> None:
    """By hand: only where, only a bound, nothing; ranks in resamples where nothing tells."""
    study, full = made_up.study(), made_up.findings()
    deaths = [f"deaths_per_km_year{end}" for end in ("", "_low", "_high")]
    table = read_csv(ranked_table(study, made_up_deaths.not_known(full)))
    assert table[deaths].isna().all(axis=None)
    assert table["deaths_note"].str.startswith("how many die isn't known").all()
    assert table["relative_rate"][0] == 8.98
    table = read_csv(ranked_table(study, made_up_deaths.only_a_bound(full)))
    assert np.isnan(table["deaths_per_km_year"][0])
    assert table.loc[0, deaths[1:]].tolist() == [0, 6.28]
    assert table["excess_per_km_year"].isna().all()
    table = read_csv(ranked_table(study, made_up_deaths.by_evidence(full)))
    assert table[[*deaths, "relative_rate", "chance_among_worst"]].isna().all(axis=None)
    assert (table["deaths_note"] == "deaths were not estimated").all()
    assert table.loc[0, ["rank_low", "rank_high"]].tolist() == [1, 7]
    assert np.isnan(table["rank_high"][3])


def test_an_empty_list_is_a_list() -> None:
    """Nothing recorded: a table with its header, a collection without features."""
    study, findings = made_up.study(), made_up.without_evidence()
    assert list(read_csv(ranked_table(study, findings)).columns) == COLUMNS
    assert json.loads(ranked_geojson(study, findings))["features"] == []


def test_the_findings_are_not_changed() -> None:
    """Inputs are never mutated."""
    findings = made_up.findings()
    before = findings.ranked.copy()
    ranked_table(made_up.study(units="us"), findings)
    ranked_geojson(made_up.study(), replace(findings))
    pd.testing.assert_frame_equal(pd.DataFrame(before), pd.DataFrame(findings.ranked))


def test_animals_and_observers_are_whole_numbers_in_the_file() -> None:
    """By hand: a planner who reads "5.0" animals wonders what half an animal is."""
    text = csv_bytes(ranked_table(made_up.study(), made_up.findings())).decode("utf-8-sig")
    first = next(iter(csv.DictReader(io.StringIO(text))))
    assert first["animals"].isdigit()
    assert first["observers"].isdigit()


@pytest.mark.parametrize("digits", [3, 4])
def test_significant_digits_are_those_that_are_written(digits: int) -> None:
    rng = np.random.default_rng(1)
    drawn = [rng.lognormal(0, 6, 5000), -rng.lognormal(0, 3, 500), np.arange(3000) / 8]
    ends = [0.0, np.nan, np.inf, 999.9999, 9.9996, 2.675, 12450.0, 1e-30, 1e30, 5e-324, 1.7e308]
    values = np.concatenate([*drawn, ends])
    written = [float(f"{x:.{digits}g}") for x in values]
    np.testing.assert_array_equal(significant(pd.Series(values), digits).to_numpy(), written)
