"""What became of the public's reports: decisions, repeats of one animal, tags, who reports."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from roadrisk.reporting.ranked_list import (
    length_column,
    per_length,
    prefixed,
    rate_name,
    rounded,
    significant,
)

if TYPE_CHECKING:
    from roadrisk.base.units import Units
    from roadrisk.findings import ReportTables


def report_tables(reports: ReportTables, units: Units) -> dict[str, pd.DataFrame]:
    """Return the tables of reports by the name of their file.

    Parameters
    ----------
    reports : ReportTables
    units : {"metric", "us"}

    Returns
    -------
    dict of str to pandas.DataFrame
        ``reports.csv`` (one row a report), ``report_links.csv`` (pairs that may be one animal),
        ``report_choices.csv`` (the count under other choices), ``tag_matches.csv``,
        ``seen_alive_then_dead.csv``, ``reporters_by_month.csv``, ``reporters_by_place.csv``.
    """
    states = reports.states
    row = pd.to_numeric(states["row"]).astype("Int64")
    links = reports.links
    return {
        "reports.csv": states.assign(row=row, counts_as=rounded(states["counts_as"], 3)),
        "report_links.csv": links.assign(probability=rounded(links["probability"], 3)),
        "report_choices.csv": _choices(reports.choices, units),
        "tag_matches.csv": _tags(reports.tags),
        "seen_alive_then_dead.csv": _histories(reports.histories),
        "reporters_by_month.csv": reports.by_month,
        "reporters_by_place.csv": _by_place(reports.by_place, units),
    }


def _tags(tags: pd.DataFrame) -> pd.DataFrame:
    places = {name: rounded(tags[name], 6) for name in ("decimalLatitude", "decimalLongitude")}
    return tags.assign(**places)


def _histories(histories: pd.DataFrame) -> pd.DataFrame:
    """Return times as the other tables write them: 2025-05-01T16:50:00+00:00."""
    times = ("last_alive", "found_dead")
    return histories.assign(
        **{name: [pd.Timestamp(t).isoformat() for t in histories[name]] for name in times}
    )


def _choices(choices: pd.DataFrame, units: Units) -> pd.DataFrame:
    return pd.DataFrame(
        {
            **prefixed("within", length_column(choices["within_m"], units), "length"),
            "within_days": choices["within_days"],
            "carcass_days": choices["carcass_days"],
            "animals": rounded(choices["animals"], 1),
        }
    )


def _by_place(places: pd.DataFrame, units: Units) -> pd.DataFrame:
    table: dict[str, Any] = {name: places[name] for name in ("segment_id", "road")}
    table |= length_column(places["length_m"], units)
    for name in places.columns.drop(["segment_id", "road", "length_m"]):
        of_length = name.endswith("_per_km")
        column = rate_name(name, units)
        values = per_length(places[name], units) if of_length else places[name]
        table[str(column)] = significant(values) if of_length else rounded(values, 1)
    return pd.DataFrame(table)
