"""Tables of measures before anything is chosen: what is there, what if, and no sites."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.measure_findings import MeasureTables
from roadrisk.mitigation.alternatives import COLUMNS as ALTERNATIVES
from roadrisk.mitigation.costs import COSTED
from roadrisk.mitigation.signs import COLUMNS as SIGNS
from roadrisk.mitigation.structure_places import placed_structures
from roadrisk.mortality.deaths_by_place import piece_lines

if TYPE_CHECKING:
    from roadrisk.mitigation.ground import Ground
    from roadrisk.mitigation.traffic_change import Changes

CHOSEN = (
    "site", "measure", "measure_name", "road", "route", "begin_measure", "end_measure", "place",
    "begin_place", "end_place", "length_m", "fence_m", "passages_new", "passages_existing",
    "openings", "deaths_per_year", "deaths_per_year_low", "deaths_per_year_high",
    "averted_per_year", "averted_per_year_low", "averted_per_year_high", "moved_per_year",
    "included_of_100", "crossings_kept", "cost_build", "cost_build_low", "cost_build_high",
    "upkeep_per_year", "present_cost", "cost_per_death", "grade", "constraints", "cheap_moment",
    "owner", "segment_ids",
)  # fmt: skip
CURVE = (
    "cost", "averted_per_year", "averted_per_year_low", "averted_per_year_high", "sites", "knee",
    "chosen",
)  # fmt: skip


def nothing_proposed(ground: Ground, changes: Changes, effects: pd.DataFrame) -> MeasureTables:
    """Return the tables without any site.

    Parameters
    ----------
    ground : Ground
    changes : Changes
        Of another traffic.
    effects : pandas.DataFrame
        Of `effects.effects_table`.

    Returns
    -------
    MeasureTables
        `words` is empty.
    """
    crs, pieces = ground.network.crs, len(ground.pieces)
    lines = piece_lines(ground.network, ground.lixels, ground.pieces)
    place = ground.lines.place_of_piece
    drawn = {
        "piece": np.arange(1, pieces + 1),
        "road": ground.lines.road[ground.lines.line[place]],
        "site": np.zeros(pieces, dtype=np.int64),
        "included_of_100": np.full(pieces, np.nan),
    }
    return MeasureTables(
        proposed=False, known=ground.known, priced=False, currency="", gap=np.nan, words="",
        notes=(*changes.notes, *ground.facts.notes),
        chosen=gpd.GeoDataFrame(columns=list(CHOSEN), geometry=[], crs=crs),
        pieces=gpd.GeoDataFrame(drawn, geometry=lines, crs=crs),
        quantities=pd.DataFrame(columns=list(COSTED)),
        alternatives=pd.DataFrame(columns=list(ALTERNATIVES)),
        curve=pd.DataFrame(columns=list(CURVE)),
        signs=gpd.GeoDataFrame(
            columns=[c for c in SIGNS if c != "geometry"], geometry=[], crs=crs
        ),
        what_if=changes.table, effects=effects,
        constraints=pd.DataFrame(columns=["site", "kind", "what", "effect"]),
        structures=placed_structures(ground), remarks=ground.facts.remarks,
    )  # fmt: skip
