"""The public's page: what was found, how to help, what to do with an animal on the road.

It knows a study's settings, its species and the public release, and nothing else. What it
advises is common practice in guidance to the public, and no list of any one authority; local law
and those who know the place come first, and it says so.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from roadrisk.mitigation.signs import month_words
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.editions.edition_words import banner_words, cover_words
from roadrisk.reporting.editions.public_picture import is_cut, picture, size_words
from roadrisk.reporting.printed_page import escaped, figure, paragraph, printed_page, table
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.wording import INVENTED_BANNER, and_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    import geopandas as gpd

    from roadrisk.reporting.editions.edition import Edition
    from roadrisk.reporting.editions.public_release import PublicRelease
    from roadrisk.settings import Settings

PUBLIC_PAGE = "public.html"
# All below: common practice (see the module's words).
SAFETY_FIRST = (
    "You come first. Stop only where it is safe and the law allows it. Never step into traffic, "
    "not even for an animal. Put on a high-visibility vest and switch on your hazard lights "
    "before you get out.",
    "If you are a child: stay off the road and away from its edge. Tell a grown-up.",
    "If you can't stop safely, drive on and report it later. That helps too.",
)
ON_THE_ROAD = (
    "If it walks by itself, let it walk. Watch from the side.",
    "If it needs help, and it is safe and allowed: carry it across in the direction in which it "
    "was going. Set it down well clear of the road. Turned back, it would try again.",
    "Carry it low, in both hands, by the sides of its body or shell. Never lift it by the tail or "
    "a leg: that injures it. If it is big, or may bite, don't pick it up.",
    "Don't take it anywhere else, not even to a better-looking place. Its home is here, and it "
    "would try to walk back.",
    "Don't take it home. It is a wild animal, and keeping it is against the law in many places.",
    "Don't feed it.",
    "Wash your hands afterwards, also after touching a dead animal.",
)
INJURED = "If it is injured, call {whom} and do what they say. Don't treat it yourself."
WHO_HELPS = "your local wildlife authority or a licensed wildlife rehabilitator"
PERMITS = (
    "Local law comes before this page. It decides where you may stop and whether an animal may be "
    "touched: handling a protected animal may need a permit."
)
GOOD_REPORT = (
    "where it was, as exactly as you can: the position your phone shows, or the road and how far "
    "from the nearest junction",
    "the day and the time",
    "whether the animal was alive or dead",
    "a photo of the whole animal, if you could take one safely; don't go back for it",
    "where it was when you first saw it, not where it was moved to",
)
ASK_US = "Ask those who made the study where to send a report."
QUIET = (
    "Send the place only to those who count. Don't post it online, and take the position out of "
    "photos before you share them: many slow animals, turtles above all, are caught and sold as "
    "pets, and thieves read posts.",
    "Many such animals live long and have few young that grow up. If only a few "
    "grown ones are lost each year, the whole group can die out.",
)
NOT_KNOWN = (
    "How many of them live here, or die on roads in a year, is not known or may not be told."
)
READ_SO = (
    "These are animals that people saw or looked for, not all there are: more is seen where more "
    "people look. An area without a square is not an area without animals."
)
NO_CELLS = (
    "No square is shown: too little may be told of where these animals are without telling of "
    "single ones."
)
_ADDRESS = re.compile(r"https://[A-Za-z0-9.-]+(?::\d+)?(?:/[A-Za-z0-9._~/?=&%#-]*)?\Z")
_MAIL = re.compile(r"[A-Za-z0-9][A-Za-z0-9._+-]*@[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)+\Z")


def public_html(edition: Edition, release: PublicRelease) -> bytes:
    """Return the page for everyone.

    In this order: what was found, with a picture and a table of the cells; how to report; what
    to do with an animal on the road; what the page leaves out, and why; licence.

    Parameters
    ----------
    edition : Edition
        Of kind "public".
    release : PublicRelease
        Of the same study; may have no cells.

    Returns
    -------
    bytes
        UTF-8; no script and no request, and links only where `[release] report_to` or `license`
        is wholly an address. All text from data is escaped. The same arguments give the same
        bytes.
    """
    settings = edition.study.settings
    sections = [
        _found(edition, release),
        _help(edition),
        _on_the_road(settings),
        _withheld(release),
    ]
    inside = ["\n".join(["<section>", *lines, "</section>"]) for lines in sections]
    body = "\n".join([*_head(settings, release), "<main>", *inside, "</main>", *_foot(edition)])
    title = f"{_animal(settings)} and roads: {plain_text(settings.study.name)}"
    return printed_page(title, body, ["stretches.css", "deaths.css", "public.css"])


def _head(settings: Settings, release: PublicRelease) -> list[str]:
    study = settings.study
    banners = [INVENTED_BANNER] if study.invented else []
    species = plain_text(study.species)
    named = f"{_animal(settings)}, {species}" if plain_text(study.common_name) else species
    cells = release.cells
    years = (
        "" if cells.empty
        else f"; counted from {_years(cells['first_year'].min(), cells['last_year'].max())}"
    )  # fmt: skip
    return [
        "<header>",
        *(paragraph(banner, "banner") for banner in (*banners, banner_words("public"))),
        f"<h1>{escaped(_animal(settings))} and roads: {escaped(plain_text(study.name))}</h1>",
        paragraph(f"{named}{years}", "small"),
        "</header>",
    ]


def _found(edition: Edition, release: PublicRelease) -> list[str]:
    cells = release.cells
    totals = [plain_text(sentence) for sentence in release.totals]
    lines = ["<h2>What was found</h2>", *(paragraph(words) for words in totals or [NOT_KNOWN])]
    if cells.empty:
        return [*lines, paragraph(NO_CELLS)]
    animals, alive, dead = (int(cells[name].sum()) for name in ("animals", "alive", "dead"))
    squares = "the square" if len(cells) == 1 else f"the {len(cells):,} squares"
    said = [f"{value:,} {state}" for value, state in ((alive, "alive"), (dead, "dead")) if value]
    noun = "animal was" if animals == 1 else "animals were"
    states = f": {and_words(*said)}" if said else ""
    unsaid = animals - alive - dead
    if said and unsaid > 0:
        states += f"; for {unsaid:,} it isn't known"
    return [
        *lines,
        paragraph(f"In {squares} below, {animals:,} {noun} counted{states}."),
        paragraph(READ_SO),
        figure([picture(cells)], _read_picture(edition, cells), "one"),
        _in_words(cells),
    ]


def _in_words(cells: gpd.GeoDataFrame) -> str:
    """Return the picture as a table; years only where they differ."""
    years = [_years(*pair) for pair in zip(cells["first_year"], cells["last_year"], strict=True)]
    differ = len(set(years)) > 1
    rows = [
        (
            plain_text(row["cell"]),
            *(f"{int(row[name]):,}" for name in ("animals", "alive", "dead")),
            f"{row['size_degrees']:g}°",
            *([year] if differ else []),
        )
        for row, year in zip(cells.to_dict("records"), years, strict=True)
    ]
    heads = ("Square", "Animals", "Alive", "Dead", "Side", *(["Years"] if differ else []))
    return table(
        "The squares of the map. A square's name is the latitude and longitude of its south-west "
        "corner, in degrees.",
        heads, rows,
    )  # fmt: skip


def _read_picture(edition: Edition, cells: gpd.GeoDataFrame) -> str:
    joined = cells["size_degrees"].nunique() > 1
    rest = (
        " A larger square is hatched: too few animals were counted in any small part of it to show "
        "that part. A “rest” is what remains of it around small squares." if joined else ""
    )  # fmt: skip
    sizes = size_words(cells, edition.study.settings.study.units)
    cut = (
        " Larger squares go on beyond the picture; the table has them all." if is_cut(cells) else ""
    )
    return f"The darker, the more animals were counted. {sizes}{rest}{cut}"


def _help(edition: Edition) -> list[str]:
    settings = edition.study.settings
    to = plain_text(settings.release.report_to).strip()
    where = f"<p>Report what you see: {_linked(to)}</p>" if to else paragraph(ASK_US)
    months = month_words(edition.study.profile.months("likely"))
    return [
        "<h2>How you can help</h2>",
        paragraph(f"Months in which they move about: {months}. Drive with care then."),
        where,
        paragraph("A good report says:"),
        _bullets(GOOD_REPORT),
        *(paragraph(sentence) for sentence in QUIET),
    ]


def _on_the_road(settings: Settings) -> list[str]:
    whom = plain_text(settings.replies.injured_call).rstrip(". ") or WHO_HELPS
    return [
        "<h2>If an animal is on the road</h2>",
        '<div class="first">',
        *(paragraph(sentence) for sentence in SAFETY_FIRST),
        "</div>",
        _bullets((*ON_THE_ROAD, INJURED.format(whom=whom))),
        paragraph(PERMITS),
    ]


def _withheld(release: PublicRelease) -> list[str]:
    said = (*cover_words("public"), plain_text(release.words), plain_text(release.withheld))
    return [
        "<h2>What this page does not say, and why</h2>",
        paragraph(
            "Whoever knows exactly where these animals live can find them, and so can people who "
            "would take them. So this page says only roughly where they are: by the "
            "squares of the map, which are called cells below."
        ),
        *(paragraph(sentence) for sentence in said if sentence),
    ]


def _foot(edition: Edition) -> list[str]:
    release = edition.study.settings.release
    holder, license_ = plain_text(release.rights_holder), plain_text(release.license)
    return [
        "<footer>",
        *([paragraph(f"Rights holder: {holder}", "small")] if holder else []),
        *([f'<p class="small">Licence: {_linked(license_)}</p>'] if license_ else
          [paragraph("Licence: none named; ask before you publish from this page.", "small")]),
        paragraph(provenance_line(edition.study, edition.findings, "public"), "small"),
        "</footer>",
    ]  # fmt: skip


def _animal(settings: Settings) -> str:
    """Return the species as people call it, with a capital letter."""
    name = plain_text(settings.study.common_name) or plain_text(settings.study.species)
    return name[:1].upper() + name[1:]


def _years(first: object, last: object) -> str:
    return f"{first}" if first == last else f"{first} to {last}"


def _linked(text: str) -> str:
    """Return text escaped, as a link if it is wholly a web or mail address and nothing else."""
    if _ADDRESS.match(text):
        return f'<a rel="noreferrer" href="{escaped(text)}">{escaped(text)}</a>'
    if _MAIL.match(text):
        return f'<a href="mailto:{escaped(text)}">{escaped(text)}</a>'
    return escaped(text)


def _bullets(sentences: Iterable[str]) -> str:
    items = "\n".join(f"<li>{escaped(sentence)}</li>" for sentence in sentences)
    return f"<ul>\n{items}\n</ul>"
