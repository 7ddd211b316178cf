"""The map: one HTML file that opens with no network."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

from roadrisk.base.crs import WGS84
from roadrisk.reporting import palette
from roadrisk.reporting.death_layer import DRAWN, death_breaks
from roadrisk.reporting.death_words import RATE
from roadrisk.reporting.deaths_page import DEATHS_PAGE
from roadrisk.reporting.map_layers import map_layers, off_ground, rows_of, scale_breaks
from roadrisk.reporting.map_page import DEATHS, page_html
from roadrisk.reporting.measure_layer import measure_layers, measure_texts
from roadrisk.reporting.place_sheets import row_words, scale_of, stretch_words
from roadrisk.reporting.power_words import power_sentence
from roadrisk.reporting.sheets import SHEETS, YEARS
from roadrisk.reporting.sites_of_windows import proposed_here
from roadrisk.reporting.stretch_page import EXACT_PLACES, STRETCHES_PAGE
from roadrisk.reporting.tracked_words import tracked_words
from roadrisk.reporting.wording import (
    CONFIDENTIAL,
    INVENTED_BANNER,
    OFF_GROUND,
    SAFETY,
    TILE_NOTE,
    basis,
    counted,
    credit,
    how_to_read,
    length_unit,
    number,
    short_length,
    study_line,
)
from roadrisk.reporting.year_chart import NO_STRETCH, chart_notes

if TYPE_CHECKING:
    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import Edition
    from roadrisk.reporting.place_sheets import Scale
    from roadrisk.study import Study


def map_html(edition: Edition) -> bytes:
    """Return an edition's map as one HTML page (UTF-8).

    Roads are coloured by expected deaths per km (or mile), or by crossings and reports where
    nothing tells of deaths, on one even scale that also gets wider and darker; stretches that
    stand out are outlined, ranked windows numbered, proposed measures dashed, reports and crossings
    have shapes of their own. Nothing is fetched unless a person switches the background map on.
    """
    study, findings = edition.study, edition.findings
    scale = scale_of(study, findings)
    layers = map_layers(study, findings) | measure_layers(findings.measures, scale)
    return page_html(study.settings.study.name, _page(study, findings), layers, scale.by)


def _page(study: Study, findings: Findings) -> dict[str, Any]:
    settings = study.settings
    units = settings.study.units
    unit = length_unit(units)
    scale = scale_of(study, findings)
    species, period = study_line(settings)
    west, south, east, north = findings.segments.geometry.to_crs(WGS84).total_bounds
    return {
        "name": settings.study.name,
        "species": species,
        "period": period,
        "invented": INVENTED_BANNER if settings.study.invented else "",
        "deaths": findings.deaths.words,
        "all_deaths": DEATHS_PAGE,
        "verdict": findings.chance.words,
        "power": power_sentence(findings),
        "credit": credit(study),
        "metric": units == "metric",
        "bounds": [[south, west], [north, east]],
        "rates": {
            kind: f"{what} per {unit} and year"
            for kind, what in (
                ("pieces", "crossing-days and reports"),
                ("tracked", "crossing-days"),
                ("alive", "reports of live animals"),
                ("dead", "reports of dead animals"),
            )
        }
        | {"deaths": _death_unit(scale)},
        "years": YEARS,
        "confidential": EXACT_PLACES,
        "basis": f"Ranked by {basis(units, findings.deaths)}.",
        **measure_texts(findings.measures, scale),
        "rows": [
            row_words(row, scale) + [f"proposed here: {site}" for site in (here,) if site]
            for row, here in zip(rows_of(findings.ranked), proposed_here(findings), strict=True)
        ],
        "stretches": [stretch_words(row, scale) for row in rows_of(findings.stretches)],
        "no_stretch": NO_STRETCH,
        "print": STRETCHES_PAGE,
        "chart": chart_notes(findings.stretch_years, settings),
        "sheets": {
            kind: [label.format(unit=unit) for label in labels] for kind, labels in SHEETS.items()
        },
        "read": how_to_read(settings, findings.deaths),
        "notes": list(findings.notes),
        "tracked": tracked_words(findings),
        "counts": counted(findings),
        "cautions": [*SAFETY, CONFIDENTIAL],
        "tiles": TILE_NOTE,
        "legend": _legend(findings, study, scale),
        "off_ground": bool(off_ground(findings.segments).any()),
        "colours": palette.SCALE,
        "widths": palette.WIDTHS_PX,
        "road": palette.ROAD,
        "road_width": palette.ROAD_PX,
        "unwatched": palette.UNWATCHED,
        "unwatched_width": palette.UNWATCHED_PX,
        "unwatched_dash": palette.UNWATCHED_DASH,
        "judged_dash": palette.JUDGED_DASH,
        "judged_width": palette.JUDGED_WIDTH,
        "ink": palette.INK,
        "accent": palette.ACCENT,
        "paper": palette.PAPER,
    }


def _death_unit(scale: Scale) -> str:
    """Return what numbers of the layer of deaths are given in."""
    if DRAWN[scale.by] == RATE:
        return f"per {length_unit(scale.units)} and year"
    return "times the mean of all roads"


def _classes(breaks: tuple[float, ...], unit: str, nothing: str) -> dict[str, Any]:
    ends = [number(b) for b in breaks]
    classes = [f"{a} to {b}" for a, b in pairwise(ends)]
    if ends:
        classes.append(f"{ends[-1]} and more")
    plain = " or ".join(x for x in (f"less than {ends[0]}," if ends else "", nothing) if x)
    return {"unit": unit, "classes": classes, "plain": plain.removesuffix(",")}


def _legend(findings: Findings, study: Study, scale: Scale) -> dict[str, Any]:
    units = study.settings.study.units
    per = f"per {length_unit(units)} of road and year"
    return {
        "scales": {
            "deaths": _classes(
                death_breaks(findings, scale),
                per if DRAWN[scale.by] == RATE else "as a multiple",
                "",
            ),
            "pieces": _classes(scale_breaks(findings, units), per, "nothing recorded"),
        },
        "judged": "thin, broken: not watched by a source that says how many; judged from roads "
        "like it",
        "titles": {
            "deaths": DEATHS.get(scale.by, ""),
            "pieces": "Crossing-days and reports",
            "tracked": "Crossing-days of tagged animals",
            "alive": "Reports of live animals",
            "dead": "Reports of dead animals",
        },
        "bare": "road",
        "off": OFF_GROUND,
        "unwatched": "not watched: no tagged animal within "
        f"{short_length(study.settings.crossings.reach_m, units)}",
        "stretch": "stretch that stands out, with its letter" if len(findings.stretches) else "",
        "window": "place in the ranked list",
        "measures": "proposed measure; S1 is site 1",
        "signs": "place for a warning sign",
        "closer": "Closer up:",
        "reports": "reports",
        "alive": "alive",
        "dead": "dead",
        "other": "not said",
        "crossing": "step between fixes across a road",
        "switch": "(switch on under Layers)",
    }
