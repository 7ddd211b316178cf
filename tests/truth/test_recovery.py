"""The demo's truth is recovered: its true stretches are the top ranks and stand out."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest

import roadrisk


@pytest.fixture(scope="module")
def findings(demo_area: Path) -> roadrisk.Findings:
    return roadrisk.analyse(roadrisk.read_study(demo_area))


@pytest.fixture(scope="module")
def truth(demo_area: Path, findings: roadrisk.Findings) -> gpd.GeoDataFrame:
    return gpd.read_file(demo_area / "truth" / "true_stretches.geojson").to_crs(findings.ranked.crs)


def test_each_true_stretch_is_one_of_the_top_three_ranks(
    findings: roadrisk.Findings, truth: gpd.GeoDataFrame
) -> None:
    best = findings.ranked.iloc[:3]
    hit = [
        int(truth.distance(middle).to_numpy().argmin())
        for middle in best.geometry.interpolate(0.5, normalized=True)
        if truth.distance(middle).min() < 15
    ]
    assert sorted(hit) == [0, 1, 2]


def test_the_true_stretches_stand_out_and_nothing_else(
    findings: roadrisk.Findings, truth: gpd.GeoDataFrame
) -> None:
    assert findings.chance.verdict == "stretches stand out"
    assert len(findings.stretches) == 3
    # A kernel of 200 m half-width blurs the ends, so look within it.
    near = findings.stretches.geometry.apply(lambda s: truth.distance(s).min())
    assert (near < 15).all()
    overlap = [s.intersection(truth.buffer(200).union_all()).length / s.length
               for s in findings.stretches.geometry]  # fmt: skip
    assert min(overlap) > 0.95


def test_the_observer_who_reports_again_and_again_does_not_stand_out(
    findings: roadrisk.Findings,
) -> None:
    close = findings.ranked[findings.ranked["road"] == "Heron Close"].iloc[0]
    assert close["observers"] == 1
    assert close["p_value"] > 0.5
    assert "one observer" in close["look_at"]


def test_crossings_on_the_true_stretches_are_those_of_the_recorded_steps(
    findings: roadrisk.Findings, truth: gpd.GeoDataFrame
) -> None:
    """The counts were made by the demo's own script with its own segment intersection."""
    counted = [int((findings.crossings.distance(line) < 1.0).sum()) for line in truth.geometry]
    assert counted == truth["expected_crossings"].tolist()


def test_crossing_days_hold_the_truth(findings: roadrisk.Findings, demo_area: Path) -> None:
    """Known truth: full crossings of the walked paths, in the gaps between fixes that count."""
    true = pd.read_csv(demo_area / "truth" / "true_full_crossings.csv")
    fixes = pd.read_csv(demo_area / "fixes.csv")
    when = pd.to_datetime(true["time"], utc=True)
    days = {}
    for animal, some in fixes.groupby("organismID"):
        at = pd.to_datetime(some["eventDate"], utc=True, format="ISO8601").sort_values()
        mine = when[true["animal"] == animal]
        row = at.searchsorted(mine, side="right")
        inside = (row > 0) & (row < len(at))
        gap = at.diff().dt.total_seconds().to_numpy()
        counted = mine[inside][gap[row[inside]] <= 7 * 86400]
        days[animal] = counted.dt.tz_convert("Europe/Warsaw").dt.date.nunique()
    table = findings.tracked.animals.set_index("organismID")
    truth = pd.Series(days).reindex(table.index)
    inside = (table["crossing_days_low"] <= truth) & (truth <= table["crossing_days_high"])
    # 18 intervals for 90 %: fewer than 13 inside has a chance of 0.6 % (binomial).
    assert inside.sum() >= 13
    together = findings.tracked.groups.iloc[0]
    assert together["crossing_days_low"] <= truth.sum() <= together["crossing_days_high"]
    assert together["least_crossings"] <= len(true)
    assert "if animals don't respond to the road" in findings.tracked.words


def test_passes_below_the_bridge_are_no_crossings(
    findings: roadrisk.Findings, demo_area: Path
) -> None:
    below = pd.read_csv(demo_area / "truth" / "passes_off_ground.csv")
    assert len(below) > 0
    assert findings.counts["passed_below_or_above"] > 0
    bridges = findings.segments[findings.segments["bridge"] | findings.segments["tunnel"]]
    assert bridges["crossing_days"].sum() == 0
    assert bridges["least_crossings"].sum() == 0


def test_every_report_is_placed_or_left_out_with_a_reason(
    findings: roadrisk.Findings, demo_area: Path
) -> None:
    rows = len(pd.read_csv(demo_area / "sightings.csv"))
    lost = findings.left_out[findings.left_out["file"] == "sightings.csv"]
    assert len(findings.sightings) + len(lost) == rows
    assert (lost["reason"].str.len() > 5).all()


def test_sums_agree_between_tables(findings: roadrisk.Findings) -> None:
    by_segment = findings.segments[["reports_alive", "reports_dead", "reports_other"]].sum().sum()
    assert by_segment == pytest.approx(findings.sightings["counts_as"].sum())
    listed = findings.reports.states
    assert listed["counts_as"].sum() == pytest.approx(findings.sightings["counts_as"].sum())
    forced = findings.tracked.animals["least_crossings"].sum()
    assert findings.segments["least_crossings"].sum() == forced
    days = findings.segments["crossing_days"].sum()
    together = findings.tracked.groups["crossing_days"].iloc[0]
    # A day on which two segments are crossed counts on both.
    assert together <= days <= 1.2 * together
    assert findings.ranked["crossing_days"].sum() <= days
