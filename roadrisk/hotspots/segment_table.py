"""Evidence by segment of road: who was watched there, crossings and reports."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.telemetry.frequencies import only_watched

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from roadrisk.roads.network import Lixels, Network
    from roadrisk.sightings.placed import PlacedSightings
    from roadrisk.telemetry.frequencies import Frequencies


def segment_table(
    network: Network,
    lixels: Lixels,
    reach: pd.DataFrame,
    frequencies: Frequencies,
    placed: PlacedSightings,
    years: float,
) -> gpd.GeoDataFrame:
    """Return the evidence of every segment.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    reach : pandas.DataFrame
        `telemetry.reach.reach_by_segment` of all segments.
    frequencies : Frequencies
    placed : PlacedSightings
    years : float
        Length of the study [years].

    Returns
    -------
    geopandas.GeoDataFrame
        The network's segments and the columns of `Findings.segments` up to evidence_per_km_year.
    """
    segments = network.segments
    placement = placed.placement
    vitality = placed.table["vitality"].to_numpy()[placement.point]
    where = lixels.segment[placement.lixel]
    columns = {}
    for name, chosen in (
        ("reports_alive", vitality == "alive"),
        ("reports_dead", vitality == "dead"),
        ("reports_other", (vitality != "alive") & (vitality != "dead")),
    ):
        columns[name] = np.bincount(
            where[chosen], placement.weight[chosen], minlength=len(segments)
        )
    rates = only_watched(frequencies.segments, reach["animals_in_reach"])
    evidence = rates["crossing_days"].to_numpy() + sum(columns.values())
    table = segments.drop(columns="geometry").join(reach).join(rates).assign(**columns)
    table["evidence_per_km_year"] = evidence / (segments["length_m"].to_numpy() / 1000) / years
    return segments[["geometry"]].join(table)
