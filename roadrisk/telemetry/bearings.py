"""Bearings to fixes: which belong together, what deviation they have, and why some give none.

Cautions (common practice): a bearing taken near a power line, a steel bridge, a fence, a rock
face or wet forest may point to an echo; a fix is as good as its observers' positions; while
bearings are taken one after the other the animal may move.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.errors import Remark
from roadrisk.telemetry.bearing_tests import Deviation, deviation_from_tests, grid_azimuths
from roadrisk.telemetry.triangulation import Estimate, NoFix, Spread, triangulate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.study import Study
    from roadrisk.table_settings import BearingsSection

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

UNKNOWN_ERROR = (
    "error not identified: two bearings always meet, and without tests nothing tells how wrong "
    "they are; not used as a fix"
)
EXACT_MEETING = (
    "error not identified: the bearings meet in one point, and without tests nothing tells how "
    "wrong they are; not used as a fix"
)
HARDLY_INFORMATIVE = (
    "hardly informative: the deviation rests on what three bearings disagree; make tests"
)
OPEN = "the bearings also allow places far beyond this region"
# Bearings that meet closer than this by luck leave a region that is no measure of the error.
_LEAST_M = 1.0
COVARIANCES = ("cov_xx", "cov_xy", "cov_yy")


@dataclass(frozen=True, eq=False)
class BearingFixes:
    """What the bearings gave.

    Attributes
    ----------
    fixes : geopandas.GeoDataFrame
        One row a fix. Columns: fix (1..), organismID, time (mean of its bearings), time_known,
        eventDate (of the first), source_file, source_row (of the first), bearings, semi_major_m,
        semi_minor_m, major_azimuth_deg (of the 95 % region, from grid north), area_m2, cov_xx,
        cov_xy, cov_yy (of the normal distribution with the same 95 % region [m²]), kappa,
        deviation_from, widest_crossing_deg, largest_residual_deg, used, note, geometry.
    bearings : geopandas.GeoDataFrame
        The bearings as read, in the order of animals and times, and: group (1..), fix (0 = none),
        azimuth_deg (from grid north), residual_deg, weight (NaN without a fix), reason (why it
        gave no fix, or "").
    deviation : Deviation or None
        From tests; None without.
    remarks : tuple of Remark
        Doubts about tests; bearings that count in no fix, kind "left out".
    notes : tuple of str
        Sentences for the reports; empty if the study has no bearings.
    """

    fixes: gpd.GeoDataFrame
    bearings: gpd.GeoDataFrame
    deviation: Deviation | None
    remarks: tuple[Remark, ...]
    notes: tuple[str, ...]


def bearing_fixes(study: Study) -> BearingFixes | None:
    """Make fixes of a study's bearings.

    Bearings of one animal join into one fix if they lie within ``join_within_minutes`` of the
    first of them; bearings given by the day alone join by the day.

    Parameters
    ----------
    study : Study

    Returns
    -------
    BearingFixes or None
        None if the study has no section ``[bearings]``.

    Notes
    -----
    The deviation of a fix's bearings is each one's own where every one states it; else the
    tests'; else it is estimated from these bearings alone, which takes three or more. Where
    some state it and some rest on tests, the tests' degrees of freedom count for all.
    """
    section = study.settings.bearings
    if section is None or study.bearings is None:
        return None
    tests, tests_section = study.bearing_tests, study.settings.bearing_tests
    deviation: Deviation | None = None
    doubts: tuple[Remark, ...] = ()
    if tests is not None and tests_section is not None and not tests.empty:
        deviation, doubts = deviation_from_tests(tests, tests_section)
    # A date alone stands at noon and must not part bearings taken around noon.
    ordered = study.bearings.sort_values(["organismID", "time_known", "time"], kind="stable")
    table = ordered.reset_index(drop=True)
    table["group"] = _groups(table, section.join_within_minutes)
    azimuth = grid_azimuths(table, section.declination_degrees) if len(table) else np.zeros(0)
    if deviation is not None and deviation.subtracted:
        azimuth = (azimuth - deviation.bias_deg) % 360
    table["azimuth_deg"] = azimuth
    table = table.assign(fix=0, residual_deg=np.nan, weight=np.nan, reason="")
    rows: list[dict[str, Any]] = []
    for members in table.groupby("group", sort=True).indices.values():
        _one_fix(table, np.asarray(members), section, deviation, rows)
    fixes = _fix_table(rows, study)
    unused = _left_out(table, fixes)
    notes = _notes(table, fixes, section, deviation)
    return BearingFixes(fixes, table, deviation, (*doubts, *unused), notes)


def with_bearing_fixes(fixes: gpd.GeoDataFrame, found: BearingFixes | None) -> gpd.GeoDataFrame:
    """Return the animals' fixes together with those from bearings.

    Parameters
    ----------
    fixes : geopandas.GeoDataFrame
        Columns of `records.schemas.FIXES`.
    found : BearingFixes or None

    Returns
    -------
    geopandas.GeoDataFrame
        The columns of `fixes` and cov_xx, cov_xy, cov_yy [m²], NaN for fixes that don't come
        from bearings. Those that do have method "triangulated" and as
        coordinateUncertaintyInMeters the longer semi-axis of their 95 % region: the smallest
        circle that holds the whole of it, as Darwin Core has it. A fix whose error is not
        identified is not among them.
    """
    known = fixes.assign(**dict.fromkeys(COVARIANCES, np.nan))
    used = None if found is None else found.fixes[found.fixes["used"].to_numpy(dtype=bool)]
    if used is None or used.empty:
        return known
    # What is said of no bearing: route, measure and side.
    more = used.assign(
        coordinateUncertaintyInMeters=used["semi_major_m"],
        method="triangulated",
        route="",
        route_measure=np.nan,
        side="",
    )[list(known.columns)]
    if known.empty:
        return more.reset_index(drop=True)
    joined = pd.concat([known, more], ignore_index=True)
    return gpd.GeoDataFrame(joined, geometry="geometry", crs=fixes.crs)


def _groups(table: gpd.GeoDataFrame, minutes: float) -> Ints:
    """Return each bearing's group, numbered; rows are in the order of animals and times."""
    groups = np.zeros(len(table), dtype=np.int64)
    longest = pd.Timedelta(minutes=minutes)
    number, first = 0, None
    columns = ("organismID", "time", "time_known")
    for i, row in enumerate(zip(*(table[c] for c in columns), strict=True)):
        joins = (
            first is not None
            and (row[0], row[2]) == (first[0], first[2])
            and row[1] - first[1] <= longest
        )
        if not joins:
            number, first = number + 1, row
        groups[i] = number
    return groups


def _one_fix(
    table: gpd.GeoDataFrame,
    members: Ints,
    section: BearingsSection,
    deviation: Deviation | None,
    rows: list[dict[str, Any]],
) -> None:
    """Triangulate one group; fill in its bearings' columns and add a row for a fix."""
    some = table.iloc[members]
    spread, source = _spread(some["bearing_sd_degrees"].to_numpy(), deviation)
    found = triangulate(
        shapely.get_coordinates(some.geometry.to_numpy()),
        some["azimuth_deg"].to_numpy(),
        spread,
        method=section.method,
        least_crossing_deg=section.least_crossing_degrees,
    )
    if isinstance(found, NoFix):
        table.loc[members, "reason"] = _reason(found, some)
        return
    rows.append(_row(len(rows) + 1, some, found, source))
    table.loc[members, "fix"] = len(rows)
    table.loc[members, "residual_deg"] = found.residual_deg
    table.loc[members, "weight"] = found.weights


def _spread(own: Floats, deviation: Deviation | None) -> tuple[Spread | None, str]:
    stated = np.isfinite(own)
    if deviation is None:
        if stated.all():
            return Spread(own), "stated for each bearing"
        return None, "these bearings alone" if len(own) > 2 else "not known"
    shared = deviation.sd_deg / np.sqrt(deviation.tests) if deviation.subtracted else 0.0
    if stated.all():
        return Spread(own, shared_sd_deg=shared), "stated for each bearing"
    sd = np.where(stated, own, deviation.sd_deg)
    words = "tests, and stated for some" if stated.any() else "tests"
    return Spread(sd, freedom=deviation.freedom, shared_sd_deg=shared), words


def _reason(found: NoFix, some: gpd.GeoDataFrame) -> str:
    if found.bearing < 0:
        return found.reason
    row = some.iloc[found.bearing]
    return f"{found.reason} ({row['source_file']}, row {row['source_row']})"


def _row(number: int, some: gpd.GeoDataFrame, found: Estimate, source: str) -> dict[str, Any]:
    first = some.iloc[0]
    long, short, azimuth = found.region
    covariance = found.normal_covariance
    counted = int(np.count_nonzero(found.weights))
    used, note = bool(found.identified and long > _LEAST_M), ""
    if not used:
        note = UNKNOWN_ERROR if counted == 2 else EXACT_MEETING
    elif source == "these bearings alone" and counted == 3:
        note = HARDLY_INFORMATIVE
    elif found.is_open:
        note = OPEN
    return {
        "fix": number,
        "organismID": first["organismID"],
        "time": some["time"].mean(),
        "time_known": bool(first["time_known"]),
        "eventDate": first["eventDate"],
        "source_file": first["source_file"],
        "source_row": int(first["source_row"]),
        "bearings": len(some),
        "semi_major_m": long if used else np.nan,
        "semi_minor_m": short if used else np.nan,
        "major_azimuth_deg": azimuth if used else np.nan,
        "area_m2": found.area_m2 if used else np.nan,
        "cov_xx": covariance[0, 0] if used else np.nan,
        "cov_xy": covariance[0, 1] if used else np.nan,
        "cov_yy": covariance[1, 1] if used else np.nan,
        "kappa": found.kappa,
        "deviation_from": source,
        "widest_crossing_deg": found.crossing_deg,
        "largest_residual_deg": float(np.abs(found.residual_deg).max()),
        "used": used,
        "note": note,
        "geometry": shapely.Point(found.x, found.y),
    }


_FIX_COLUMNS = (
    "fix", "organismID", "time", "time_known", "eventDate", "source_file", "source_row",
    "bearings", "semi_major_m", "semi_minor_m", "major_azimuth_deg", "area_m2", *COVARIANCES,
    "kappa", "deviation_from", "widest_crossing_deg", "largest_residual_deg", "used", "note",
    "geometry",
)  # fmt: skip


def _fix_table(rows: list[dict[str, Any]], study: Study) -> gpd.GeoDataFrame:
    table = pd.DataFrame(rows, columns=list(_FIX_COLUMNS))
    table["time"] = pd.to_datetime(table["time"], utc=True).astype("datetime64[ns, UTC]")
    return gpd.GeoDataFrame(table, geometry="geometry", crs=study.crs)


def _left_out(table: gpd.GeoDataFrame, fixes: gpd.GeoDataFrame) -> tuple[Remark, ...]:
    unused = {int(f): str(n) for f, n, u in zip(fixes["fix"], fixes["note"], fixes["used"],
                                                strict=True) if not u}  # fmt: skip
    columns = ("source_file", "source_row", "organismID", "fix", "reason")
    return tuple(
        Remark(file, int(row), "", f"bearing: {reason or unused[fix]}", "", "left out", animal)
        for file, row, animal, fix, reason in zip(*(table[c] for c in columns), strict=True)
        if reason or fix in unused
    )


def _notes(
    table: gpd.GeoDataFrame,
    fixes: gpd.GeoDataFrame,
    section: BearingsSection,
    deviation: Deviation | None,
) -> tuple[str, ...]:
    groups = int(table["group"].max()) if len(table) else 0
    used = int(fixes["used"].sum())
    hardly = int((fixes["note"] == HARDLY_INFORMATIVE).sum())
    how = {"mle": "maximum likelihood", "huber": "Huber's robust version",
           "andrews": "Andrews' robust version"}[section.method]  # fmt: skip
    without, unsure = groups - len(fixes), len(fixes) - used
    notes = [
        f"{_many(len(table), 'bearing')} within {section.join_within_minutes:g} minutes of each "
        f"other (a choice) make {_many(groups, 'group')} and {_many(used, 'fix', 'fixes')} "
        f"({how}, Lenth 1981); {_many(without, 'group')} give{'s' * (without == 1)} no fix, and "
        f"the error of {_many(unsure, 'fix', 'fixes')} is not identified, so that "
        f"{'it is' if unsure == 1 else 'they are'} not used."
    ]
    if deviation is not None:
        notes.append(deviation.words)
    if hardly:
        notes.append(
            f"{_many(hardly, 'fix is', 'fixes are')} hardly informative: three bearings and no "
            "tests of bearings."
        )
    return tuple(notes)


def _many(count: int, one: str, more: str = "") -> str:
    return f"{count} {one if count == 1 else more or one + 's'}"
