"""What the sheets of ranked windows and of stretches say, line by line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.reporting.chance_words import (
    WHOLE,
    p_short,
    stretch_chance,
    window_chance,
    within_stretch,
)
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.death_words import (
    above_similar,
    among_worst,
    deaths_in_stretch,
    deaths_rate,
    first_line,
    kill_words,
    rank_range,
    rank_words,
    ranks_of,
    times_mean,
)
from roadrisk.reporting.sheets import (
    crossing_rate,
    days_in_window,
    kept,
    kept_in_full,
    measures,
    position,
    reported,
    road,
    speed,
    speed_text,
    start_and_end,
    traffic,
    unwatched,
)
from roadrisk.reporting.stretch_evidence import (
    stretch_days,
    times_chance,
    times_in_full,
    traffic_or_looking,
)
from roadrisk.reporting.wording import (
    count,
    length_unit,
    number,
    per_length_unit,
    ranked_by,
    rate_words,
    short_length,
)
from roadrisk.reporting.year_chart import by_year

if TYPE_CHECKING:
    from collections.abc import Iterator

    from roadrisk.base.units import Units
    from roadrisk.findings import Findings
    from roadrisk.study import Study

_RATE = "evidence_per_km_year"
_ALONE = ("1 observer", "1 tagged animal")


@dataclass(frozen=True)
class Scale:
    """What numbers in the sheets are given in.

    Attributes
    ----------
    units : {"metric", "us"}
    measure_unit : str
        Of route measures, as the agency gives them; "" without an agency layer.
    level : float
        Coverage of intervals, two-sided.
    draws : int
        Redistributions behind the p-values.
    effort : bool
        Whether the study says where people looked.
    by : str
        What ranks go by: `wording.ranked_by`.
    worst : int
        k of the chance of being among the worst k.
    kills : mapping of str to Kill
        By segment.
    segments : mapping of int to tuple of str
        Segments on which the smoothed evidence of each stretch lies.
    """

    units: Units
    measure_unit: str
    level: float
    draws: int
    effort: bool
    by: str
    worst: int
    kills: Mapping[str, Kill]
    segments: Mapping[int, tuple[str, ...]]


@dataclass(frozen=True)
class Kill:
    """Chance that a crossing of a segment kills, with its 90 % interval and its traffic's origin.

    Attributes
    ----------
    chance, low, high : float
    traffic : str
        In words.
    """

    chance: float
    low: float
    high: float
    traffic: str


def scale_of(study: Study, findings: Findings) -> Scale:
    """Return what a study's numbers are given in."""
    settings = study.settings
    agency = settings.roads.agency
    return Scale(
        units=settings.study.units,
        measure_unit=agency.measure_unit if agency else "",
        level=settings.hotspots.interval,
        draws=findings.chance.draws,
        effort=study.effort is not None,
        by=ranked_by(findings.deaths),
        worst=settings.mortality.worst_places,
        kills=_Kills(findings.segments),
        segments=_segments(findings.lixels),
    )


def window_lines(
    row: Mapping[str, Any], shape: list[list[float]], scale: Scale, proposed: str = ""
) -> list[str]:
    """Return the values of a ranked window's sheet, in the order of `sheets.SHEETS`.

    Parameters
    ----------
    row : mapping
        Of `Findings.ranked`.
    shape : list
        Its line, [longitude, latitude].
    scale : Scale
    proposed : str
        Measure and site, or "" where none is chosen.
    """
    return [
        plain_text(row["place"]),
        plain_text(row["look_at"]),
        proposed,
        plain_text(row["rests_on"]),
        deaths_rate(row, scale),
        above_similar(row, scale),
        times_mean(row),
        among_worst(row, scale),
        rank_range(row, scale),
        kill_words(plain_text(row["segment_ids"]).split(), scale),
        evidence(row, scale.units),
        window_chance(row, scale.draws, scale.units),
        kept(row),
        reported(row),
        days_in_window(row),
        crossing_rate(row),
        count(row["animals_in_reach"]),
        traffic(row),
        speed(row["speed_limit_kmh"], scale.units),
        plain_text(row["owner"]),
        measures(row, scale.measure_unit),
        short_length(row["length_m"], scale.units),
        position(shape[0]),
        position(shape[-1]),
    ]


def stretch_lines(
    row: Mapping[str, Any],
    years: pd.DataFrame,
    ranked: pd.DataFrame,
    scale: Scale,
    proposed: str = "",
) -> list[str]:
    """Return the values of a stretch's sheet, in the order of `sheets.SHEETS`.

    Parameters
    ----------
    row : mapping
        Of `Findings.stretches`.
    years, ranked : pandas.DataFrame
        Its rows of `Findings.stretch_years` and `Findings.ranked`.
    scale : Scale
    proposed : str
        Measure and site, or "" where none is chosen.
    """
    return [
        road(row["road"]),
        *start_and_end(row, scale.units, scale.level),
        short_length(row["length_m"], scale.units),
        proposed,
        times_in_full(row),
        stretch_chance(row, scale.draws),
        deaths_in_stretch(row, scale),
        above_similar(row, scale),
        kill_words(scale.segments.get(int(row["stretch"]), ()), scale),
        kept_in_full(row),
        traffic_or_looking(row, scale),
        ranks_of(ranked, scale),
        by_year(years),
        f"{_many(row['animals'], 'tagged animal')}, {_many(row['observers'], 'observer')}",
        stretch_days(row),
        count(row["reports"]),
        speed_text(row.get("speed_limit_kmh"), scale.units),
        plain_text(row.get("owner")),
        measures(row, scale.measure_unit),
    ]


def evidence(row: Mapping[str, Any], units: Units) -> str:
    """Return crossing-days and reports per km or mile and year with interval, or why none."""
    value, low, high = (row[name] for name in (_RATE, f"{_RATE}_low", f"{_RATE}_high"))
    return rate_words(value, low, high, interval_note(row, units), units)


def row_words(row: Mapping[str, Any], scale: Scale) -> list[str]:
    """Return the short lines of a ranked window in the map's list: its number first."""
    units = scale.units
    out = [_evidence_line(row, units) if scale.by == "evidence" else first_line(row, scale)]
    rests = plain_text(row["rests_on"])
    if rests.startswith("no record"):
        out.append(rests)
    elif rests.startswith(("a single", "parts of", "faint")) or rests in _ALONE:
        out.append(f"rests on {rests}")
    if unwatched(row):
        out.append("tagged animals: not watched here")
    out.append(rank_words(row["rank_low"], row["rank_high"], scale))
    out.append(within_stretch(row, units))
    return [line for line in out if line]


def _evidence_line(row: Mapping[str, Any], units: Units) -> str:
    ends = (_RATE, f"{_RATE}_low", f"{_RATE}_high")
    shown, low, high = (number(per_length_unit(row[name], units)) for name in ends)
    interval = f"{low} to {high}" if low and high else "no interval: see its sheet"
    return f"{shown} crossing-days and reports per {length_unit(units)} and year ({interval})"


def stretch_words(row: Mapping[str, Any], scale: Scale) -> list[str]:
    """Return the short lines of a stretch in the map's list: road, course, how sure."""
    length = short_length(row["length_m"], scale.units)
    # The line above names the road.
    on = f", on {road(row['road'])}"
    begin, end = (plain_text(row[f"{e}_place"]).removesuffix(on) for e in ("begin", "end"))
    course = f"from {begin} to {end}" if begin and end else plain_text(row["ends_note"])
    sure = [f"p = {p_short(row['p_value'], scale.draws)} {WHOLE}", kept(row)]
    out = [road(row["road"]), times_chance(row), f"{length}: {course}", "; ".join(sure)]
    return [line for line in out if line]


def interval_note(row: Mapping[str, Any], units: Units) -> str:
    """Return where a window's interval comes from, or why there is none and what it would be.

    Numbers are per km or per mile, as the study asks for.
    """
    note = plain_text(row["interval_note"])
    if np.isfinite(row[f"{_RATE}_low"]):
        return note
    low, high = (
        number(per_length_unit(row[f"evidence_if_independent_{end}"], units))
        for end in ("low", "high")
    )
    per = f"per {length_unit(units)} and year"
    return f"{note}; if every record were independent: {low} to {high} {per}"


class _Kills(Mapping[str, Kill]):
    """Chances by segment, made when they are asked for: a state has a million segments."""

    def __init__(self, segments: pd.DataFrame) -> None:
        self._row = pd.Index(segments["segment_id"])
        ends = ("kill_chance", "kill_chance_low", "kill_chance_high")
        self._numbers = [segments[name].to_numpy(np.float64) for name in ends]
        self._traffic = segments["traffic_from"].to_numpy(object)

    def __getitem__(self, name: str) -> Kill:
        row = int(self._row.get_loc(name))  # type: ignore[arg-type]
        chance, low, high = (float(numbers[row]) for numbers in self._numbers)
        return Kill(chance, low, high, plain_text(self._traffic[row]))

    def __iter__(self) -> Iterator[str]:
        return iter(self._row)

    def __len__(self) -> int:
        return len(self._row)


def _segments(lixels: pd.DataFrame) -> dict[int, tuple[str, ...]]:
    number = pd.to_numeric(lixels["stretch"]).fillna(0).to_numpy(np.int64)
    name = lixels["segment_id"].to_numpy(object)[number > 0]
    number = number[number > 0]
    return {
        which: tuple(dict.fromkeys(map(str, name[number == which])))
        for which in np.unique(number).tolist()
    }


def _many(many: float, what: str) -> str:
    return f"{count(many)} {what}{'s' * (many != 1)}"
