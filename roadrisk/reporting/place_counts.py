"""Reports, carcasses and crossings of a place by month, hour and year, and by piece of road.

Made before an edition takes single records out, so that what it shows are counts and no records.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from scipy import sparse

from roadrisk.base.rows_by_name import rows_by_name
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.editions.edition import PlaceCounts
from roadrisk.roads.network import Lixels, Network
from roadrisk.roads.placing import PieceIndex, spread
from roadrisk.sightings.placed import RADIUS_95_PER_SD

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.findings import Findings
    from roadrisk.study import Study

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

PIECE_M = 100.0
MARGINAL = ("place_kind", "place", "counted_by", "value", "alive", "dead", "other", "carcasses",
            "crossings")  # fmt: skip
FILTERED = ("x_m", "y_m", "road", "year", "month", "sex", "state", "count")
# A lixel is of a place if its middle lies this near to the place's line, which only bridges
# rounding: both are cut from the same roads.
_ON_LINE_M = 0.5
# A survey's line may be an agency's, which runs beside the network's.
_SEARCHED_M = 30.0
_STATES = ("alive", "dead", "")
_SEXES = ("female", "male", "")


def place_counts(study: Study, findings: Findings) -> PlaceCounts:
    """Count what was recorded at each place by year, month and hour, and on each piece of road.

    Parameters
    ----------
    study : Study
        Its surveys tell carcasses from reports.
    findings : Findings
        With single reports and crossings: before an edition takes them out.

    Returns
    -------
    PlaceCounts
        In `marginal` a report counts as much as it is likely to be of no animal reported before,
        at each place as much as it lies there, so its sums are those of the ranked list and of
        the stretches; two carriageways are one road. In `filtered` every placed report counts
        once, on the piece that holds most of it.
    """
    lixels, reports = findings.lixels, _placed(findings.sightings)
    if not findings.segments["segment_id"].isin(lixels["segment_id"]).all():
        # Of a very large study only some roads are drawn as pieces.
        drawn = reports["segment_id"].isin(lixels["segment_id"])
        reports = reports[drawn].reset_index(drop=True)
    edges = np.unique(lixels["edge"].to_numpy(), return_inverse=True)[1].astype(np.int64)
    middles = np.asarray(
        shapely.line_interpolate_point(lixels.geometry.to_numpy(), 0.5, normalized=True)
    )
    share = _share_of_lixels(findings, reports, edges)
    return PlaceCounts(
        marginal=_marginal(study, findings, reports, share, middles),
        filtered=_filtered(study, findings, reports, share, edges, middles),
    )


def _placed(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return table[~(table.geometry.is_empty | table.geometry.isna())].reset_index(drop=True)


def _share_of_lixels(
    findings: Findings, reports: gpd.GeoDataFrame, edges: Ints
) -> sparse.csr_array:
    """Return how much of each report (row) lies on each lixel (column); rows add up to 1."""
    lixels = findings.lixels
    shape = (len(reports), len(lixels))
    if not len(reports) or not len(lixels):
        return sparse.csr_array(shape, dtype=np.float64)
    first = np.searchsorted(edges, np.arange(edges[-1] + 2)).astype(np.int64)
    start, end = (lixels[name].to_numpy(np.float64) for name in ("start_m", "end_m"))
    network = _network(findings, edges, end[first[1:] - 1])
    # Which segment a lixel is of takes no part in spreading.
    laid = Lixels(edges, start, end, first, np.zeros(len(lixels), np.int64))
    xy = shapely.get_coordinates(reports.geometry.to_numpy())
    deviation = np.nan_to_num(reports["spread_m"].to_numpy(np.float64)) / RADIUS_95_PER_SD
    placed = spread(network, laid, PieceIndex.build(network), xy, deviation, np.inf)
    return sparse.csr_array((placed.weight, (placed.point, placed.lixel)), shape=shape)


def _network(findings: Findings, edges: Ints, length: Floats) -> Network:
    """Return the roads as `roads.placing` takes them, from the lixels; nodes take no part."""
    xy, owner = shapely.get_coordinates(findings.lixels.geometry.to_numpy(), return_index=True)
    edge = edges[owner]
    twice = (xy[1:] == xy[:-1]).all(axis=1) & (edge[1:] == edge[:-1])
    kept = np.concatenate([[True], ~twice])
    number = np.arange(len(length), dtype=np.int64)
    first = np.searchsorted(edge[kept], np.arange(len(length) + 1)).astype(np.int64)
    return Network(
        findings.lixels.crs, np.zeros((0, 2)), number, number, length, xy[kept], first,
        findings.segments,
    )  # fmt: skip


def _marginal(
    study: Study,
    findings: Findings,
    reports: gpd.GeoDataFrame,
    share: sparse.csr_array,
    middles: NDArray[Any],
) -> pd.DataFrame:
    places = _places(findings)
    if not places:
        return pd.DataFrame(columns=list(MARGINAL))
    on = _lixels_of_places([line for _, _, line in places], middles, _leading(findings, middles))
    counts = reports["counts_as"].to_numpy(np.float64) if len(reports) else np.zeros(0)
    here = sparse.csr_array(on @ share.T @ sparse.diags_array(counts))
    here.sort_indices()
    crossed = _crossings_on(findings, on)
    searched = _searched(study, [line for _, _, line in places])
    reached = _reached(findings, on)
    years = range(study.settings.study.start.year, study.settings.study.end.year + 1)
    zone = study.settings.study.zone
    state = _states(study, reports)
    local = _local(reports, zone).dt
    when = {
        "year": (list(years), local.year),
        "month": (list(range(1, 13)), local.month),
        "hour": (list(range(24)), local.hour.where(_timed(reports))),
    }
    steps = {"year": _middle(findings, zone).dt.year, "month": _middle(findings, zone).dt.month}
    at = {by: _numbers(values, of_report) for by, (values, of_report) in when.items()}
    stepped = {by: _numbers(when[by][0], of_step) for by, of_step in steps.items()}
    rows = []
    for row, (kind, which, _) in enumerate(places):
        cells = slice(here.indptr[row], here.indptr[row + 1])
        report, much = here.indices[cells], here.data[cells]
        for by, (values, _) in when.items():
            sums = {
                name: _sums(len(values), at[by][report], np.where(state[report] == name, much, 0.0))
                for name in ("alive", "dead", "other", "carcasses")
            }
            if not searched[row]:
                sums["carcasses"] = np.where(sums["carcasses"] > 0, sums["carcasses"], np.nan)
            none = np.full(len(values), np.nan)
            known = reached[row] and by in steps
            sums["crossings"] = _sums(len(values), stepped[by], crossed[row]) if known else none
            for k, value in enumerate(values):
                rows.append((kind, which, by, value, *(float(s[k]) for s in sums.values())))
    return pd.DataFrame(rows, columns=list(MARGINAL))


def _places(findings: Findings) -> list[tuple[str, int, Any]]:
    kinds = (
        ("window", findings.ranked, "rank"), ("stretch", findings.stretches, "stretch"),
        ("site", findings.measures.chosen, "site"),
    )  # fmt: skip
    return [
        (kind, int(which), line)
        for kind, table, name in kinds
        for which, line in zip(table[name], table.geometry, strict=True)
    ]


def _leading(findings: Findings, middles: NDArray[Any]) -> Ints:
    """Return the lixel that each counts on: of a following carriageway, that of the leading one."""
    own = np.arange(len(middles), dtype=np.int64)
    segments = findings.segments
    if "band_of" not in segments.columns:
        return own
    leads = segments.loc[segments["band_of"] != "", ["segment_id", "band_of"]]
    rows = dict(rows_by_name(findings.lixels["segment_id"].to_numpy(object)))
    for follower, leader in leads.itertuples(index=False):
        mine, theirs = rows.get(follower, own[:0]), rows.get(leader, own[:0])
        if len(mine) and len(theirs):
            own[mine] = theirs[shapely.STRtree(middles[theirs]).nearest(middles[mine])]
    return own


def _lixels_of_places(lines: list[Any], middles: NDArray[Any], leading: Ints) -> sparse.csr_array:
    """Return which lixels (columns) lie on each place (row)."""
    place, lixel = shapely.STRtree(middles).query(
        np.asarray(lines, dtype=object), predicate="dwithin", distance=_ON_LINE_M
    )
    shape = (len(lines), len(middles))
    on = sparse.csr_array((np.ones(len(place)), (place, lixel)), shape=shape)
    counts_on = sparse.csr_array(
        (np.ones(len(leading)), (leading, np.arange(len(leading)))), shape=(len(leading),) * 2
    )
    both = on @ counts_on + on
    both.data = np.minimum(both.data, 1.0)
    return sparse.csr_array(both)


def _crossings_on(findings: Findings, on: sparse.csr_array) -> Floats:
    """Return whether each straight step (column) meets the road on each place (row)."""
    steps = findings.crossings
    if not len(steps):
        return np.zeros((on.shape[0], 0))
    tree = shapely.STRtree(findings.lixels.geometry.to_numpy())
    lixel = tree.nearest(steps.geometry.to_numpy())
    return np.asarray(on[:, lixel].toarray(), np.float64)


def _searched(study: Study, lines: list[Any]) -> NDArray[np.bool_]:
    """Return whether surveys searched the middle of each place."""
    if study.surveys is None or not len(study.surveys):
        return np.zeros(len(lines), bool)
    surveys = study.surveys.geometry[~study.surveys.geometry.is_empty].to_numpy()
    middles = np.array(
        [shapely.line_interpolate_point(_one_line(x), 0.5, normalized=True) for x in lines]
    )
    out = np.zeros(len(lines), bool)
    out[shapely.STRtree(surveys).query(middles, predicate="dwithin", distance=_SEARCHED_M)[0]] = 1
    return out


def _one_line(line: Any) -> Any:
    """Return a line, or the longest of several."""
    return max(shapely.get_parts(line), key=lambda part: float(part.length))


def _reached(findings: Findings, on: sparse.csr_array) -> NDArray[np.bool_]:
    """Return whether tagged animals were in reach of a road of each place."""
    near = findings.segments.set_index("segment_id")["animals_in_reach"] > 0
    reach = findings.lixels["segment_id"].map(near).fillna(False).to_numpy(bool)
    return np.asarray(on @ reach.astype(np.float64) > 0)


def _states(study: Study, reports: gpd.GeoDataFrame) -> NDArray[np.object_]:
    said = reports["vitality"].map(plain_text).str.strip().str.lower().to_numpy(object)
    out = np.array([s if s in ("alive", "dead") else "other" for s in said], dtype=object)
    if study.surveys is not None and "eventID" in reports.columns:
        surveyed = reports["eventID"].isin(set(study.surveys["eventID"])).to_numpy(bool)
        out[surveyed & (out == "dead")] = "carcasses"
    return out


def _local(reports: gpd.GeoDataFrame, zone: Any) -> pd.Series[Any]:
    return pd.Series(pd.to_datetime(reports["time"], utc=True)).dt.tz_convert(zone)


def _timed(reports: gpd.GeoDataFrame) -> pd.Series[bool]:
    if "time_known" in reports.columns:
        return reports["time_known"].astype(bool)
    return pd.Series(data=True, index=reports.index)


def _middle(findings: Findings, zone: Any) -> pd.Series[Any]:
    """Return the middle of each step's time, in the study's time zone."""
    begin, end = (
        pd.Series(pd.to_datetime(findings.crossings[name], utc=True))
        for name in ("from_time", "to_time")
    )
    return (begin + (end - begin) / 2).dt.tz_convert(zone)


def _numbers(values: list[int], value: pd.Series[Any]) -> Ints:
    """Return where each value stands in a list, -1 where it doesn't."""
    return np.asarray(pd.Index(values).get_indexer(pd.Index(value.fillna(-1).astype(int))))


def _sums(count: int, at: Ints, weight: Floats) -> Floats:
    listed = at >= 0
    # Rounded so that sums in another order say the same.
    return np.round(np.bincount(at[listed], weight[listed], count), 6)


def _filtered(
    study: Study,
    findings: Findings,
    reports: gpd.GeoDataFrame,
    share: sparse.csr_array,
    edges: Ints,
    middles: NDArray[Any],
) -> pd.DataFrame:
    if not len(reports):
        return pd.DataFrame(columns=list(FILTERED))
    piece = _pieces(findings.lixels, edges)
    heaviest = _heaviest(share, piece)
    time = _local(reports, study.settings.study.zone)
    sex, state = (
        reports[name].map(plain_text).str.strip().str.lower() for name in ("sex", "vitality")
    )
    table = pd.DataFrame({
        "piece": heaviest,
        "year": time.dt.year.fillna(0).astype("int64"),
        "month": time.dt.month.fillna(0).astype("int64"),
        "sex": sex.where(sex.isin(_SEXES), ""),
        "state": state.where(state.isin(_STATES), ""),
    })  # fmt: skip
    counted = table.groupby(list(table.columns), sort=True).size().rename("count").reset_index()
    first = np.searchsorted(piece, counted["piece"])
    middle = (first + np.searchsorted(piece, counted["piece"], side="right")) // 2
    xy = shapely.get_coordinates(middles[middle])
    road = findings.segments.set_index("segment_id")["road"]
    named = findings.lixels["segment_id"].iloc[middle].map(road).map(plain_text)
    counted = counted.assign(x_m=xy[:, 0], y_m=xy[:, 1], road=named.to_numpy(object))
    return counted[list(FILTERED)]


def _pieces(lixels: gpd.GeoDataFrame, edges: Ints) -> Ints:
    """Return the piece of about 100 m that each lixel lies in: equal parts of its edge."""
    middle = ((lixels["start_m"] + lixels["end_m"]) / 2).to_numpy(np.float64)
    length = lixels.groupby(edges)["end_m"].transform("max").to_numpy(np.float64)
    parts = np.maximum(1.0, np.round(length / PIECE_M))
    part = np.minimum(np.floor(middle * parts / length), parts - 1)
    new = (np.diff(edges) != 0) | (np.diff(part) != 0)
    return np.concatenate([[0], np.cumsum(new)]).astype(np.int64)


def _heaviest(share: sparse.csr_array, piece: Ints) -> Ints:
    """Return the piece that holds most of each report; the first of equal ones."""
    entries = sparse.coo_array(share)
    report, lixel = entries.coords
    table = pd.DataFrame({"report": report, "piece": piece[lixel], "share": entries.data})
    sums = table.groupby(["report", "piece"])["share"].sum().round(9).reset_index()
    best = sums.sort_values(["report", "share", "piece"], ascending=[True, False, True])
    return np.asarray(best.drop_duplicates("report")["piece"].to_numpy(np.int64))
