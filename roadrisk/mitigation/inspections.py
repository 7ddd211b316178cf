"""Fence inspections and the use of passages in words, beside a comparison."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.base.intervals import poisson_exact
from roadrisk.base.plain_numbers import number
from roadrisk.errors import InputError, Remark

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.study import Study


def inspection_words(study: Study, sites: pd.DataFrame) -> tuple[str, ...]:
    """Return one sentence a site on breaches found.

    Parameters
    ----------
    study : Study
    sites : pandas.DataFrame
        Column site.

    Returns
    -------
    tuple of str
        Empty without a log.

    Raises
    ------
    InputError
        The log names a site that is not compared.
    """
    log = study.inspections
    if log is None:
        return ()
    _known(log, sites, "inspections")
    out = []
    for site, rows in log.groupby("site", sort=True):
        found = int((rows["breaches"] > 0).sum())
        left = int(((rows["breaches"] > 0) & (rows["mended"] == "no")).sum())
        out.append(
            f"Fence at {site}: {len(rows)} inspections, {found} of them with breaches "
            f"({number(float(rows['breaches'].sum()))} in all), {left} left open. A fence with "
            "holes says little of a fence without."
        )
    return tuple(out)


def passage_words(study: Study, sites: pd.DataFrame) -> tuple[str, ...]:
    """Return one sentence a site on animals that went through passages.

    Parameters
    ----------
    study : Study
    sites : pandas.DataFrame

    Returns
    -------
    tuple of str

    Raises
    ------
    InputError
        The table names a site that is not compared.
    """
    use = study.passage_use
    if use is None:
        return ()
    _known(use, sites, "passage_use")
    out = []
    for site, rows in use.groupby("site", sort=True):
        animals, days = float(rows["animals"].sum()), float(rows["camera_days"].sum())
        low, high = (float(v) / days * 100 for v in poisson_exact(animals, 0.95))
        out.append(
            f"Passages at {site}: {number(animals)} animals in {number(days)} camera-days, "
            f"{number(animals / days * 100)} in 100 camera-days (95 %: {number(low, 2) or '0'} to "
            f"{number(high, 2)}, were they independent). The same animal may be counted again."
        )
    return tuple(out)


def _known(table: pd.DataFrame, sites: pd.DataFrame, section: str) -> None:
    lost = table[~table["site"].isin(sites["site"])]
    if len(lost):
        row = lost.iloc[0]
        problem = f"there is no site {row['site']!r} in [compare]."
        mend = f"name a site of the table of sites; {len(lost)} rows of [{section}] don't"
        raise InputError(
            [Remark(str(row["source_file"]), int(row["source_row"]), "site", problem, mend)]
        )
