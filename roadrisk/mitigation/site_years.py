"""What surveys counted at the sites of a comparison, year by year, and with what effort."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.errors import InputError, Remark
from roadrisk.mitigation.compared_years import BINS
from roadrisk.mortality.carcass_deaths import deaths_from
from roadrisk.mortality.survey_passes import days_since_1970
from roadrisk.roads.along import places_xy
from roadrisk.roads.effort import effort_on_roads

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.mortality.carcass_deaths import CarcassDeaths
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.study import Study

    Floats = NDArray[np.float64]

# A lixel belongs to a site that covers so much of it.
_COVERED = 0.5


@dataclass(frozen=True, eq=False)
class SitePlaces:
    """Sites on the roads.

    Attributes
    ----------
    table : pandas.DataFrame
        Columns `compared_years.SITES`, one row a site.
    lixels : dict of str to ndarray of int64
        By site; leading carriageways.
    made_ends : tuple of str
        Ends that the table doesn't name.
    """

    table: pd.DataFrame
    lixels: dict[str, Ints]
    made_ends: tuple[str, ...]


def site_places(
    study: Study, network: Network, lixels: Lixels, index: PieceIndex, partner: Ints
) -> SitePlaces:
    """Put the sites of a study onto the roads.

    Parameters
    ----------
    study : Study
        With compared_sites.
    network : Network
    lixels : Lixels
    index : PieceIndex
    partner : ndarray of int64, shape (lixels,)

    Returns
    -------
    SitePlaces
        Where no end is named for a works site, the road of the same name within the setting
        `end_m` of it, as the crow flies, that belongs to no other site.

    Raises
    ------
    InputError
        A site lies on no road, or two share a piece of road.
    """
    section, named = study.settings.compare, study.compared_sites
    if section is None or named is None:
        problem, mend = "there is no section [compare].", "name a table of sites in it"
        raise InputError([Remark("study.toml", None, "compare", problem, mend)])
    rows = named.reset_index(drop=True).assign(
        amount=1.0, amount_unit="passes", time=pd.Series(pd.NaT, index=range(len(named)))
    )
    places = _on_roads(rows, study, network, lixels, index, partner, section.match_within_m)
    _apart(named, places)
    table = named.drop_duplicates("site")
    columns = ["site", "kind", "of_site", "begun_day", "built_day", "chosen_from", "chosen_to"]
    table = pd.DataFrame(table[columns]).reset_index(drop=True)
    more = _ends(table, places, network, lixels, partner, section.end_m)
    blank = dict.fromkeys(("begun_day", "built_day", "chosen_from", "chosen_to"), np.nan)
    added = [{"site": end, "kind": "end", "of_site": of, **blank} for end, (of, _) in more.items()]
    if added:
        table = pd.concat([table, pd.DataFrame(added)], ignore_index=True)
    where = places | {end: found for end, (_, found) in more.items()}
    return SitePlaces(table, where, tuple(more))


def site_bins(
    study: Study, places: SitePlaces, found: CarcassDeaths, lixels: Lixels
) -> pd.DataFrame:
    """Count carcasses and effort at each site, in years cut where works begin and end.

    Parameters
    ----------
    study : Study
    places : SitePlaces
    found : CarcassDeaths
        Of all surveys.
    lixels : Lixels

    Returns
    -------
    pandas.DataFrame
        Columns `compared_years.BINS`. counted: whole carcasses of surveys; effort: the expected
        number of carcasses were one animal to die on each km in a year, where it is known how many
        of the dead are counted; else km searched, all passes together.

    Notes
    -----
    A carcass counts in the year of the search that found it. One that died before the works and
    was found after them counts as after: that makes works look worse, never better.
    """
    cuts = _cuts(study, places.table, found)
    km = lixels.length_m / 1000
    share = found.size_share
    day = days_since_1970(found.searched.surveys["time"])
    passes = found.searched.surveys["amount"].to_numpy(np.float64)
    rows = []
    for begin, end in pairwise(cuts):
        here = (day >= begin) & (day < end)
        if not here.any():
            continue
        part = deaths_from(
            found.searched, found.carcasses, found.trials, found.lixel_km, found.sizes,
            found.months, study.settings.mortality, within=(begin, end),
        )  # fmt: skip
        times = np.asarray((passes * here) @ found.searched.covered.astype(np.float64))
        expected = _expected(part, share) if found.identified else times * km
        counted = part.counted.sum(axis=0)
        year = dt.datetime.fromtimestamp((begin + 0.01) * 86400, study.settings.study.zone).year
        for name, kind in places.table[["site", "kind"]].itertuples(index=False):
            mine = places.lixels[name]
            walked = float((times * km)[mine].sum())
            rows.append((name, kind, year, begin, end, np.floor(counted[mine].sum() + 0.5),
                         float(expected[mine].sum()), walked,
                         walked / float(km[mine].sum())))  # fmt: skip
    return pd.DataFrame(rows, columns=list(BINS))


def _expected(part: CarcassDeaths, share: Floats) -> Floats:
    """Return expected carcasses for one death per km and year, shape (lixels,)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = 1 / (share[:, None] / part.point[0]).sum(axis=0)
    by_lixel = np.where(part.schedule >= 0, chance[part.schedule], 0.0)
    return np.nan_to_num(part.exposure_km_years * by_lixel)


def _cuts(study: Study, table: pd.DataFrame, found: CarcassDeaths) -> list[float]:
    zone = study.settings.study.zone
    local = found.searched.surveys["time"].dt.tz_convert(zone).dt.year
    years = range(int(local.min()), int(local.max()) + 2)
    cuts = [dt.datetime(y, 1, 1, tzinfo=zone).timestamp() / 86400 for y in years]
    works = table[["begun_day", "built_day"]].to_numpy(np.float64).ravel()
    inside = works[np.isfinite(works) & (works > cuts[0]) & (works < cuts[-1])]
    return sorted({*cuts, *inside.tolist()})


def _on_roads(
    rows: gpd.GeoDataFrame, study: Study, network: Network, lixels: Lixels, index: PieceIndex,
    partner: Ints, within_m: float,
) -> dict[str, Ints]:  # fmt: skip
    try:
        found = effort_on_roads(
            rows, network, lixels, index, partner, study.agency_lines, within_m=within_m
        )
        lost = found.remarks
    except InputError as error:
        lost = error.remarks
    if lost:
        mend = "correct its place, or match_within_m in [compare]"
        said = [Remark(r.file, r.row, "", f"{r.problem.rstrip('.')}.", mend) for r in lost]
        raise InputError(said)
    metres = found.amount.tocsr()
    out = {}
    for name in dict.fromkeys(rows["site"]):
        mine = np.flatnonzero((rows["site"] == name).to_numpy())
        covered = np.asarray(metres[mine].sum(axis=0)).ravel() / lixels.length_m
        out[str(name)] = np.flatnonzero(covered >= _COVERED).astype(np.int64)
    return out


def _apart(named: gpd.GeoDataFrame, places: dict[str, Ints]) -> None:
    owner: dict[int, str] = {}
    remarks = []
    for name, found in places.items():
        row = named[named["site"] == name].iloc[0]
        file, number = str(row["source_file"]), int(row["source_row"])
        if not len(found):
            problem, mend = f"site {name!r} is shorter than a piece of road.", "make it longer"
            remarks.append(Remark(file, number, "site", problem, mend))
        other = next((owner[k] for k in found.tolist() if k in owner), None)
        if other is not None:
            problem = f"site {name!r} and site {other!r} share a piece of road."
            mend = "a carcass can count at one site only: move their ends apart"
            remarks.append(Remark(file, number, "site", problem, mend))
        owner |= dict.fromkeys(found.tolist(), name)
    if remarks:
        raise InputError(remarks)


def _ends(
    table: pd.DataFrame, places: dict[str, Ints], network: Network, lixels: Lixels, partner: Ints,
    end_m: float,
) -> dict[str, tuple[str, Ints]]:  # fmt: skip
    """Road of the same name just beyond the works sites whose ends the table doesn't name."""
    from scipy.spatial import cKDTree

    xy = places_xy(network, lixels.edge, (lixels.start_m + lixels.end_m) / 2)
    road = network.segments["road"].to_numpy(object)[lixels.segment]
    taken = np.zeros(len(lixels), dtype=bool)
    for found in places.values():
        taken[found] = True
    told = set(table["of_site"][table["kind"] == "end"])
    out: dict[str, tuple[str, Ints]] = {}
    for name in table["site"][table["kind"] == "works"]:
        if name in told:
            continue
        mine = places[name]
        reach = end_m + lixels.length_m[mine].max() / 2
        far, _ = cKDTree(xy[mine]).query(xy, distance_upper_bound=reach)
        near = np.isfinite(far) & np.isin(road, road[mine]) & ~taken
        near &= partner == np.arange(len(lixels))
        found = np.flatnonzero(near).astype(np.int64)
        if len(found):
            taken[found] = True
            out[f"ends of {name}"] = (str(name), found)
    return out
