"""The chosen measures as a table: what, where, what it averts, how sure, and what is in the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.mitigation.passages import crossings_kept
from roadrisk.mitigation.site_facts import constraints_on
from roadrisk.mitigation.site_places import site_places

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mitigation.candidate_table import Laid
    from roadrisk.mitigation.ground import Ground
    from roadrisk.mitigation.measures import Measure
    from roadrisk.mitigation.portfolio import Portfolio
    from roadrisk.roads.network import Floats, Ints

CHEAP_MOMENT = "works"


def site_order(portfolio: Portfolio, laid: Laid) -> Ints:
    """Return the sites of a choice by what they avert for their cost, best first.

    Parameters
    ----------
    portfolio : Portfolio
    laid : Laid
        The candidates.

    Returns
    -------
    ndarray of int64, shape (sites,)
        Rows of the portfolio.
    """
    cost = laid.candidates.cost[portfolio.chosen]
    worth = portfolio.averted.mean(axis=1) / np.maximum(cost, 1e-12)
    return np.argsort(-worth, kind="stable")


def site_table(
    ground: Ground,
    laid: Laid,
    measures: Sequence[Measure],
    portfolio: Portfolio,
    order: Ints,
    included: Floats,
) -> gpd.GeoDataFrame:
    """Return the chosen sites, best first.

    Parameters
    ----------
    ground : Ground
    laid : Laid
    measures : sequence of Measure
    portfolio : Portfolio
    order : ndarray of int64, shape (sites,)
        Of `site_order`.
    included : ndarray, shape (places,)
        In how many of a hundred choices each place has a measure.

    Returns
    -------
    geopandas.GeoDataFrame
        Columns of `measure_findings.MeasureTables.chosen` but those of costs.
    """
    rows = portfolio.chosen[order]
    found = laid.candidates
    first, last = found.first[rows], found.last[rows]
    own = [measures[m] for m in found.measure[rows]]
    where = site_places(
        ground.network, ground.lixels, ground.pieces, ground.lines, ground.places, first, last
    )
    table = pd.DataFrame({
        "site": np.arange(1, len(rows) + 1),
        "measure": [m.key for m in own],
        "measure_name": [m.name for m in own],
    })  # fmt: skip
    table = table.join(where.drop(columns=["geometry", "owner", "segment_ids"]))
    table["fence_m"] = laid.fence_m[rows]
    table["passages_new"] = laid.passages_new[rows]
    table["passages_existing"] = laid.passages_existing[rows]
    table["openings"] = np.where(found.barrier[rows], laid.openings[rows], 0)
    _put(table, "deaths_per_year", portfolio.before[order])
    _put(table, "averted_per_year", portfolio.averted[order])
    table["moved_per_year"] = portfolio.moved[order].mean(axis=1)
    table["included_of_100"] = [
        np.average(included[a:b], weights=ground.lines.length_m[a:b])
        for a, b in zip(first, last, strict=True)
    ]
    table["crossings_kept"] = _kept(ground, own, first, last)
    table["grade"] = [m.grade for m in own]
    table["constraints"] = _in_the_way(ground, first, last, moment=False)
    table["cheap_moment"] = _in_the_way(ground, first, last, moment=True)
    table["owner"] = where["owner"]
    table["segment_ids"] = where["segment_ids"]
    return gpd.GeoDataFrame(table, geometry=list(where.geometry), crs=ground.network.crs)


def site_constraints(ground: Ground, first: Ints, last: Ints) -> pd.DataFrame:
    """Return everything that stands in the way of sites, or makes them cheaper.

    Parameters
    ----------
    ground : Ground
    first, last : ndarray of int64, shape (sites,)
        Places of each site, in order of sites.

    Returns
    -------
    pandas.DataFrame
        Columns site, kind, what, effect.
    """
    parts = [
        constraints_on(ground.facts, int(a), int(b)).assign(site=k + 1)
        for k, (a, b) in enumerate(zip(first, last, strict=True))
    ]
    names = ["site", "kind", "what", "effect"]
    if not parts:
        return pd.DataFrame(columns=names)
    return pd.concat(parts, ignore_index=True)[names]


def _put(table: pd.DataFrame, name: str, draws: Floats) -> None:
    table[name] = draws.mean(axis=1)
    table[f"{name}_low"], table[f"{name}_high"] = np.quantile(draws, [0.05, 0.95], axis=1)


def _kept(ground: Ground, own: Sequence[Measure], first: Ints, last: Ints) -> Floats:
    kept = np.ones(len(first))
    facts = ground.facts
    for k, measure in enumerate(own):
        if measure.barrier:
            spacing = measure.passage_spacing_m or np.inf
            new = spacing if measure.key == "fence_and_passages" else np.inf
            kept[k] = crossings_kept(
                ground.lines, first[k : k + 1], last[k : k + 1], ground.crossings,
                passage_at_m=facts.passage_at_m, passage_line=facts.passage_line,
                new_spacing_m=new, reach_m=spacing / 2,
            )[0]  # fmt: skip
    return kept


def _in_the_way(ground: Ground, first: Ints, last: Ints, *, moment: bool) -> list[str]:
    words = []
    for a, b in zip(first, last, strict=True):
        rows = constraints_on(ground.facts, int(a), int(b))
        rows = rows[(rows["kind"] == CHEAP_MOMENT) == moment]
        said = dict.fromkeys(f"{w}: {e}" for w, e in zip(rows["what"], rows["effect"], strict=True))
        words.append("; ".join(said))
    return words
