"""The map: one HTML file that opens with no network."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

from roadrisk.base.crs import WGS84
from roadrisk.reporting import palette
from roadrisk.reporting.death_layer import DRAWN, death_breaks
from roadrisk.reporting.death_words import RATE
from roadrisk.reporting.deaths_page import DEATHS_PAGE
from roadrisk.reporting.drawn_roads import drawn_edition, drawn_words
from roadrisk.reporting.editions.edition_words import banner_words, caution_words
from roadrisk.reporting.map_charts import chart_data
from roadrisk.reporting.map_layers import map_layers, off_ground, rows_of, scale_breaks
from roadrisk.reporting.map_links import NAMED, first_view, place_links, worst_words
from roadrisk.reporting.map_page import DEATHS, page_html
from roadrisk.reporting.map_reports import count_layer, filter_words
from roadrisk.reporting.measure_layer import measure_layers, measure_texts
from roadrisk.reporting.measures_page import MEASURES_PAGE
from roadrisk.reporting.place_counts import PIECE_M
from roadrisk.reporting.place_sheets import row_words, scale_of, stretch_words
from roadrisk.reporting.power_words import power_sentence
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.sheets import FIRST, SHEETS, YEARS, road
from roadrisk.reporting.sites_of_windows import proposed_here
from roadrisk.reporting.stretch_page import STRETCHES_PAGE
from roadrisk.reporting.tracked_words import tracked_words
from roadrisk.reporting.wording import (
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
    from roadrisk.reporting.colour_runs import Layer
    from roadrisk.reporting.editions.edition import Edition
    from roadrisk.reporting.place_sheets import Scale
    from roadrisk.settings import Settings
    from roadrisk.study import Study


def map_html(edition: Edition) -> bytes:
    """Return an edition's map as one HTML page (UTF-8).

    Roads are coloured by expected deaths per km (or mile), or by crossings and reports where
    nothing tells of deaths, on one even scale that also gets wider and darker; stretches that
    stand out are outlined, ranked windows numbered, proposed measures dashed, reports and crossings
    have shapes of their own. The confidential edition has single reports; any other has them
    counted by piece of road, by year and month. Nothing is fetched unless a person switches the
    background map on.

    Parameters
    ----------
    edition : Edition
    """
    whole, edition = edition.findings, drawn_edition(edition)
    study, findings = edition.study, edition.findings
    scale = scale_of(study, findings)
    layers = map_layers(study, findings, scale=scale) | measure_layers(findings.measures, scale)
    if edition.kind != "confidential":
        layers = {k: v for k, v in layers.items() if k not in ("reports", "crossings")}
        layers["counts"] = count_layer(edition)
    page = _page(edition, layers, scale)
    left = drawn_words(whole, findings)
    page["notes"] = [left, *page["notes"]] if left else page["notes"]
    return page_html(study.settings.study.name, page, layers, scale.by)


def _page(edition: Edition, layers: dict[str, Layer], scale: Scale) -> dict[str, Any]:
    study, findings = edition.study, edition.findings
    settings = study.settings
    units = settings.study.units
    west, south, east, north = findings.segments.geometry.to_crs(WGS84).total_bounds
    return {
        **_texts(edition, scale),
        **_lists(findings, scale, settings),
        **measure_texts(findings.measures, scale),
        "metric": units == "metric",
        "bounds": [[south, west], [north, east]],
        "focus": first_view(findings),
        "links": place_links(findings),
        "charts": chart_data(edition.counts),
        "filters": filter_words(edition),
        "legend": _legend(findings, study, scale),
        "off_ground": bool(off_ground(findings.segments).any()),
        "some_unwatched": _some("roads", layers),
        "some_judged": _some("deaths", layers),
        **_LOOKS,
    }


def _texts(edition: Edition, scale: Scale) -> dict[str, Any]:
    """Return the words around the map."""
    study, findings = edition.study, edition.findings
    settings = study.settings
    species, period = study_line(settings)
    return {
        "name": settings.study.name,
        "species": species,
        "period": period,
        "invented": INVENTED_BANNER if settings.study.invented else "",
        "confidential": banner_words(edition.kind),
        "deaths": findings.deaths.words,
        "verdict": findings.chance.words,
        "power": power_sentence(findings),
        "basis": f"Ranked by {basis(settings.study.units, findings.deaths)}.",
        "no_stretch": NO_STRETCH,
        "addresses": {
            "deaths": DEATHS_PAGE, "measures": MEASURES_PAGE, "print": STRETCHES_PAGE,
            "brief": "brief.pdf", "proposal": "proposal.pdf",
        },
        "read": how_to_read(settings, findings.deaths),
        "notes": list(findings.notes),
        "tracked": tracked_words(findings),
        "counts": counted(findings),
        "cautions": [
            *SAFETY, caution_words(edition.kind), provenance_line(study, findings, edition.kind),
        ],
        "tiles": TILE_NOTE,
        "credit": credit(study),
        "words": _WORDS,
    }  # fmt: skip


def _lists(findings: Findings, scale: Scale, settings: Settings) -> dict[str, Any]:
    """Return the rows of the lists, names on the map and labels of the sheets."""
    unit = length_unit(scale.units)
    rows = [row_words(row, scale) for row in rows_of(findings.ranked)]
    return {
        "worst": worst_words(findings, [row[0] for row in rows]),
        "labels": {
            str(rank): [road(name), row[0]]
            for rank, name, row in zip(
                findings.ranked["rank"], findings.ranked["road"], rows[:NAMED], strict=False
            )
        },
        "rows": [
            row + [f"proposed here: {site}" for site in (here,) if site]
            for row, here in zip(rows, proposed_here(findings), strict=True)
        ],
        "stretches": [stretch_words(row, scale) for row in rows_of(findings.stretches)],
        "rates": {kind: f"{what} per {unit} and year" for kind, what in _RATES.items()}
        | {"deaths": _death_unit(scale)},
        "years": YEARS,
        "chart": chart_notes(findings.stretch_years, settings),
        "first": FIRST,
        "sheets": {
            kind: [label.format(unit=unit) for label in labels] for kind, labels in SHEETS.items()
        },
    }


def _some(name: str, layers: dict[str, Layer]) -> bool:
    """Return whether a layer has a feature that was not watched."""
    return name in layers and any("u" in f["properties"] for f in layers[name]["features"])


_RATES = {
    "pieces": "crossing-days and reports",
    "tracked": "crossing-days",
    "alive": "reports of live animals",
    "dead": "reports of dead animals",
}
_WORDS = {
    "map": "Map; arrow keys move it, plus and minus zoom",
    "all_roads": "All roads",
    "same_place": "On the same piece of road:",
    "no_road": "No road of that name. Part of a name or its number is enough.",
    "more_roads": "more: type more of the name",
}
_LOOKS = {
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
        "counts": f"reports on about {short_length(PIECE_M, units)} of road",
        "alive": "alive",
        "dead": "dead",
        "other": "not said",
        "crossing": "step between fixes across a road",
        "switch": "(switch on under Layers)",
    }
