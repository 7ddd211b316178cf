"""The demo's truth is recovered: its true stretches are the top ranks and stand out."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pypdf
import pytest

import roadrisk
from roadrisk import analysis
from roadrisk.cli import main


@dataclass(frozen=True)
class Ran:
    """The command's one run of the whole demo: what it found, said and wrote."""

    findings: roadrisk.Findings
    said: str
    complained: str
    code: object
    out: Path


@pytest.fixture(scope="module")
def ran(demo_area: Path, tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """Findings are kept on their way from the analysis to the files."""
    kept: list[roadrisk.Findings] = []
    analyse = analysis.analyse

    def keeping(*given: object, **named: object) -> roadrisk.Findings:
        kept.append(analyse(*given, **named))  # type: ignore[arg-type]
        return kept[-1]

    out = tmp_path_factory.mktemp("demo") / "out"
    said, complained = io.StringIO(), io.StringIO()
    with (
        pytest.MonkeyPatch.context() as patch,
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(complained),
    ):
        patch.setattr(analysis, "analyse", keeping)
        with pytest.raises(SystemExit) as ended:
            main(["run", str(demo_area), "--out", str(out), "--edition", "confidential"])
    (findings,) = kept
    code = ended.value.code or 0
    return Ran(findings, said.getvalue(), complained.getvalue(), code, out)


@pytest.fixture(scope="module")
def findings(ran: Ran) -> roadrisk.Findings:
    return ran.findings


def test_the_command_says_and_writes_what_was_found(ran: Ran) -> None:
    assert ran.code == 0
    assert ran.complained == ""
    assert "stand out" in ran.said
    assert "Vellmark Road" in ran.said
    last = ran.said.splitlines()[-1]
    assert last.startswith("Not for publication")
    assert "left_out.csv, doubts.csv" in last
    for name in ("map.html", "ranked_stretches.csv"):
        assert (ran.out / name).stat().st_size > 1000
    listed = pd.read_csv(ran.out / "ranked_stretches.csv", comment="#")
    assert listed["road"].tolist() == ran.findings.ranked["road"].tolist()


@pytest.fixture(scope="module")
def truth(demo_area: Path, findings: roadrisk.Findings) -> gpd.GeoDataFrame:
    return gpd.read_file(demo_area / "truth" / "true_stretches.geojson").to_crs(findings.ranked.crs)


def test_the_worst_places_lie_on_the_true_stretches(
    findings: roadrisk.Findings, truth: gpd.GeoDataFrame
) -> None:
    """Vellmark Road carries most vehicles: two places of its stretch may come before a third."""
    middle = findings.ranked.geometry.iloc[:5].interpolate(0.5, normalized=True)
    assert all(truth.distance(m).min() < 15 for m in middle)
    hit = {int(truth.distance(m).to_numpy().argmin()) for m in middle.iloc[:4]}
    assert hit == {0, 1, 2}


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


def test_deaths_a_year_hold_the_truth(findings: roadrisk.Findings, demo_area: Path) -> None:
    """Known truth: every animal that was killed in three seasons, by a play of its own."""
    true = pd.read_csv(demo_area / "truth" / "true_deaths.csv", keep_default_na=False)
    deaths = findings.deaths
    assert deaths.known
    total = deaths.roads.iloc[0]
    assert total["deaths_per_year_low"] <= len(true) / 3 <= total["deaths_per_year_high"]
    names = true["road"].value_counts() / 3
    roads = deaths.roads.set_index("road").iloc[1:]
    hot = ["Vellmark Road", "Tarnholt Lane", "Dunsallow Drove"]
    held = [
        roads.loc[r, "deaths_per_year_low"] <= names[r] <= roads.loc[r, "deaths_per_year_high"]
        for r in hot
    ]
    # Three intervals for 90 %: one may miss.
    assert sum(held) >= 2
    assert set(roads["deaths_per_year"].nlargest(3).index) == set(hot)


def test_two_routes_to_deaths_agree_with_the_truth(
    findings: roadrisk.Findings, demo_area: Path
) -> None:
    """Known truth: deaths on the roads that were searched, by carcasses and by crossings."""
    true = pd.read_csv(demo_area / "truth" / "true_deaths.csv", keep_default_na=False)
    lines = ("tarnholt-north", "tarnholt-south", "drove", "osterlow", "mirefield")
    # Of Vellmark Road the part from 0.4 to 2.2 km was walked.
    walked = true["line"].eq("main-west") & true["lon"].astype(float).between(19.3596, 19.3849)
    searched = (true["line"].isin(lines) | walked).sum() / 3
    first = findings.deaths.routes.iloc[0]
    for route in ("crossings", "carcasses"):
        low, high = first[f"deaths_by_{route}_low"], first[f"deaths_by_{route}_high"]
        assert low <= searched <= high
    assert first["verdict"].startswith("agree")
    killed = int((true["tracked"] == "yes").sum())
    words = " ".join(findings.deaths.notes)
    assert (
        f"{killed} of them are known to have died on a road, which doesn't contradict it" in words
    )


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


def test_each_proposed_fence_covers_a_true_stretch_and_little_else(
    findings: roadrisk.Findings, truth: gpd.GeoDataFrame
) -> None:
    """The budget of the demo buys about as much fence as there is true stretch."""
    sites = findings.measures.chosen
    assert findings.measures.gap == 0
    assert sites["present_cost"].sum() <= 700_000
    shared = [[s.intersection(t.buffer(30)).length for s in sites.geometry] for t in truth.geometry]
    for stretch, lengths in zip(truth.geometry, shared, strict=True):
        assert max(lengths) > 0.8 * stretch.length
    assert sum(map(sum, shared)) > 0.85 * sites.geometry.length.sum()


def test_the_proposed_fences_hold_most_true_deaths(
    findings: roadrisk.Findings, demo_area: Path
) -> None:
    table = pd.read_csv(demo_area / "truth" / "true_deaths.csv")
    where = gpd.points_from_xy(table["lon"], table["lat"], crs="EPSG:4326")
    near = where.to_crs(findings.ranked.crs).distance(findings.measures.chosen.union_all())
    assert (near < 25).mean() > 0.6
    assert findings.measures.chosen.length.sum() < 0.03 * findings.segments.length.sum()


def test_the_demos_proposal_takes_six_to_twelve_pages(ran: Ran) -> None:
    pages = pypdf.PdfReader(ran.out / "proposal.pdf").pages
    assert 6 <= len(pages) <= 12
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "Asked for: fence with passages at 3 sites" in text
    # [proposal] and texts/ of the demo.
    assert "Deaths at the sites fall by 60 % by 2031" in text
    assert "Rangers who have worked here for thirty years" in text
    assert (ran.out / "proposal.docx").stat().st_size > 100_000
