"""The ranked list that a proposal quotes: as a table and as GeoJSON."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.base.units import M_PER_FOOT, M_PER_MILE
from roadrisk.reporting.chance_words import p_note, q_words, window_p_source
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.editions.edition_words import caution_words
from roadrisk.reporting.engineer_places import engineer_places
from roadrisk.reporting.place_sheets import interval_note, scale_of
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.sites_of_windows import sites_of_windows
from roadrisk.reporting.stretch_letters import stretch_letter
from roadrisk.reporting.wording import (
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
    from collections.abc import Iterable

    from roadrisk.base.units import Units
    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import EditionKind
    from roadrisk.reporting.place_sheets import Scale
    from roadrisk.study import Study

FREQUENCY = "crossing_days_per_animal_year"
FREQUENCIES = (FREQUENCY, f"{FREQUENCY}_low", f"{FREQUENCY}_high")
DAYS = ("crossing_days", "crossing_days_low", "crossing_days_high")
REPORTS = ("reports_alive", "reports_dead", "reports_other")
RANKS = ("rank_low", "rank_high")
DEATHS = ("deaths_per_km_year", "deaths_per_km_year_low", "deaths_per_km_year_high")
RATES = ("evidence_per_km_year", "evidence_per_km_year_low", "evidence_per_km_year_high")
EXCESS = ("excess_per_km_year", "excess_per_km_year_low", "excess_per_km_year_high")
RELATIVE = ("relative_rate", "relative_rate_low", "relative_rate_high")
ENDS = ("begin_low", "begin_high", "end_low", "end_high")

_TENS = np.array([float(f"1e{k}") for k in range(23)])
# A number scaled to whole ones that lies so near to a half is rounded by its digits.
_NEAR_HALF = 1e-6


def ranked_table(study: Study, findings: Findings) -> pd.DataFrame:
    """Return the ranked list with the columns and the rounding of the file.

    Parameters
    ----------
    study : Study
        In US customary units lengths are in feet, speeds in miles per hour and rates per mile;
        route measures stay in the agency's own unit.
    findings : Findings

    Returns
    -------
    pandas.DataFrame
        Coordinates are WGS 84 [degrees, 6 decimals]; crossing-days have 2 decimals and reports
        1, since they are expected numbers or spread over several roads; rates have 3
        significant digits. Deaths are missing where they are not known; ``deaths_note`` says why.
        Crossings are missing where no tagged animal was in reach.
        ``stretch`` and what belongs to it are missing where nothing stands out.
    """
    ranked, scale = findings.ranked, scale_of(study, findings)
    units = scale.units
    ends, said = ends_wgs84(ranked), engineer_places(study, ranked)
    invented = f" ({INVENTED_BANNER.lower()})" if study.settings.study.invented else ""
    table: dict[str, Any] = {
        "rank": ranked["rank"].astype("int64"),
        "basis": basis(units, findings.deaths) + invented,
        "road": _texts(ranked["road"]),
        "route": _texts(ranked["route"]),
        "begin_measure": rounded(ranked["begin_measure"], 3),
        "end_measure": rounded(ranked["end_measure"], 3),
        "measure_unit": measure_units(ranked, scale.measure_unit),
        "place": _texts(ranked["place"]),
        **{name: said[name] for name in ("where", "begin_where", "end_where", "side")},
        "begin_latitude": ends[:, 1],
        "begin_longitude": ends[:, 0],
        "end_latitude": ends[:, 3],
        "end_longitude": ends[:, 2],
        **length_column(ranked["length_m"], units),
        **_deaths(ranked, units),
        "rests_on": _texts(ranked["rests_on"]),
        "animals_in_reach": ranked["animals_in_reach"].astype("int64"),
    }
    table |= {name: rounded(ranked[name], 2) for name in DAYS}
    table |= {name: significant(pd.to_numeric(ranked[name])) for name in FREQUENCIES}
    table["crossing_days_note"] = _texts(ranked["crossing_days_note"])
    # Whole numbers: these are never shared out.
    table["least_crossings"] = pd.to_numeric(ranked["least_crossings"]).astype("Int64")
    table |= {name: rounded(ranked[name], 1) for name in REPORTS}
    table |= {
        name: pd.to_numeric(ranked[name]).astype("Int64") for name in ("animals", "observers")
    }
    table |= rate_columns(ranked, RATES, units)
    table["interval_note"] = [interval_note(row, units) for row in ranked.to_dict("records")]
    table |= _chance(findings, scale)
    table["what_to_look_at"] = _texts(ranked["look_at"])
    proposed = sites_of_windows(ranked, findings.measures.chosen)
    table |= {"measure": proposed["measure"], "site": proposed["site"]}
    table["owner"] = _texts(ranked["owner"])
    table |= {name: rounded(ranked[name], 0) for name in ("aadt", "aadt_year")}
    table |= speed_column(ranked["speed_limit_kmh"], units)
    table["segment_ids"] = _texts(ranked["segment_ids"])
    return pd.DataFrame(table, index=ranked.index).reset_index(drop=True)


def _deaths(ranked: pd.DataFrame, units: Units) -> dict[str, Any]:
    """Return expected deaths of each row, and how sure its rank is."""
    return {
        **rate_columns(ranked, (*DEATHS, *EXCESS), units),
        **{name: significant(pd.to_numeric(ranked[name])) for name in RELATIVE},
        "chance_among_worst": rounded(ranked["chance_among_worst"], 3),
        "deaths_note": _texts(ranked["deaths_note"]),
        **{name: pd.to_numeric(ranked[name]).astype("Int64") for name in RANKS},
    }


def rate_columns(
    table: pd.DataFrame, names: Iterable[str], units: Units
) -> dict[str, pd.Series[Any]]:
    """Return rates per km under the names and in the numbers of the study's units."""
    return {rate_name(name, units): significant(per_length(table[name], units)) for name in names}


def _chance(findings: Findings, scale: Scale) -> dict[str, Any]:
    """Chance, stability and rank of each row; its stretch with the intervals of its ends."""
    ranked = findings.ranked
    number = pd.to_numeric(ranked["stretch"]).fillna(0).astype("int64")
    inside = pd.to_numeric(ranked["metres_in_stretch"]).astype("float64").where(number > 0)
    # The row of each window's stretch; missing columns where it is in none.
    own = findings.stretches.drop(columns="geometry").set_index("stretch").reindex(number)
    own.index = ranked.index
    table: dict[str, Any] = {
        "p_value": rounded(ranked["p_value"], 4),
        "p_value_note": [
            p_note(row, scale.draws, scale.units) for row in ranked.to_dict("records")
        ],
        "kept_of_100": pd.to_numeric(ranked["kept_of_100"]).astype("Int64"),
        "stretch": [stretch_letter(which) for which in number],
        **_in_stretch(inside, scale.units),
        "stretch_p_value": rounded(own["p_value"], 4),
        "stretch_kept_of_100": pd.to_numeric(own["kept_of_100"]).astype("Int64"),
    }
    table |= prefixed("stretch_", length_column(own["length_m"], scale.units))
    for name in ENDS:
        table |= prefixed(f"stretch_{name}", length_column(own[f"{name}_m"], scale.units), "length")
    return table | {
        f"stretch_{name}": values for name, values in window_columns(own, scale.draws).items()
    }


def _in_stretch(metres: pd.Series[Any], units: Units) -> dict[str, pd.Series[Any]]:
    if units == "us":
        return {"feet_in_stretch": rounded(metres / M_PER_FOOT, 0)}
    return {"metres_in_stretch": rounded(metres, 1)}


def window_columns(stretches: pd.DataFrame, draws: int) -> dict[str, Any]:
    """Return what the fixed windows of road that hold stretches say by themselves.

    Parameters
    ----------
    stretches : pandas.DataFrame
        `Findings.stretches`.
    draws : int
        Redistributions that p-values were counted in.

    Returns
    -------
    dict
        window_p_value, window_p_from (the words mark a p-value from a tail fit), q_value,
        q_value_words; empty for a run that has none of them.
    """
    if "window_p_value" not in stretches:
        return {}
    p = pd.to_numeric(stretches["window_p_value"])
    return {
        "window_p_value": significant(p),
        "window_p_from": [
            window_p_source(value, source, draws)
            for value, source in zip(p, stretches["window_p_from"], strict=True)
        ],
        "q_value": significant(pd.to_numeric(stretches["q_value"])),
        "q_value_words": [q_words(float(q)) for q in stretches["q_value"]],
    }


def ranked_geojson(
    study: Study, findings: Findings, *, kind: EditionKind = "confidential"
) -> bytes:
    """Return the ranked list as GeoJSON (RFC 7946, WGS 84), best first.

    Properties are the columns of `ranked_table`; the collection's member ``metadata`` says
    what the rank goes by, how it was tested and what the reader should be careful about.
    """
    settings = study.settings
    table = ranked_table(study, findings)
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
        "edition": kind,
        "invented_note": INVENTED_BANNER if settings.study.invented else "",
        "rank_goes_by": basis(settings.study.units, findings.deaths),
        "deaths": findings.deaths.words,
        "deaths_notes": list(findings.deaths.notes),
        "among_worst": settings.mortality.worst_places,
        "rate_unit": f"per {length_unit(settings.study.units)} of road and year",
        "interval_level": settings.hotspots.interval,
        "measures": findings.measures.words,
        "verdict": findings.chance.words,
        "power": findings.chance.power,
        "method": findings.chance.method,
        "crossing_days": WHAT_CROSSING_DAYS_ARE,
        "cautions": [NO_PROOF, caution_words(kind), *SAFETY],
        "roads": credit(study),
        "provenance": provenance_line(study, findings, kind),
    }
    inside = ",\n".join(features)
    text = (
        f'{{"type": "FeatureCollection",\n"metadata": {_json(metadata)},\n'
        f'"features": [\n{inside}\n]}}\n'
    )
    return text.encode("utf-8")


def lines_wgs84(table: gpd.GeoDataFrame) -> list[list[list[float]]]:
    """Return each LineString's vertices as [longitude, latitude], 6 decimals."""
    shapes = table.geometry.to_crs(WGS84).to_numpy()
    xy, line = shapely.get_coordinates(shapes, return_index=True)
    first = np.searchsorted(line, np.arange(len(shapes) + 1)).tolist()
    places = np.round(xy, 6).tolist()
    return [places[start:stop] for start, stop in pairwise(first)]


def length_column(length_m: pd.Series[Any], units: Units) -> dict[str, pd.Series[Any]]:
    """Return lengths under the name that carries their unit."""
    if units == "us":
        return {"length_ft": rounded(length_m / M_PER_FOOT, 0)}
    return {"length_m": rounded(length_m, 1)}


def speed_column(kmh: pd.Series[Any], units: Units) -> dict[str, pd.Series[Any]]:
    """Return speed limits under the name that carries their unit."""
    speed = pd.to_numeric(kmh)
    if units == "us":
        return {"speed_limit_mph": rounded(speed * 1000 / M_PER_MILE, 0)}
    return {"speed_limit_kmh": rounded(speed, 0)}


def prefixed(
    name: str, columns: dict[str, pd.Series[Any]], instead_of: str = ""
) -> dict[str, pd.Series[Any]]:
    """Return columns with a word in front of their name, or in place of its beginning."""
    return {name + key.removeprefix(instead_of): values for key, values in columns.items()}


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
    """Return numbers rounded to significant digits: those that ``%g`` writes."""
    given = pd.to_numeric(values).to_numpy(np.float64)
    out = given.copy()
    rows = np.flatnonzero(np.isfinite(given) & (given != 0.0))
    x = given[rows]
    power = np.floor(np.log10(np.abs(x))).astype(np.int64) - (digits - 1)
    # Whole numbers over a power of ten that a double holds exactly divide to the nearest double.
    held = np.abs(power) < len(_TENS)
    ten, small = _TENS[np.where(held, np.abs(power), 0)], power <= 0
    scaled = np.where(small, x * ten, x / ten)
    near_half = np.abs(np.abs(scaled - np.trunc(scaled)) - 0.5) < _NEAR_HALF
    whole = np.rint(scaled)
    out[rows] = np.where(small, whole / ten, whole * ten)
    for k in rows[~held | near_half].tolist():
        out[k] = float(f"{given[k]:.{digits}g}")
    return pd.Series(out, index=values.index, name=values.name)


def _texts(values: pd.Series[Any]) -> list[str]:
    return [plain_text(value) for value in values]


def measure_units(table: pd.DataFrame, unit: str) -> list[str]:
    """Return the unit of route measures, where a row has any."""
    known = pd.to_numeric(table["begin_measure"]).notna()
    return [unit if measured else "" for measured in known]


def ends_wgs84(table: gpd.GeoDataFrame) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return longitude and latitude of both ends of each line, 6 decimals, shape (n, 4)."""
    shapes = table.geometry.to_numpy()
    points = np.concatenate([shapely.get_point(shapes, at) for at in (0, -1)])
    lonlat = gpd.GeoSeries(points, crs=table.crs).to_crs(WGS84)
    xy = np.round(shapely.get_coordinates(lonlat.to_numpy()), 6)
    return np.asarray(xy.reshape(2, -1, 2).transpose(1, 0, 2).reshape(-1, 4), dtype=np.float64)


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
