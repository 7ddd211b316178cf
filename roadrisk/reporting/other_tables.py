"""Segments with their crossing frequencies, stretches, and what was left out or is in doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyproj

from roadrisk.base.crs import WGS84
from roadrisk.base.units import M_PER_MILE
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.ranked_list import (
    FREQUENCIES,
    length_column,
    per_length,
    rate_name,
    rounded,
    significant,
)

if TYPE_CHECKING:
    from roadrisk.base.units import Units
    from roadrisk.findings import Findings

_BEFORE_LENGTH = (
    "segment_id", "road", "name", "ref", "road_class", "level", "bridge", "tunnel", "band_of",
    "route", "begin_measure", "end_measure", "owner", "aadt", "aadt_year",
)  # fmt: skip
_LEFT_OUT = ("file", "row", "record", "reason")
_DOUBTS = ("file", "row", "column", "record", "problem", "mend")
_MISMATCHES = ("segment_id", "road", "problem")


def segments_table(findings: Findings, units: Units) -> pd.DataFrame:
    """Return one row a road segment with its crossing-days, their rate and its interval.

    In US customary units lengths are in feet, speeds in miles per hour, and evidence is per
    mile and year; measures stay in the agency's own unit.
    """
    segments = findings.segments
    table: dict[str, Any] = {name: segments[name] for name in _BEFORE_LENGTH}
    table |= {name: rounded(segments[name], 3) for name in ("begin_measure", "end_measure")}
    speed = pd.to_numeric(segments["speed_limit_kmh"])
    if units == "us":
        table["speed_limit_mph"] = rounded(speed * 1000 / M_PER_MILE, 0)
    else:
        table["speed_limit_kmh"] = rounded(speed, 0)
    table |= {"lanes": segments["lanes"], **length_column(segments["length_m"], units)}
    table["animals_in_reach"] = segments["animals_in_reach"]
    table["animal_days_in_reach"] = rounded(segments["animal_days_in_reach"], 1)
    table["animals_crossing"] = rounded(segments["animals_crossing"], 2)
    table["crossing_days"] = rounded(segments["crossing_days"], 2)
    table |= {name: significant(pd.to_numeric(segments[name])) for name in FREQUENCIES}
    table["crossing_days_note"] = segments["crossing_days_note"]
    table["least_crossings"] = segments["least_crossings"]
    for name in ("reports_alive", "reports_dead", "reports_other"):
        table[name] = rounded(segments[name], 2)
    evidence = "evidence_per_km_year"
    table[rate_name(evidence, units)] = significant(per_length(segments[evidence], units))
    return pd.DataFrame(table)


def stretches_table(findings: Findings, units: Units) -> pd.DataFrame:
    """Return one row a stretch that stands out: where it starts and ends, how sure that is."""
    stretches = findings.stretches
    table: dict[str, Any] = {"stretch": stretches["stretch"].astype("int64")}
    table |= {name: _texts(stretches[name]) for name in ("road", "route")}
    table |= {name: rounded(stretches[name], 3) for name in ("begin_measure", "end_measure")}
    table |= {name: _texts(stretches[name]) for name in ("begin_place", "end_place")}
    for end in ("begin", "end"):
        xy = stretches[[f"{end}_x_m", f"{end}_y_m"]].to_numpy(dtype=np.float64)
        lon, lat = longitude_latitude(xy, stretches.crs)
        table |= {f"{end}_latitude": lat, f"{end}_longitude": lon}
    table |= length_column(stretches["length_m"], units)
    table |= {name: rounded(stretches[name], 4) for name in ("p_value", "ends_p_value")}
    table["kept_of_100"] = stretches["kept_of_100"].astype("Int64")
    for name in ("begin_low_m", "begin_high_m", "end_low_m", "end_high_m"):
        length = length_column(stretches[name], units)
        table |= {name.removesuffix("_m") + k.removeprefix("length"): length[k] for k in length}
    table["ends_note"] = _texts(stretches["ends_note"])
    table |= {name: rounded(stretches[name], 2) for name in ("crossing_days", "reports")}
    table |= {name: stretches[name].astype("int64") for name in ("animals", "observers")}
    return pd.DataFrame(table, index=stretches.index)


def stretch_years_table(findings: Findings) -> pd.DataFrame:
    """Return the reports of each stretch by calendar year."""
    years = findings.stretch_years
    return years.assign(**{
        name: rounded(years[name], 2) for name in ("reports", "reports_everywhere")
    })  # fmt: skip


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
