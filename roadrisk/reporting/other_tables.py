"""Segments with their crossing frequencies, stretches, and what was left out or is in doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyproj

from roadrisk.base.crs import WGS84
from roadrisk.base.units import M_PER_MILE
from roadrisk.reporting.chance_words import p_short
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.engineer_places import engineer_places
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.ranked_list import (
    DEATHS,
    ENDS,
    EXCESS,
    FREQUENCIES,
    REPORTS,
    length_column,
    measure_units,
    prefixed,
    rate_columns,
    rounded,
    significant,
    speed_column,
    window_columns,
)
from roadrisk.reporting.sheets import in_units, unwatched
from roadrisk.reporting.stretch_letters import stretch_letter

if TYPE_CHECKING:
    from roadrisk.base.units import Units
    from roadrisk.findings import Findings
    from roadrisk.study import Study

_BEFORE_LENGTH = (
    "segment_id", "road", "name", "ref", "road_class", "level", "bridge", "tunnel", "band_of",
    "route", "begin_measure", "end_measure", "owner", "aadt", "aadt_year",
)  # fmt: skip
_DAYS_ENDS = ("crossing_days_low", "crossing_days_high")
_TIMES = ("times_around", "times_around_low", "times_around_high")
KILL = ("kill_chance", "kill_chance_low", "kill_chance_high")
YEAR = ("deaths_per_year", "deaths_per_year_low", "deaths_per_year_high")
_LEFT_OUT = ("file", "row", "record", "reason")
_DOUBTS = ("file", "row", "column", "record", "problem", "mend")
_MISMATCHES = ("segment_id", "road", "problem")


def segments_table(study: Study, findings: Findings) -> pd.DataFrame:
    """Return one row a road segment with its crossing-days, their rate and its interval.

    In US customary units lengths are in feet, speeds in miles per hour, and evidence is per
    mile and year; measures stay in the agency's own unit. Crossings are missing where no tagged
    animal was in reach.
    """
    segments, scale = findings.segments, scale_of(study, findings)
    units = scale.units
    asked = segments[["crossing_days", "animals_in_reach"]].to_dict("records")
    watched = ~np.array([unwatched(row) for row in asked], dtype=bool)
    table: dict[str, Any] = {name: segments[name] for name in _BEFORE_LENGTH}
    table |= {name: rounded(segments[name], 3) for name in ("begin_measure", "end_measure")}
    table["measure_unit"] = measure_units(segments, scale.measure_unit)
    table |= speed_column(segments["speed_limit_kmh"], units)
    table |= {"lanes": segments["lanes"], **length_column(segments["length_m"], units)}
    table["animals_in_reach"] = segments["animals_in_reach"]
    table["animal_days_in_reach"] = rounded(segments["animal_days_in_reach"], 1)
    for name in ("animals_crossing", "crossing_days"):
        table[name] = rounded(segments[name], 2).where(watched)
    table |= {name: significant(pd.to_numeric(segments[name])) for name in FREQUENCIES}
    table["crossing_days_note"] = segments["crossing_days_note"]
    table["least_crossings"] = segments["least_crossings"].astype("Int64").where(watched)
    for name in REPORTS:
        table[name] = rounded(segments[name], 1)
    table |= rate_columns(segments, ["evidence_per_km_year"], units)
    table |= {name: significant(pd.to_numeric(segments[name])) for name in KILL}
    table["traffic_used"] = significant(pd.to_numeric(segments["traffic_used"]))
    table["traffic_from"] = _texts(segments["traffic_from"])
    table |= rate_columns(segments, DEATHS, units)
    return pd.DataFrame(table)


def stretches_table(study: Study, findings: Findings) -> pd.DataFrame:
    """Return one row a stretch that stands out: where it starts and ends, how sure that is."""
    stretches, scale = findings.stretches, scale_of(study, findings)
    units = scale.units
    table: dict[str, Any] = {"stretch": [stretch_letter(n) for n in stretches["stretch"]]}
    table |= {name: _texts(stretches[name]) for name in ("road", "route")}
    table |= {name: rounded(stretches[name], 3) for name in ("begin_measure", "end_measure")}
    table["measure_unit"] = measure_units(stretches, scale.measure_unit)
    table |= {name: _texts(stretches[name]) for name in ("begin_place", "end_place")}
    said = engineer_places(study, stretches)
    table |= {name: said[name] for name in ("where", "begin_where", "end_where", "side")}
    for end in ("begin", "end"):
        xy = stretches[[f"{end}_x_m", f"{end}_y_m"]].to_numpy(dtype=np.float64)
        lon, lat = longitude_latitude(xy, stretches.crs)
        table |= {f"{end}_latitude": lat, f"{end}_longitude": lon}
    table |= length_column(stretches["length_m"], units)
    table["p_value"] = rounded(stretches["p_value"], 4)
    table["p_value_words"] = [p_short(p, scale.draws) for p in stretches["p_value"]]
    table |= window_columns(stretches, scale.draws)
    table["kept_of_100"] = stretches["kept_of_100"].astype("Int64")
    for name in ENDS:
        table |= prefixed(name, length_column(stretches[f"{name}_m"], units), "length")
    table["ends_note"] = _texts(stretches["ends_note"])
    table["crossing_days"] = rounded(stretches["crossing_days"], 2)
    table |= {name: rounded(stretches[name], 2) for name in _DAYS_ENDS if name in stretches}
    table |= {name: significant(pd.to_numeric(stretches[name])) for name in YEAR}
    table |= rate_columns(stretches, (*DEATHS, *EXCESS), units)
    table["reports"] = rounded(stretches["reports"], 1)
    table |= {name: rounded(stretches[name], 1) for name in REPORTS if name in stretches}
    table |= {name: stretches[name].astype("int64") for name in ("animals", "observers")}
    table |= {name: significant(stretches[name]) for name in _TIMES if name in stretches}
    for name in ("owner", "aadt"):
        if name in stretches:
            table[name] = _texts(stretches[name])
    if "speed_limit_kmh" in stretches:
        name, factor = ("mph", 1000 / M_PER_MILE) if units == "us" else ("kmh", 1.0)
        table[f"speed_limit_{name}"] = [
            in_units(words, factor) for words in stretches["speed_limit_kmh"]
        ]
    return pd.DataFrame(table, index=stretches.index)


def stretch_years_table(findings: Findings) -> pd.DataFrame:
    """Return the reports of each stretch by calendar year."""
    years = findings.stretch_years
    counted = ("reports", "reports_everywhere", "reports_at_usual_share")
    letters = [stretch_letter(number) for number in years["stretch"]]
    return years.assign(
        stretch=pd.Series(letters, index=years.index, dtype=object),
        **{name: rounded(years[name], 1) for name in counted},
    )


def power_table(findings: Findings, units: Units) -> pd.DataFrame:
    """Return what the comparison with chance could find, by length and strength."""
    power = findings.power
    table: dict[str, Any] = {"who": power["who"], "units": power["units"]}
    table |= length_column(power["length_m"], units)
    table |= {"times": power["times"], "worlds": power["worlds"]}
    table |= {name: rounded(power[name], 3) for name in ("found", "found_low", "found_high")}
    return pd.DataFrame(table, index=power.index)


def left_out_table(findings: Findings) -> pd.DataFrame:
    """Return the records that did not count, with the reason."""
    return _whole_rows(findings.left_out[list(_LEFT_OUT)])


def doubts_table(findings: Findings) -> pd.DataFrame:
    """Return what a person should look at."""
    return _whole_rows(findings.doubts[list(_DOUBTS)])


def mismatches_table(findings: Findings) -> pd.DataFrame:
    """Return where the agency layer and the network disagree."""
    return findings.road_mismatches[list(_MISMATCHES)]


def longitude_latitude(xy: Any, crs: Any) -> tuple[Any, Any]:
    """Return longitudes and latitudes [degrees, 6 decimals]; NaN stays NaN."""
    to_wgs84 = pyproj.Transformer.from_crs(crs, WGS84, always_xy=True)
    lon, lat = to_wgs84.transform(xy[:, 0], xy[:, 1])
    known = np.isfinite(xy).all(axis=1)
    return np.where(known, np.round(lon, 6), np.nan), np.where(known, np.round(lat, 6), np.nan)


def _texts(values: pd.Series[Any]) -> list[str]:
    return [plain_text(value) for value in values]


def _whole_rows(table: pd.DataFrame) -> pd.DataFrame:
    """Return the table with file rows as whole numbers, also where some have none."""
    return table.assign(row=pd.to_numeric(table["row"]).astype("Int64"))
