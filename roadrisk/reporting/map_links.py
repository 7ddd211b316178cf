"""Which places of the map lie on one another, and which are seen first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.base.crs import WGS84
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.death_words import RATE
from roadrisk.reporting.sheets import road
from roadrisk.reporting.sites_of_windows import sites_of_windows
from roadrisk.reporting.wording import number

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from roadrisk.findings import Findings

Links = dict[str, dict[str, list[tuple[str, int]]]]
# As many of the ranked list are named on the map, and are in the first view.
NAMED = 5
_IN_VIEW = 10
# Where the worst places take up this share of the roads' width, all roads are shown at first.
_MOST = 0.6


def place_links(findings: Findings) -> Links:
    """Return by layer and number the other places on the same piece of road, to go to."""
    ranked, stretches, chosen = findings.ranked, findings.stretches, findings.measures.chosen
    pairs = [
        ((kind, int(number)), ("measures", int(site)))
        for kind, table, name in (("windows", ranked, "rank"), ("stretches", stretches, "stretch"))
        for number, sites in zip(table[name], sites_of_windows(table, chosen)["site"], strict=True)
        for site in sites.split()
    ]
    pairs += [
        (("windows", int(rank)), ("stretches", int(which)))
        for rank, which in zip(ranked["rank"], ranked["stretch"], strict=True)
        if which > 0
    ]
    out: Links = {"windows": {}, "stretches": {}, "measures": {}}
    for one, other in pairs:
        for here, there in ((one, other), (other, one)):
            out[here[0]].setdefault(str(here[1]), []).append(there)
    return out


def stretch_proposals(findings: Findings) -> list[str]:
    """Return what is proposed on each stretch in a few words; "" where nothing is."""
    found = sites_of_windows(findings.stretches, findings.measures.chosen)
    return [
        f"{plain_text(measure)} (S{', S'.join(sites.split())})" if sites else ""
        for measure, sites in zip(found["measure"], found["site"], strict=True)
    ]


def worst_words(findings: Findings, said: list[str]) -> str:
    """Return where it is worst, and how bad, in one sentence; "" without a ranked list.

    Parameters
    ----------
    findings : Findings
    said : list of str
        First line of each ranked window: its number with interval.
    """
    if not len(findings.ranked):
        return ""
    first = findings.ranked.iloc[0]
    named = road(first["road"])
    where = plain_text(first["place"]).removesuffix(f", on {named}")
    others = list(dict.fromkeys(road(name) for name in findings.ranked["road"].iloc[1:5]))
    others = [name for name in others if name != named]
    then = f" Then {' and '.join(others[:2])}." if others else ""
    return f"Worst: {named}, {said[0]}{_on_this_piece(first)}, {where}.{then}"


def _on_this_piece(row: pd.Series[Any]) -> str:
    """Return how many die on a window itself: a rate per km reads like more than all roads'."""
    here = float(row[RATE]) * float(row["length_m"]) / 1000
    return f", about {number(here, 2)} a year on this piece" if np.isfinite(here) else ""


def first_view(findings: Findings) -> list[list[float]]:
    """Return south-west and north-east corner of what is shown at first [latitude, longitude].

    The worst places, all stretches and proposed measures; all roads where these lie far apart.
    """
    everywhere = _bounds(findings.segments)
    tables = (findings.ranked[:_IN_VIEW], findings.stretches, findings.measures.chosen)
    found = [_bounds(table) for table in tables if len(table)]
    if not found:
        return _corners(everywhere)
    boxes = np.array(found)
    west, south = boxes[:, :2].min(axis=0)
    east, north = boxes[:, 2:].max(axis=0)
    wide, high = everywhere[2] - everywhere[0], everywhere[3] - everywhere[1]
    if max((east - west) / wide, (north - south) / high) > _MOST:
        return _corners(everywhere)
    # A margin that shows the roads around, and room for the names beside the places.
    x, y = max(0.15 * (east - west), 0.05 * wide), max(0.15 * (north - south), 0.05 * high)
    return _corners(np.array([west - x, south - y, east + x, north + y]))


def _bounds(table: gpd.GeoDataFrame) -> Any:
    return table.geometry.to_crs(WGS84).total_bounds


def _corners(bounds: Any) -> list[list[float]]:
    west, south, east, north = (float(value) for value in bounds)
    return [[south, west], [north, east]]
