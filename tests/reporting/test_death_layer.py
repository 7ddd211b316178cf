"""Expected deaths on the map, by hand from the made-up findings."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from roadrisk.reporting.death_layer import death_breaks, death_layer
from roadrisk.reporting.map_layers import off_ground
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.sheets import SHEETS
from tests.reporting import made_up, made_up_deaths

if TYPE_CHECKING:
    from roadrisk.findings import Findings


def drawn(findings: Findings, units: str = "metric") -> list[dict[str, Any]]:
    scale = scale_of(made_up.study(units=units), findings)
    return [f["properties"] for f in death_layer(findings, scale, off_ground(findings.segments))[
        "features"]]  # fmt: skip


def test_classes_are_those_of_the_pieces() -> None:
    """By hand: 0.05 everywhere; the seventh piece of a hill of 2.1 has 0.05 + 2.1 * 0.967."""
    findings = made_up.findings()
    pieces = findings.deaths.pieces
    breaks = death_breaks(findings, scale_of(made_up.study(), findings))
    assert breaks == (0.01, 0.03, 0.1, 0.3, 1.0)
    assert pieces["deaths_per_km_year"].max() == pytest.approx(2.08, abs=0.005)
    features = drawn(findings)
    assert {f["s"] for f in features if f["c"] == 4} == {1}
    assert min(f["c"] for f in features) == 1
    worst = dict(zip(SHEETS["deaths"], max(features, key=lambda f: f["c"])["v"], strict=True))
    assert worst["Road deaths, here at most"] == "2.08 (0.832 to 4.16)"
    assert worst["Is it among the worst"].startswith("with a chance of ")
    assert worst["Its rank may be"] == "1 to 10 (90 % interval)"


def test_per_mile_in_customary_units() -> None:
    """By hand: 2.08 per km is 3.35 per mile."""
    top = max(drawn(made_up.findings(), "us"), key=lambda f: f["c"])
    assert top["v"][0].startswith("3.35 (1.34 to 6.7)")


def test_where_how_many_is_not_known_multiples_are_drawn() -> None:
    """By hand: 2.08 over 0.35 is 5.94 times; nothing says that nobody watched."""
    for poorer in (made_up_deaths.not_known, made_up_deaths.only_a_bound):
        top = max(drawn(poorer(made_up.findings())), key=lambda f: f["c"])
        assert top["v"][0] == "5.94 (2.38 to 11.9)"
    relative = drawn(made_up_deaths.not_known(made_up.findings()))
    assert not any("u" in f for f in relative)
    assert not any("judged" in " ".join(f["v"]) for f in relative)


def test_runs_end_where_watching_ends() -> None:
    """By hand: pieces of the first two segments are watched, all others judged."""
    for feature in drawn(made_up.findings()):
        assert ("u" in feature) == (feature["s"] >= 2)
        assert ("o" in feature) == (feature["s"] in (2, 7))


def test_nothing_is_drawn_where_nothing_tells_of_deaths() -> None:
    assert drawn(made_up_deaths.by_evidence(made_up.findings())) == []


def test_a_change_of_a_piece_is_a_change_of_the_map() -> None:
    """The tenth piece, made the worst, is drawn in the top class on its segment."""
    findings = made_up.findings()
    pieces = findings.deaths.pieces.copy()
    pieces.loc[9, ["deaths_per_km_year", "deaths_per_km_year_low", "deaths_per_km_year_high"]] = [
        50.0, 20.0, 90.0]  # fmt: skip
    changed = replace(findings, deaths=replace(findings.deaths, pieces=pieces))
    top = [f for f in drawn(changed) if f["c"] == 4]
    assert [f["v"][0] for f in top] == ["50 (20 to 90)"]
