"""Proposed measures on the map: a line over the road, signs as points, rows in the panel."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.reporting.colour_runs import feature, layer
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.map_layers import rows_of
from roadrisk.reporting.measure_words import (
    NOT_CONFIRMED,
    crossings_kept,
    deaths_said,
    fence_length,
    included,
    length,
    money,
    money_range,
    on_road,
    passages,
    whole,
)
from roadrisk.reporting.measures_page import MEASURES_PAGE
from roadrisk.reporting.sheets import measures as along
from roadrisk.reporting.sheets import road, speed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.colour_runs import Layer
    from roadrisk.reporting.place_sheets import Scale


def measure_layers(measures: MeasureTables, scale: Scale) -> dict[str, Layer]:
    """Return the layers of proposed sites and of signs, in WGS 84; none where there are none.

    Parameters
    ----------
    measures : MeasureTables
    scale : Scale

    Returns
    -------
    dict
        ``measures`` (a line a site: ``t`` title, ``v`` values in the order of `sheets.SHEETS`,
        ``n`` its number) and ``signs`` (points).
    """
    layers = {}
    if len(measures.chosen):
        layers["measures"] = _sites(measures, scale)
    if len(measures.signs):
        layers["signs"] = _signs(measures, scale)
    return layers


def measure_texts(measures: MeasureTables, scale: Scale) -> dict[str, Any]:
    """Return what the map's page says of proposed measures beside its layers."""
    return {
        "measures": measures.words,
        "all_measures": MEASURES_PAGE,
        "sites": [_broken(_row_words(row, measures, scale)) for row in rows_of(measures.chosen)],
    }


def _sites(measures: MeasureTables, scale: Scale) -> Layer:
    features = []
    shapes = measures.chosen.geometry.line_merge().to_crs(WGS84)
    for row, shape in zip(rows_of(measures.chosen), shapes, strict=True):
        parts = [np.round(shapely.get_coordinates(p), 6).tolist() for p in shapely.get_parts(shape)]
        which = int(row["site"])
        title = f"Proposed, site {which}: {plain_text(row['measure_name'])}"
        properties = {"t": title, "v": _broken(_values(row, measures, scale)), "n": which}
        features.append(feature("MultiLineString", parts, properties))
    return layer(features)


def _values(row: Mapping[str, Any], measures: MeasureTables, scale: Scale) -> list[str]:
    currency, priced = measures.currency, measures.priced
    return [
        plain_text(row["measure_name"]),
        ", ".join(x for x in (road(row["road"]), on_road(row)) if x),
        along(row, scale.measure_unit),
        length(row["length_m"], scale),
        fence_length(row["fence_m"], scale) if row["fence_m"] > 0 else "",
        passages(row) if row["fence_m"] > 0 else "",
        whole(row["openings"]) if row["fence_m"] > 0 else "",
        _deaths(row, "deaths_per_year", measures),
        _deaths(row, "averted_per_year", measures),
        _deaths(row, "moved_per_year", measures),
        money_range(row, "cost_build", currency=currency) if priced else NOT_CONFIRMED,
        money(row["upkeep_per_year"], currency) if priced else "",
        money(row["cost_per_death"], currency) if priced else "",
        included(row),
        crossings_kept(row),
        plain_text(row["grade"]),
        plain_text(row["constraints"]),
        plain_text(row["cheap_moment"]),
        plain_text(row["owner"]),
    ]


def _deaths(row: Mapping[str, Any], name: str, measures: MeasureTables) -> str:
    said = deaths_said(row, name, measures, "")
    return f"{said} {'a year' if measures.known else 'of all road deaths'}" if said else ""


def _row_words(row: Mapping[str, Any], measures: MeasureTables, scale: Scale) -> list[str]:
    """Return a site's lines in the panel: road, place, what, what it averts, what it costs."""
    averted = deaths_said(row, "averted_per_year", measures)
    per = "road deaths a year" if measures.known else "of all road deaths"
    cost = money_range(row, "cost_build", currency=measures.currency)
    return [
        road(row["road"]),
        on_road(row),
        f"{plain_text(row['measure_name'])}, {length(row['length_m'], scale)}",
        f"averts {averted} {per}",
        f"to build: {cost}" if measures.priced else NOT_CONFIRMED,
    ]


def _signs(measures: MeasureTables, scale: Scale) -> Layer:
    features = []
    points = np.round(shapely.get_coordinates(measures.signs.geometry.to_crs(WGS84)), 6).tolist()
    for row, point in zip(rows_of(measures.signs), points, strict=True):
        values = [
            f"{row['site']:.0f}",
            road(row["road"]),
            plain_text(row["towards"]),
            on_road(row),
            speed(float(row["speed_limit_kmh"]), scale.units),
            length(row["distance_m"], scale),
            plain_text(row["table"]),
            plain_text(row["months"]),
            plain_text(row["combined_with"]),
            plain_text(row["note"]),
        ]
        title = f"Place for sign {row['sign']:.0f}"
        features.append(feature("Point", point, {"t": title, "v": _broken(values)}))
    return layer(features)


def _broken(values: list[str]) -> list[str]:
    """Let long numbers break between their parts: a sheet is narrow."""
    return [value.replace("\N{NO-BREAK SPACE}", " ") for value in values]
