"""What is there already, place by place: passages, openings, fences, land, works, crashes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from roadrisk.mitigation import site_constraints as words
from roadrisk.mitigation.fence_openings import junction_arms
from roadrisk.mitigation.site_rows import OnPlaces, SiteRows
from roadrisk.mitigation.structures import NOT_KNOWN, USABLE, VERDICT_COLUMNS, structure_verdicts

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.errors import Remark
    from roadrisk.mitigation.lines import RoadLines
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.pieces import Pieces
    from roadrisk.settings import Settings
    from roadrisk.study import Study

Bools = NDArray[np.bool_]
STRUCTURE_COLUMNS = (
    "id", "type", "road", "line", "at_m", "span_m", "rise_m", "length_m", *VERDICT_COLUMNS,
    "owner", "inspected",
)  # fmt: skip
# A place counts as fenced where so much of it is.
_FENCED = 0.5
# A bridge of the map this near to a structure of the table is the same one.
_SAME_M = 30.0
_WET_KINDS = r"wetland|marsh|swamp|bog|fen\b|mire|reed|water|pond"
_MISSING = {
    "structures": "No culverts or bridges supplied: every passage counted is a new one; look for "
    "existing ones first.",
    "fences": "No existing fences supplied: none is assumed.",
    "openings": "No driveways or gates supplied: only junctions are counted as openings.",
    "parcels": "Right-of-way not supplied: check who owns the land beside the road.",
    "wetlands": "No wetlands supplied: ask whether a drainage or wetland permit is needed.",
    "crashes": "No crash records supplied.",
    "works": "No planned works supplied: ask the road agency what it will do when.",
}


@dataclass(frozen=True, eq=False)
class SiteFacts:
    """What stands at or along the lines that a fence may follow.

    Attributes
    ----------
    passage_at_m : ndarray, shape (passages,)
        Where along its line an existing structure is that an animal can use [m].
    passage_line : ndarray of int64, shape (passages,)
        Sorted, by line and then place along it.
    passage_id : ndarray of object, shape (passages,)
    openings : ndarray of int64, shape (places,)
        Driveways, gates and minor junction arms at which a fence on the place must open.
    arms : ndarray of int64, shape (places,)
        Those at the junction where the place begins: none for a fence that begins there too.
    fenced : ndarray of bool, shape (places,)
        Already fenced, on both sides.
    structures : pandas.DataFrame
        One row a structure. Columns id, type, road, line, at_m, span_m, rise_m, length_m,
        openness_m, verdict ("usable", "not usable", "not known"), why, look_at, owner, inspected;
        line -1 and road "" where it lies off the network.
    constraints : pandas.DataFrame
        Columns place, kind (parcel, wetland, works, crash, opening, structure, fence), what,
        effect; sorted by place.
    crashes : pandas.DataFrame
        One row a crash on a line. Columns place, year, animal ("yes", "no", "").
    notes : tuple of str
        What was not supplied, and what had to be left out.
    remarks : tuple of Remark
        Rows that lie on no road, kind "left out".
    """

    passage_at_m: Floats
    passage_line: Ints
    passage_id: NDArray[np.object_]
    openings: Ints
    arms: Ints
    fenced: Bools
    structures: pd.DataFrame
    constraints: pd.DataFrame
    crashes: pd.DataFrame
    notes: tuple[str, ...]
    remarks: tuple[Remark, ...] = ()


def site_facts(
    study: Study,
    network: Network,
    lixels: Lixels,
    pieces: Pieces,
    lines: RoadLines,
    *,
    settings: Settings | None = None,
) -> SiteFacts:
    """Put what is there onto the lines.

    Parameters
    ----------
    study : Study
    network : Network
    lixels : Lixels
    pieces : Pieces
    lines : RoadLines
    settings : Settings, optional
        The study's own unless given.

    Returns
    -------
    SiteFacts
        Rows off the network are in `remarks`, and structures among them in `structures` too.
    """
    chosen = study.settings if settings is None else settings
    work = _Work(study, chosen, SiteRows(network, lixels, pieces, lines, study.agency_lines))
    structures, place = work.structures()
    openings, arms = work.openings()
    fenced = work.fences()
    crashes = work.crashes()
    work.land()
    work.works()
    passage = structures[(structures["verdict"] == USABLE) & (structures["line"] >= 0)]
    passage = passage.sort_values(["line", "at_m"], kind="stable")
    work.parts += [words.of_structures(structures, place), words.of_crashes(crashes)]
    return SiteFacts(
        passage_at_m=passage["at_m"].to_numpy(np.float64),
        passage_line=passage["line"].to_numpy(np.int64),
        passage_id=passage["id"].to_numpy(object),
        openings=openings, arms=arms, fenced=fenced, structures=structures,
        constraints=words.constraints(work.parts), crashes=crashes,
        notes=tuple(work.notes), remarks=tuple(work.remarks),
    )  # fmt: skip


def constraints_on(facts: SiteFacts, first: int, last: int) -> pd.DataFrame:
    """Return what is there on a run of places, crashes counted over all of it.

    Parameters
    ----------
    facts : SiteFacts
    first, last : int
        Places first to last - 1.

    Returns
    -------
    pandas.DataFrame
        Columns kind, what, effect; each once, in the order of the places, crashes last.
    """
    here = facts.constraints
    here = here[(here["place"] >= first) & (here["place"] < last) & (here["kind"] != "crash")]
    out = here[["kind", "what", "effect"]].drop_duplicates()
    crashes = facts.crashes[facts.crashes["place"].between(first, last - 1)]
    if len(crashes):
        row = ("crash", words.crash_words(crashes), words.CRASH_EFFECT)
        out = pd.concat([out, pd.DataFrame([row], columns=out.columns)])
    return out.reset_index(drop=True)


class _Work:
    """Tables of a study while they are put onto lines."""

    def __init__(self, study: Study, settings: Settings, rows: SiteRows) -> None:
        self.study, self.settings, self.rows = study, settings, rows
        self.places = len(rows.lines.piece)
        self.parts: list[pd.DataFrame] = []
        self.notes: list[str] = []
        self.remarks: list[Remark] = []

    def table(self, kind: str) -> gpd.GeoDataFrame | None:
        """Return a table of the study, or note that there is none."""
        found: gpd.GeoDataFrame | None = getattr(self.study, kind)
        if found is None or found.empty:
            self.notes.append(_MISSING[kind])
            return None
        return found.reset_index(drop=True)

    def within_m(self, kind: str) -> float:
        section = getattr(self.settings, kind)
        land = kind in ("parcels", "wetlands")
        name = "within_m" if land else "match_within_m"
        return float(getattr(section, name, 15.0 if land else 30.0))

    def structures(self) -> tuple[pd.DataFrame, Ints]:
        """Return the table of structures, bridges of the map among them, and their places."""
        table = self.table("structures")
        parts, places = [], []
        if table is not None:
            judged, place = self._of_table(table)
            parts.append(judged)
            places.append(place)
        on_line = parts[0][["line", "at_m"]].to_numpy() if parts else np.zeros((0, 2))
        judged, place = self._of_map(on_line)
        parts.append(judged)
        places.append(place)
        some = [p for p in parts if len(p)] or parts[:1]
        return pd.concat(some, ignore_index=True), np.concatenate(places)

    def _of_table(self, table: gpd.GeoDataFrame) -> tuple[pd.DataFrame, Ints]:
        found = self._find("structures", table)
        section = self.settings.structures
        verdicts = structure_verdicts(
            table, habitat=self.study.profile.habitat, units=self.settings.study.units,
            least_rise_m=0.5 if section is None else section.least_rise_m,
        )  # fmt: skip
        place = np.full(len(table), -1, dtype=np.int64)
        at_m = np.full(len(table), np.nan)
        place[found.row], at_m[found.row] = found.place, found.at_m
        for k, why in found.why_not.items():
            verdicts.loc[k, "verdict"] = NOT_KNOWN
            verdicts.loc[k, "why"] = f"off the network, so no passage here: {why}"
            verdicts.loc[k, "look_at"] = "check its coordinates, or route and measure"
        return self._structures(table, verdicts, place, at_m), place

    def _structures(
        self, table: pd.DataFrame, verdicts: pd.DataFrame, place: Ints, at_m: Floats
    ) -> pd.DataFrame:
        line = np.where(place >= 0, self.rows.lines.line[place], -1)
        road = np.where(place >= 0, self.rows.lines.road[line], "")
        out = table.assign(road=road, line=line, at_m=at_m)
        out = pd.DataFrame(out.assign(**{c: verdicts[c] for c in VERDICT_COLUMNS}))
        return out[list(STRUCTURE_COLUMNS)].reset_index(drop=True)

    def _of_map(self, known: Floats) -> tuple[pd.DataFrame, Ints]:
        """Return the bridges that only the road map has: nothing is known of them."""
        segments = self.rows.network.segments
        bridge = segments[segments["bridge"].to_numpy(bool)]
        half = (bridge["edge_from_m"] + bridge["edge_to_m"]).to_numpy(np.float64) / 2
        place, at_m = self.rows.along_line(bridge["edge"].to_numpy(np.int64), half)
        reach = bridge["length_m"].to_numpy(np.float64) / 2 + _SAME_M
        line = self.rows.lines.line[place]
        same = (line[:, None] == known[:, 0]) & (
            np.abs(at_m[:, None] - known[:, 1]) <= reach[:, None]
        )
        # Both carriageways of a dual road stand at one place, and are one bridge.
        pairs = pd.DataFrame({"line": line, "at_m": np.round(at_m, -1)})
        kept = ~same.any(axis=1) & ~pairs.duplicated().to_numpy()
        bridge = bridge[kept]
        table = pd.DataFrame({"id": "map " + bridge["segment_id"].astype(str)})
        for column in ("type", "owner", "inspected"):
            table[column] = "bridge" if column == "type" else ""
        for column in ("span_m", "rise_m", "length_m"):
            table[column] = np.nan
        verdicts = pd.DataFrame({
            "openness_m": np.nan, "verdict": NOT_KNOWN,
            "why": "the road map has a bridge here, and nothing more is known of it",
            "look_at": "what it spans, how high it is, and whether a dry bank stays under it",
        }, index=table.index)  # fmt: skip
        return self._structures(table, verdicts, place[kept], at_m[kept]), place[kept]

    def openings(self) -> tuple[Ints, Ints]:
        """Return the number of openings of every place, and of junction arms among them."""
        rows = self.rows
        arms = junction_arms(rows.network, rows.lixels, rows.pieces, rows.lines)
        count = np.bincount(arms["place"], minlength=self.places).astype(np.int64)
        begin = np.bincount(arms["place"], arms["at_begin"], self.places).astype(np.int64)
        said = [f"junction with {road}" for road in arms["road"]]
        self.parts.append(words.of_openings(said, arms["place"].to_numpy(np.int64)))
        table = self.table("openings")
        if table is None:
            return count, begin
        found = self._find("openings", table)
        kinds = table["kind"].mask(table["kind"] == "", "opening") + " " + table["id"]
        self.parts.append(words.of_openings(kinds.iloc[found.row], found.place))
        return count + np.bincount(found.place, minlength=self.places), begin

    def fences(self) -> Bools:
        """Return which places are fenced already, on both sides."""
        table = self.table("fences")
        fenced = np.zeros(self.places, dtype=bool)
        if table is None:
            return fenced
        found = self._find("fences", table)
        side = table["side"].to_numpy(object)[found.row]
        whole = (table["condition"] != "bad").to_numpy()[found.row]
        left, right = (
            np.bincount(found.place, found.share * (whole & np.isin(side, (one, "both"))),
                        self.places)
            for one in ("left", "right")
        )  # fmt: skip
        fenced = np.minimum(left, right) >= _FENCED
        same_line = np.diff(self.rows.lines.line) == 0
        step = np.flatnonzero(same_line & (fenced[1:] != fenced[:-1]))
        ends = np.unique(np.where(fenced[step], step + 1, step)).astype(np.int64)
        self.parts.append(words.of_fences(table, found.row, found.place, fenced[found.place], ends,
                                          self.settings.study.units))  # fmt: skip
        return fenced

    def crashes(self) -> pd.DataFrame:
        """Return place, year and animal of every crash on a line."""
        table = self.table("crashes")
        if table is None:
            return pd.DataFrame({"place": np.zeros(0, np.int64)}).assign(year="", animal="")
        found = self._find("crashes", table)
        here = table.iloc[found.row]
        return pd.DataFrame({
            "place": found.place, "year": here["eventDate"].str[:4].to_numpy(object),
            "animal": here["animal"].to_numpy(object),
        }).sort_values("place", kind="stable", ignore_index=True)  # fmt: skip

    def land(self) -> None:
        """Add parcels and wetlands beside places."""
        parcels = self.table("parcels")
        if parcels is not None:
            row, place = self.rows.beside(parcels.geometry.to_numpy(), self.within_m("parcels"))
            self.parts.append(words.of_land(parcels, row, place))
        wet, habitat = self.study.wetlands, self.study.habitat
        if (wet is None or wet.empty) and habitat is not None:
            wet = habitat[habitat["kind"].str.contains(_WET_KINDS, case=False)]
            self.notes.append("No wetlands supplied: those of the habitat layer were taken.")
        elif wet is None or wet.empty:
            self.notes.append(_MISSING["wetlands"])
        if wet is not None and len(wet):
            within_m = self.within_m("wetlands")
            row, place = self.rows.beside(wet.geometry.to_numpy(), within_m)
            kinds = wet["kind"].to_numpy(object)[row]
            units = self.settings.study.units
            self.parts.append(words.of_wetlands(kinds, place, within_m, units))

    def works(self) -> None:
        """Add works that are still to come when the study ends."""
        table = self.table("works")
        if table is None:
            return
        found = self._find("works", table)
        end = self.settings.study.end
        # As much of the date as is given: a year is over when the next one begins.
        year = table["year"].to_numpy(object)
        past = np.array([bool(y) and y < end.isoformat()[: len(y)] for y in year], dtype=bool)
        if past.any():
            self.notes.append(
                f"{int(past.sum())} of {len(table)} planned works lie before the study's end and "
                "count for nothing."
            )
        kept = ~past[found.row]
        self.parts.append(words.of_works(table, found.row[kept], found.place[kept]))

    def _find(self, kind: str, table: gpd.GeoDataFrame) -> OnPlaces:
        found = self.rows.find(table, self.within_m(kind))
        self.remarks += found.remarks
        if found.why_not:
            lost = f"{len(found.why_not)} of {len(table)} rows of {kind}"
            self.notes.append(f"{lost} lie on no road of the study.")
        return found
