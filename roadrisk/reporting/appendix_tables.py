"""Tables for the appendix: network K, and Gi* of pieces of road."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from roadrisk.base.units import M_PER_FOOT
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.other_tables import longitude_latitude
from roadrisk.reporting.ranked_list import (
    length_column,
    per_length,
    rate_name,
    rounded,
    significant,
)

if TYPE_CHECKING:
    from roadrisk.base.units import Units
    from roadrisk.findings import Findings


def appendix_tables(findings: Findings, units: Units) -> dict[str, pd.DataFrame]:
    """Return the appendix's tables by the name of their file.

    Parameters
    ----------
    findings : Findings
    units : {"metric", "us"}

    Returns
    -------
    dict
        ``network_k.csv`` (at which distances groups of different animals and observers gather,
        with the envelope under the null model) and ``local_gi.csv`` (Gi* by piece of road, a
        picture and no test).
    """
    return {"network_k.csv": _k(findings, units), "local_gi.csv": _gi(findings, units)}


def _k(findings: Findings, units: Units) -> pd.DataFrame:
    unit, metres = ("ft", M_PER_FOOT) if units == "us" else ("m", 1.0)
    k = findings.network_k
    lengths = ("distance", "k", "expected", "low", "high")
    table: dict[str, Any] = {name: k[name] for name in ("who", "groups")}
    table |= {
        f"{name}_{unit}": rounded(pd.to_numeric(k[f"{name}_m"]) / metres, 1) for name in lengths
    }
    table |= {name: k[name] for name in ("level", "draws")}
    table["p_value_of_curve"] = rounded(k["p_value_of_curve"], 4)
    return pd.DataFrame(table).reset_index(drop=True)


def _gi(findings: Findings, units: Units) -> pd.DataFrame:
    pieces = findings.local_gi
    table: dict[str, Any] = {"segment_id": pieces["segment_id"]}
    table["road"] = [plain_text(road) for road in pieces["road"]]
    for end in ("begin", "end"):
        xy = pieces[[f"{end}_x_m", f"{end}_y_m"]].to_numpy(dtype="float64")
        lon, lat = longitude_latitude(xy, findings.segments.crs)
        table |= {f"{end}_latitude": lat, f"{end}_longitude": lon}
    table |= length_column(pieces["length_m"], units)
    evidence = "evidence_per_km_year"
    table[rate_name(evidence, units)] = significant(per_length(pieces[evidence], units))
    table["gi_star"] = rounded(pieces["gi_star"], 3)
    return pd.DataFrame(table, index=pieces.index)
