"""A small good study folder of invented data, and many ways to break it."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

STUDY = """\
[study]
name = "Reed Hollow"
short_name = "reed_hollow"
species = "Terrapene carolina"
common_name = "box turtle"
start = 2023-04-01
end = 2025-10-31
time_zone = "America/New_York"
invented = true

[animals]
file = "animals.csv"

[fixes]
file = "fixes.csv"

[sightings]
file = "sightings.csv"
[sightings.columns]
occurrenceRemarks = "Notes"

[traffic]
file = "traffic.csv"

[roads.osm]
file = "roads.osm"

[roads.agency]
file = "centrelines.geojson"
speed_unit = "mph"
[roads.agency.columns]
route = "RTE"
begin_measure = "FROM_KM"
end_measure = "TO_KM"
speed_limit = "SPEED"
"""

ANIMALS = """\
organismID,sex,lifeStage,mass_g,transmitter_mass_g,tag_channel
007,F,adult,410,15,150.110
008,M,adult,380,14,150.230
"""

FIXES = """\
organismID,eventDate,decimalLatitude,decimalLongitude,coordinateUncertaintyInMeters,method
007,2024-05-01T09:30,38.50120,-76.10010,5,homing
007,2024-05-03,38.50190,-76.10120,5,homing
007,2024-05-05T08:00-04:00,38.49880,-76.10030,5,homing
008,2024-05-01,38.50010,-76.10410,8,homing
008,2024-05-04,38.49910,-76.10460,8,homing
008,2024-05-07,38.50110,-76.10400,8,homing
"""

SIGHTINGS = """\
occurrenceID,eventDate,decimalLatitude,decimalLongitude,coordinateUncertaintyInMeters,vitality,Notes
A1,2024-05-02,38.50020,-76.10100,30,alive,crossing north
A2,2024-06-11,38.50010,-76.10300,50,DOR,"by the gate, shell broken"
A3,2024-06-12,38.49990,-76.10150,25,alive,
A4,2024-07-01,38.50000,-76.10420,25,dead,
A5,2025-05-20,38.50030,-76.10210,40,alive,
A6,2025-06-02,38.50015,-76.10330,40,dead,
"""

TRAFFIC = """\
name,aadt,aadt_year
Reed Hollow Road,2400,2023
"""

OSM = """\
<?xml version="1.0" encoding="UTF-8"?>
<osm version="0.6" generator="by hand">
 <bounds minlat="38.495" minlon="-76.106" maxlat="38.505" maxlon="-76.096"/>
 <node id="1" version="1" lat="38.5000" lon="-76.1060"/>
 <node id="2" version="1" lat="38.5000" lon="-76.1020"/>
 <node id="3" version="1" lat="38.5002" lon="-76.0960"/>
 <node id="4" version="1" lat="38.5050" lon="-76.1020"/>
 <way id="10" version="1"><nd ref="1"/><nd ref="2"/><nd ref="3"/>
  <tag k="highway" v="secondary"/><tag k="name" v="Reed Hollow Road"/></way>
 <way id="11" version="1"><nd ref="2"/><nd ref="4"/>
  <tag k="highway" v="residential"/><tag k="name" v="Sedge Lane"/></way>
</osm>
"""

LINES = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "properties": {"RTE": "R12", "FROM_KM": 3.0, "TO_KM": 3.9, "SPEED": 45},
            "geometry": {
                "type": "LineString",
                "coordinates": [[-76.106, 38.5], [-76.102, 38.5], [-76.096, 38.5002]],
            },
        }
    ],
}


class Case(NamedTuple):
    """One way to break a good folder.

    `file` is the file the error is about, `says` a part of its line; `row` and `column` are
    what the error has to name, None where there is none.
    """

    name: str
    break_folder: Callable[[Path], None]
    file: str
    says: str
    row: int | None = None
    column: str = ""


def good_folder(folder: Path) -> Path:
    """Write a small study that reads without an error, and return its folder."""
    folder.mkdir(parents=True)
    texts = {
        "study.toml": STUDY,
        "animals.csv": ANIMALS,
        "fixes.csv": FIXES,
        "sightings.csv": SIGHTINGS,
        "traffic.csv": TRAFFIC,
        "roads.osm": OSM,
        "centrelines.geojson": json.dumps(LINES),
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder


def change(name: str, old: str, new: str) -> Callable[[Path], None]:
    """Return a function that exchanges a piece of text, which must be there, in a file."""

    def break_it(folder: Path) -> None:
        path = folder / name
        text = path.read_text(encoding="utf-8")
        assert old in text, (name, old)
        path.write_text(text.replace(old, new), encoding="utf-8", newline="\n")

    return break_it


def put(name: str, content: str | bytes) -> Callable[[Path], None]:
    """Return a function that replaces a file's whole content."""

    def break_it(folder: Path) -> None:
        data = content if isinstance(content, bytes) else content.encode()
        (folder / name).write_bytes(data)

    return break_it


def use(section_file: str, name: str, content: str | bytes) -> Callable[[Path], None]:
    """Return a function that names another file for `section_file` and writes it."""

    def break_it(folder: Path) -> None:
        change("study.toml", f'file = "{section_file}"', f'file = "{name}"')(folder)
        put(name, content)(folder)

    return break_it


def remove(name: str) -> Callable[[Path], None]:
    """Return a function that deletes a file."""
    return lambda folder: (folder / name).unlink()


def _without_columns(text: str, *places: int) -> str:
    rows = [line.split(",") for line in text.splitlines()]
    return "\n".join(",".join(v for i, v in enumerate(r) if i not in places) for r in rows) + "\n"


def _no_coordinates(folder: Path) -> None:
    rows = [line.split(",") for line in FIXES.splitlines()]
    blank = [rows[0], *([*r[:2], "", "", *r[4:]] for r in rows[1:])]
    put("fixes.csv", "\n".join(",".join(r) for r in blank))(folder)


def _slashed(folder: Path) -> None:
    change("fixes.csv", "2024-05-03", "03/05/2024")(folder)


def _link_outside(folder: Path) -> None:
    outside = folder.parent / "elsewhere.csv"
    outside.write_text(FIXES, encoding="utf-8")
    (folder / "fixes.csv").unlink()
    (folder / "fixes.csv").symlink_to(outside)


def _shapefile_without_system(folder: Path) -> None:
    import geopandas as gpd

    lines = gpd.GeoDataFrame.from_features(LINES["features"], crs="EPSG:4326")
    lines.to_file(folder / "centrelines.shp", engine="pyogrio")
    (folder / "centrelines.prj").unlink()
    change("study.toml", "centrelines.geojson", "centrelines.shp")(folder)


def _points_as_lines(folder: Path) -> None:
    point = {"type": "Point", "coordinates": [-76.1, 38.5]}
    wrong = {**LINES, "features": [{**LINES["features"][0], "geometry": point}]}  # type: ignore[index, dict-item]
    put("centrelines.geojson", json.dumps(wrong))(folder)


def _truncated_workbook(folder: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    for line in FIXES.splitlines():
        book.active.append(line.split(","))  # type: ignore[union-attr]
    book.save(folder / "fixes.xlsx")
    whole = (folder / "fixes.xlsx").read_bytes()
    use("fixes.csv", "fixes.xlsx", whole[: len(whole) // 2])(folder)


def _two_layers(folder: Path) -> None:
    import geopandas as gpd

    lines = gpd.GeoDataFrame.from_features(LINES["features"], crs="EPSG:4326")
    for layer in ("roads", "rivers"):
        lines.to_file(folder / "centrelines.gpkg", layer=layer, engine="pyogrio")
    change("study.toml", "centrelines.geojson", "centrelines.gpkg")(folder)


def _no_roads(folder: Path) -> None:
    change("roads.osm", 'k="highway" v="secondary"', 'k="highway" v="footway"')(folder)
    change("roads.osm", 'k="highway" v="residential"', 'k="waterway" v="ditch"')(folder)


def _delete_folder(folder: Path) -> None:
    for path in folder.iterdir():
        path.unlink()
    folder.rmdir()


def with_table(name: str, text: str, more: str = "") -> Callable[[Path], None]:
    """Return a function that adds a section with a table of its own."""

    def break_it(folder: Path) -> None:
        section = f'[{name}]\nfile = "{name}.csv"\n{more}\n[animals]'
        change("study.toml", "[animals]", section)(folder)
        put(f"{name}.csv", text)(folder)

    return break_it


def _hotspots(keys: str) -> Callable[[Path], None]:
    return change("study.toml", "[animals]", f"[hotspots]\n{keys}\n\n[animals]")


def _profile(text: str) -> Callable[[Path], None]:
    def break_it(folder: Path) -> None:
        change("study.toml", "invented = true", 'profile = "mine.toml"')(folder)
        put("mine.toml", text)(folder)

    return break_it


def _area(content: str, *more: str) -> Callable[[Path], None]:
    """Name a study area; more lines go into its section of study.toml."""

    def break_it(folder: Path) -> None:
        put("area.geojson", content)(folder)
        section = "\n".join(["[hotspots]", 'study_area = "area.geojson"', *more, ""])
        with (folder / "study.toml").open("a", encoding="utf-8") as file:
            file.write(section)

    return break_it


def _habitat(content: str, *more: str) -> Callable[[Path], None]:
    """Name a layer of habitat; more lines go into its section of study.toml."""

    def break_it(folder: Path) -> None:
        put("land.geojson", content)(folder)
        section = "\n".join(["[habitat]", 'file = "land.geojson"', *more, ""])
        with (folder / "study.toml").open("a", encoding="utf-8") as file:
            file.write(section)

    return break_it


def _cover(*kinds: str, west: float = -76.105) -> str:
    ring = [[west, 38.49], [west + 0.01, 38.49], [west + 0.01, 38.51], [west, 38.49]]
    shape = {"type": "Polygon", "coordinates": [ring]}
    found = [{"type": "Feature", "properties": {"kind": k}, "geometry": shape} for k in kinds]
    return json.dumps({"type": "FeatureCollection", "features": found})


_NEST = "occurrenceID,eventDate,decimalLatitude,decimalLongitude\nN1,2024-06-10,"
_ELSEWHERE = (
    '{"type": "Polygon", "coordinates": [[[10, 50], [11, 50], [11, 51], [10, 51], [10, 50]]]}'
)
_PROFILE = (files("roadrisk.species") / "TEMPLATE.toml").read_text(encoding="utf-8")
_ZONE = 'time_zone = "America/New_York"'

CASES = [
    Case("folder missing", _delete_folder, "", "does not exist"),
    Case("study.toml missing", remove("study.toml"), "study.toml", "no such file"),
    Case(
        "study.toml is no TOML",
        change("study.toml", 'name = "Reed Hollow"', "name = Reed Hollow"),
        "study.toml", "TOML", 2,
    ),
    Case("study.toml is no text", put("study.toml", b"\xff\xfe\0[\0"), "study.toml", "UTF-8", 1),
    Case(
        "unknown key", change("study.toml", "start = 2023", "strat = 2023"),
        "study.toml", "did you mean 'start'", 6, "study.strat",
    ),
    Case(
        "wrong type", change("study.toml", "start = 2023-04-01", 'start = "in spring"'),
        "study.toml", "in spring", 6, "study.start",
    ),
    Case(
        "unknown time zone", change("study.toml", "New_York", "New_Yrok"),
        "study.toml", "America/New_York", 8, "study.time_zone",
    ),
    Case(
        "end before start", change("study.toml", "end = 2025", "end = 2021"),
        "study.toml", "lies before start", 1, "study",
    ),
    Case(
        "unknown working system", change("study.toml", _ZONE, f'{_ZONE}\ncrs = "EPSG:99999999"'),
        "study.toml", "EPSG:99999999", 9, "study.crs",
    ),
    Case(
        "working system in degrees", change("study.toml", _ZONE, f'{_ZONE}\ncrs = "EPSG:4326"'),
        "study.toml", "not a projected system", 9, "study.crs",
    ),
    Case(
        "unknown system of a table",
        change("study.toml", 'file = "fixes.csv"', 'file = "fixes.csv"\ncrs = "the usual one"'),
        "study.toml", "the usual one", 16, "fixes.crs",
    ),
    Case(
        "mapping of an unknown term",
        change("study.toml", "occurrenceRemarks =", "occurenceRemark ="),
        "study.toml", "did you mean 'occurrenceRemarks'", 20, "sightings.columns.occurenceRemark",
    ),
    Case("file missing", remove("fixes.csv"), "study.toml", "there is no file", 15, "fixes.file"),
    Case(
        "path leaves the folder", change("study.toml", '"fixes.csv"', '"../fixes.csv"'),
        "study.toml", "leads out of the study folder", 15, "fixes.file",
    ),
    Case(
        "absolute path", change("study.toml", '"fixes.csv"', '"/etc/hostname"'),
        "study.toml", "leads out of the study folder", 15, "fixes.file",
    ),
    Case(
        "path of another computer",
        change("study.toml", '"fixes.csv"', "'C:\\data\\fixes.csv'"),
        "study.toml", "leads out of the study folder", 15, "fixes.file",
    ),
    Case("link out of the folder", _link_outside, "study.toml", "link", 15, "fixes.file"),
    Case("empty table", put("fixes.csv", b""), "fixes.csv", "is empty"),
    Case("blank table", put("fixes.csv", b"\n\n , \n"), "fixes.csv", "no table"),
    Case("header only", put("fixes.csv", FIXES.splitlines()[0]), "fixes.csv", "no rows"),
    Case(
        "bytes that are no text", put("fixes.csv", bytes(range(256)) * 20),
        "fixes.csv", "no text", 1,
    ),
    Case(
        "NUL bytes", put("sightings.csv", SIGHTINGS.replace("A3", "A\0").encode()),
        "sightings.csv", "NUL bytes", 4,
    ),
    Case("workbook named .csv", put("fixes.csv", b"PK\x03\x04\0\0"), "fixes.csv", "name it .xlsx"),
    Case("unknown encoding",
         change("study.toml", 'file = "fixes.csv"', 'file = "fixes.csv"\nencoding = "utf-9"'),
         "fixes.csv", "utf-9"),
    Case("quote never closed", change("sightings.csv", "40,dead,", '40,dead,"in the ditch'),
         "sightings.csv", "double quote"),
    Case("header names a column twice", change("fixes.csv", "method", "eventDate"),
         "fixes.csv", "more than once", 1),
    Case("truncated workbook", _truncated_workbook, "fixes.xlsx", "can't be opened"),
    Case("wrong extension", use("fixes.csv", "fixes.docx", FIXES), "fixes.docx", "not read"),
    Case(
        "column missing", put("fixes.csv", _without_columns(FIXES, 1)),
        "fixes.csv", "no column eventDate", None, "eventDate",
    ),
    Case(
        "coordinate columns missing", put("sightings.csv", _without_columns(SIGHTINGS, 2, 3)),
        "sightings.csv", "no columns of coordinates",
    ),
    Case(
        "mapped column absent", change("study.toml", '"Notes"', '"Note"'),
        "sightings.csv", "did you mean 'Notes'", None, "Note",
    ),
    Case("all coordinates missing", _no_coordinates, "fixes.csv", "no coordinates", 2,
         "decimalLatitude"),
    Case("all coordinates impossible", change("fixes.csv", ",-76.", ",-476."),
         "fixes.csv", "no place on Earth", 2, "decimalLatitude"),
    Case("slashed dates without an order", _slashed, "fixes.csv", "date_order", 3, "eventDate"),
    Case("every date outside the period", change("study.toml", "2023-04-01", "2025-10-01"),
         "fixes.csv", "outside the study period", 2, "eventDate"),
    Case("columns in metres without their system",
         put("fixes.csv", FIXES.replace("decimalLatitude", "y").replace("decimalLongitude", "x")),
         "fixes.csv", "no columns of coordinates"),
    Case("GPX that is no XML", use("fixes.csv", "fixes.gpx", "a,b,c\n1,2,3\n"),
         "fixes.gpx", "no GPX file"),
    Case("GPX with a document type", use(
        "fixes.csv", "fixes.gpx", '<!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/hostname">]><gpx/>'),
        "fixes.gpx", "document type"),
    Case("truncated GeoJSON", put("centrelines.geojson", json.dumps(LINES)[:150]),
         "centrelines.geojson", "can't be read"),
    Case("something else named .geojson", put(
        "centrelines.geojson",
        '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>/etc</SrcDataSource>'
        "</OGRVRTLayer></OGRVRTDataSource>"),
        "centrelines.geojson", "wrong name"),
    Case("points as roads", _points_as_lines, "centrelines.geojson", "Point where lines", 2),
    Case("lines as the study area", _area(json.dumps(LINES)), "area.geojson",
         "where polygons are needed", 2),
    Case("study area elsewhere", _area(_ELSEWHERE), "area.geojson", "none of the roads"),
    Case("study area for a kernel that can't be corrected",
         _area(_ELSEWHERE, 'kernel = "simple"', "edge_correction = true"),
         "study.toml", "not for 'simple'", 39, "hotspots.edge_correction"),
    Case("habitat that is not there", change("study.toml", "[animals]",
         '[habitat]\nfile = "land.gpkg"\n\n[animals]'), "study.toml",
         "there is no file 'land.gpkg'", 12, "habitat.file"),
    Case("habitat without its column", _habitat(_cover("fen"), 'column = "cover"'),
         "land.geojson", "no column 'cover'", None, "cover"),
    Case("habitat without kinds", _habitat(_cover("", " ")), "land.geojson",
         "0 kinds of habitat", None, "kind"),
    Case("habitat of as many kinds as polygons",
         _habitat(_cover(*(f"plot {k}" for k in range(30)))), "land.geojson",
         "30 kinds of habitat", None, "kind"),
    Case("lines as habitat", _habitat(json.dumps(LINES)), "land.geojson",
         "where polygons are needed", 2),
    Case("habitat elsewhere", _habitat(_cover("fen", west=13.0)), "land.geojson",
         "none of the roads lies in or near this habitat"),
    Case("habitat looked for beyond the horizon", _habitat(_cover("fen"), "within_m = 90000"),
         "study.toml", "less than or equal to 5000", 38, "habitat.within_m"),
    Case("nests without dates",
         with_table("nests", "decimalLatitude,decimalLongitude\n38.5,-76.1\n"),
         "nests.csv", "there is no column eventDate", None, "eventDate"),
    Case("nests without places", with_table("nests", "occurrenceID,eventDate\nN1,2024-06-10\n"),
         "nests.csv", "no columns of coordinates"),
    Case("nests nowhere on Earth", with_table("nests", _NEST + "138.5,-76.1\n"),
         "nests.csv", "no place on Earth", 2, "decimalLatitude"),
    Case("a mapping that nests don't have",
         with_table("nests", _NEST + '38.5,-76.1\n', '[nests.columns]\nvitality = "x"\n'),
         "study.toml", "no term of this table", 14, "nests.columns.vitality"),
    Case("agency layer without a system", _shapefile_without_system, "centrelines.shp",
         "coordinate system"),
    Case("layer not named", _two_layers, "centrelines.gpkg", "2 layers"),
    Case("agency layer of a wrong kind", use("centrelines.geojson", "lines.kml", "<kml/>"),
         "lines.kml", "not read"),
    Case("no roads in the extract", _no_roads, "roads.osm", "no roads"),
    Case("extract that is no XML", put("roads.osm", "roads\n"), "roads.osm", "can't be read"),
    Case("truncated extract", put("roads.osm", OSM[:500]), "roads.osm", "can't be read"),
    Case("extract with a place that is no number",
         change("roads.osm", 'lat="38.5002"', 'lat="38.5rs2"'), "roads.osm", "can't be read"),
    Case("extract with an empty id", change("roads.osm", 'node id="4"', 'node id=""'),
         "roads.osm", "can't be read"),
    Case("garbage named .osm.pbf", use("roads.osm", "roads.osm.pbf", b"\0\1\2\3" * 50),
         "roads.osm.pbf", "can't be read"),
    Case("a survey without an ID",
         with_table("surveys", "eventID,eventDate,samplingProtocol,route\n,2024-05-02,walk,R12\n"),
         "surveys.csv", "the survey has no ID", 2, "eventID"),
    Case("a survey with a date that is none",
         with_table("surveys", "eventID,eventDate,samplingProtocol,route\nS1,May,walk,R12\n"),
         "surveys.csv", "can't be read as a date", 2, "eventDate"),
    Case("surveys without their dates",
         with_table("surveys", "eventID,samplingProtocol,route\nS1,walk,R12\n"),
         "surveys.csv", "there is no column eventDate", None, "eventDate"),
    Case("one survey on two days",
         with_table("surveys", "eventID,eventDate,samplingProtocol,route\nS1,2024-05-02,walk,R12\n"
                    "S1,2024-05-03,walk,R13\n"),
         "surveys.csv", "another day or protocol", 3, "eventID"),
    Case("a trial of no kind",
         with_table("trials", "trial,samplingProtocol,found\nguess,walk,1\n"),
         "trials.csv", "'guess' is no kind of trial", 2, "trial"),
    Case("a trial that found more than there was",
         with_table("trials", "trial,samplingProtocol,carcasses,found\ndetection,walk,3,4\n"),
         "trials.csv", "more were found than lay there", 2, "found"),
    Case("a trial that was gone before it was seen",
         with_table("trials", "trial,last_seen_days,first_gone_days\npersistence,4,2\n"),
         "trials.csv", "gone before it was seen", 2, "first_gone"),
    Case("a structure whose height is no number",
         with_table("structures", "type,rise_m,route,route_measure\nculvert,low,R12,3.4\n"),
         "structures.csv", "'low' is no number above 0", 2, "rise_m"),
    Case("a structure at no place on Earth",
         with_table("structures", "type,decimalLatitude,decimalLongitude\nculvert,138.5,-76.1\n"),
         "structures.csv", "no place on Earth", 2, "decimalLatitude"),
    Case("structures that don't say what they are",
         with_table("structures", "rise_m,route,route_measure\n1,R12,3.4\n"),
         "structures.csv", "no column type", None, "type"),
    Case("structures without places", with_table("structures", "type,route,route_measure\nbox,,\n"),
         "structures.csv", "none of the 1 rows has a place"),
    Case("a fence on no road", with_table("fences", "id,route\nF1,\n"),
         "fences.csv", "doesn't say which road", 2),
    Case("a fence along a line that is none",
         with_table("fences", 'footprintWKT\n"LINESTRING (nan nan, 1 1"\n'),
         "fences.csv", "the line can't be read", 2, "footprintWKT"),
    Case("works in a year that is none",
         with_table("works", "kind,year,route\npaving,soon,R12\n"),
         "works.csv", "can't be read as a year", 2, "year"),
    Case("works without a year", with_table("works", "kind,route\npaving,R12\n"),
         "works.csv", "no column year", None, "year"),
    Case("a crash on a date in no order",
         with_table("crashes", "eventDate,route,route_measure\n03/04/2024,R12,3.4\n"),
         "crashes.csv", "doesn't tell day from month", 2, "eventDate"),
    Case("an empty table of driveways", with_table("openings", ""),
         "openings.csv", "the file is empty"),
    Case("parcels in a table", with_table("parcels", "kind\nprivate\n"),
         "parcels.csv", "files of type .csv are not read as parcels"),
    Case("a price below 0",
         with_table("prices", "item,unit,low,likely,high,price_year,source,confirmed\n"
                    "fence,m,-8,10,12,2025,offer,yes\n"),
         "prices.csv", "a price of -8 is below 0", 2, "low"),
    Case("a price of something that is no pay item",
         with_table("prices", "item,unit,likely,price_year,source\nfences,m,10,2025,offer\n"),
         "prices.csv", "did you mean 'fence'", 2, "item"),
    Case("a budget of nothing",
         change("study.toml", "[animals]", "[mitigation]\nbudget = 0\n\n[animals]"),
         "study.toml", "nothing can be chosen with that", 12, "mitigation.budget"),
    Case("an effect above 1",
         change("study.toml", "[animals]", "[mitigation.effect.patrol]\nlow = 0\nlikely = 0.5\n"
                'high = 1.5\nsource = "a guess"\n\n[animals]'),
         "study.toml", "would avert more deaths than there are", 11,
         "mitigation.effect.patrol"),
    Case("effort that is no number",
         with_table("effort", "route,samplingEffort\nR12,3\nR12,daily\n"),
         "effort.csv", "'daily' is no amount of effort", 3, "samplingEffort"),
    Case("effort in a unit that nobody knows",
         with_table("effort", "route,sampleSizeValue,sampleSizeUnit\nR12,3,furlongs\n"),
         "effort.csv", "'furlongs' is no unit of effort", 2, "sampleSizeUnit"),
    Case("effort in hours and in passes",
         with_table("effort", "route,samplingEffort\nR12,3 h\nR12,2 passes\n"),
         "effort.csv", "can't be added up", 2, "samplingEffort"),
    Case("effort on no road that is named",
         with_table("effort", "route,eventDate\nR12,2024-05-02\n,2024-05-03\n"),
         "effort.csv", "doesn't say which road", 3),
    Case("effort with a date that is none",
         with_table("effort", "route,eventDate\nR12,2024-02-31\n"),
         "effort.csv", "can't be read as a date", 2, "eventDate"),
    Case("effort along a line that is none",
         with_table("effort", 'footprintWKT\n"LINESTRING (-76.1)"\n'),
         "effort.csv", "the line can't be read", 2, "footprintWKT"),
    Case("effort from here to nowhere",
         with_table("effort", "beginLatitude,beginLongitude,endLatitude,endLongitude\n"
                              "38.5,-76.1,138.5,-76.1\n"),
         "effort.csv", "no place on Earth", 2, "beginLongitude"),
    Case("background without dates",
         with_table("background", "decimalLatitude,decimalLongitude\n38.5,-76.1\n"),
         "background.csv", "no column eventDate", None, "eventDate"),
    Case("null model by effort that is not there", _hotspots('null = "effort"'),
         "study.toml", "needs a table of survey effort"),
    Case("seasons that overlap", _hotspots("seasons = [[4, 5], [5, 6]]"),
         "study.toml", "month 5 stands there twice", 12, "hotspots.seasons"),
    Case("traffic names no road", put("traffic.csv", "aadt\n2400\n"), "traffic.csv", "which road"),
    Case(
        "profile not there",
        change("study.toml", "invented = true", 'profile = "mine.toml"'),
        "study.toml", "there is no file 'mine.toml'", 9, "study.profile",
    ),
    Case(
        "no such profile",
        change("study.toml", "invented = true", 'profile = "box turtle"'),
        "study.toml", "there is no profile 'box turtle'", 9, "study.profile",
    ),
    Case("profile is no TOML", _profile("[body\n"), "mine.toml", "TOML", 1),
    Case(
        "profile without a source",
        _profile(_PROFILE.replace('source = "from memory"\n', "", 1)),
        "mine.toml", "a value without a source", 26, "road.walking_speed_m_min.source",
    ),
    Case(
        "population without its interval",
        change("study.toml", "[animals]", "[population]\nadults = 80\n\n[animals]"),
        "study.toml", "write all of adults", 11, "population",
    ),
    Case(
        "half a place of capture",
        put("animals.csv", "organismID,decimalLatitude\n007,38.5\n008,38.5\n"),
        "animals.csv", "only one coordinate", None, "decimalLatitude",
    ),
]  # fmt: skip
