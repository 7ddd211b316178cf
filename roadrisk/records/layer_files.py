"""Reading map layers (GeoPackage, shapefile, GeoJSON): their shapes, and points as text."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyproj

from roadrisk.records.known_crs import known_crs
from roadrisk.records.layer_guard import TOLD_BY_START, layer_problem, opened_as
from roadrisk.records.limits import FEATURES, LAYER_BYTES, too_large
from roadrisk.records.raw_table import Notes, RawTable
from roadrisk.records.table_files import BLANKS

if TYPE_CHECKING:
    from pathlib import Path

# What the reading libraries raise for a broken file; a NameError comes from a fault of pyogrio's.
FAULTS = (
    OSError, ValueError, KeyError, TypeError, AttributeError, SyntaxError, RuntimeError, NameError,
    ArithmeticError, IndexError, EOFError, MemoryError,
)  # fmt: skip
_SMALLER = "take out what the study doesn't need: other places, other kinds"


def read_layer(
    path: Path, layer: str | None, notes: Notes
) -> tuple[dict[str, Any], Any, Any] | None:
    """Read a layer by pyogrio, values as they are.

    Parameters
    ----------
    path : pathlib.Path
    layer : str or None
        Needed where the file has several.
    notes : Notes
        Takes errors.

    Returns
    -------
    (meta, shapes, columns) or None
        `shapes` is an array of shapely geometries (None where a feature has none), Z and M
        dropped; `columns` a dict of arrays.
    """
    import pyogrio.errors
    import shapely

    kind = path.suffix.lower()
    # The reading library goes by the content, and by what the content names.
    problem = too_large(path, LAYER_BYTES, _SMALLER) or layer_problem(path, layer)
    if problem is not None:
        notes.error(*problem)
        return None
    try:
        with opened_as(path) as file, warnings.catch_warnings():
            # That measures inside the geometry are dropped is what is wanted; a geometry that
            # can't be read comes as none, and is left out with that reason.
            warnings.filterwarnings("ignore", category=UserWarning)
            warnings.filterwarnings("ignore", category=RuntimeWarning)
            return _opened(file, kind, layer, notes)
    except (pyogrio.errors.DataSourceError, shapely.errors.ShapelyError, *FAULTS) as error:
        reason = str(error).strip().splitlines()
        notes.error(
            f"the layer can't be read ({reason[0][:160] if reason else 'no reason given'}).",
            "export it again (GeoPackage is the safest), a shapefile with .shx and .dbf beside it",
        )
        return None


def _opened(
    file: str, kind: str, layer: str | None, notes: Notes
) -> tuple[dict[str, Any], Any, Any] | None:
    import pyogrio
    import pyogrio.raw
    import shapely

    names = [str(n) for n, _ in pyogrio.list_layers(file)]
    if layer is None and len(names) > 1:
        notes.error(
            f"the file has {len(names)} layers and study.toml names none.",
            f"write layer = … with one of {', '.join(map(repr, names))}",
        )
        return None
    if layer is not None and layer not in names:
        notes.error(
            f"the file has no layer {layer!r}.", f"layers here: {', '.join(map(repr, names))}"
        )
        return None
    if pyogrio.read_info(file, layer=layer)["features"] > FEATURES:
        notes.error(f"the layer has more than {FEATURES:,} features.", _SMALLER)
        return None
    # GeoJSON has no dates; without this, text that looks like one gets a time of day.
    more = {} if kind in TOLD_BY_START else {"DATE_AS_STRING": "YES"}
    meta, _, wkb, data = pyogrio.raw.read(
        file, layer=layer, datetime_as_string=True, force_2d=True, **more
    )
    shapes = None if wkb is None else shapely.from_wkb(wkb)
    if meta["crs"] is not None and known_crs(str(meta["crs"])) is None:
        notes.error(
            f"its coordinate system can't be used ({str(meta['crs'])[:80]}).",
            "export the layer again, in WGS 84 or another system with an EPSG code",
        )
        return None
    return meta, shapes, dict(zip(map(str, meta["fields"]), data, strict=True))


def read_points(path: Path, name: str, layer: str | None, notes: Notes) -> RawTable | None:
    """Read a layer of points, or a layer without geometry, as text.

    Parameters
    ----------
    path : pathlib.Path
    name : str
        The file's name as the user knows it.
    layer : str or None
    notes : Notes
        Takes errors.

    Returns
    -------
    RawTable or None
        Feature i is row i + 2, as the layer's table looks with a header.
    """
    import shapely

    found = read_layer(path, layer, notes)
    if found is None:
        return None
    meta, shapes, columns = found
    count = (
        len(next(iter(columns.values()))) if columns else len(shapes if shapes is not None else [])
    )
    if not count:
        notes.error("the layer has no features.", "export it again")
        return None
    frame = text_frame(columns, count)
    rows = np.arange(count, dtype=np.int64) + 2
    if shapes is None:
        return RawTable(name, frame, rows)
    kinds = shapely.get_type_id(shapes)
    single = np.array([s.geoms[0] if k == 4 and len(s.geoms) == 1 else s
                       for s, k in zip(shapes, kinds, strict=True)], dtype=object)  # fmt: skip
    other = np.flatnonzero(~np.isin(shapely.get_type_id(single), (-1, 0)))
    if len(other):
        notes.error(
            f"the layer holds {single[other[0]].geom_type} where points are needed "
            f"({len(other)} of {count} features).",
            "name a layer of points, or export the points",
            row=int(rows[other[0]]),
        )
        return None
    xy = np.column_stack([shapely.get_x(single), shapely.get_y(single)])
    return RawTable(name, frame, rows, xy=xy, crs=meta["crs"])


def layer_crs(own: str | None, said: str | None, place: str, notes: Notes) -> pyproj.CRS | None:
    """Return the system of a layer: what the file says, or else what study.toml says.

    Parameters
    ----------
    own, said : str or None
        The file's and study.toml's.
    place : str
        Section of study.toml.
    notes : Notes
        Takes an error if neither says, a doubt if they differ.

    Returns
    -------
    pyproj.CRS or None
    """
    if own is None and said is None:
        notes.error(
            "the layer doesn't say its coordinate system.", f'write crs = "EPSG:…" in [{place}]'
        )
        return None
    told = None if said is None else pyproj.CRS.from_user_input(said)
    if own is None:
        return told
    found = pyproj.CRS.from_user_input(own)
    if told is not None and not found.equals(told, ignore_axis_order=True):
        notes.doubt(
            f"the layer says it is in {found.name}, study.toml says {said}; "
            "the layer was believed.",
            f"take crs out of [{place}], or export the layer again",
        )
    return found


def text_frame(fields: dict[str, Any], count: int) -> pd.DataFrame:
    """Return a layer's columns as text, also of a layer without features.

    Parameters
    ----------
    fields : dict of str to sequence
        Columns by name, as `read_layer` returns them.
    count : int
        Number of features.

    Returns
    -------
    pandas.DataFrame
        Of text, index 0..count-1; "" for nothing, 7 for 7.0, [1, 2] for a list.
    """
    return pd.DataFrame(
        {name: _as_text(values) for name, values in fields.items()}, index=range(count), dtype=str
    )


def _as_text(values: Any) -> list[str]:
    """Return a layer's column as text: "" for nothing, 7 for 7.0, [1, 2] for a list."""
    return [_word(v) for v in np.asarray(values, dtype=object)]


def _word(value: object) -> str:
    if isinstance(value, np.ndarray):  # a list, as GeoJSON may hold one
        return str(value.tolist())
    if value is None or value != value:  # noqa: PLR0124
        return ""
    if isinstance(value, (float, np.floating)):
        number = float(value)
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    text = str(value).strip()
    return "" if text in BLANKS else text
