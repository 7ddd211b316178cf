"""Reports as numbers for the linkage: who, when, where, which animal, in what words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.base.by_distinct import by_distinct
from roadrisk.sightings.linking_marks import ALIVE, DEAD, EITHER, Marks
from roadrisk.sightings.placed import RADIUS_95_PER_SD

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.table_settings import SightingsSection

_BEGIN = pd.Timestamp("2000-01-01", tz="UTC")
_STATES = {"alive": ALIVE, "dead": DEAD}
_ACTIONS = {"left": 0, "marked": 1, "removed": 2, "already marked": 3}
_UNKNOWN = frozenset({"", "unknown", "indeterminate", "undetermined", "?"})
_MOST_WORDS = 10  # of sex, stage or species; rarer ones count as unknown


def read_marks(
    reports: gpd.GeoDataFrame,
    on_road_xy: Floats,
    unit: Ints,
    zone: str,
    settings: SightingsSection,
) -> Marks:
    """Turn reports into numbers.

    Parameters
    ----------
    reports : geopandas.GeoDataFrame
        Columns of `records.schemas.SIGHTINGS`, in order of time.
    on_road_xy : ndarray, shape (n, 2)
        Nearest place on a road [m].
    unit : ndarray of int64
        Shared by reports that were joined by hand, -1 for none.
    zone : str
        Days are local days in this zone.
    settings : SightingsSection
        surveys, default_uncertainty_m.

    Returns
    -------
    Marks
        `share` is 0 until it is filled (`linking_shares`).
    """
    morning = reports["time"].dt.tz_convert(zone).dt.normalize().dt.tz_convert("UTC")
    kinds = [_codes(reports[c], _MOST_WORDS) for c in ("sex", "lifeStage", "scientificName")]
    surveys = [s.strip().casefold() for s in settings.surveys]
    n = len(reports)
    marks = Marks(
        x=np.ascontiguousarray(on_road_xy[:, 0], np.float64),
        y=np.ascontiguousarray(on_road_xy[:, 1], np.float64),
        variance=_numbers(reports["coordinateUncertaintyInMeters"] / RADIUS_95_PER_SD) ** 2,
        vague=(reports["coordinateUncertaintyInMeters"] == settings.default_uncertainty_m).to_numpy(
            bool
        ),
        time=days_since(reports["time"]),
        day=days_since(morning),
        day_only=~reports["time_known"].to_numpy(bool),
        state=reports["vitality"].map(_STATES).fillna(EITHER).to_numpy(np.int64),
        observer=_codes(reports["recordedBy"]),
        share=np.zeros(n),
        habit=np.ones(n),
        busy=np.ones(n),
        kinds=np.column_stack(kinds).astype(np.int64).reshape(n, 3),
        size=np.log(_numbers(reports["length_mm"])),
        action=reports["carcass_action"].map(_ACTIONS).fillna(-1).to_numpy(np.int64),
        survey=by_distinct(
            reports["samplingProtocol"],
            lambda text: text.str.strip().str.casefold().isin(surveys).to_numpy(bool),
        ),
        organism=_codes(reports["organismID"]),
        photo=_codes(reports["associatedMedia"]),
        unit=unit,
    )
    # Alike in memory whatever pandas returned: otherwise compiled code is compiled once more.
    alike: tuple[Any, ...] = tuple(np.array(a, order="C") for a in marks)
    return Marks(*alike)


def days_since(time: Any) -> Any:
    """Return times on the linkage's clock.

    Parameters
    ----------
    time : Timestamp or Series of Timestamp
        Zone-aware.

    Returns
    -------
    float or ndarray
        Days since the beginning of 2000, UTC.
    """
    days = (time - _BEGIN) / pd.Timedelta(days=1)
    return _numbers(days) if isinstance(days, pd.Series) else float(days)


def _numbers(column: pd.Series) -> Floats:
    return np.ascontiguousarray(column.to_numpy(np.float64))


def _codes(text: pd.Series, most: int | None = None) -> Ints:
    """Return the number of each word, -1 where none is said."""
    folded = by_distinct(text, lambda t: t.str.strip().str.casefold())
    said = folded[~folded.isin(_UNKNOWN)]
    counts = said.value_counts()
    words = sorted(counts.index, key=lambda w: (-counts[w], w))[:most]
    number = {word: k for k, word in enumerate(words)}
    return by_distinct(folded, lambda t: t.map(number).fillna(-1).to_numpy(np.int64))
