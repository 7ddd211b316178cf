"""What the public may know: animals counted by cells that never change once they are published.

Two rules keep a single animal from showing. A cell, or what is left of the ten times wider cell
around it, is published from `least_animals` different animals on, and its ground is its own for
ever. Animals come and go in batches of at least so many (`freezing`); until then the old numbers
are repeated. So no editions can be added and subtracted to find fewer. An animal that was once
published keeps the ground and the state that it was published with.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd

from roadrisk.base.crs import WGS84
from roadrisk.records.release_log import ReleasedAnimal, ReleaseLog
from roadrisk.reporting.editions.coarse_totals import coarse_totals
from roadrisk.reporting.editions.counted_animals import counted_animals
from roadrisk.reporting.editions.freezing import first_release, known_again, renewed
from roadrisk.reporting.editions.grid_cells import (
    COARSEST,
    LEVELS,
    Square,
    corner_words,
    parent,
    shape_of,
    size_degrees,
    square_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from roadrisk.findings import Findings
    from roadrisk.records.release_log import Released
    from roadrisk.reporting.editions.counted_animals import CountedAnimal
    from roadrisk.study import Study

_KEY = "report_key"
COLUMNS = (
    "cell",
    "geometry",
    "size_degrees",
    "animals",
    "alive",
    "dead",
    "first_year",
    "last_year",
)


@dataclass(frozen=True, eq=False)
class PublicRelease:
    """What one public edition says of places.

    Attributes
    ----------
    cells : geopandas.GeoDataFrame
        One row a published group of cells, WGS 84. Columns: cell (name: latitude and longitude of
        the south-west corner), geometry, size_degrees, animals, alive, dead, first_year,
        last_year. May be empty.
    totals : tuple of str
        Sentences with numbers of the whole study, to one significant digit.
    words : str
        How places were generalised (Darwin Core's dataGeneralizations).
    withheld : str
        What is not told, and why (Darwin Core's informationWithheld).
    log : ReleaseLog
        To be kept in the study folder once the edition is written.
    """

    cells: gpd.GeoDataFrame
    totals: tuple[str, ...]
    words: str
    withheld: str
    log: ReleaseLog


def public_release(study: Study, findings: Findings, past: ReleaseLog) -> PublicRelease:
    """Return what a public edition may say of places, and what is to be remembered of it.

    Parameters
    ----------
    study : Study
        Whole.
    findings : Findings
        Whole. Reports that the run counts and placed, and carcasses of surveys: no fix, nest or
        home range. Reports that are rather one animal than not are one.
    past : ReleaseLog
        What former editions let out.

    Returns
    -------
    PublicRelease

    Notes
    -----
    Places are generalised to a decimal geographic grid and never moved at random, by the
    categories of Chapman 2020 (https://doi.org/10.15468/doc-5jp4-5g10, table 7). Joining and
    freezing are the project's own. With a coarser class than before, ground that was published
    stays published with the numbers it had and is shown no more; with a finer class it keeps its
    coarse cells.
    """
    section = study.settings.release
    level = LEVELS[section.sensitivity]
    words, withheld = _words(study, level)
    totals = coarse_totals(study, findings)
    if level is None:
        return PublicRelease(_table([], []), totals, words, withheld, past)
    groups = _renewed(past, level, counted_animals(study, findings), study)
    shown = [group for group in groups if group.level >= level and group.animals]
    return PublicRelease(_table(shown, groups), totals, words, withheld, ReleaseLog(groups))


def _renewed(
    past: ReleaseLog, level: int, animals: list[CountedAnimal], study: Study
) -> tuple[Released, ...]:
    """Return all groups: the old ones with new numbers where they may change, then new ones."""
    least = study.settings.release.least_animals
    # The study's own span: a year of its own would tell of single animals.
    years = study.settings.study.start.year, study.settings.study.end.year
    known = known_again(past, (animal.records for animal in animals))
    waiting: dict[int, list[ReleasedAnimal]] = defaultdict(list)
    newcomers: dict[Square, list[ReleasedAnimal]] = defaultdict(list)
    ground = _Lookup([(g.level, g.column, g.row) for g in past.groups])
    for animal in animals:
        if animal.records in known.new:
            group = ground.find(animal.cell)
            new = ReleasedAnimal(tuple(sorted(animal.records)), animal.state)
            if group is None:
                newcomers[square_of(animal.cell, level)].append(new)
            else:
                waiting[group].append(new)
    old = tuple(
        renewed(group, known.there, waiting[number], least=least, years=years)
        if group.level >= level else group
        for number, group in enumerate(past.groups)
    )  # fmt: skip
    # A cell ten times as wide is never wider than a degree, the coarsest that is told at all.
    enough = {s: a for s, a in newcomers.items() if len(a) >= least}
    rest: dict[Square, list[ReleasedAnimal]] = defaultdict(list)
    for square, few in newcomers.items():
        if square not in enough:
            rest[parent(square)].extend(few)
    joined = {s: a for s, a in rest.items() if len(a) >= least}
    # Own cells before what is left of the wider cell around them.
    new_groups = [*sorted(enough.items()), *sorted(joined.items())]
    return (*old, *(first_release(square, some, years) for square, some in new_groups))


class _Lookup:
    """Finds the first of some squares that a finest cell lies in."""

    def __init__(self, squares: list[Square]) -> None:
        self._first = {square: i for i, square in reversed(list(enumerate(squares)))}
        self._levels = sorted({square[0] for square in squares})

    def find(self, cell: tuple[int, int]) -> int | None:
        squares = (square_of(cell, level) for level in self._levels)
        found = [self._first[square] for square in squares if square in self._first]
        return min(found, default=None)


def _table(shown: list[Released], groups: Iterable[Released]) -> gpd.GeoDataFrame:
    # Squares of earlier groups, by every wider square they lie in.
    inside: dict[Square, list[Square]] = defaultdict(list)
    ground: dict[Square, list[Square]] = {}
    for group in groups:
        square = (group.level, group.column, group.row)
        ground[square] = list(inside[square])
        wider = square
        for _ in range(group.level, COARSEST):
            wider = parent(wider)
            inside[wider].append(square)
    rows = []
    for group in shown:
        square = (group.level, group.column, group.row)
        holes = ground[square]
        name = corner_words(square)
        rows.append(
            {
                "cell": f"rest of {name}" if holes else name,
                "geometry": shape_of(square, holes),
                "size_degrees": size_degrees(group.level),
                **{what: getattr(group, what) for what in COLUMNS[3:]},
            }
        )
    return gpd.GeoDataFrame(rows, columns=list(COLUMNS), geometry="geometry", crs=WGS84)


def _words(study: Study, level: int | None) -> tuple[str, str]:
    section = study.settings.release
    asked = f" Ask {section.rights_holder} for more." if section.rights_holder else ""
    review = f" To be looked at again on {section.review_on}." if section.review_on else ""
    why = (
        f"Sensitivity class of the species: {section.sensitivity}, since protected animals are "
        "collected where they are known to live."
    )
    if level is None:
        words = "No places are given."
    else:
        size = size_degrees(level)
        words = (
            "Places are generalised to the cells of a decimal geographic grid of "
            f"{size:g} degrees, cells with fewer than {section.least_animals} animals are joined "
            f"into one of {size_degrees(level + 1):g} degrees or left out, and numbers of a cell "
            f"change only when {section.least_animals} animals or more are behind the change. "
            "Positions held are as precise as they were recorded. Nothing was moved at random."
        )
    withheld = (
        "Positions, roads, days and times, observers, remarks, photos, animals' and records' ids, "
        f"all of tagged animals, nests and home ranges are withheld. {why}{asked}{review}"
    )
    return words, withheld
