"""The places that a document lists: sites first, then the worst pieces of road outside them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from roadrisk.base.plain_numbers import number
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.death_words import times_mean, with_bound
from roadrisk.reporting.deaths_cells import chance_cell, interval_cell, rows
from roadrisk.reporting.documents.facts import OF_ALL, clipped, upper
from roadrisk.reporting.engineer_places import engineer_places
from roadrisk.reporting.measure_words import deaths_said, length, money_range
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.sites_of_windows import sites_of_windows
from roadrisk.reporting.wording import length_unit, ranked_by, rate_words, short_length

if TYPE_CHECKING:
    from roadrisk.reporting.editions.edition import Edition

NOT_GIVEN = "owner not given"
_TOUCH_M = 1.0


@dataclass(frozen=True)
class Place:
    """A line of a list of places, in words.

    Attributes
    ----------
    mark : str
        As on the map: "S1", or a rank.
    ranks : str
        Ranks of the pieces of road that lie in a site.
    where, owner, length, deaths, proposed, cost : str
    """

    mark: str
    ranks: str
    where: str
    owner: str
    length: str
    deaths: str
    proposed: str
    cost: str


def first_places(edition: Edition, most: int = 5) -> tuple[Place, ...]:
    """Return proposed sites, best first, then the worst ranked pieces of road outside them.

    Parameters
    ----------
    edition : Edition
    most : int

    Returns
    -------
    tuple of Place
    """
    findings = edition.findings
    measures, scale = findings.measures, scale_of(edition.study, findings)
    sites = measures.chosen.iloc[:most]
    head = findings.ranked.iloc[: 4 * most + 20]
    inside = sites_of_windows(head, measures.chosen)["site"]
    out = []
    for row, where in zip(rows(sites), engineer_places(edition.study, sites)["where"], strict=True):
        site = f"{row['site']:.0f}"
        ranks = [f"{r:.0f}" for r, in_ in zip(head["rank"], inside, strict=True)
                 if site in in_.split()]  # fmt: skip
        known = deaths_said(row, "deaths_per_year", measures)
        out.append(Place(
            f"S{site}", ", ".join(ranks), clipped(where), clipped(row["owner"], 40) or NOT_GIVEN,
            length(row["length_m"], scale),
            known if measures.known or known == "not known" else f"{known} {OF_ALL}",
            clipped(row["measure_name"], 60),
            money_range(row, "cost_build", "not known") if measures.priced else "not priced",
        ))  # fmt: skip
    rest = head[inside.to_numpy() == ""].iloc[: most - len(out)]
    for row, where in zip(rows(rest), engineer_places(edition.study, rest)["where"], strict=True):
        out.append(Place(
            f"{row['rank']:.0f}", f"{row['rank']:.0f}", clipped(where),
            clipped(row["owner"], 40) or NOT_GIVEN, length(row["length_m"], scale),
            deaths_on(edition, row), "nothing", "–",
        ))  # fmt: skip
    return tuple(out)


def deaths_on(edition: Edition, row: dict[str, Any]) -> str:
    """Return deaths a year on a ranked piece of road, or what its rank goes by instead.

    Parameters
    ----------
    edition : Edition
    row : dict
        Of `Findings.ranked`.

    Returns
    -------
    str
    """
    by = ranked_by(edition.findings.deaths)
    km = float(row["length_m"]) / 1000
    name = "deaths_per_km_year"
    if by == "deaths":
        return interval_cell(row, name, km, plain_text(row["deaths_note"]) or "not known")
    if by == "bound" and np.isfinite(float(row[f"{name}_high"])):
        return with_bound(row, name, km, "not known").partition(" (")[0] + " (95 % bound)"
    if by == "evidence":
        units = edition.study.settings.study.units
        values = [float(row[f"evidence_per_km_year{end}"]) for end in ("", "_low", "_high")]
        return rate_words(values[0], values[1], values[2], "too little data", units)
    times, ends = times_mean(row).partition(" times as many")[::2]
    return f"{times}{ends} times the mean" if times else "not known"


def worst_200_m(edition: Edition) -> str:
    """Return the worst piece of road, with the worst of those that touch it, and how sure that is.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    str
        "" where nothing is ranked.
    """
    ranked = edition.findings.ranked
    if ranked.empty:
        return ""
    first, rest = ranked.iloc[:1], ranked.iloc[1:]
    near = shapely.distance(rest.geometry.to_numpy(), first.geometry.iloc[0]) < _TOUCH_M
    beside = rest[near & (rest["road"].to_numpy() == first["road"].iloc[0])].iloc[:1]
    units = edition.study.settings.study.units
    unit = {
        "relative": "of all roads",
        "evidence": f"crossings and reports per {length_unit(units)} and year",
    }.get(ranked_by(edition.findings.deaths), "deaths a year")
    said = []
    for table in (first, beside):
        for row, where in zip(rows(table), engineer_places(edition.study, table)["where"],
                              strict=True):  # fmt: skip
            many, bound, end = deaths_on(edition, row).partition(" (95 % bound)")
            said.append(f"rank {row['rank']:.0f}, {clipped(where)}: {many} {unit}{bound}{end}")
    total = float(first["length_m"].sum() + beside["length_m"].sum())
    joined = upper("; beside it ".join(said))
    site = sites_of_windows(first, edition.findings.measures.chosen)["site"].iloc[0]
    inside = f", in S{site.split()[0]}" if site else ""
    return f"{joined} ({short_length(total, units)} in all{inside})."


def rank_sure(edition: Edition) -> str:
    """Return how sure it is that the first rank is among the worst; "" where nothing is ranked."""
    findings = edition.findings
    if findings.ranked.empty:
        return ""
    row = rows(findings.ranked.iloc[:1])[0]
    low, high, chance = (
        np.nan if pd.isna(row[name]) else float(row[name])
        for name in ("rank_low", "rank_high", "chance_among_worst")
    )
    if not np.isfinite([low, high]).all():
        return "How sure the order is can't be told from so few animals and observers."
    of = "in resamples" if ranked_by(findings.deaths) == "evidence" else "90 % interval"
    said = f"The place of rank 1 may rank {number(low)} to {number(high)} ({of})"
    if np.isfinite(chance):
        worst = edition.study.settings.mortality.worst_places
        said += f", with a chance of {chance_cell(chance)} of being among the {worst} worst"
    return f"{said}."


def owners(edition: Edition) -> str:
    """Return whose road each site lies on, with route and measures; of rank 1 without sites."""
    measures = edition.findings.measures
    table = edition.findings.ranked.iloc[:1] if measures.chosen.empty else measures.chosen.iloc[:9]
    where = engineer_places(edition.study, table)["where"]
    owned: dict[str, list[str]] = {}
    unmeasured = False
    for row, place in zip(rows(table), where, strict=True):
        mark = f"S{row['site']:.0f}" if "site" in row else f"rank {row['rank']:.0f}"
        measured = bool(plain_text(row["route"])) and np.isfinite(float(row["begin_measure"]))
        unmeasured |= not measured
        said = clipped(place, 80) if measured else clipped(row["road"], 60)
        owned.setdefault(clipped(row["owner"], 40) or NOT_GIVEN, []).append(f"{mark}, {said}")
    if not owned:
        return "Not known: no place is ranked."
    words = ". ".join(upper(f"{owner}: {'; '.join(at)}") for owner, at in owned.items())
    more = " Where none stand, no route measures are on record." if unmeasured else ""
    return f"{words}.{more}"
