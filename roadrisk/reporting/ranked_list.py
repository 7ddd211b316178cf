"""The ranked list that a proposal quotes: as a table and as GeoJSON."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.base.units import M_PER_FOOT
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.wording import (
    CONFIDENTIAL,
    INVENTED_BANNER,
    NO_PROOF,
    SAFETY,
    WHAT_CROSSING_DAYS_ARE,
    basis,
    credit,
    length_unit,
    per_length_unit,
)

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.base.units import Units
    from roadrisk.findings import Findings
    from roadrisk.study import Study

FREQUENCY = "crossing_days_per_animal_year"
FREQUENCIES = (FREQUENCY, f"{FREQUENCY}_low", f"{FREQUENCY}_high")
DAYS = ("crossing_days", "crossing_days_low", "crossing_days_high")
REPORTS = ("reports_alive", "reports_dead", "reports_other")
STABLE = ("kept_of_100", "rank_low", "rank_high")
RATES = ("evidence_per_km_year", "evidence_per_km_year_low", "evidence_per_km_year_high")


def ranked_table(ranked: gpd.GeoDataFrame, units: Units, *, invented: bool = False) -> pd.DataFrame:
    """Return the ranked list with the columns and the rounding of the file.

    Parameters
    ----------
    ranked : geopandas.GeoDataFrame
        `Findings.ranked`.
    units : {"metric", "us"}
        In US customary units the length is ``length_ft`` and rates are per mile.
    invented : bool
        Whether ``basis`` has to say that the data are invented.

    Returns
    -------
    pandas.DataFrame
        Coordinates are WGS 84 [degrees, 6 decimals]; crossing-days and reports have 2
        decimals, since they are expected numbers or spread over several roads; rates have 3
        significant digits.
        ``stretch`` is missing where nothing stands out.
    """
    ends = _ends(ranked)
    table: dict[str, Any] = {
        "rank": ranked["rank"].astype("int64"),
        "basis": basis(units) + (f" ({INVENTED_BANNER.lower()})" if invented else ""),
        "road": _texts(ranked["road"]),
        "route": _texts(ranked["route"]),
        "begin_measure": rounded(ranked["begin_measure"], 3),
        "end_measure": rounded(ranked["end_measure"], 3),
        "place": _texts(ranked["place"]),
        "begin_latitude": ends[:, 1],
        "begin_longitude": ends[:, 0],
        "end_latitude": ends[:, 3],
        "end_longitude": ends[:, 2],
        **length_column(ranked["length_m"], units),
    }
    table |= {name: rounded(ranked[name], 2) for name in DAYS}
    table |= {name: significant(pd.to_numeric(ranked[name])) for name in FREQUENCIES}
    table["crossing_days_note"] = _texts(ranked["crossing_days_note"])
    # Whole numbers: these are never shared out.
    table["least_crossings"] = pd.to_numeric(ranked["least_crossings"]).astype("Int64")
    table |= {name: rounded(ranked[name], 2) for name in REPORTS}
    table |= {
        name: pd.to_numeric(ranked[name]).astype("Int64") for name in ("animals", "observers")
    }
    for name in RATES:
        table[rate_name(name, units)] = significant(per_length(ranked[name], units))
    stretch = pd.to_numeric(ranked["stretch"]).fillna(0).astype("int64").astype("Int64")
    table |= {
        "interval_note": _texts(ranked["interval_note"]),
        "p_value": rounded(ranked["p_value"], 4),
        **{name: pd.to_numeric(ranked[name]).astype("Int64") for name in STABLE},
        "stretch": stretch.mask(stretch == 0),
        "what_to_look_at": _texts(ranked["look_at"]),
        "segment_ids": _texts(ranked["segment_ids"]),
    }
    return pd.DataFrame(table, index=ranked.index).reset_index(drop=True)


def ranked_geojson(study: Study, findings: Findings) -> bytes:
    """Return the ranked list as GeoJSON (RFC 7946, WGS 84), best first.

    Properties are the columns of `ranked_table`; the collection's member ``metadata`` says
    what the rank goes by, how it was tested and what the reader should be careful about.
    """
    settings = study.settings
    table = ranked_table(findings.ranked, settings.study.units, invented=settings.study.invented)
    shapes = lines_wgs84(findings.ranked)
    rows = table.astype(object).where(table.notna(), None).to_dict("records")
    features = [
        _json(
            {
                "type": "Feature",
                "properties": {key: _plain(value) for key, value in row.items()},
                "geometry": {"type": "LineString", "coordinates": shape},
            }
        )
        for row, shape in zip(rows, shapes, strict=True)
    ]
    metadata = {
        "study": settings.study.name,
        "invented": settings.study.invented,
        "invented_note": INVENTED_BANNER if settings.study.invented else "",
        "rank_goes_by": basis(settings.study.units),
        "rate_unit": f"per {length_unit(settings.study.units)} of road and year",
        "interval_level": settings.hotspots.interval,
        "verdict": findings.chance.words,
        "power": findings.chance.power,
        "method": findings.chance.method,
        "crossing_days": WHAT_CROSSING_DAYS_ARE,
        "cautions": [NO_PROOF, CONFIDENTIAL, *SAFETY],
        "roads": credit(study),
    }
    inside = ",\n".join(features)
    text = (
        f'{{"type": "FeatureCollection",\n"metadata": {_json(metadata)},\n'
        f'"features": [\n{inside}\n]}}\n'
    )
    return text.encode("utf-8")


def lines_wgs84(table: gpd.GeoDataFrame) -> list[list[list[float]]]:
    """Return each LineString's vertices as [longitude, latitude], 6 decimals."""
    shapes = table.geometry.to_crs(WGS84)
    return [np.round(shapely.get_coordinates(shape), 6).tolist() for shape in shapes]


def length_column(length_m: pd.Series[Any], units: Units) -> dict[str, pd.Series[Any]]:
    """Return lengths under the name that carries their unit."""
    if units == "us":
        return {"length_ft": rounded(length_m / M_PER_FOOT, 0)}
    return {"length_m": rounded(length_m, 1)}


def rate_name(name: str, units: Units) -> str:
    """Return a rate column's name in the study's units."""
    return name.replace("per_km", f"per_{length_unit(units)}")


def per_length(rates: pd.Series[Any], units: Units) -> pd.Series[Any]:
    """Return rates per km as rates in the study's units."""
    return pd.to_numeric(rates) * per_length_unit(1.0, units)


def rounded(values: pd.Series[Any], decimals: int) -> pd.Series[Any]:
    """Return numbers rounded; missing ones stay missing."""
    return pd.to_numeric(values).astype("float64").round(decimals)


def significant(values: pd.Series[Any], digits: int = 3) -> pd.Series[Any]:
    """Return numbers rounded to significant digits."""
    return values.map(lambda x: float(f"{x:.{digits}g}"))


def _texts(values: pd.Series[Any]) -> list[str]:
    return [plain_text(value) for value in values]


def _ends(ranked: gpd.GeoDataFrame) -> np.ndarray[Any, np.dtype[np.float64]]:
    pairs = [[*line[0], *line[-1]] for line in lines_wgs84(ranked)]
    return np.asarray(pairs, dtype=np.float64).reshape(-1, 4)


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
