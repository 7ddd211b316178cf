"""Every reader of what comes in, with how its input is spoilt: what the fuzzer runs."""

from __future__ import annotations

import contextlib
import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tests.hostile import fuzz_seeds as seeds
from tests.hostile.fuzz_binary import (
    spoiled_pbf,
    spoiled_photo,
    spoiled_sqlite,
    spoiled_workbook,
)
from tests.hostile.fuzz_text import (
    VALUES,
    spoiled_bytes,
    spoiled_json,
    spoiled_table,
    spoiled_toml,
    spoiled_xml,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from random import Random

    Files = dict[str, bytes]


@dataclass(frozen=True)
class Reader:
    """A reader under test.

    Attributes
    ----------
    make : callable
        Files by name, made from a random generator.
    read : callable
        Reads a folder that holds them; returns whether they were accepted. Anything but a
        RoadriskError that it raises is a finding.
    weight : int
        How often it is run, beside others: seldom what takes long.
    """

    make: Callable[[Random], Files]
    read: Callable[[Path], bool]
    weight: int


HEAD = """\
[study]
name = "Reed Hollow"
short_name = "reed_hollow"
species = "Testudo ficta"
profile = "generic_small_slow_animal"
start = 2023-04-01
end = 2025-10-31
time_zone = "Europe/Warsaw"
invented = true

"""
AGENCY = '[roads.agency]\nfile = "lines.geojson"\n'
ONE = b"""\
occurrenceID,eventDate,decimalLatitude,decimalLongitude,coordinateUncertaintyInMeters
A1,2024-05-02,52.1996,19.4102,30
"""
TABLES = (
    "animals", "fixes", "sightings", "bearings", "bearing_tests", "traffic", "background",
    "effort",
    "surveys", "trials", "nests", "prices", "structures", "openings", "works", "crashes", "fences",
    "compare", "inspections", "passage_use",
)  # fmt: skip


def judge(remarks: object) -> bool:
    """Return whether remarks hold no error; each has to be one printable line with a mend."""
    for remark in remarks:  # type: ignore[attr-defined]
        line = remark.line()
        assert line.isprintable(), line
        assert remark.kind == "left out" or remark.mend, line
        assert remark.file, line
    return not any(r.kind == "error" for r in remarks)  # type: ignore[attr-defined]


def parts(folder: Path) -> bool:
    """Read the files that study.toml names, as a run does; the study is not put together."""
    from roadrisk.records import study_folder as whole

    loaded = whole.load_settings(folder)
    if loaded.settings is None:
        return judge(loaded.remarks)
    work = whole._Work(folder, loaded, loaded.settings, list(loaded.remarks))
    work.roads = whole.read_study_roads(work, build=True)
    work.read_tables()
    whole.study_habitat(work, work.roads.boxes)
    whole.study_sites(work, work.roads.boxes)
    whole.study_prices(work)
    whole.compare_tables(work)
    return judge(work.remarks)


def checked(folder: Path) -> bool:
    """Read a folder as a run does."""
    from roadrisk.records.study_folder import gather

    return judge(gather(folder, build_roads=True).remarks)


def commanded(folder: Path) -> bool:
    """Run "roadrisk check" on a folder, in this process."""
    from roadrisk.cli import main

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(["check", str(folder)])
        except SystemExit as stopped:
            code = stopped.code
        else:
            code = 0
    if code not in (0, 2):
        raise AssertionError(f"exit code {code}")
    return code == 0


def _folder(toml: str, **files: bytes) -> Files:
    """Return a small study around a section; a study needs a report, a fix or a bearing."""
    if not any(f"[{kind}]" in toml for kind in ("fixes", "bearings", "sightings")):
        toml += '\n[sightings]\nfile = "one.csv"\n'
    lines = seeds.base_files()["agency_roads.geojson"]
    base = {"study.toml": (HEAD + toml).encode(), "lines.geojson": lines, "one.csv": ONE}
    return base | files


def _table(rng: Random) -> Files:
    kind = rng.choice(TABLES)
    content = spoiled_table(rng, seeds.base_files()[f"{kind}.csv"], kind)
    more = _keys(rng)
    name = f"t.{rng.choice(('csv', 'csv', 'csv', 'tsv', 'txt'))}"
    return _folder(f'{AGENCY}[{kind}]\nfile = "{name}"\n{more}', **{name: content})


def _keys(rng: Random) -> str:
    some = [
        "", "", "", "", 'date_order = "day-first"', "swapped = true",
        'longitude = "unsigned west"',
        'crs = "EPSG:2180"', 'encoding = "utf-16"', 'encoding = "cp1252"',
        'encoding = "undefined"',
        'encoding = "idna"', 'encoding = "utf-7"', 'encoding = "unicode_escape"',
    ]  # fmt: skip
    return rng.choice(some) + "\n"


def _workbook(rng: Random) -> Files:
    content = spoiled_workbook(rng, seeds.workbook())
    return _folder(f'{AGENCY}[sightings]\nfile = "t.xlsx"\n', **{"t.xlsx": content})


def _gpx(rng: Random) -> Files:
    spoil = rng.choice((spoiled_xml, spoiled_xml, spoiled_bytes))
    layer = rng.choice(('layer = "waypoints"', 'layer = "tracks"', ""))
    kind = rng.choice(("sightings", "fixes", "nests", "crashes"))
    toml = f'{AGENCY}[{kind}]\nfile = "t.gpx"\n{layer}\n'
    return _folder(toml, **{"t.gpx": spoil(rng, seeds.gpx())})


def _layer(ending: str) -> Callable[[Random], Files]:
    def make(rng: Random) -> Files:
        kind = rng.choice(("points", "lines", "polygons"))
        files = dict(seeds.layers()[f"{kind}.{ending}"])
        for _ in range(rng.choice((1, 1, 2))):
            name = rng.choice(list(files))
            spoil = {"geojson": spoiled_json, "gpkg": spoiled_sqlite}.get(ending, spoiled_bytes)
            if spoil is spoiled_json and files[name] != seeds.layers()[f"{kind}.{ending}"][name]:
                spoil = spoiled_bytes
            files[name] = spoil(rng, files[name])
        if rng.random() < 0.05:
            files.pop(rng.choice(list(files)))
        at = f'file = "layer.{ending}"\n'
        match kind:
            case "points":
                section = rng.choice(("sightings", "crashes", "structures", "nests"))
                toml = f"{AGENCY}[{section}]\n{at}"
            case "lines":
                section = rng.choice(
                    ("roads.agency", "roads.agency", "effort", "fences", "compare")
                )
                toml = f"[{section}]\n{at}" + ("" if "roads" in section else AGENCY)
            case _:
                section = rng.choice(("habitat", "parcels", "wetlands", "hotspots"))
                if section == "hotspots":
                    at = f'study_area = "layer.{ending}"\n'
                toml = f"{AGENCY}[{section}]\n{at}"
        return _folder(toml, **files)

    return make


def _extract(rng: Random) -> Files:
    name = rng.choice(("roads.osm", "roads.osm", "roads.osm", "roads.osm.gz", "roads.osm.bz2"))
    seed = seeds.extracts()[name]
    if name == "roads.osm":
        content = (_other_ids if rng.random() < 0.4 else spoiled_xml)(rng, seed)
    else:
        content = spoiled_bytes(rng, seed)
    return _folder(f'[roads.osm]\nfile = "{name}"\n', **{name: content})


def _other_ids(rng: Random, data: bytes) -> bytes:
    """Give nodes and ways ids that are taken, gone, negative or huge, and places out of range."""
    import re

    ids = [b"0", b"-1", b"1", b"34359738368", b"40000000000000", b"4000000000000000", b"9" * 18,
           b"9223372036854775807", b"-9223372036854775808", b"1e5", b""]  # fmt: skip
    places = [b"91", b"-180", b"180.0000001", b"nan", b"1e3", b"214.7483648", b"", b"0"]

    def other(found: re.Match[bytes]) -> bytes:
        if rng.random() > 0.03:
            return found[0]
        return found[1] + rng.choice(places if found[1][1:4] in (b"lat", b"lon") else ids) + b'"'

    return re.sub(rb'( (?:id|ref|lat|lon)=")[^"]*"', other, data)


def _pbf(rng: Random) -> Files:
    content = spoiled_pbf(rng, seeds.extracts()["roads.osm.pbf"])
    return _folder('[roads.osm]\nfile = "r.osm.pbf"\n', **{"r.osm.pbf": content})


def _settings(rng: Random) -> Files:
    return {"study.toml": spoiled_toml(rng, seeds.base_files()["study.toml"])}


def _read_settings(folder: Path) -> bool:
    from roadrisk.records.settings_file import load_settings

    return judge(load_settings(folder).remarks)


def _profile(rng: Random) -> Files:
    files = _folder(AGENCY)
    own = files["study.toml"].replace(b"generic_small_slow_animal", b"p.toml")
    content = spoiled_toml(rng, seeds.base_files()["profile.toml"])
    return {"study.toml": own, "p.toml": content}


def _read_profile(folder: Path) -> bool:
    from roadrisk.records.profile_file import load_profile
    from roadrisk.records.study_folder import read_settings

    return judge(load_profile(read_settings(folder).study, folder).remarks)


def _photo(rng: Random) -> Files:
    found = seeds.photos()
    ending = rng.choice(list(found))
    names = ["p.jpg", f"photos/q.{ending}", *rng.sample(VALUES, 4)]
    return {
        "p.jpg": spoiled_photo(rng, found[rng.choice(list(found))]),
        f"photos/q.{ending}": spoiled_photo(rng, found[ending]),
        "names.json": json.dumps(rng.choice("|;,").join(names)).encode(),
    }


def _read_photo(folder: Path) -> bool:
    from zoneinfo import ZoneInfo

    import pandas as pd

    from roadrisk.records.photos import read_photos

    media = json.loads((folder / "names.json").read_text("utf-8"))
    row = {"report_key": "r", "occurrenceID": "r", "source_file": "s.csv", "source_row": 2}
    reports = pd.DataFrame([{**row, "associatedMedia": media}])
    table, remarks, inputs = read_photos(folder, reports, zone=ZoneInfo("Europe/Warsaw"))
    judge(remarks)
    assert {i.name for i in inputs} <= {p.relative_to(folder).as_posix() for p in folder.rglob("*")}
    return len(table) > 0


def _decisions(rng: Random) -> Files:
    content = spoiled_sqlite(rng, seeds.decisions())
    files = {"decisions.sqlite": content}
    if rng.random() < 0.2:
        files[f"decisions.sqlite{rng.choice(('-wal', '-journal', '-shm'))}"] = spoiled_bytes(
            rng, rng.choice((content[:5000], bytes.fromhex("d9d505f920a163d7") + bytes(600)))
        )
    return files


def _read_decisions(folder: Path) -> bool:
    from roadrisk.decisions import Draft
    from roadrisk.records.decision_store import DecisionStore, read_decisions

    _, remarks, _ = read_decisions(folder)
    good = judge(remarks)
    DecisionStore(folder).append([Draft("verdict", "R-9", "f", verdict="accept")], who="Ida")
    return good


def _review(rng: Random) -> Files:
    return {"r.xlsx": spoiled_workbook(rng, seeds.review())}


def _read_review(folder: Path) -> bool:
    from roadrisk.records.review_sheet_in import read_review_sheet
    from tests.sightings.made_reviewed import made_reviewed

    return bool(read_review_sheet(folder / "r.xlsx", made_reviewed().reports, "reed").rows)


def _texts(rng: Random) -> Files:
    names = ["need.txt", "maintenance.md", "Need.TXT", "nede.txt", "cost.docx", ".hidden", "a.txt"]
    return {
        f"texts/{name}": spoiled_bytes(rng, rng.choice(VALUES).encode("utf-8", "replace"))
        for name in rng.sample(names, 3)
    }


def _read_texts(folder: Path) -> bool:
    from roadrisk.records.own_texts import own_text_inputs, read_own_texts

    own_text_inputs(folder)
    return judge(read_own_texts(folder)[1])


_RUN = {"edition": "agency", "outputs": {"ranked.csv": "0" * 64}, "inputs": [], "seed": 1}
_LOG = {
    "roadrisk_released": 1,
    "groups": [
        {"level": 1, "column": 3, "row": 4, "first_year": 2020, "last_year": 2022, "told": [12],
         "batches": [{"shown": True, "animals": [{"records": ["a"], "state": "dead"}]}]}
    ],
}  # fmt: skip


def _notes_of_runs(rng: Random) -> Files:
    return {
        "provenance.json": spoiled_json(rng, json.dumps(_RUN).encode()),
        "released.json": spoiled_json(rng, json.dumps(_LOG).encode()),
    }


def _read_notes_of_runs(folder: Path) -> bool:
    from roadrisk.errors import InputError
    from roadrisk.records.past_run import as_written, edition_in, read_past_run
    from roadrisk.records.release_log import read_release_log

    edition_in(folder)
    as_written(folder, "ranked.csv", b"")
    try:
        read_past_run(folder / "provenance.json").written("ranked.csv")
    except InputError as error:
        judge(error.remarks)
    return bool(read_release_log(folder).groups)


def _new(rng: Random) -> Files:
    made = rng.choice((_table, _table, _workbook, _gpx, _layer("geojson")))(rng)
    return {n: c for n, c in made.items() if n.startswith(("t.", "layer."))}


def _read_new(folder: Path) -> bool:
    from roadrisk.records.proposal import propose

    (path,) = [p for p in folder.iterdir() if p.is_file()][:1] or [folder / "t.csv"]
    propose(path)
    return True


def _whole(rng: Random) -> Files:
    files = dict(seeds.base_files())
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        name = rng.choice(list(files))
        match name.rpartition(".")[2]:
            case "csv":
                files[name] = spoiled_table(rng, files[name], name.removesuffix(".csv"))
            case "toml":
                files[name] = spoiled_toml(rng, files[name])
            case "osm":
                files[name] = spoiled_xml(rng, files[name])
            case "geojson":
                with contextlib.suppress(ValueError, RecursionError):  # spoilt before
                    files[name] = spoiled_json(rng, files[name])
            case "jpg":
                files[name] = spoiled_photo(rng, files[name])
            case _:
                files[name] = spoiled_bytes(rng, files[name])
    return files


READERS = {
    "table": Reader(_table, parts, 12),
    "workbook": Reader(_workbook, parts, 6),
    "gpx": Reader(_gpx, parts, 6),
    "geojson": Reader(_layer("geojson"), parts, 8),
    "geopackage": Reader(_layer("gpkg"), parts, 8),
    "shapefile": Reader(_layer("shp"), parts, 6),
    "extract": Reader(_extract, parts, 8),
    "pbf": Reader(_pbf, parts, 8),
    "settings": Reader(_settings, _read_settings, 16),
    "profile": Reader(_profile, _read_profile, 10),
    "photo": Reader(_photo, _read_photo, 12),
    "decisions": Reader(_decisions, _read_decisions, 12),
    "review": Reader(_review, _read_review, 8),
    "texts": Reader(_texts, _read_texts, 6),
    "notes of runs": Reader(_notes_of_runs, _read_notes_of_runs, 6),
    "new": Reader(_new, _read_new, 3),
    "study": Reader(_whole, checked, 1),
    "check": Reader(_whole, commanded, 1),
}
