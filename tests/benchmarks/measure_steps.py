"""Choosing measures and drawing the map beside scipy's HiGHS and plain folium."""

from __future__ import annotations

from roadrisk.mitigation.choice import Choice, choose_for_budget
from roadrisk.reporting.map import map_html
from roadrisk.reporting.map_layers import map_layers
from roadrisk.reporting.place_sheets import scale_of
from tests.benchmarks.beside import Case, Step
from tests.benchmarks.choice_speed import budget_of, candidates, network, peer_choice
from tests.benchmarks.map_speed import edition_of, plain_folium


def choice(places: int) -> Case:
    deaths, first = network(places, 5)
    c = candidates(deaths, first, longest=10, measures=3)
    budget = budget_of(places, 0.05)

    def same(ours: Choice, theirs: tuple[float, float]) -> None:
        value, gap = theirs
        assert gap > 0 or abs(ours.value - value) <= 1e-6 * value

    return Case(lambda: choose_for_budget(c, budget), lambda: peer_choice(c, budget), same)


def drawing(segments: int) -> Case:
    """The whole page; folium's usual way gets the same layers, made in the same way."""
    edition = edition_of(segments)
    study, findings = edition.study, edition.findings

    def theirs() -> bytes:
        layers = map_layers(study, findings, scale=scale_of(study, findings))
        layers = {name: layer for name, layer in layers.items() if name != "reports"}
        return plain_folium(layers, set(layers))

    def same(ours: bytes, others: bytes) -> None:
        layers = map_layers(study, findings, scale=scale_of(study, findings))
        assert len(layers["roads"]["features"]) == len(findings.segments)
        road = str(findings.segments["road"].iloc[0]).encode()
        assert road in ours
        assert road in others

    return Case(lambda: map_html(edition), theirs, same)


STEPS = (
    Step("choice of measures", "scipy milp (HiGHS)", choice, "places", 15,
         "value 1e-6", most=400),
    Step("map page", "folium GeoJson", drawing, "segments", 500, "the same roads", most=5_000,
         why="ours packs lines, counts reports by place and month, and adds filters, search and "
             "pages of places; it opens 14 times faster at 50,000 segments (map_speed)"),
)  # fmt: skip
