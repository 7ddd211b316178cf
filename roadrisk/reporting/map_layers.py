"""What the map draws, as GeoJSON features with plain text for their sheets.

A feature's properties are short, since there may be thousands: ``t`` the sheet's title, ``v``
the values of the sheet's lines in the order of `sheets.SHEETS` ("" where there is nothing to say),
and what its style needs. All text is data; the page shows it as text and nothing else.
"""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.reporting.chance_words import place_chance
from roadrisk.reporting.colour_runs import feature, layer, line, run_lines, runs_of
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.death_layer import death_layer
from roadrisk.reporting.death_words import deaths_rate, kill_words
from roadrisk.reporting.map_links import stretch_proposals
from roadrisk.reporting.map_reports import crossing_layer, report_layer
from roadrisk.reporting.palette import class_breaks, classify
from roadrisk.reporting.place_sheets import scale_of, stretch_lines, window_lines
from roadrisk.reporting.ranked_list import lines_wgs84
from roadrisk.reporting.sheets import (
    crossed,
    crossing_rate,
    measures,
    reported,
    road,
    road_title,
    speed,
    traffic,
    unwatched,
)
from roadrisk.reporting.sites_of_windows import proposed_here
from roadrisk.reporting.stretch_letters import stretch_letter
from roadrisk.reporting.wording import (
    OFF_GROUND,
    number,
    per_length_unit,
    short_length,
)
from roadrisk.reporting.year_chart import has_chart, year_chart

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.base.units import Units
    from roadrisk.findings import Findings
    from roadrisk.reporting.colour_runs import Layer
    from roadrisk.reporting.place_sheets import Scale
    from roadrisk.study import Study

# Layers of one kind of evidence, and the column of `Findings.lixels` that each draws.
EVIDENCE = {
    "tracked": "density_crossings", "alive": "density_alive", "dead": "density_dead",
}  # fmt: skip


def map_layers(study: Study, findings: Findings, *, scale: Scale | None = None) -> dict[str, Layer]:
    """Return the map's layers, bottom first, each a GeoJSON FeatureCollection in WGS 84.

    Parameters
    ----------
    study : Study
    findings : Findings
    scale : Scale, optional
        `place_sheets.scale_of` of both, where a caller has it.

    Returns
    -------
    dict
        ``roads`` (one feature a segment), ``stretches`` that stand out, ``deaths`` (expected, or
        where more die than elsewhere, in classes of its own; left out where nothing tells of
        them), ``pieces`` (runs of lixels in one colour class, ``c``), ``tracked``, ``alive`` and
        ``dead`` (the same of one kind of evidence, in the same classes), ``windows`` (the ranked
        list), ``crossings``, ``reports``.
    """
    units = study.settings.study.units
    scale = scale or scale_of(study, findings)
    zone = study.settings.study.zone
    roads = dict(zip(findings.segments["segment_id"], findings.segments["road"], strict=True))
    deaths = death_layer(findings, scale, off_ground(findings.segments))
    return {
        "roads": _roads(findings.segments, scale),
        "stretches": _stretches(findings, scale),
        **({"deaths": deaths} if deaths["features"] else {}),
        "pieces": _pieces(findings, units, "density_per_km_year"),
        **{name: _pieces(findings, units, column) for name, column in EVIDENCE.items()},
        "windows": _windows(findings, scale),
        "crossings": crossing_layer(findings.crossings, roads, study),
        "reports": report_layer(findings.sightings, roads, units, zone),
    }


def scale_breaks(findings: Findings, units: Units) -> tuple[float, ...]:
    """Return the lower limits of the colour classes, per km or mile of road and year."""
    return class_breaks(_density(findings, units))


def off_ground(segments: pd.DataFrame) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Return which segments are bridges, tunnels or on another level."""
    level = pd.to_numeric(segments["level"]).fillna(0).to_numpy() != 0
    named = segments["bridge"].astype(bool) | segments["tunnel"].astype(bool)
    return np.asarray(level | named.to_numpy(), dtype=np.bool_)


def _density(
    findings: Findings, units: Units, column: str = "density_per_km_year"
) -> np.ndarray[Any, np.dtype[np.float64]]:
    per_km = findings.lixels[column].to_numpy(dtype=np.float64)
    return np.asarray(per_length_unit(1.0, units) * per_km)


def _roads(segments: gpd.GeoDataFrame, scale: Scale) -> Layer:
    features = []
    units = scale.units
    # Without any tagged animal no road was watched by one: then all are drawn alike.
    tagged = bool((segments["animals_in_reach"] > 0).any())
    for row, shape, off in zip(
        rows_of(segments), lines_wgs84(segments), off_ground(segments), strict=True
    ):
        values = [
            OFF_GROUND if off else "",
            plain_text(row["road_class"]).replace("_", " "),
            measures(row, scale.measure_unit),
            plain_text(row["owner"]),
            traffic(row),
            speed(row["speed_limit_kmh"], units),
            short_length(row["length_m"], units),
            crossed(row),
            crossing_rate(row),
            reported(row),
            deaths_rate(row, scale),
            kill_words([row["segment_id"]], scale),
            number(per_length_unit(row["evidence_per_km_year"], units)),
            plain_text(row["segment_id"]),
        ]
        properties = {"t": road_title(row), "v": values} | ({"o": 1} if off else {})
        properties |= {"u": 1} if tagged and unwatched(row) else {}
        properties |= {"q": plain_text(row["route"])} if plain_text(row["route"]) else {}
        properties |= {} if plain_text(row["name"]) or plain_text(row["ref"]) else {"z": 1}
        features.append(line(shape, properties))
    return layer(features)


def _pieces(findings: Findings, units: Units, column: str) -> Layer:
    lixels, segments = findings.lixels, findings.segments
    density = _density(findings, units, column)
    breaks = scale_breaks(findings, units)
    of_all, draws = column == "density_per_km_year", findings.chance.draws
    if not breaks:
        return layer([])
    codes = pd.DataFrame(
        {
            "class": classify(density, breaks),
            "edge": lixels["edge"].to_numpy(),
            "segment": pd.Index(segments["segment_id"]).get_indexer(lixels["segment_id"]),
            "stretch": pd.to_numeric(lixels["stretch"]).fillna(0).to_numpy(),
        }
    )
    first = runs_of(codes)
    shapes = run_lines(lixels, first)
    highest = np.maximum.reduceat(np.nan_to_num(density), first)
    p_values = np.minimum.reduceat(
        lixels["p_value"].fillna(np.inf).to_numpy(dtype=np.float64), first
    )
    off = off_ground(segments)
    features = []
    for run, code in enumerate(codes.to_numpy()[first].astype(np.int64)):
        colour, _, segment, stretch = (int(c) for c in code)
        if colour < 0:
            continue
        values = [number(highest[run])]
        values += [place_chance(p_values[run], stretch, draws)] if of_all else []
        properties: dict[str, Any] = {"c": colour, "s": segment, "v": values}
        if segment >= 0 and off[segment]:
            properties["o"] = 1
        features.append(line(shapes[run], properties))
    return layer(features)


def _stretches(findings: Findings, scale: Scale) -> Layer:
    features = []
    stretches, years, ranked = findings.stretches, findings.stretch_years, findings.ranked
    # Pieces end to end become one line, so that the outline has no seams.
    shapes = stretches.geometry.line_merge().to_crs(WGS84)
    proposed = stretch_proposals(findings)
    for row, shape, here in zip(rows_of(stretches), shapes, proposed, strict=True):
        parts = [np.round(shapely.get_coordinates(p), 6).tolist() for p in shapely.get_parts(shape)]
        which = int(row["stretch"])
        mine = years[years["stretch"] == which]
        values = stretch_lines(row, mine, ranked[ranked["stretch"] == which], scale, here)
        letter = stretch_letter(which)
        title = f"Stretch {letter}: stands out from its neighbourhood"
        properties: dict[str, Any] = {"t": title, "v": values, "l": letter, "k": which}
        if has_chart(mine):
            # As a picture: nothing in it can run or fetch anything.
            svg = base64.b64encode(year_chart(mine, which).encode()).decode("ascii")
            properties |= {"y": f"data:image/svg+xml;base64,{svg}"}
        features.append(feature("MultiLineString", parts, properties))
    return layer(features)


def _windows(findings: Findings, scale: Scale) -> Layer:
    features = []
    ranked = findings.ranked
    for row, shape, proposed in zip(
        rows_of(ranked), lines_wgs84(ranked), proposed_here(findings), strict=True
    ):
        rank, name = int(row["rank"]), road(row["road"])
        properties: dict[str, Any] = {
            "t": f"Rank {rank}: {name}", "v": window_lines(row, shape, scale, proposed),
            "r": rank, "n": name,
            "s": int(bool(row["metres_in_stretch"] >= row["length_m"] / 2)),
        }  # fmt: skip
        features.append(line(shape, properties))
    return layer(features)


def rows_of(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a table's rows without geometry, as dictionaries."""
    plain = pd.DataFrame(table.drop(columns="geometry"))
    return [{str(k): v for k, v in row.items()} for row in plain.to_dict("records")]
