"""Expected road deaths along the roads, as runs of lixels in one colour class."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from roadrisk.reporting.colour_runs import layer, line, run_lines, runs_of
from roadrisk.reporting.death_words import (
    RATE,
    TIMES,
    above_similar,
    among_worst,
    rank_range,
    with_bound,
)
from roadrisk.reporting.palette import class_breaks, classify
from roadrisk.reporting.wording import count, number, per_length_unit

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.findings import Findings
    from roadrisk.reporting.colour_runs import Layer
    from roadrisk.reporting.place_sheets import Scale

# Column of `DeathTables.pieces` that is drawn, by `wording.ranked_by`; None where nothing is.
DRAWN = {"deaths": RATE, "relative": TIMES, "bound": TIMES, "evidence": None}
WATCHED = "yes: a survey or a tagged animal that says how many die watched this piece"
NOT_WATCHED = "no: judged from the pieces beside it and from roads like it"


def death_layer(findings: Findings, scale: Scale, off_ground: NDArray[np.bool_]) -> Layer:
    """Return runs of lixels in one colour class of expected deaths.

    Parameters
    ----------
    findings : Findings
    scale : Scale
        Its `by` says whether deaths per km or mile and year are drawn, or how many times as many
        die as on the mean of all roads.
    off_ground : ndarray of bool, shape (segments,)

    Returns
    -------
    dict
        A feature's properties: ``c`` class, ``s`` row of the segment, ``v`` values for the sheet,
        of the worst piece of road in the run, ``u`` where no source with a known chance of
        counting a death watched, ``o`` off the ground. Without features where nothing tells of
        deaths.
    """
    breaks = death_breaks(findings, scale)
    if not breaks:
        return layer([])
    lixels, pieces = findings.lixels, findings.deaths.pieces
    piece = _piece_of(lixels, pieces)
    # A piece's own number, which its sheet says with its interval.
    values = _values(findings, scale)[piece]
    watched = pieces["watched"].to_numpy(bool)
    segments = pd.Index(findings.segments["segment_id"])
    codes = pd.DataFrame({
        "class": classify(values, breaks),
        "edge": lixels["edge"].to_numpy(),
        "segment": segments.get_indexer(lixels["segment_id"]),
        # Where no source says how many die, nothing is gained by saying so everywhere.
        "unwatched": ~watched[piece] if watched.any() else np.zeros(len(lixels), bool),
    })  # fmt: skip
    first = runs_of(codes)
    shapes, coded = run_lines(lixels, first), codes.to_numpy().astype(np.int64)
    last = [*first[1:].tolist(), len(lixels)]
    rows = pd.DataFrame(pieces.drop(columns="geometry")).to_dict("records")
    features = []
    for run, (start, stop) in enumerate(zip(first.tolist(), last, strict=True)):
        colour, _, segment, unwatched = coded[start].tolist()
        if colour < 0:
            continue
        worst = piece[start + int(np.nanargmax(values[start:stop]))]
        properties: dict[str, Any] = {
            "c": colour, "s": segment,
            "v": _said({str(k): v for k, v in rows[worst].items()}, scale),
        }  # fmt: skip
        properties |= {"u": 1} if unwatched else {}
        properties |= {"o": 1} if segment >= 0 and off_ground[segment] else {}
        features.append(line(shapes[run], properties))
    return layer(features)


def death_breaks(findings: Findings, scale: Scale) -> tuple[float, ...]:
    """Return the lower limits of the classes of `death_layer`; none where nothing is drawn."""
    return class_breaks(_values(findings, scale))


def _values(findings: Findings, scale: Scale) -> NDArray[np.float64]:
    column, pieces = DRAWN[scale.by], findings.deaths.pieces
    if column is None:
        return np.full(len(pieces), np.nan)
    return np.asarray(pieces[column].to_numpy(np.float64) * _times(scale))


def _times(scale: Scale) -> float:
    return per_length_unit(1.0, scale.units) if DRAWN[scale.by] == RATE else 1.0


def _piece_of(lixels: gpd.GeoDataFrame, pieces: gpd.GeoDataFrame) -> NDArray[np.int64]:
    """Return the row of the piece that each lixel lies on: the one its middle is nearest to."""
    middles = shapely.line_interpolate_point(lixels.geometry.to_numpy(), 0.5, normalized=True)
    return np.asarray(shapely.STRtree(pieces.geometry.to_numpy()).nearest(middles), np.int64)


def _said(row: dict[str, Any], scale: Scale) -> list[str]:
    """Return the values of a sheet, in the order of `sheets.SHEETS`."""
    return [
        with_bound(row, str(DRAWN[scale.by]), _times(scale), "not known"),
        above_similar(row, scale),
        among_worst(row, scale),
        "" if pd.isna(row["rank"]) else rank_range(row, scale),
        "" if scale.by == "relative" else WATCHED if row["watched"] else NOT_WATCHED,
        f"{count(row['carcasses'])} by surveys, {count(row['reports_dead'])} by the public",
        number(row["kill_chance"], 2),
    ]
