"""What is there, in words with a plain effect on what may be built at a place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.mitigation.structures import NOT_KNOWN, USABLE, dimension_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    import geopandas as gpd

    from roadrisk.base.units import Units
    from roadrisk.roads.network import Ints

CONSTRAINT_COLUMNS = ("place", "kind", "what", "effect")
_EFFECTS = {
    USABLE: "lead the fence to it: animals may pass here",
    NOT_KNOWN: "survey this first: it counts as no passage until it is known",
}
_LAND = {
    "private": ("private parcel {id} beside the road", "land owner's consent"),
    "protected": ("protected land {id} beside the road", "consent of the body in charge of it"),
    "public": ("public land {id} beside the road", "consent of the body that owns it"),
    "": ("parcel {id} beside the road, kind not said", "find out whose it is, and ask"),
}  # fmt: skip


def constraints(parts: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Join constraints of several kinds.

    Parameters
    ----------
    parts : iterable of pandas.DataFrame
        Columns `CONSTRAINT_COLUMNS`.

    Returns
    -------
    pandas.DataFrame
        Sorted by place, each row once, index 0..n-1.
    """
    empty = pd.DataFrame({c: pd.Series(dtype="int64" if c == "place" else str)
                          for c in CONSTRAINT_COLUMNS})  # fmt: skip
    some = [p for p in parts if len(p)]
    joined = pd.concat(some, ignore_index=True) if some else empty
    joined = joined.drop_duplicates().sort_values("place", kind="stable")
    return joined.reset_index(drop=True).astype({"place": "int64"})


def of_structures(structures: pd.DataFrame, place: Ints) -> pd.DataFrame:
    """Return constraints by structures.

    Parameters
    ----------
    structures : pandas.DataFrame
        Columns of `SiteFacts.structures`.
    place : ndarray of int64, shape (structures,)
        -1 for those off the network.
    """
    what = [
        f"{kind or 'structure'} {name}: {verdict}" + (f" ({why})" if verdict != USABLE else "")
        for kind, name, verdict, why in structures[["type", "id", "verdict", "why"]].to_numpy()
    ]
    effect = structures["verdict"].map(_EFFECTS).fillna("no passage as it is")
    found = _rows(place, "structure", what, effect.tolist())
    return found[found["place"] >= 0]


def of_land(parcels: gpd.GeoDataFrame, row: Ints, place: Ints) -> pd.DataFrame:
    """Return constraints by parcels beside places; who owns private land is not repeated."""
    beside = parcels.iloc[row]
    words = [_LAND.get(kind) for kind in beside["kind"]]
    kept = [w is not None for w in words]
    what = [w[0].format(id=i) for w, i in zip(words, beside["id"], strict=True) if w]
    return _rows(place[kept], "parcel", what, [w[1] for w in words if w])


def of_wetlands(
    kinds: Iterable[str], place: Ints, within_m: float, units: Units = "metric"
) -> pd.DataFrame:
    """Return constraints by wetlands within some distance of places."""
    near = dimension_words(within_m, units)
    what = [f"{kind or 'wetland'} within {near}" for kind in kinds]
    return _rows(place, "wetland", what, ["drainage and wetland permit"] * len(what))


def of_works(works: gpd.GeoDataFrame, row: Ints, place: Ints) -> pd.DataFrame:
    """Return constraints by planned works: the cheap moment."""
    here = works.iloc[row]
    what = [
        f"{kind or 'works'} planned" + (f" for {year[:4]}" if year else ", year not said")
        + (f" ({owner})" if owner else "")
        for kind, year, owner in here[["kind", "year", "owner"]].to_numpy()
    ]  # fmt: skip
    effect = ["build with it: the cheap moment"] * len(here)
    return _rows(place, "works", what, effect)


def of_openings(what: Iterable[str], place: Ints) -> pd.DataFrame:
    """Return constraints by driveways, gates and junction arms."""
    said = list(what)
    return _rows(place, "opening", said, ["a fence must open or end here"] * len(said))


def of_fences(
    fences: gpd.GeoDataFrame,
    row: Ints,
    place: Ints,
    fenced: Iterable[bool],
    ends: Ints,
    units: Units = "metric",
) -> pd.DataFrame:
    """Return constraints by existing fences, and by their ends.

    Parameters
    ----------
    fences : geopandas.GeoDataFrame
    row, place : ndarray of int64, shape (pairs,)
        Fence and place.
    fenced : iterable of bool, length pairs
        Whether the place counts as fenced.
    ends : ndarray of int64
        Places without a fence next to one with a fence.
    units : {"metric", "us"}
        Of heights in words.
    """
    here = fences.iloc[row]
    what, effect = [], []
    for fence, whole in zip(here.to_dict("records"), fenced, strict=True):
        said = (
            [f"{dimension_words(fence['height_m'], units)} high"] if fence["height_m"] > 0 else []
        )
        said += [f"on the {fence['side']} only"] if fence["side"] != "both" else []
        said += [f"built {fence['built']}"] if fence["built"] else []
        said += [f"condition {fence['condition']}"] if fence["condition"] else []
        what.append(f"existing fence {fence['id']}" + (f" ({', '.join(said)})" if said else ""))
        if whole:
            effect.append("fenced already: no new fence here")
        elif fence["condition"] == "bad":
            effect.append("counts as no fence: repair or renew it")
        else:
            effect.append("covers only a part of this place or one side: complete it")
    at_end = ["an existing fence ends here"] * len(ends)
    mend = ["join a new fence to it, and look for animals at its end"] * len(ends)
    return pd.concat([_rows(place, "fence", what, effect), _rows(ends, "fence", at_end, mend)])


def of_crashes(crashes: pd.DataFrame) -> pd.DataFrame:
    """Return one constraint a place with crashes; columns place, year, animal."""
    groups = list(crashes.groupby("place"))
    place = pd.Series([k for k, _ in groups], dtype="int64").to_numpy()
    what = [crash_words(table) for _, table in groups]
    return _rows(place, "crash", what, [CRASH_EFFECT] * len(what))


CRASH_EFFECT = "motorists' safety: tell the road agency's safety engineer"


def crash_words(crashes: pd.DataFrame) -> str:
    """Say how many crashes there were, without when and where each was.

    Parameters
    ----------
    crashes : pandas.DataFrame
        Columns year ("" where not said) and animal; at least one row.

    Returns
    -------
    str
        Such as "3 crashes, 1 with an animal, in 2021 to 2024".
    """
    count, animals = len(crashes), int((crashes["animal"] == "yes").sum())
    years = sorted({y for y in crashes["year"] if y})
    text = f"{count} crash{'es' if count != 1 else ''}, {animals or 'none'} with an animal"
    if not years:
        return text
    return f"{text}, in {years[0]}" + (f" to {years[-1]}" if len(years) > 1 else "")


def _rows(place: Ints, kind: str, what: list[str], effect: list[str]) -> pd.DataFrame:
    return pd.DataFrame({"place": place, "kind": kind, "what": what, "effect": effect})
