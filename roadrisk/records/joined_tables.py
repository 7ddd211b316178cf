"""What only shows once all files of a kind are joined: repeated ids, shared channels, strangers."""

from __future__ import annotations

import pandas as pd

from roadrisk.base.by_distinct import listed
from roadrisk.errors import Remark
from roadrisk.records import schemas


def join_animals(tables: list[pd.DataFrame]) -> tuple[pd.DataFrame, list[Remark]]:
    """Join tables of animals: one row an animal, the first; doubts about shared tag channels.

    Parameters
    ----------
    tables : list of pandas.DataFrame
        At least one, of `schemas.ANIMALS`.

    Returns
    -------
    animals : pandas.DataFrame
        Of `schemas.ANIMALS`.
    remarks : list of Remark
    """
    joined = pd.concat(tables, ignore_index=True)
    again = joined.duplicated("organismID")
    remarks = []
    for file, row, record in _places(joined[again], "organismID"):
        said = f"animal {record!r} is in an earlier file; this row is left out."
        mend = "keep one row an animal"
        remarks += [
            Remark(file, row, "organismID", said, mend, "doubt", record),
            Remark(file, row, "organismID", "a second row for this animal", "", "left out", record),
        ]
    animals = schemas.conform(joined[~again], schemas.ANIMALS)
    return animals, remarks + _shared_channels(animals)


def join_sightings(tables: list[pd.DataFrame]) -> tuple[pd.DataFrame, list[Remark]]:
    """Join tables of sightings and make their ids unique by a suffix.

    Parameters
    ----------
    tables : list of pandas.DataFrame
        At least one, as `point_tables.read_point_table` returns them.

    Returns
    -------
    sightings : pandas.DataFrame
        All rows, in the order of `tables`; the second report with one id A becomes A-2.
    remarks : list of Remark
        One doubt for each id that was changed.
    """
    joined = pd.concat(tables, ignore_index=True)
    ids = listed(joined["occurrenceID"])
    taken, remarks = set(ids), []
    last: dict[str, int] = {}
    again = joined[joined.duplicated("occurrenceID")]
    for i, (file, row, record) in zip(again.index, _places(again, "occurrenceID"), strict=True):
        number = last.get(record, 1) + 1
        while f"{record}-{number}" in taken:
            number += 1
        last[record] = number
        ids[i] = f"{record}-{number}"
        taken.add(ids[i])
        said = f"id {record!r} stands in an earlier row too; here it became {ids[i]!r}."
        mend = "give every report its own id, or delete one if they are one report"
        remarks.append(Remark(file, row, "occurrenceID", said, mend, "doubt", ids[i]))
    joined["occurrenceID"] = pd.Series(ids, dtype=str)
    return joined, remarks


def strangers(animals: pd.DataFrame, fixes: pd.DataFrame, what: str = "fixes") -> list[Remark]:
    """Return one doubt for each animal that has fixes and is not among the animals.

    Parameters
    ----------
    animals : pandas.DataFrame
        Of `schemas.ANIMALS`.
    fixes : pandas.DataFrame
        Has organismID, source_file and source_row.
    what : str
        What its rows are called.

    Returns
    -------
    list of Remark
    """
    known = set(animals["organismID"])
    bare = {k.lstrip("0"): k for k in known}
    remarks = []
    unknown = fixes[~fixes["organismID"].isin(known)]
    count = unknown["organismID"].value_counts()
    first = unknown.drop_duplicates("organismID").sort_values("organismID")
    for file, row, name in _places(first, "organismID"):
        like = bare.get(name.lstrip("0"))
        mend = "add the animal, or correct the id"
        if like is not None:
            mend = (
                f"the animals have {like!r}: a spreadsheet may have dropped leading zeros; "
                "format the column as text"
            )
        said = f"animal {name!r} ({count[name]} {what}) is not among the animals."
        remarks.append(Remark(file, row, "organismID", said, mend, "doubt", name))
    return remarks


def _shared_channels(animals: pd.DataFrame) -> list[Remark]:
    used = animals[animals["tag_channel"] != ""]
    shared = used[used.duplicated("tag_channel", keep=False)]
    remarks = []
    for channel, group in shared.groupby("tag_channel", sort=True):
        said = f"animals {', '.join(group['organismID'])} share tag channel {channel}."
        mend = "correct the channel, unless they never wore it at the same time"
        file, row, record = _places(group.iloc[[-1]], "organismID")[0]
        remarks.append(Remark(file, row, "tag_channel", said, mend, "doubt", record))
    return remarks


def _places(rows: pd.DataFrame, record: str) -> list[tuple[str, int, str]]:
    return [
        (str(file), int(row), str(name))
        for file, row, name in rows[["source_file", "source_row", record]].itertuples(index=False)
    ]


def unplaceable(rows: pd.DataFrame, kind: str, system: str, *, every_one: bool) -> list[Remark]:
    """Say which rows have a position that the working system can't express.

    Parameters
    ----------
    rows : pandas.DataFrame
        Those rows of a table of points.
    kind : str
        Of table.
    system : str
        Name of the working system.
    every_one : bool
        Whether the table holds no other row.

    Returns
    -------
    list of Remark
        One "left out" a row; and an error where no row is left.
    """
    animals = kind in ("fixes", "bearings", "bearing_tests")
    names = rows["organismID" if animals else "occurrenceID"]
    reason = f"a position that {system} can't express"
    out = [
        Remark(file, int(number), "", reason, "", "left out", name)
        for file, number, name in zip(rows["source_file"], rows["source_row"], names, strict=True)
    ]
    if every_one:
        mend = "follow the doubts about this file, or correct crs in study.toml"
        file = str(rows["source_file"].iloc[0])
        out.append(Remark(file, None, "", f"every row has {reason}.", mend))
    return out
