"""What of a large network is drawn: no picture and no page holds a million roads."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from roadrisk.roads.osm_tags import class_rank, is_main

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import Edition

# A map of so many is usable on an office laptop within seconds; twice as many take twice as long.
MOST_ON_MAP = 50_000
# More can't be told apart on half a page.
MOST_ON_PAPER = 20_000
_NEAR_M = 1000.0
# Middles of pieces lie on their road.
_ON_M = 5.0
_NUMBERS = ("deaths_per_km_year", "relative_rate", "evidence_per_km_year")


def drawn_findings(findings: Findings, most: int = MOST_ON_MAP) -> Findings:
    """Return findings with the roads that a picture draws; all of them unless there are many.

    Above `most` segments: those within 1 km of the listed places, stretches, proposed sites and
    signs; of the room that is left half for the main roads, by class, and the rest for the
    roads with most deaths (or crossings and reports) per km.

    Parameters
    ----------
    findings : Findings
    most : int
        Segments.

    Returns
    -------
    Findings
        The same, with fewer `segments`, `lixels` and `deaths.pieces`.
    """
    segments = findings.segments
    if len(segments) <= most:
        return findings
    taken = _near_marks(findings)
    free = most - int(taken.sum())
    if free < 0:
        # More places are listed than can be drawn: the worst of their surroundings.
        taken &= _first(_badness(segments), taken, most)
    else:
        rank = segments["road_class"].astype(str).map(class_rank).to_numpy(np.float64)
        main = segments["road_class"].astype(str).map(is_main).to_numpy(bool)
        taken = taken | _first(-rank, main & ~taken, free // 2)
        taken |= _first(_badness(segments), ~taken, most - int(taken.sum()))
    names = set(segments["segment_id"][taken])
    return replace(
        findings,
        segments=segments[taken],
        lixels=_of(findings.lixels, names),
        deaths=replace(findings.deaths, pieces=_of(findings.deaths.pieces, names)),
    )


def drawn_edition(edition: Edition) -> Edition:
    """Return an edition with the roads, and what lies on them, that a map draws.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    Edition
        The same where all is drawn. Of single reports, where there are too many, the newest.
    """
    whole = edition.findings
    drawn = drawn_findings(whole)
    if drawn is whole:
        return edition
    names = set(drawn.segments["segment_id"])
    sightings = _of(whole.sightings, names)
    if len(sightings) > MOST_ON_MAP:
        sightings = sightings.sort_values("time", kind="stable").iloc[-MOST_ON_MAP:].sort_index()
    drawn = replace(drawn, sightings=sightings, crossings=_of(whole.crossings, names))
    counts = edition.counts
    filtered = counts.filtered
    places = shapely.points(filtered[["x_m", "y_m"]].to_numpy(np.float64))
    tree = shapely.STRtree(drawn.segments.geometry.to_numpy())
    on = np.zeros(len(filtered), bool)
    on[tree.query(places, predicate="dwithin", distance=_ON_M)[0]] = True
    counts = replace(counts, filtered=filtered[on].reset_index(drop=True))
    return replace(edition, findings=drawn, counts=counts)


def drawn_words(whole: Findings, drawn: Findings) -> str:
    """Say what isn't drawn; "" where all is.

    Parameters
    ----------
    whole, drawn : Findings

    Returns
    -------
    str
    """
    if len(drawn.segments) == len(whole.segments):
        return ""
    return (
        f"{len(drawn.segments):,} of {len(whole.segments):,} segments of road are drawn: all near "
        "listed places, sites and signs, main roads, and where most is counted per km. The tables "
        "and layers.gpkg hold all."
    )


def _near_marks(findings: Findings) -> NDArray[np.bool_]:
    segments = findings.segments
    measures = findings.measures
    tables = (findings.ranked, findings.stretches, measures.chosen, measures.signs)
    shapes = [
        table.geometry.to_numpy() for table in tables
        if len(table) and getattr(table, "geometry", None) is not None
    ]  # fmt: skip
    near = np.zeros(len(segments), bool)
    marks = np.concatenate(shapes) if shapes else np.empty(0, object)
    marks = marks[~(shapely.is_missing(marks) | shapely.is_empty(marks))]
    if len(marks):
        boxes = shapely.box(*(shapely.bounds(marks) + _NEAR_M * np.array([-1, -1, 1, 1])).T)
        tree = shapely.STRtree(segments.geometry.to_numpy())
        near[tree.query(boxes, predicate="intersects")[1]] = True
    return near


def _badness(segments: gpd.GeoDataFrame) -> NDArray[np.float64]:
    """Return the first number that tells of any deaths or evidence, missing ones as 0."""
    for name in _NUMBERS:
        if name in segments:
            numbers = pd.to_numeric(segments[name]).fillna(0.0).to_numpy(np.float64)
            if (numbers > 0).any():
                return numbers
    return np.zeros(len(segments))


def _first(number: NDArray[np.float64], among: NDArray[np.bool_], count: int) -> NDArray[np.bool_]:
    """Mark the `count` largest numbers among some, ties by order."""
    rows = np.flatnonzero(among)
    order = np.argsort(-number[rows], kind="stable")[: max(count, 0)]
    found = np.zeros(len(number), bool)
    found[rows[order]] = True
    return found


def _of(table: gpd.GeoDataFrame, names: set[str]) -> gpd.GeoDataFrame:
    return table[table["segment_id"].isin(names).to_numpy()]
