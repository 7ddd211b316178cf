"""Sites with works against sites without, before and after: what changed, and what that bears."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mitigation.before_after import Ratio, compared, log_ratio
from roadrisk.mitigation.compared_years import Used, used_years
from roadrisk.mitigation.comparison_words import (
    FEWER,
    MORE,
    NO_DIFFERENCE,
    TOO_FEW,
    YEARS_UNKNOWN,
    comparison_words,
    not_identified,
)
from roadrisk.mitigation.given_margins import Counted, Stratum
from roadrisk.mitigation.years_differ import YearsDiffer, years_differ

if TYPE_CHECKING:
    from collections.abc import Sequence

COLUMNS = (
    "what", "where", "site", "controls", "before", "after", "control_before", "control_after",
    "effort_before", "effort_after", "control_effort_before", "control_effort_after", "ratio",
    "ratio_low", "ratio_high", "p_value", "simple_ratio", "simple_ratio_low", "simple_ratio_high",
    "chance_to_see_halving", "years_vary", "verdict", "words",
)  # fmt: skip
YEARS = ("what", "site", "kind", "year", "from_day", "to_day", "period", "counted", "effort",
         "km_searched", "visits", "left_out")  # fmt: skip
ALL = "all works sites"
WORKS, ENDS, TOGETHER = "works", "beside the ends", "works and ends together"
# Searches this much closer together find another share of the dead.
_SPACING = 1.5


@dataclass(frozen=True)
class Rules:
    """How sites are compared.

    Attributes
    ----------
    level : float
        Coverage of the intervals, two-sided.
    by_empirical_bayes : bool
        Years that led to the choice are replaced by their expectation, not left out.
    dispersion : float or None
        Variance over mean of counts of different years, where it is known; else estimated.
    least_chance : float
        Below this chance of seeing a halving, no difference means too few.
    effort_exact : bool
        Effort is the expected count per unit of the death rate, so that closer searches change
        nothing; else it is km times visits.
    what : str
        "deaths" or "crossings".
    """

    level: float = 0.95
    by_empirical_bayes: bool = False
    dispersion: float | None = None
    least_chance: float = 0.5
    effort_exact: bool = True
    what: str = "deaths"


@dataclass(frozen=True, eq=False)
class Comparison:
    """What became of counts where something was built.

    Attributes
    ----------
    table : pandas.DataFrame
        Columns COLUMNS, one row a comparison; all works sites together first, where there are
        several. NaN where nothing can be told.
    years : pandas.DataFrame
        Columns YEARS; what each site counted, and why a year doesn't count.
    differ : YearsDiffer
    notes : tuple of str
    """

    table: pd.DataFrame
    years: pd.DataFrame
    differ: YearsDiffer
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Group:
    """One comparison to make: each part is a stratum of (works, ends, controls)."""

    where: str
    site: str
    parts: tuple[tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]], ...]


def compare_sites(
    sites: pd.DataFrame,
    bins: pd.DataFrame,
    rules: Rules,
    *,
    combined_only: bool = False,
    differ: YearsDiffer | None = None,
) -> Comparison:
    """Compare every works site, its ends and both with their controls, alone and together.

    Parameters
    ----------
    sites : pandas.DataFrame
        Columns `compared_years.SITES`.
    bins : pandas.DataFrame
        Columns `compared_years.BINS`.
    rules : Rules
    combined_only : bool
        Only all works sites together, without their ends: for simulations.
    differ : YearsDiffer, optional
        Dispersion of the counts, if it is known from units other than years.

    Returns
    -------
    Comparison

    Notes
    -----
    Years that led to the choice of a site are worse than it is on average: counted as "before",
    they make any works look good (regression to the mean). They are left out or replaced. Works
    sites that share controls make one stratum, with the earliest beginning and the latest end of
    their works; sites with controls of their own are strata of their own.
    """
    groups = _groups(sites)
    groups = groups[:1] if combined_only else groups
    used = [[_used(sites, bins, g, part) for part in g.parts] for g in groups]
    differ = differ or _years_differ(used)
    if rules.by_empirical_bayes:
        vary = rules.dispersion or (differ.dispersion if differ.known else 1.0)
        used = [[_used(sites, bins, g, part, vary) for part in g.parts] for g in groups]
    rows = [_row(g, u, rules, differ) for g, u in zip(groups, used, strict=True)]
    years = bins.head(0) if combined_only else _years(used, rules)
    notes = tuple(dict.fromkeys(n for some in used for one in some for n in one.notes))
    return Comparison(pd.DataFrame(rows, columns=list(COLUMNS)), years, differ, notes)


def _groups(sites: pd.DataFrame) -> list[_Group]:
    kind, of, name = (sites[c].to_numpy(object) for c in ("kind", "of_site", "site"))
    works = name[kind == "works"].tolist()

    def beside(some: str, site: str) -> tuple[str, ...]:
        return tuple(name[(kind == some) & ((of == "") | (of == site))].tolist())

    controls = {w: beside("control", w) for w in works}
    ends = {w: tuple(name[(kind == "end") & (of == w)].tolist()) for w in works}
    shared: list[list[str]] = []
    for w in works:
        home = next(
            (s for s in shared if any(set(controls[w]) & set(controls[o]) for o in s)), None
        )
        if home is None:
            shared.append([w])
        else:
            home.append(w)
    sets = [(ALL, [tuple(s) for s in shared])] if len(works) > 1 else []
    sets += [(w, [(w,)]) for w in works]
    out = []
    for label, parts in sets:
        whole = [
            (
                p,
                tuple(e for w in p for e in ends[w]),
                tuple(dict.fromkeys(c for w in p for c in controls[w])),
            )
            for p in parts
        ]
        out.append(_Group(WORKS, label, tuple((p, p, c) for p, _, c in whole)))
        if all(e for _, e, _ in whole):
            out.append(_Group(ENDS, label, tuple((p, e, c) for p, e, c in whole)))
            out.append(_Group(TOGETHER, label, tuple((p, (*p, *e), c) for p, e, c in whole)))
    return out


def _used(
    sites: pd.DataFrame, bins: pd.DataFrame, group: _Group,
    part: tuple[tuple[str, ...], ...], dispersion: float | None = None,
) -> Used:  # fmt: skip
    """Return one stratum's years; by Empirical Bayes if a dispersion is given."""
    works, tested, controls = part
    found = used_years(
        sites, bins, works, tested, controls, by_empirical_bayes=dispersion is not None,
        dispersion=dispersion or 1.0,
    )  # fmt: skip
    if found.stratum is None or group.where != TOGETHER:
        return found
    # Together means the sum of deaths: sites are added up, not compared one by one.
    ours = found.stratum.works
    one = Counted(
        ours.before.sum(keepdims=True), ours.after.sum(keepdims=True),
        ours.effort_before.sum(keepdims=True), ours.effort_after.sum(keepdims=True),
    )  # fmt: skip
    return Used(Stratum(one, found.stratum.controls), "", found.years, found.notes)


def _years_differ(used: Sequence[Sequence[Used]]) -> YearsDiffer:
    """Dispersion between years over all sites, within before and after of the first comparison."""
    cells: dict[tuple[str, float], tuple[str, float, float]] = {}
    for one in (one for some in used for one in some):
        kept = [one.years[c].to_numpy() for c in
                ("left_out", "site", "from_day", "period", "counted", "effort")]  # fmt: skip
        for left, site, day, period, count, effort in zip(*kept, strict=True):
            if left == "":
                cells.setdefault((site, day), (period, float(count), float(effort)))
    if not cells:
        return YearsDiffer(np.nan, 0, np.nan, year_effects=False)
    rows = [f"{site}|{period}" for (site, _), (period, _, _) in cells.items()]
    number = {name: k for k, name in enumerate(dict.fromkeys(rows))}
    row = np.array([number[name] for name in rows], dtype=np.int64)
    year = np.unique([day for _, day in cells], return_inverse=True)[1].astype(np.int64)
    count, effort = (np.array([c[k] for c in cells.values()]) for k in (1, 2))
    return years_differ(count, effort, row, year)


def _row(
    group: _Group, used: Sequence[Used], rules: Rules, differ: YearsDiffer
) -> dict[str, object]:
    controls = dict.fromkeys(c for _, _, some in group.parts for c in some)
    row: dict[str, object] = {"what": rules.what, "where": group.where, "site": group.site,
                              "controls": ", ".join(controls)}  # fmt: skip
    strata = [one.stratum for one in used if one.stratum is not None]
    if not strata:
        return row | {"verdict": "not identified", "words": not_identified(used[0].why)}
    row |= _sums(strata)
    vary = differ.at(*_cells(group, used)) if rules.dispersion is None else rules.dispersion
    row["years_vary"] = vary
    if not rules.effort_exact and _closer(used, group):
        why = (
            "not identified: searches were not as far apart before and after, or not alike at "
            "works and controls, and without trials that alone changes what is found"
        )
        return row | {"verdict": "not identified", "words": not_identified(why)}
    known = rules.dispersion is not None or differ.known
    df = float(differ.df) if rules.dispersion is None and differ.known else np.inf
    dispersion = vary if known else 1.0
    found = compared(strata, level=rules.level, dispersion=dispersion, dispersion_df=df)
    simple = _simple(row, rules.level) if controls else (np.nan, np.nan, np.nan)
    row |= {
        "ratio": found.ratio, "ratio_low": found.low, "ratio_high": found.high,
        "p_value": found.p, "simple_ratio": simple[0], "simple_ratio_low": simple[1],
        "simple_ratio_high": simple[2], "chance_to_see_halving": found.chance_to_see,
    }  # fmt: skip
    verdict = _verdict(found, rules, known=known)
    words = comparison_words(
        row, found, verdict, what=rules.what, where=group.where, level=rules.level,
        controlled=bool(controls), left=sum(one.stratum is None for one in used),
    )  # fmt: skip
    return row | {"verdict": verdict.replace(YEARS_UNKNOWN, TOO_FEW), "words": words}


def _cells(group: _Group, used: Sequence[Used]) -> tuple[list[float], list[float]]:
    """Return sums at works and controls, before and after, and the mean of their cells."""
    years = pd.concat([one.years for one in used]).drop_duplicates(["site", "from_day"])
    good = years[(years["left_out"] == "").to_numpy()]
    site, period = good["site"].to_numpy(object), good["period"].to_numpy(object)
    count = good["counted"].to_numpy(np.float64)
    sums, means = [], []
    for k in (1, 2):
        mine = np.isin(site, [name for part in group.parts for name in part[k]])
        for half in ("before", "after"):
            here = mine & (period == half)
            if here.any():
                sums.append(float(count[here].sum()))
                means.append(float(count[here].mean()))
    return sums, means


def _verdict(found: Ratio, rules: Rules, *, known: bool) -> str:
    if not known:
        return YEARS_UNKNOWN
    if found.high < 1:
        return FEWER[rules.what]
    if found.low > 1:
        return MORE[rules.what]
    return TOO_FEW if found.chance_to_see < rules.least_chance else NO_DIFFERENCE


def _sums(strata: Sequence[Stratum]) -> dict[str, object]:
    works = [s.works for s in strata]
    theirs = [s.controls for s in strata if s.controls is not None]
    out: dict[str, object] = {}
    for start, some in (("", works), ("control_", theirs)):
        for name in ("before", "after", "effort_before", "effort_after"):
            value = sum(float(getattr(c, name).sum()) for c in some) if some else np.nan
            out[f"{start}{name}"] = value
    return out


def _simple(row: dict[str, object], level: float) -> tuple[float, float, float]:
    names = ("after", "before", "control_after", "control_before")
    starts = ("effort_after", "effort_before", "control_effort_after", "control_effort_before")
    counts, efforts = ([float(str(row[n])) for n in some] for some in (names, starts))
    return log_ratio(counts, efforts, level=level)


def _closer(used: Sequence[Used], group: _Group) -> bool:
    """Whether visits a year changed otherwise at the works than at the controls."""
    for one, (_, tested, controls) in zip(used, group.parts, strict=True):
        good = one.years[(one.years["left_out"] == "").to_numpy()]
        days = (good["to_day"] - good["from_day"]).to_numpy(np.float64)
        change = []
        for names in (tested, controls):
            mine = good["site"].isin(names).to_numpy()
            often = [
                good["visits"].to_numpy(np.float64)[here].sum() / max(days[here].sum(), 1e-9)
                for here in (mine & (good["period"] == p).to_numpy() for p in ("before", "after"))
            ]
            if mine.any() and min(often) > 0:
                change.append(np.log(often[1] / often[0]))
        off = abs(change[0] - change[1]) if len(change) == 2 else abs(change[0]) if change else 0.0
        if off > np.log(_SPACING):
            return True
    return False


def _years(used: Sequence[Sequence[Used]], rules: Rules) -> pd.DataFrame:
    """Years of all sites as the first comparison that used them took them."""
    tables = [one.years for some in used for one in some]
    joined = pd.concat(tables, ignore_index=True).assign(what=rules.what)
    single = joined.drop_duplicates(["site", "from_day"]).sort_values(["kind", "site", "from_day"])
    return single[list(YEARS)].reset_index(drop=True)
