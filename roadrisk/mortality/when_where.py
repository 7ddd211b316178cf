"""When in the year and the day, on which roads and of which sex: what was counted, side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Lixels, Network
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study
    from roadrisk.telemetry.crossing_days import CrossingDays
    from roadrisk.telemetry.frequencies import Frequencies

    Bools = NDArray[np.bool_]

COUNTS = ("carcasses", "reports_dead", "reports_alive", "reports_other")
"""carcasses: dead animals that surveys found. reports_dead: dead ones that others reported.
reports_alive: live ones, whoever saw them. reports_other: not said whether dead or alive."""

COLUMNS = ("counted_by", "value", *COUNTS, "crossings", "deaths")
MONTHS = tuple(str(m) for m in range(1, 13))
HOURS = tuple(str(h) for h in range(24))
NOT_KNOWN = "not known"
SEXES = ("female", "male", NOT_KNOWN)


def when_table(
    study: Study,
    counted: CountedReports,
    surveyed: Bools,
    frequencies: Frequencies,
    network: Network,
    lixels: Lixels,
    deaths_by_road: Mapping[str, float] | None = None,
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Tabulate reports, crossings and deaths by month, hour, road and sex.

    Parameters
    ----------
    study : Study
    counted : CountedReports
    surveyed : ndarray of bool, shape (placed reports,)
        Made by a survey of the study: `report_sources.by_surveys`.
    frequencies : Frequencies
    network : Network
    lixels : Lixels
        Of `network`.
    deaths_by_road : mapping of str to float, optional
        Expected deaths a year by road; other keys are passed over.

    Returns
    -------
    table : pandas.DataFrame
        Columns `COLUMNS`. counted_by: "month", "hour", "road" or "sex"; value: "1" to "12", "0" to
        "23" (both in the study's time zone), the road, or one of `SEXES`. A report counts as much
        as it is likely to be of no animal reported before, on a road as much as it lies there,
        two carriageways as one road. Reports are counts and no estimates, so they have no
        interval. crossings: expected crossings of the tagged animals in the time they were
        watched; NaN without any. carcasses: NaN without surveys. deaths: NaN but by road.
    notes : tuple of str
    """
    reports = counted.placed.table
    placement = counted.placed.placement
    zone = study.settings.study.zone
    kind = _kinds(reports["vitality"].to_numpy(object), surveyed)
    weight = np.bincount(placement.point, placement.weight, len(reports)).astype(np.float64)
    local = pd.to_datetime(reports["time"], utc=True).dt.tz_convert(zone)
    month, hour = local.dt.month, local.dt.hour.where(reports["time_known"])
    road = roads_of_segments(network)
    names = tuple(sorted(set(road.tolist())))
    here = road[lixels.segment[placement.lixel]]
    sex = reports["sex"].where(reports["sex"].isin(SEXES), NOT_KNOWN)
    tables = [
        count_by("month", MONTHS, _as_text(month), kind, weight),
        count_by("hour", HOURS, _as_text(hour), kind, weight),
        count_by("road", names, here, kind[placement.point], placement.weight),
        count_by("sex", SEXES, sex.to_numpy(object), kind, weight),
    ]
    table = pd.concat(tables, ignore_index=True)
    if study.surveys is None:
        table["carcasses"] = np.nan
    found = frequencies.found
    key = list(zip(table["counted_by"], table["value"], strict=True))
    table["crossings"] = np.nan
    if len(found.animals):
        crossings = _crossings(found, road, _sexes(study, found))
        table["crossings"] = [crossings.get(k, 0.0) for k in key]
    deaths = dict(deaths_by_road or {})
    table["deaths"] = [deaths.get(v, np.nan) if by == "road" else np.nan for by, v in key]
    return table[list(COLUMNS)], _notes(study, kind, weight, month, hour, found)


def count_by(
    name: str,
    values: tuple[str, ...],
    value: NDArray[np.object_],
    kind: NDArray[np.object_],
    weight: Floats,
) -> pd.DataFrame:
    """Add up weights by value and kind.

    Parameters
    ----------
    name : str
        What is counted by.
    values : tuple of str
        Rows of the table, in order; 0 where nothing counts.
    value : ndarray of str, shape (n,)
        Others than `values`, such as "", count in no row.
    kind : ndarray of str, shape (n,)
        One of `COUNTS`.
    weight : ndarray, shape (n,)

    Returns
    -------
    pandas.DataFrame
        Columns counted_by, value and `COUNTS`.
    """
    row = pd.Index(values).get_indexer(pd.Index(value))
    table = pd.DataFrame({"counted_by": name, "value": pd.Series(values, dtype=object)})
    for column in COUNTS:
        mine = (row >= 0) & (kind == column)
        table[column] = np.bincount(row[mine], weight[mine], len(values)).astype(np.float64)
    return table


def roads_of_segments(network: Network) -> NDArray[np.object_]:
    """Return the road of every segment; a following carriageway has its leading one's.

    Parameters
    ----------
    network : Network

    Returns
    -------
    ndarray of str, shape (segments,)
    """
    table = network.segments
    own = table["road"].astype(str)
    leading = table["band_of"].map(pd.Series(own.to_numpy(), index=table["segment_id"]))
    return np.asarray(leading.where(leading.notna(), own).to_numpy(object))


def _kinds(vitality: NDArray[np.object_], surveyed: Bools) -> NDArray[np.object_]:
    dead = vitality == "dead"
    names = np.where(vitality == "alive", "reports_alive", "reports_other").astype(object)
    names[dead] = "reports_dead"
    names[dead & surveyed] = "carcasses"
    return names


def _as_text(number: pd.Series[float]) -> NDArray[np.object_]:
    return np.array(["" if n != n else str(int(n)) for n in number], dtype=object)  # noqa: PLR0124


def _sexes(study: Study, found: CrossingDays) -> NDArray[np.object_]:
    ids = found.animals["organismID"]
    known = study.animals.set_index("organismID")["sex"].reindex(ids).to_numpy(object)
    return np.array([s if s in SEXES else NOT_KNOWN for s in known], dtype=object)


def _crossings(
    found: CrossingDays, road: NDArray[np.object_], sex: NDArray[np.object_]
) -> dict[tuple[str, str], float]:
    """Return expected crossings of the tagged animals by (counted_by, value)."""
    segment = found.segments["segment"].to_numpy(np.int64)
    parts = (
        ("month", _as_text(found.by_month["month"]), found.by_month),
        ("hour", _as_text(found.by_hour["hour"]), found.by_hour),
        ("road", road[segment], found.segments),
        ("sex", sex, found.animals),
    )
    out: dict[tuple[str, str], float] = {}
    for name, value, table in parts:
        for key, number in zip(value, table["total_crossings"], strict=True):
            out[name, key] = out.get((name, key), 0.0) + float(number)
    return out


def _notes(
    study: Study,
    kind: NDArray[np.object_],
    weight: Floats,
    month: pd.Series[float],
    hour: pd.Series[float],
    found: CrossingDays,
) -> tuple[str, ...]:
    counts = weight > 0
    out = []
    if counts.any():
        dated, timed = month.notna().to_numpy(), hour.notna().to_numpy()
        out.append(
            f"When and where ({study.settings.study.time_zone}): "
            f"{int((counts & ~timed).sum())} of {int(counts.sum())} reports have no time of day "
            "and count in no hour. A report of a dead animal tells when it was found, not when it "
            "died, and reports follow the hours and roads of the people who report."
        )
        if (counts & ~dated).any():
            out.append(f"Reports without a date, in no month: {int((counts & ~dated).sum())}.")
    if (other := int((counts & (kind == "reports_other")).sum())) > 0:
        out.append(
            f"Reports that don't say whether the animal was dead or alive: {other}; they count as "
            "neither (reports_other)."
        )
    if (counts & (kind == "carcasses")).any():
        out.append(
            "By month, hour, road and sex a dead animal counts once: a carcass of a survey that "
            "others had reported before may count as theirs, so carcasses may be fewer here than "
            "where deaths are worked out from surveys."
        )
    if len(found.animals) and not found.totals_identified:
        out.append(
            "Crossings by month, hour, road and sex: compare them with each other; their sum is "
            "not identified, since it hangs on how winding paths between the fixes are."
        )
    return tuple(out)
