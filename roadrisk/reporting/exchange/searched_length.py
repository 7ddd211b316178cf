"""How many kilometres of road a survey's row searched."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.findings import Findings
    from roadrisk.study import Study

_KM = {"km": 1.0, "m": 0.001, "mi": 1.609344, "ft": 0.0003048}


def searched_km(study: Study, findings: Findings, surveys: gpd.GeoDataFrame) -> pd.Series[float]:
    """Return the length searched by each row of a table of surveys, all passes together [km].

    Parameters
    ----------
    study : Study
    findings : Findings
        Its segments tell how long a road is that a row names.
    surveys : geopandas.GeoDataFrame
        Columns of `records.survey_schemas.SURVEYS`.

    Returns
    -------
    pandas.Series
        From the line gone along; else from both measures; else of the roads named, one carriageway
        of a dual road; NaN where none of these is known.
    """
    agency = study.settings.roads.agency
    unit_km = _KM[agency.measure_unit] if agency else 1.0
    lengths = _road_lengths(findings)
    line = surveys.geometry.length.replace(0.0, float("nan")) / 1000.0
    between = (surveys["end_measure"] - surveys["begin_measure"]).abs() * unit_km
    named = surveys["route"].map(lambda text: _named(str(text), lengths))
    length = line.fillna(between).fillna(named).astype(float)
    return pd.Series(length * surveys["amount"], index=surveys.index, dtype=float)


def _road_lengths(findings: Findings) -> dict[str, float]:
    """Return metres by a road's name, number or route."""
    segments = findings.segments
    if "band_of" in segments.columns:
        segments = segments[segments["band_of"].fillna("") == ""]
    lengths: dict[str, float] = {}
    for name in ("road", "name", "ref", "route"):
        if name in segments.columns:
            lengths = segments.groupby(name)["length_m"].sum().to_dict() | lengths
    lengths.pop("", None)
    return {str(key): float(value) for key, value in lengths.items()}


def _named(text: str, lengths: dict[str, float]) -> float:
    """Return the km of the roads named in one row; NaN if one of them isn't known."""
    names = [part.strip() for part in text.replace(";", "|").split("|") if part.strip()]
    if text in lengths:
        names = [text]
    if not names:
        return float("nan")
    return sum(lengths.get(name, float("nan")) for name in names) / 1000.0
