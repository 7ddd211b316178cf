"""Columns of the segment table, their defaults, and the label of a road."""

from __future__ import annotations

import numpy as np
import pandas as pd

TEXTS = (
    "name", "ref", "road_class", "osm_ids", "band_of", "route", "direction", "owner", "layer_date",
)  # fmt: skip
NUMBERS = (
    "lanes", "speed_limit_kmh", "begin_measure", "end_measure", "aadt", "aadt_year",
)  # fmt: skip
SEGMENT_COLUMNS = (
    "segment_id", "road", "name", "ref", "road_class", "level", "bridge", "tunnel", "oneway",
    "lanes", "speed_limit_kmh", "osm_ids", "band_of", "route", "begin_measure", "end_measure",
    "direction", "owner", "aadt", "aadt_year", "layer_date", "edge", "edge_from_m", "edge_to_m",
    "length_m", "geometry",
)  # fmt: skip


def with_defaults(table: pd.DataFrame) -> pd.DataFrame:
    """Return the attributes of segments with every column present and of one type.

    Parameters
    ----------
    table : pandas.DataFrame
        Any of the attribute columns of `Network.segments`; others are dropped.

    Returns
    -------
    pandas.DataFrame
        Index 0..n-1. Texts are "" and numbers NaN where unknown; `level` and `oneway` are
        int64 (0 where unknown), `bridge` and `tunnel` bool; `road` is `road_labels` unless
        it was given.
    """
    out: dict[str, object] = {}
    rows = len(table)
    for column in TEXTS:
        out[column] = _texts(table, column)
    for column in NUMBERS:
        out[column] = (
            pd.to_numeric(table[column]).to_numpy(np.float64, na_value=np.nan)
            if column in table
            else np.full(rows, np.nan)
        )
    for column in ("level", "oneway"):
        out[column] = (
            table[column].to_numpy(np.int64) if column in table else np.zeros(rows, np.int64)
        )
    for column in ("bridge", "tunnel"):
        out[column] = table[column].to_numpy(bool) if column in table else np.zeros(rows, bool)
    found = pd.DataFrame(out)
    given = _texts(table, "road")
    labels = road_labels(found)
    found["road"] = np.where(given == "", labels, given)
    found["road"] = found["road"].astype(object)
    return found


def road_labels(table: pd.DataFrame) -> np.ndarray:
    """Return the label of each road: its name, else its ref, else "unnamed <class> road".

    Parameters
    ----------
    table : pandas.DataFrame
        Columns name, ref, road_class.

    Returns
    -------
    ndarray of str objects, shape (n,)
    """
    name, ref = table["name"].to_numpy(object), table["ref"].to_numpy(object)
    code, classes = pd.factorize(table["road_class"])
    words = [" ".join(["unnamed", *_class_words(c)]) for c in classes]
    unnamed = np.array([*words, ""], dtype=object)[code]
    found: np.ndarray = np.where(name != "", name, np.where(ref != "", ref, unnamed))
    return found


def _class_words(road_class: str) -> list[str]:
    word = road_class.removesuffix("_link").replace("_", " ").strip()
    if word in ("track", "busway"):
        return [word]
    return ["road"] if word in ("", "road", "yes", "unclassified") else [word, "road"]


def _texts(table: pd.DataFrame, column: str) -> np.ndarray:
    if column not in table:
        found = np.empty(len(table), dtype=object)
        found[:] = ""
        return found
    values = table[column]
    return values.where(values.notna(), "").astype(str).to_numpy(object)
