"""The proposal's first sections: who asks for what, where, why, and to what end."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.base.plain_numbers import number
from roadrisk.mitigation.signs import month_words
from roadrisk.mortality.population import tolerable_percent
from roadrisk.reporting.chance_words import p_short
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import chance_cell, interval_cell, length_cell, rows
from roadrisk.reporting.documents.blocks import Facts, Table
from roadrisk.reporting.documents.facts import (
    KILLED,
    OF_ALL,
    clipped,
    deaths_clause,
    upper,
    when_words,
    works,
)
from roadrisk.reporting.documents.figures import months_chart, places_map, roads_chart
from roadrisk.reporting.documents.places import NOT_GIVEN, first_places, rank_sure
from roadrisk.reporting.documents.proposal_text import paragraphs
from roadrisk.reporting.engineer_places import engineer_places
from roadrisk.reporting.measure_words import deaths_said, length
from roadrisk.reporting.measures_paid import all_sites
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.sheets import speed
from roadrisk.reporting.wording import and_words, day, study_line

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.reporting.documents.blocks import Block, Figure
    from roadrisk.reporting.editions.edition import Edition

MOST_SITES = 20
"""Sites that a document lists one by one; measures.html has all."""
# So that it stands on the first page.
_MAP_WIDTH = 0.84
_MINUS = "\N{MINUS SIGN}"


def request(edition: Edition) -> tuple[Block, ...]:
    """Return who asks whom for what.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    tuple of Block
    """
    said, measures = edition.study.settings.proposal, edition.findings.measures
    facts = (
        ("Asked of", clipped(said.agency, 300)),
        ("Sponsoring agency or body", clipped(said.sponsor, 300)),
        ("Requested by", clipped(said.requested_by, 300)),
        ("Contact", clipped(said.contact, 300)),
        ("Date", day(said.prepared_on) if said.prepared_on else ""),
    )
    along = ""
    if len(measures.chosen):
        along = length(all_sites(measures)["length_m"], scale_of(edition.study, edition.findings))
    return (
        *paragraphs("request", "asked", works=works(measures), length=along,
                    why=_sentence(measures.words or "No measure was weighed.")),
        Facts(facts),
        *paragraphs("request", "draft", "small", own=bool(edition.study.texts)),
    )  # fmt: skip


def location(edition: Edition) -> tuple[Block, ...]:
    """Return where the sites are: map, ends, owner, and what the road is like there."""
    chosen, ranked = edition.findings.measures.chosen, edition.findings.ranked
    listed = rows(chosen.iloc[:MOST_SITES])
    measured = [_is_measured(row) for row in listed]
    unowned = [f"S{row['site']:.0f}" for row in listed if not plain_text(row["owner"])]
    said = paragraphs(
        "location", "sites", sites=len(chosen), ranked=len(ranked), measured=any(measured),
        unmeasured=not all(measured), unowned=and_words(*unowned),
    )  # fmt: skip
    if chosen.empty:
        return (_map(edition), *said, *_first_ranked(edition))
    return (_map(edition), *said, _ends(edition), _road_there(edition))


def need(edition: Edition) -> tuple[Block, ...]:
    """Return how many die, where, when, what that is to the population, and the species."""
    study, deaths = edition.study, edition.findings.deaths
    chance = edition.findings.chance
    values = clipped(study.profile_words, 300)
    species = Facts((
        ("Species", clipped(study_line(study.settings)[0], 300)),
        ("Legal status", clipped(study.settings.proposal.legal_status, 300)),
        ("Active", _active(edition)),
        ("Values of the species", upper(values.removeprefix("Species values: "))),
    ))  # fmt: skip
    dying = paragraphs(
        "need", "dying", deaths=deaths.words if deaths.known else "",
        dying=deaths_clause(edition), verdict=chance.verdict,
        many=len(edition.findings.stretches), p=p_short(chance.p_value, chance.draws),
        sure=rank_sure(edition),
    )  # fmt: skip
    pictures = (roads_chart(edition), months_chart(edition))
    return (
        *dying,
        *(picture for picture in pictures[:1] if picture is not None),
        *_by_owner(edition),
        *_adults(edition),
        *_growth(edition),
        *paragraphs("need", "when", when=when_words(edition)),
        *(picture for picture in pictures[1:] if picture is not None),
        species,
    )


def objective(edition: Edition) -> tuple[Block, ...]:
    """Return the objective with its number and date, and what is expected of the works."""
    said, measures = edition.study.settings.proposal, edition.findings.measures
    nothing = measures.chosen.empty
    year, percent = said.objective_year or 0, said.objective_percent or 0.0
    averted = now = share = 0.0
    told = ""
    if not nothing:
        total = all_sites(measures)
        averted = float(total["averted_per_year"])
        now = float(measures.chosen["deaths_per_year"].astype(float).sum(skipna=False))
        told = deaths_said(total, "averted_per_year", measures, "")
        if np.isfinite([averted, now]).all() and now > 0:
            share = 100 * averted / now
    unit = "deaths a year" if measures.known else OF_ALL
    times = 1.0 if measures.known else 100.0
    there = number(times * now, 2) if np.isfinite(now) and now > 0 else ""
    there += " %" if there and not measures.known else ""
    aim = paragraphs("objective", "aim", "lead", nothing=nothing, percent=_plain(percent),
                     averted=told, unit=unit, year=year, now=there)  # fmt: skip
    expected = paragraphs("objective", "expected", percent=percent, averted=told, unit=unit,
                          now=there, share=round(share))  # fmt: skip
    to_fill = (Facts((("By the year", ""),)),) if not nothing and not year else ()
    return (*aim, *to_fill, *expected)


def _map(edition: Edition) -> Figure:
    drawn = places_map(edition)
    return replace(drawn, width=min(drawn.width, _MAP_WIDTH))


def _ends(edition: Edition) -> Table:
    chosen = edition.findings.measures.chosen.iloc[:MOST_SITES]
    places = engineer_places(edition.study, chosen)
    scale = scale_of(edition.study, edition.findings)
    lines = [
        (
            f"S{row['site']:.0f}", clipped(place["where"]),
            _end(place, "begin"), _end(place, "end"),
            length(row["length_m"], scale), clipped(row["owner"], 60) or NOT_GIVEN,
        )
        for row, place in zip(rows(chosen), rows(places), strict=True)
    ]  # fmt: skip
    left = len(edition.findings.measures.chosen) - len(lines)
    return Table(
        ("Site", "Where", "From", "To", "Length", "Road owner"), tuple(lines),
        widths=(0.5, 2.3, 2.3, 2.3, 0.8, 1.1), caption="Sites, best for the money first"
        if edition.findings.measures.priced else "Sites, best for the metre of fence first",
        note=f"{left} more sites: measures.csv." if left > 0 else "",
    )  # fmt: skip


def _end(place: Mapping[str, Any], which: str) -> str:
    at = [float(place[f"{which}_{part}"]) for part in ("latitude", "longitude")]
    words = clipped(place[f"{which}_where"])
    spot = f"({at[0]:.5f}, {at[1]:.5f})" if np.isfinite(at).all() else ""
    return f"{words} {spot}".strip() or "not known"


def _road_there(edition: Edition) -> Table:
    """Return traffic, limit and lanes of the segments that sites lie on, as the layers say."""
    segments = edition.findings.segments.drop(columns="geometry").set_index("segment_id")
    units = edition.study.settings.study.units
    lines = []
    for row in rows(edition.findings.measures.chosen.iloc[:MOST_SITES]):
        ids = [x for x in plain_text(row["segment_ids"]).split() if x in segments.index]
        mine = segments.loc[ids]
        traffic = dict.fromkeys(
            f"{r['aadt']:,.0f}" + (f" ({r['aadt_year']:.0f})" if r["aadt_year"] > 0 else "")
            for r in rows(mine) if r["aadt"] > 0
        )  # fmt: skip
        limits = dict.fromkeys(speed(float(v), units) for v in mine["speed_limit_kmh"] if v > 0)
        lanes = dict.fromkeys(f"{v:.0f}" for v in mine["lanes"] if v > 0)
        kinds = dict.fromkeys(clipped(v, 40) for v in mine["road_class"])
        lines.append((f"S{row['site']:.0f}", *(", ".join(x for x in found if x) or "not known"
                      for found in (kinds, traffic, limits, lanes))))  # fmt: skip
    head = ("Site", "Class of the road map", "Vehicles a day (year counted)", "Speed limit",
            "Lanes")  # fmt: skip
    return Table(head, tuple(lines), widths=(0.5, 1.6, 2.2, 1.2, 0.8),
                 caption="The road at the sites, as the road layers say")  # fmt: skip


def _first_ranked(edition: Edition) -> tuple[Block, ...]:
    lines = [(p.mark, p.where, p.owner, p.length, p.deaths) for p in first_places(edition)]
    if not lines:
        return ()
    return (Table(("Rank", "Where", "Road owner", "Length", "What the rank goes by"),
                  tuple(lines), widths=(0.5, 3.0, 1.3, 0.8, 1.8),
                  caption="The first places of the ranked list"),)  # fmt: skip


def _by_owner(edition: Edition) -> tuple[Block, ...]:
    deaths, units = edition.findings.deaths, edition.study.settings.study.units
    if not deaths.known or len(deaths.units) < 2:
        return ()
    unit = "miles" if units == "us" else "km"
    lines = [
        (clipped(row["unit"], 60), length_cell(row["length_km"], units),
         length_cell(row["watched_km"], units), interval_cell(row, "deaths_per_year"))
        for row in rows(deaths.units.iloc[:12])
    ]  # fmt: skip
    return (Table(
        ("Road owner", f"Roads, {unit}", f"Watched, {unit}", "Deaths a year (90 % interval)"),
        tuple(lines), widths=(2.2, 1.0, 1.0, 2.0),
        caption="Whose roads animals die on",
        note="Watched: by surveys or tagged animals, the sources that tell how many die.",
    ),)  # fmt: skip


def _adults(edition: Edition) -> tuple[Block, ...]:
    study, deaths = edition.study, edition.findings.deaths
    known = [row for row in rows(deaths.population) if np.isfinite(float(row[KILLED]))]
    low, high = tolerable_percent(study.profile, study.settings.kill)
    bound = number(low) if low == high else f"{number(low)} to {number(high)}"
    said = paragraphs("need", "adults", known=bool(known), bound=bound)
    if not known:
        return said
    level = f"{100 * study.settings.hotspots.interval:.0f} % interval"
    bounds = list(dict.fromkeys((low, high)))
    lines = [
        (clipped(row["group"], 80), interval_cell(row, KILLED),
         *(chance_cell(row[f"above_{end}_bound"]) for end in ("lower", "upper")[: len(bounds)]))
        for row in known[:6]
    ]  # fmt: skip
    head = ("Group, and by which route", f"Killed a year, % ({level})",
            *(f"Chance that it is above {number(b)} %" for b in bounds))  # fmt: skip
    return (Table(head, tuple(lines), caption="Share of the adults that roads kill"), *said)


def _growth(edition: Edition) -> tuple[Block, ...]:
    trends = {plain_text(row["quantity"]): row for row in rows(edition.findings.deaths.growth)}
    pair = [trends.get(f"change a year {w} road deaths, %") for w in ("with", "without")]
    known = [row for row in pair if row is not None and np.isfinite(float(row["value"]))]
    if len(known) < len(pair):
        return paragraphs("need", "growth", with_deaths="")
    across = all(float(row["value_low"]) < 0 < float(row["value_high"]) for row in known)
    level = f"{100 * edition.study.settings.hotspots.interval:.0f} %"
    words = [interval_cell(row, "value").replace("-", _MINUS) for row in known]
    return paragraphs("need", "growth", with_deaths=words[0], without_deaths=words[1],
                      level=level, across_zero=across)  # fmt: skip


def _active(edition: Edition) -> str:
    active = month_words(edition.study.profile.months("likely"))
    said = "all year" if active == "all year" else f"in {active}"
    return f"{said}, by the species profile"


def _is_measured(row: Mapping[str, Any]) -> bool:
    return bool(plain_text(row["route"])) and bool(np.isfinite(float(row["begin_measure"])))


def _sentence(text: str) -> str:
    said = plain_text(text).strip()
    return said if said.endswith((".", "!", "?")) else f"{said}."


def _plain(percent: float) -> str:
    return f"{percent:g}" if percent else ""
