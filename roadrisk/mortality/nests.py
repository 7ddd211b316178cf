"""Nests and gravid females by road: nesting walks cross roads, and fixes days apart miss them."""

from __future__ import annotations

import calendar
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.single_records import OfSingleRecords
from roadrisk.mortality.when_where import roads_of_segments
from roadrisk.records.schemas import NESTS, empty

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Lixels, Network
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study

    Bools = NDArray[np.bool_]

# Choices of ours: the verge and what a mower or digger reaches, and ground that a hatchling or a
# female crosses in a night.
VERGE_M, NEAR_M = 30.0, 100.0
# A median of fewer fixes says little of where an animal lives (as for home ranges).
LEAST_FIXES = 5
# Distances are told no finer: nobody needs a nest's place for planning.
_ROUND_M = 10.0
_BREEDING = r"(?<![a-z])(?:gravid|nesting)"
_DENIED = (
    r"(?<![a-z])(?:not|non|no|never|post|isn'?t)[\s-]+(?:yet\s+)?(?:gravid|nesting)"
    r"|(?:gravid|nesting)\s*[:=?]*\s*(?:no|false)\b"
)

COLUMNS = (
    "road", "nests_within_30_m", "nests_within_100_m", "nearest_nest_m", "gravid_alive",
    "gravid_dead", "nesting_lines_across", "months",
)  # fmt: skip


def nesting_table(
    study: Study,
    counted: CountedReports,
    network: Network,
    lixels: Lixels,
    fixes: gpd.GeoDataFrame | None = None,
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Count nests near, gravid females on, and nesting walks across each road.

    Parameters
    ----------
    study : Study
    counted : CountedReports
    network : Network
    lixels : Lixels
        Of `network`.
    fixes : geopandas.GeoDataFrame, optional
        Fixes of tagged animals with their places, those from bearings included; the study's
        unless given.

    Returns
    -------
    table : pandas.DataFrame
        One row a road with anything to tell. Columns `COLUMNS`: nests within 30 m and 100 m of
        the road's line on the ground (bridges and tunnels are passed over), distance to the
        nearest nest rounded to 10 m, reports of gravid females on it (as much as each counts and
        lies there), straight lines from a nest to its female's home that meet it, months (study's
        zone) of all these. CONFIDENTIAL.
    notes : tuple of str
        Empty where the study has neither nests nor reports of gravid females.
    """
    nests = _placed_nests(study)
    reports = counted.placed.table
    gravid = gravid_females(reports["reproductiveCondition"])
    if nests.empty and not gravid.any():
        return pd.DataFrame(columns=list(COLUMNS)), ()
    lines = _nesting_lines(nests, study.fixes if fixes is None else fixes)
    ground = _on_the_ground(network)
    near, across = _near(nests, ground), _across(lines, ground)
    on = _gravid_on(counted, gravid, lixels, roads_of_segments(network))
    zone = study.settings.study.zone
    laid = nests["time"].dt.tz_convert(zone).dt.month
    seen = pd.to_datetime(reports["time"], utc=True).dt.tz_convert(zone).dt.month
    rows = []
    for name in sorted({*near["road"], *across["road"], *on["road"]}):
        mine, met, told = (t[t["road"] == name] for t in (near, across, on))
        months = [*laid.iloc[mine["nest"]], *laid.iloc[met["nest"]], *seen.iloc[told["report"]]]
        rows.append({
            "road": name,
            "nests_within_30_m": int((mine["distance_m"] <= VERGE_M).sum()),
            "nests_within_100_m": len(mine),
            "nearest_nest_m": _nearest_m(nests, ground[ground["road"] == name]),
            "gravid_alive": float(told.loc[told["vitality"] == "alive", "weight"].sum()),
            "gravid_dead": float(told.loc[told["vitality"] == "dead", "weight"].sum()),
            "nesting_lines_across": len(met),
            "months": _month_names(months),
        })  # fmt: skip
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table, _notes(nests, lines, gravid, reports["vitality"])


def gravid_females(condition: pd.Series[str]) -> Bools:
    """Tell which values of reproductiveCondition say that a female carries eggs or nests.

    Parameters
    ----------
    condition : Series of str, length n
        As given, such as "gravid", "nesting", "not gravid".

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    text = condition.astype(str).str.casefold()
    said = text.str.contains(_BREEDING, regex=True)
    return np.asarray(said & ~text.str.contains(_DENIED, regex=True), dtype=bool)


def _placed_nests(study: Study) -> gpd.GeoDataFrame:
    nests = empty(NESTS, study.crs) if study.nests is None else study.nests
    there = ~(nests.geometry.is_empty | nests.geometry.isna())
    return nests[there].reset_index(drop=True)


def _nesting_lines(nests: gpd.GeoDataFrame, fixes: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Straight lines from each nest to its female's home; `nest` is the row of `nests`."""
    placed = fixes[~(fixes.geometry.is_empty | fixes.geometry.isna())]
    places = pd.DataFrame(
        {"animal": placed["organismID"], "x": placed.geometry.x, "y": placed.geometry.y}
    )
    by_animal = places.groupby("animal")
    home = by_animal[["x", "y"]].median()[by_animal.size() >= LEAST_FIXES]
    nest = np.flatnonzero(nests["organismID"].isin(home.index).to_numpy(bool))
    ends = home.loc[nests["organismID"].to_numpy(object)[nest]].to_numpy(np.float64)
    starts = shapely.get_coordinates(nests.geometry.to_numpy()[nest])
    lines = shapely.linestrings(np.stack([starts, ends.reshape(-1, 2)], axis=1))
    return gpd.GeoDataFrame({"nest": nest}, geometry=lines, crs=nests.crs)


def _on_the_ground(network: Network) -> gpd.GeoDataFrame:
    """Segments that an animal on the ground meets, with their road."""
    table = network.segments
    off = (table["level"] != 0) | table["bridge"] | table["tunnel"]
    ground = ~off.to_numpy(bool)
    road = roads_of_segments(network)[ground]
    return gpd.GeoDataFrame(
        {"road": road}, geometry=table.geometry.to_numpy()[ground], crs=network.crs
    )


def _near(nests: gpd.GeoDataFrame, ground: gpd.GeoDataFrame) -> pd.DataFrame:
    """Pairs of nest and road within reach: columns road, nest, distance_m."""
    lines, points = ground.geometry.to_numpy(), nests.geometry.to_numpy()
    nest, line = shapely.STRtree(lines).query(points, predicate="dwithin", distance=NEAR_M)
    pairs = pd.DataFrame({
        "road": ground["road"].to_numpy(object)[line], "nest": nest,
        "distance_m": shapely.distance(points[nest], lines[line]),
    })  # fmt: skip
    return pairs.groupby(["road", "nest"])["distance_m"].min().reset_index()


def _across(lines: gpd.GeoDataFrame, ground: gpd.GeoDataFrame) -> pd.DataFrame:
    """Pairs of nest and road that its nesting line meets: columns road, nest."""
    row, met = shapely.STRtree(ground.geometry.to_numpy()).query(
        lines.geometry.to_numpy(), predicate="intersects"
    )
    nest = lines["nest"].to_numpy(np.int64)[row]
    pairs = pd.DataFrame({"road": ground["road"].to_numpy(object)[met], "nest": nest})
    return pairs.drop_duplicates().reset_index(drop=True)


def _gravid_on(
    counted: CountedReports, gravid: Bools, lixels: Lixels, road: NDArray[np.object_]
) -> pd.DataFrame:
    """Return reports of gravid females by road: columns road, report, vitality, weight."""
    placement = counted.placed.placement
    mine = gravid[placement.point] & (placement.weight > 0)
    point = placement.point[mine]
    return pd.DataFrame({
        "road": road[lixels.segment[placement.lixel[mine]]],
        "report": point,
        "vitality": counted.placed.table["vitality"].to_numpy(object)[point],
        "weight": placement.weight[mine],
    })  # fmt: skip


def _nearest_m(nests: gpd.GeoDataFrame, lines: gpd.GeoDataFrame) -> float:
    if nests.empty or lines.empty:
        return float("nan")
    whole = shapely.union_all(lines.geometry.to_numpy())
    nearest = float(shapely.distance(whole, nests.geometry.to_numpy()).min())
    return _ROUND_M * round(nearest / _ROUND_M)


def _month_names(months: list[float]) -> str:
    known = sorted({int(m) for m in months if np.isfinite(m)})
    return ", ".join(calendar.month_name[m] for m in known)


def _notes(
    nests: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, gravid: Bools, vitality: pd.Series[str]
) -> tuple[str, ...]:
    out: list[str] = [
        OfSingleRecords(
            "CONFIDENTIAL: nests are the most secret places of a protected animal. The table gives "
            f"counts by road and distances rounded to {_ROUND_M:g} m, no places; hand it to nobody "
            "who doesn't need it, and never publish it."
        ),
        "Don't open, move, mark or visit nests without the permit that this needs, and follow "
        "local codes: a mark leads people, and predators, to the nest (common practice).",
        "Nesting walks are crossings that fixes days apart miss: a female may go to her nest and "
        "back between two fixes, so numbers worked out from fixes may lack these crossings.",
    ]
    if len(nests):
        coarse = int((nests["coordinateUncertaintyInMeters"] > NEAR_M).sum())
        count = (
            f"Nests: {len(nests)}. Within {VERGE_M:g} m of a road's middle line is about its "
            f"verge, within {NEAR_M:g} m the near ground (both choices of ours). Known to no "
            f"better than {NEAR_M:g} m: {coarse}; these count by the place that is given."
        )
        unknown = int((nests["organismID"] != "").sum()) - len(lines)
        homes = (
            f"Nests whose female has a known home (the median place of {LEAST_FIXES} fixes or "
            f"more): {len(lines)}; whose female is named and has too few fixes: {unknown}. Roads "
            "that a straight line from nest to home meets are counted, as if she had walked it: "
            "which way she went, and whether she came from home, isn't known."
        )
        # Few nests are each of them a secret: what is said of their table goes with it.
        out += [OfSingleRecords(count), OfSingleRecords(homes)]
    if gravid.any():
        dead = int((gravid & (vitality == "dead").to_numpy()).sum())
        out.append(
            f"Reports of gravid or nesting females on roads: {int(gravid.sum())}, {dead} of them "
            "dead. That the others aren't said to be so is no sign that they weren't."
        )
    return tuple(out)
