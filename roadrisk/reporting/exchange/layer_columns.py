"""What every column of every layer is."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.reporting.column_words import columns_table, metric_name
from roadrisk.reporting.exchange.layer_tables import FILES

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd

    from roadrisk.reporting.editions.edition import Edition

_HEADS = ("layer", "column", "unit", "meaning", "interval")


def layer_columns(edition: Edition, layers: Mapping[str, gpd.GeoDataFrame]) -> pd.DataFrame:
    """Describe the columns of layers.

    Parameters
    ----------
    edition : Edition
    layers : mapping of str to geopandas.GeoDataFrame
        Of `layer_tables.layer_tables`.

    Returns
    -------
    pandas.DataFrame
        Columns: layer, column, unit, meaning, interval.

    Raises
    ------
    KeyError
        A column is described neither in ``templates/columns.txt`` nor in ``layer_columns.txt``.
    """
    level = edition.study.settings.hotspots.interval
    own = _own()
    rows = []
    for layer, table in layers.items():
        plain = pd.DataFrame(table.drop(columns="geometry"))
        if layer in FILES:
            told = columns_table({FILES[layer]: plain}, level)
            told = told[told["file"] == FILES[layer]]
            words = told[["column", "unit", "what_it_is", "interval"]].to_numpy(str)
            rows += [(layer, *row) for row in words.tolist()]
        else:
            rows += [
                (layer, name, *_filled(own[layer, metric_name(name)], name))
                for name in map(str, plain)
            ]
    return pd.DataFrame(rows, columns=list(_HEADS))


def _filled(words: tuple[str, ...], column: str) -> tuple[str, ...]:
    unit = "m" if metric_name(column) == column else "ft"
    return tuple("" if word == "-" else word.replace("{m}", unit) for word in words)


def _own() -> dict[tuple[str, str], tuple[str, ...]]:
    folder = resources.files("roadrisk.reporting") / "templates"
    text = (folder / "layer_columns.txt").read_text("utf-8")
    out = {}
    for line in text.splitlines():
        if line and not line.startswith("#"):
            layer, column, *words = (part.strip() for part in line.split("|"))
            out[layer, column] = tuple(words)
    return out
