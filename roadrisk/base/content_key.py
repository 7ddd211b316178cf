"""A short name for what values hold: equal content gives an equal name, in any run."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import fields, is_dataclass
from datetime import date, time, timedelta
from enum import Enum
from pathlib import PurePath
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    import pandas as pd


class NoKeyError(TypeError):
    """A value whose content can't be told for sure."""


def content_key(*values: object) -> str:
    """Return a name for the content of values.

    Parameters
    ----------
    *values : object
        Numbers, texts, dates, paths, arrays, tables (with their geometries), sequences, sets,
        mappings, coordinate systems, pydantic models and dataclasses made of these.

    Returns
    -------
    str
        64 hexadecimal digits (SHA-256). Texts in tables go in by pandas' 64-bit hash of each.

    Raises
    ------
    NoKeyError
        If anything else is among the values.
    """
    digest = hashlib.sha256()
    for value in values:
        _feed(digest, value)
    return digest.hexdigest()


def _feed(digest: Any, value: object) -> None:  # noqa: PLR0911  one line a kind of value
    if value is None or isinstance(value, bool | int | str | date | time | timedelta):
        return _mark(digest, type(value).__name__, repr(value).encode())
    if isinstance(value, float):
        return _mark(digest, "float", struct.pack("<d", value))
    if isinstance(value, bytes):
        return _mark(digest, "bytes", value)
    if isinstance(value, PurePath):
        return _mark(digest, "path", value.as_posix().encode())
    if isinstance(value, Enum):
        return _mark(digest, type(value).__qualname__, value.name.encode())
    if isinstance(value, ZoneInfo):
        return _mark(digest, "zone", str(value.key).encode())
    if isinstance(value, list | tuple):
        _mark(digest, "sequence", str(len(value)).encode())
        for item in value:
            _feed(digest, item)
        return None
    if isinstance(value, AbstractSet | Mapping):
        return _feed_unordered(digest, value)
    if is_dataclass(value) and not isinstance(value, type):
        _mark(digest, "dataclass", _name(value))
        for field in fields(value):
            _feed(digest, (field.name, getattr(value, field.name)))
        return None
    return _feed_library(digest, value)


def _feed_unordered(digest: Any, value: object) -> None:
    if isinstance(value, Mapping):
        keys = sorted(content_key(k) + content_key(v) for k, v in value.items())
    else:
        assert isinstance(value, AbstractSet)  # noqa: S101  for the type checker
        keys = sorted(content_key(item) for item in value)
    _mark(digest, "unordered", "".join(keys).encode())


def _feed_library(digest: Any, value: object) -> None:
    import numpy as np
    import pandas as pd
    import pyproj
    import shapely
    from pydantic import BaseModel

    if isinstance(value, np.generic):
        _feed(digest, np.asarray(value))
    elif isinstance(value, np.ndarray):
        _feed_array(digest, value)
    elif isinstance(value, pd.DataFrame):
        _feed_table(digest, value)
    elif isinstance(value, pd.Series | pd.Index):
        _feed_table(digest, pd.DataFrame({"values": value}))
        _feed(digest, None if value.name is None else str(value.name))
    elif isinstance(value, BaseModel):
        _mark(digest, "model", _name(value))
        for name in type(value).model_fields:
            _feed(digest, (name, getattr(value, name)))
    elif isinstance(value, pyproj.CRS):
        _mark(digest, "crs", value.to_wkt().encode())
    elif isinstance(value, shapely.Geometry):
        _mark(digest, "geometry", shapely.to_wkb(value))
    else:
        raise NoKeyError(f"the content of a {type(value).__name__} has no key")


def _feed_array(digest: Any, value: Any) -> None:
    import numpy as np

    if value.dtype.kind == "O":
        _feed(digest, list(value.ravel()))
        return
    _mark(digest, "array", repr((value.dtype.str, value.shape)).encode())
    digest.update(np.ascontiguousarray(value).reshape(-1).view(np.uint8).data)


def _feed_table(digest: Any, table: pd.DataFrame) -> None:
    import pandas as pd

    _mark(digest, "table", repr(table.shape).encode())
    _feed_array(digest, pd.util.hash_pandas_object(table.index, index=False).to_numpy())
    for k, name in enumerate(table.columns):
        _feed(digest, str(name))
        _feed_column(digest, table.iloc[:, k])
    _feed(digest, {str(k): str(v) for k, v in table.attrs.items()})


def _feed_column(digest: Any, column: pd.Series[Any]) -> None:
    import geopandas as gpd
    import numpy as np
    import pandas as pd
    import shapely

    _mark(digest, "column", str(column.dtype).encode())
    if isinstance(column.dtype, gpd.array.GeometryDtype):
        if _alike(column):
            kind, places, starts = shapely.to_ragged_array(column.to_numpy())
            _feed(digest, [int(kind), places, *starts])
        else:
            _feed(digest, [None if g is None else shapely.to_wkb(g) for g in column])
        crs = getattr(column.array, "crs", None)
        _feed(digest, None if crs is None else crs.to_wkt())
        return
    if column.dtype.kind in "biufmM" and isinstance(column.dtype, np.dtype):
        _feed_array(digest, column.to_numpy())
        return
    if column.dtype == object:
        kinds = sorted({type(v).__name__ for v in column})
        if not set(kinds) <= {"str", "NoneType", "float", "int", "bool"}:
            _feed(digest, list(column))
            return
        _feed(digest, kinds)
    _feed_array(digest, pd.util.hash_pandas_object(column, index=False).to_numpy())


def _alike(column: pd.Series[Any]) -> bool:
    """Whether geometries are all of one simple kind, none missing: then arrays say it all."""
    import numpy as np
    import shapely

    kinds = np.unique(shapely.get_type_id(column.to_numpy()))
    return len(kinds) == 1 and int(kinds[0]) in (0, 1)


def _mark(digest: Any, kind: str, content: bytes) -> None:
    digest.update(f"{kind}:{len(content)}:".encode())
    digest.update(content)


def _name(value: object) -> bytes:
    return f"{type(value).__module__}.{type(value).__qualname__}".encode()
