"""Printable forms for the field: surveys for carcasses, zeros included, and trials."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from roadrisk.base.whole import write_whole
from roadrisk.reporting.wording import SAFETY

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

SURVEY_FORM, TRIAL_FORM = "survey_form.html", "trial_form.html"

# Common practice in work beside roads and with wild animals.
ON_THE_ROAD = (
    "Park off the carriageway. Wear high-visibility clothing. Face the traffic; where you look "
    "down, a second person watches it. No search in fog, at dusk, on a bend without a verge, or "
    "where you can't step aside. From a car the passenger searches, the driver drives.",
    "Working on a road or its verge may need the road authority's leave, and a trained person: "
    "ask before the first day. Local law comes before this form.",
)
WITH_ANIMALS = (
    "Protected animals, live or dead, and parts of them: touching, moving, marking and keeping "
    "them needs a permit. Gloves; wash your hands before you eat; one bag a carcass; clean tools "
    "and boots before the next water. Don't handle carcasses where an animal disease is reported.",
    "An injured animal: don't treat it yourself. Call: ______________________________",
)
LAYING_OUT = (
    "Carcasses laid out need the permits of the wildlife and of the road authority. Never on the "
    "carriageway where a scavenger, or a driver who stops, comes to harm: lay them where dead "
    "animals come to lie beside it. Who searches must not know where, or that it is a trial.",
)
_SURVEY_HEAD = (
    ("Survey ID (eventID)", 3), ("Date (eventDate)", 2), ("Begin, end (clock)", 2),
    ("Observers: how many (observers)", 2), ("Names (for your files only)", 3),
    ("Road, or route with begin and end measure", 6), ("Strip searched, both sides and road "
    "(searched_width_m)", 3), ("Times along it (samplingEffort: passes)", 3),
)  # fmt: skip
_CARCASS = (
    "No.", "Report ID<br>occurrenceID", "Time", "Latitude<br>decimalLatitude",
    "Longitude<br>decimalLongitude", "± m", "Species", "Alive, dead<br>vitality",
    "Length mm<br>length_mm", "Stage, sex, gravid", "What was done<br>carcass_action",
    "Photo, remarks",
)  # fmt: skip
_DONE = {10: "☐ left ☐ marked ☐ removed<br>☐ already marked"}
_DETECTION = (
    "No.", "Carcass ID<br>trialID", "Small or large<br>size_class", "Length mm", "Laid out at "
    "(place)", "Searched by: walk, bicycle, car<br>samplingProtocol", "Found on 1st search<br>"
    "look 1, found", "Missed: still there?", "Found on 2nd search<br>look 2, found",
    "Missed: still there?", "Found on 3rd search<br>look 3, found",
)  # fmt: skip
_STAY = (
    "No.", "Carcass ID<br>trialID", "Small or large", "Laid out: day, hour<br>eventDate",
    "Check 1<br>day, hour, there?", "Check 2", "Check 3", "Check 4", "Check 5", "Check 6",
    "Last seen<br>last_seen", "First seen gone<br>first_gone",
)  # fmt: skip

_PAGE = """\
<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
@page {{ size: landscape; margin: 10mm }}
body {{ font: 10pt/1.3 system-ui, sans-serif; color: #1c1c1a; background: #fff; margin: 4mm }}
h1 {{ font-size: 14pt; margin: 0 0 1mm }}
h2 {{ font-size: 11pt; margin: 4mm 0 1mm }}
p, li {{ margin: 0 0 1mm }}
ul {{ margin: 0; padding-left: 5mm }}
.fields {{ display: grid; grid-template-columns: repeat(12, 1fr); gap: 1mm 3mm }}
.fields div {{ border-bottom: .3mm solid #1c1c1a; min-height: 9mm; font-size: 8pt }}
table {{ border-collapse: collapse; width: 100% }}
th, td {{ border: .2mm solid #96938a; padding: .5mm 1mm; text-align: left; vertical-align: top }}
th {{ font-size: 7.5pt; font-weight: 600 }}
td {{ height: 7.5mm; font-size: 8pt }}
tr {{ break-inside: avoid }}
.none {{ border: .5mm solid #1c1c1a; padding: 1.5mm 2mm; margin: 2mm 0; font-weight: 600 }}
.small {{ font-size: 8pt }}
</style>
</head>
<body>
{body}
</body>
</html>
"""


def write_field_forms(folder: Path) -> tuple[Path, ...]:
    """Write the printable forms into a study folder.

    Parameters
    ----------
    folder : pathlib.Path
        Forms that it holds already stay as they are.

    Returns
    -------
    tuple of pathlib.Path
        The files written.

    Raises
    ------
    OutputError
        If the folder can't be written to.
    """
    forms = {SURVEY_FORM: survey_form(), TRIAL_FORM: trial_form()}
    new = {name: text.encode() for name, text in forms.items() if not (folder / name).exists()}
    return write_whole(new, folder) if new else ()


def survey_form() -> str:
    """Return the form for one survey, as HTML that prints on one landscape sheet."""
    body = (
        "<h1>Survey for carcasses</h1>\n"
        '<p class="small">One sheet a survey: one day, one protocol. The words in brackets are the '
        "columns of surveys.csv and sightings.csv.</p>\n"
        f"{_fields(_SURVEY_HEAD)}\n"
        "<p>How (samplingProtocol): ☐ walk &nbsp; ☐ bicycle &nbsp; ☐ car &nbsp; ☐ other: "
        "____________ &nbsp;&nbsp; Weather, light: ____________________</p>\n"
        '<p class="none">☐ None found. A search that found none counts as much as one that did: '
        "enter it in surveys.csv too, with 0 carcasses.</p>\n"
        f"{_table(_CARCASS, 8, _DONE)}\n"
        '<p class="small">Carcasses found in all (individualCount): ______ &nbsp; Each is a row of '
        "sightings.csv with this survey's ID in eventID. A carcass that carries a mark already is "
        "written down too: it counts once. Mark or remove only what your permit allows; else leave "
        "it and write “left”.</p>\n"
        f"{_cautions(ON_THE_ROAD, WITH_ANIMALS)}"
    )
    return _PAGE.format(title="Survey for carcasses: field form", body=body)


def trial_form() -> str:
    """Return the form for trials, as HTML that prints on two landscape sheets."""
    body = (
        "<h1>Trials: what surveys miss</h1>\n"
        '<p class="small">Two trials with carcasses whose place you know: is it found (by each way '
        "of searching, each size), and how long does it stay. 15 to 40 carcasses each, through the "
        "season, tell much (more tell more). The words below the headings are the columns of "
        "trials.csv.</p>\n"
        "<h2>1 Found or missed (trial: detection)</h2>\n"
        '<p class="small">Only carcasses that were still there count: look after each search. '
        "Searching again for those that were missed tells whether they are hard to find.</p>\n"
        f"{_table(_DETECTION, 8)}\n"
        "<h2>2 How long it stays (trial: persistence)</h2>\n"
        '<p class="small">Check often at first, as many go within hours: for example after ½, 1, '
        "2, 4, 7 and 14 days. Still there at the last check: leave first_gone empty.</p>\n"
        f"{_table(_STAY, 8)}\n"
        "<h2>3 Within the searched strip (trial: width)</h2>\n"
        "<p>Of ______ animals known to have been killed (carcasses) ______ lay within the strip "
        "that surveys search (found). Known from: ______________________________</p>\n"
        f"{_cautions(LAYING_OUT, ON_THE_ROAD, WITH_ANIMALS)}"
    )
    return _PAGE.format(title="Trials with carcasses: field form", body=body)


def _fields(fields: Sequence[tuple[str, int]]) -> str:
    cells = "".join(
        f'<div style="grid-column: span {wide}">{escape(name)}</div>' for name, wide in fields
    )
    return f'<div class="fields">{cells}</div>'


def _table(heads: Sequence[str], rows: int, printed: Mapping[int, str] | None = None) -> str:
    """Return a table to fill in; headings, and what is printed in a column, are our own HTML."""
    top = "".join(f'<th scope="col">{head}</th>' for head in heads)
    cells = {} if printed is None else printed
    empty = "".join(f"<td>{cells.get(n, '')}</td>" for n in range(1, len(heads)))
    lines = "\n".join(f"<tr><td>{n}</td>{empty}</tr>" for n in range(1, rows + 1))
    return f"<table>\n<thead><tr>{top}</tr></thead>\n<tbody>\n{lines}\n</tbody>\n</table>"


def _cautions(*groups: Sequence[str]) -> str:
    said = [SAFETY[0], *(text for group in groups for text in group)]
    items = "\n".join(f"<li>{escape(text)}</li>" for text in said)
    return f'<h2>Safety first</h2>\n<ul class="small">\n{items}\n</ul>'
