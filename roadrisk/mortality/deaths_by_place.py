"""Deaths by piece of road, by road and by an agency's unit, as tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.base.seeds import generator
from roadrisk.mortality.death_ranks import deaths_by_unit
from roadrisk.mortality.death_table import death_table
from roadrisk.roads.lixels import run_geometry

if TYPE_CHECKING:
    from roadrisk.mortality.death_field import DeathField
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats, Lixels, Network
    from roadrisk.roads.pieces import Pieces

ALL_ROADS = "all roads"
NO_OWNER = "owner not known"
_ENDS = ("", "_low", "_high")
_RATES = [f"deaths_per_km_year{e}" for e in _ENDS]
_EXCESS = [f"excess_per_km_year{e}" for e in _ENDS]
_RELATIVE = [f"relative_rate{e}" for e in _ENDS]
_YEAR = [f"deaths_per_year{e}" for e in _ENDS]
_RANKS = ["rank", "rank_low", "rank_high", "chance_among_worst", "screened_per_km_year"]
PIECE_COLUMNS = (
    "piece", "road", "segment_id", "length_m", "watched", "carcasses", "reports_dead",
    "kill_chance", *_RATES, *_EXCESS, *_RELATIVE, *_RANKS,
)  # fmt: skip
GROUP_COLUMNS = (
    "length_km", "watched_km", "carcasses", *_YEAR, *_RATES, "coming_year_low", "coming_year_high",
)  # fmt: skip


def piece_lines(network: Network, lixels: Lixels, pieces: Pieces) -> np.ndarray:
    """Return every piece as a line.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    pieces : Pieces

    Returns
    -------
    ndarray of shapely LineStrings, shape (pieces,)
    """
    return run_geometry(network, lixels, pieces.first, pieces.last)


def deaths_by_piece(
    field: DeathField,
    network: Network,
    lixels: Lixels,
    carcasses: Source | None,
    reports_dead: Floats,
    kill_chance: Floats,
    *,
    k: int,
    screened: Floats,
) -> gpd.GeoDataFrame:
    """Return the table of pieces.

    Parameters
    ----------
    field : DeathField
    network : Network
    lixels : Lixels
    carcasses : Source or None
        What surveys found.
    reports_dead : ndarray, shape (pieces,)
        Of the public.
    kill_chance : ndarray, shape (pieces,)
        Means.
    k : int
        Of the chance of being among the worst k.
    screened : ndarray, shape (pieces,)
        `death_table.screened_rates`.

    Returns
    -------
    geopandas.GeoDataFrame
        Columns `PIECE_COLUMNS` and geometry. Ranks are missing where nothing was counted.
    """
    pieces, segments = field.pieces, network.segments
    every = np.arange(len(pieces), dtype=np.int64)
    table = death_table(field.result, every, k=k, screened=screened)
    segment = lixels.segment[pieces.middle]
    columns = {
        "piece": every + 1,
        "road": segments["road"].to_numpy(object)[segment],
        "segment_id": segments["segment_id"].to_numpy(object)[segment],
        "length_m": pieces.length_m,
        "watched": field.result.watched,
        "carcasses": np.full(len(pieces), np.nan) if carcasses is None else carcasses.y,
        "reports_dead": reports_dead,
        "kill_chance": kill_chance,
    }
    out = table.assign(**columns)
    out[_RANKS[:3]] = out[_RANKS[:3]].astype("Int64")
    if not field.ordered:
        out[[*_RELATIVE, "chance_among_worst"]] = np.nan
        out[_RANKS[:3]] = pd.NA
    return gpd.GeoDataFrame(
        out[list(PIECE_COLUMNS)], geometry=piece_lines(network, lixels, pieces), crs=network.crs
    )


def deaths_by_group(
    field: DeathField, group: pd.Series[str], carcasses: Source | None, *, seed: int, name: str,
    whole: str = "",
) -> pd.DataFrame:  # fmt: skip
    """Return deaths by group of pieces.

    Parameters
    ----------
    field : DeathField
    group : Series of str, length pieces
    carcasses : Source or None
    seed : int
    name : str
        Of the column that holds the groups' names.
    whole : str
        Name of a first row of all groups together; "" for none.

    Returns
    -------
    pandas.DataFrame
        Column `name`, then `GROUP_COLUMNS`. The coming year's ends are of whole deaths, scattered
        by chance besides what isn't known.
    """
    result, length = field.result, field.pieces.length_km
    found = np.full(len(length), np.nan) if carcasses is None else carcasses.y
    labels, code = np.unique(group.to_numpy(str), return_inverse=True)
    parts = [(labels.astype(object), code.astype(np.int64))]
    if whole:
        parts.insert(0, (np.array([whole], dtype=object), np.zeros(len(length), np.int64)))
    tables = []
    for names, place in parts:
        table = death_table(result, place, k=1)
        table.insert(0, name, names)
        table["watched_km"] = np.bincount(place, length * result.watched, len(names))
        table["carcasses"] = np.bincount(place, found, len(names))
        table["coming_year_low"] = table["coming_year_high"] = np.nan
        if result.rate is not None:
            rng = generator(seed, f"mortality.coming_year {name}")
            _, counts = deaths_by_unit(result.rate, length, place, rng)
            low, high = np.quantile(counts, [0.05, 0.95], axis=1, method="inverted_cdf")
            table["coming_year_low"] = 0.0 if result.bound_only else low
            table["coming_year_high"] = high
        tables.append(table[[name, *GROUP_COLUMNS]])
    return pd.concat(tables, ignore_index=True)
