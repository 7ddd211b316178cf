"""All layers of an edition for a GIS: one GeoPackage, or one GeoJSON file."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyogrio
from pandas.api import types

from roadrisk.base.scratch import scratch_folder
from roadrisk.errors import OutputError
from roadrisk.reporting.exchange.about import about_rows
from roadrisk.reporting.exchange.layer_columns import layer_columns
from roadrisk.reporting.exchange.layer_tables import layer_tables

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd

    from roadrisk.reporting.editions.edition import Edition

    Layers = dict[str, gpd.GeoDataFrame]

DESCRIPTIONS = {
    "segments": "Roads from junction to junction: crossings, reports, deaths",
    "deaths_pieces": "Expected deaths by piece of road",
    "ranked": "The ranked list",
    "stretches": "Stretches that stand out",
    "measures": "Proposed measures, one a site",
    "signs": "Places for signs: starting points, the engineer sets the location",
    "structures": "Culverts and bridges that are there",
    "reports": "Public reports. Confidential",
    "crossings": "Where steps between fixes meet roads. Confidential",
    "home_ranges": "Home ranges of tagged animals. Confidential",
    "columns": "What every column of every layer is",
    "about": "What was found, edition, cautions, where this file comes from",
}
_LEAST_FREE_BYTES = 1_000_000
# GDAL stamps each layer with the clock; here with the day on which zip archives begin, so that
# the same findings give the same bytes. The file is read back at once: no need to wait for the
# disk after each layer.
# One GeoJSON with more features takes gigabytes to read; a GeoPackage is read by place.
MOST_FEATURES = 100_000
_GDAL = {"OGR_CURRENT_DATE": "1980-01-01T00:00:00.000Z", "OGR_SQLITE_SYNCHRONOUS": "OFF"}


def layers_gpkg(edition: Edition, layers: Layers | None = None) -> bytes:
    """Return all layers that an edition may draw as one GeoPackage (OGC 12-128).

    Coordinates are WGS 84 (EPSG:4326), as in all other files: every program knows it, while the
    working system is one that this package chose. Lengths stand in columns, so nothing has to be
    measured in degrees.

    Parameters
    ----------
    edition : Edition
        Confidential or agency.
    layers : dict of str to geopandas.GeoDataFrame, optional
        `layer_tables.layer_tables` of the edition, where a caller has them.

    Returns
    -------
    bytes
        Layers of `layer_tables.layer_tables`, and two tables without geometry, ``columns`` and
        ``about``. The same edition gives the same bytes.

    Raises
    ------
    OutputError
        The disk on which it is made is full.
    """
    layers = layer_tables(edition) if layers is None else layers
    plain = {"columns": layer_columns(edition, layers), "about": _about(edition)}
    before = {name: pyogrio.get_gdal_config_option(name) for name in _GDAL}
    with scratch_folder() as folder:
        path = folder / "layers.gpkg"
        pyogrio.set_gdal_config_options(_GDAL)
        try:
            for name, table in (layers | plain).items():
                _write(path, name, table)
        except (RuntimeError, OSError) as error:
            if shutil.disk_usage(folder).free > _LEAST_FREE_BYTES:
                raise
            raise OutputError(
                f"the disk is full: {folder.parent}, where layers.gpkg is made, has no room; make "
                "room and run again"
            ) from error
        finally:
            pyogrio.set_gdal_config_options(before)
        return path.read_bytes()


def layers_geojson(edition: Edition, layers: Layers | None = None) -> bytes:
    """Return all layers as one GeoJSON FeatureCollection (RFC 7946), WGS 84, 6 decimals.

    Parameters
    ----------
    edition : Edition
        Confidential or agency.
    layers : dict of str to geopandas.GeoDataFrame, optional
        `layer_tables.layer_tables` of the edition, where a caller has them.

    Returns
    -------
    bytes
        Every feature has a property ``layer``; the others are those of its layer in the
        GeoPackage, null where one is missing or infinite; a column that holds numbers in one layer
        and words in another is named with ``_words`` there, so that each has one type. A layer of
        more than 100,000 features is left to the GeoPackage, and ``about`` says so. The
        members ``about`` and ``columns`` of the collection say what the file is. The same edition
        gives the same bytes.
    """
    every = layer_tables(edition) if layers is None else layers
    layers = {name: table for name, table in every.items() if len(table) <= MOST_FEATURES}
    named = _of_one_type(layers)
    features = [line for name, table in layers.items()
                for line in _features(name, table.rename(columns=named[name]))]  # fmt: skip
    told: dict[str, list[str]] = {}
    for label, said in about_rows(edition):
        told.setdefault(label, []).append(said)
    told |= {
        f"layer {name}": [f"{len(every[name]):,} features: in layers.gpkg alone"]
        for name in every if name not in layers
    }  # fmt: skip
    columns: dict[str, dict[str, str]] = {}
    for row in layer_columns(edition, layers).to_dict("records"):
        words = [row["meaning"], row["unit"], row["interval"]]
        name = named[row["layer"]].get(row["column"], row["column"])
        columns.setdefault(row["layer"], {})[name] = "; ".join(w for w in words if w)
    inside = ",\n".join(features)
    text = (
        f'{{"type": "FeatureCollection",\n"about": {_json(told)},\n'
        f'"columns": {_json(columns)},\n"features": [\n{inside}\n]}}\n'
    )
    return text.encode("utf-8")


def _write(path: Path, name: str, table: pd.DataFrame) -> None:
    shapes = getattr(table, "geometry", None)
    parted = shapes is not None and shapes.geom_type.dropna().str.startswith("Multi").any()
    pyogrio.write_dataframe(
        table, path, layer=name, driver="GPKG", promote_to_multi=bool(parted),
        layer_options={"DESCRIPTION": DESCRIPTIONS[name]},
    )  # fmt: skip


def _of_one_type(layers: dict[str, gpd.GeoDataFrame]) -> dict[str, dict[str, str]]:
    """Return new names, by layer, for words in columns that hold numbers in another layer."""
    kinds = {
        layer: {str(n): types.is_numeric_dtype(table[n].dtype) for n in table if n != "geometry"}
        for layer, table in layers.items()
    }
    numbers = {n for kind in kinds.values() for n, numeric in kind.items() if numeric}
    return {
        layer: {n: f"{n}_words" for n, numeric in kind.items() if not numeric and n in numbers}
        for layer, kind in kinds.items()
    }


def _about(edition: Edition) -> pd.DataFrame:
    return pd.DataFrame(about_rows(edition), columns=["about", "words"])


def _features(name: str, table: gpd.GeoDataFrame) -> list[str]:
    """Return a layer's features as lines of JSON."""
    values = pd.DataFrame(table.drop(columns="geometry")).replace([np.inf, -np.inf], np.nan)
    values = values.astype(object).where(values.notna(), None)
    lines = []
    for row, shape in zip(values.to_dict("records"), table.geometry, strict=True):
        properties = {"layer": name} | {str(key): _plain(value) for key, value in row.items()}
        lines.append(_json({
            "type": "Feature", "properties": properties,
            "geometry": None if shape is None else shape.__geo_interface__,
        }))  # fmt: skip
    return lines


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
