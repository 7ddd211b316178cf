"""The demo study is what its README says, and its truth holds when checked by other code."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from collections import Counter
from itertools import combinations

import geopandas as gpd
import networkx as nx
import numpy as np
import osmnx as ox
import pandas as pd
import pytest
import shapely

from roadrisk.settings import settings_from
from roadrisk.species import profile_from
from tests.truth import demo_checks as checks

REPEATER = "observer-041"
UNPLACEABLE = (
    "zero coordinates", "swapped coordinates", "40 km off", "wrong year 2015", "wrong year 2205",
    "another species", "truncated coordinate", "default position",
)  # fmt: skip


@pytest.fixture(scope="module")
def roads():
    return checks.ways()


@pytest.fixture(scope="module")
def stretches():
    return checks.stretches()


@pytest.fixture(scope="module")
def step_crossings(roads):
    return checks.crossings_by_steps(roads)


@pytest.fixture(scope="module")
def facts():
    """README's table rows: words to number."""
    text = (checks.DEMO / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (.+?) \| ([\d.]+) \|$", text, flags=re.MULTILINE)
    return {words: float(number) for words, number in rows}


def test_script_writes_the_committed_bytes(tmp_path):
    script = checks.DEMO / "make_demo.py"
    subprocess.run([sys.executable, "-B", str(script), str(tmp_path)], check=True)
    written = {p.relative_to(tmp_path): p for p in tmp_path.rglob("*") if p.is_file()}
    assert len(written) == 26
    for name, path in written.items():
        assert path.read_bytes() == (checks.DEMO / name).read_bytes(), name
    assert sum(p.stat().st_size for p in written.values()) < 3_000_000


def test_settings_are_valid_and_say_that_it_is_invented():
    data = tomllib.loads((checks.DEMO / "study.toml").read_text(encoding="utf-8"))
    settings = settings_from(data)
    assert settings.study.invented
    assert settings.study.short_name == "demo"
    assert "invented" in settings.study.name
    for name in ("roads.osm", "README.md", "truth/true_stretches.geojson"):
        assert "invented" in (checks.DEMO / name).read_text(encoding="utf-8")
    named = [settings.fixes, settings.animals, settings.sightings, settings.traffic]
    files = [settings.study.profile, *(f for section in named for f in section.file)]
    assert settings.population.abundance == (140, 95, 210)
    assert all((checks.DEMO / f).is_file() for f in files)


def test_roads_as_osmnx_counts_them(facts, roads):
    """Outside check: osmnx (simplify_graph, undirected) counts segments and kilometres."""
    graph = ox.graph_from_xml(checks.DEMO / "roads.osm", simplify=False, retain_all=True)
    kinds = nx.get_edge_attributes(graph, "highway")
    all_edges = list(graph.edges(keys=True))
    graph.remove_edges_from([e for e in all_edges if kinds.get(e, "track") in checks.NO_ROAD])
    graph.remove_nodes_from(list(nx.isolates(graph)))
    simple = ox.convert.to_undirected(ox.simplify_graph(graph))
    km = sum(length for *_, length in simple.edges(data="length")) / 1000
    assert 80 <= simple.number_of_edges() <= 150
    assert simple.number_of_edges() == facts["road segments between junctions"]
    assert round(km, 1) == facts["kilometres of road, both carriageways counted"]
    assert 40 <= km <= 60
    assert nx.number_connected_components(simple) == 1
    # UTM's scale at 1.6 degrees from its middle is within 0.05 %.
    assert roads.length.sum() / 1000 == pytest.approx(km, rel=2e-3)


def test_roads_on_the_ground_meet_only_at_shared_nodes(roads):
    """Only the lane under the bridge and the tunnel pass without a junction."""
    unshared = set()
    for a, b in combinations(range(len(roads)), 2):
        one, other = roads.geometry.iloc[a], roads.geometry.iloc[b]
        met = shapely.intersection(one, other)
        if met.is_empty:
            continue
        nodes = shapely.MultiPoint(sorted(set(one.coords) & set(other.coords)))
        if not nodes.covers(met):
            unshared.add(frozenset((roads["road"].iloc[a], roads["road"].iloc[b])))
            assert roads["off_ground"].iloc[[a, b]].any()
    assert unshared == {
        frozenset(("Vellmark Road", "Eelbank Lane")),
        frozenset(("Torvane Way", "Hollow Lane")),
    }


def test_dual_carriageway_is_two_bands_twenty_metres_apart():
    text = (checks.DEMO / "roads.osm").read_text(encoding="utf-8")
    assert text.count('<tag k="junction" v="roundabout"/>') == 1
    agency = gpd.read_file(checks.DEMO / "agency_roads.geojson").to_crs(checks.UTM)
    out, back = (
        shapely.line_merge(shapely.union_all(agency[agency["DIR"] == d].geometry)) for d in "+-"
    )
    middle = shapely.line_interpolate_point(out, np.linspace(0.1, 0.9, 50), normalized=True)
    assert out.length > 1000
    # 20 m, less or more the agency's drift of up to 4 m on each side.
    assert shapely.distance(middle, back).min() > 11
    assert shapely.distance(middle, back).max() < 29


def test_levels_and_classes_in_readme(facts):
    text = (checks.DEMO / "roads.osm").read_text(encoding="utf-8")
    ways = re.findall(r"<way .*?</way>", text, flags=re.DOTALL)
    bridges = [w for w in ways if 'k="bridge" v="yes"' in w and 'k="layer" v="1"' in w]
    tunnels = [w for w in ways if 'k="tunnel" v="yes"' in w and 'k="layer" v="-1"' in w]
    left_out = [w for w in ways if re.search('k="highway" v="(track|footway)"', w)]
    assert len(bridges) == facts["bridges"]
    assert len(tunnels) == facts["tunnels"]
    assert len(left_out) == facts["ways left out as no road (tracks, a footpath)"]


def test_agency_layer_and_traffic_in_readme(facts, roads):
    agency = gpd.read_file(checks.DEMO / "agency_roads.geojson").to_crs(checks.UTM)
    all_roads = shapely.union_all(roads.geometry.to_numpy())
    middles = agency.geometry.interpolate(0.5, normalized=True)
    away = middles.distance(all_roads)
    absent = away > 50
    # Elsewhere the agency's line lies a few metres off, and within the study's 20 m.
    assert away[~absent].between(0.5, 10).all()
    differs = ~absent & ~agency["RTE_NM"].isin(roads["road"])
    traffic = checks.read("traffic.csv")
    known = set(roads["road"]) | {"Q 7", "Q 9"}
    lost = ~traffic["name"].where(traffic["name"] != "", traffic["ref"]).isin(known)
    assert (agency["BEG_KM"] < agency["END_KM"]).all()
    assert len(agency) == facts["agency lines"]
    assert absent.sum() == facts["agency lines without a road"]
    assert differs.sum() == facts["agency lines whose name differs from the map's"]
    assert len(traffic) == facts["traffic rows"]
    assert lost.sum() == facts["traffic rows without a road"]


def test_animals_and_fixes_in_readme(facts):
    animals, fixes = checks.read("animals.csv"), checks.read("fixes.csv")
    share = animals["transmitter_mass_g"].astype(float) / animals["mass_g"].astype(float)
    shared = animals["tag_channel"].duplicated(keep=False)
    assert len(animals) == facts["tagged animals"]
    assert (share > 0.05).sum() == facts["animals with a transmitter above 5 % of body mass"]
    assert shared.sum() == facts["animals on one channel"]
    assert list(animals["organismID"][share > 0.05]) == ["T04"]
    assert list(animals["organismID"][shared]) == ["T16", "T17"]
    assert len(fixes) == facts["fixes"]
    assert (fixes["eventDate"].str.len() == 10).sum() == facts["fixes with a date only"]
    assert set(fixes["organismID"]) == set(animals["organismID"])
    assert fixes["coordinateUncertaintyInMeters"].astype(int).between(5, 15).all()
    assert set(fixes["method"]) == {"homed in", "triangulated"}
    day = pd.to_datetime(fixes["eventDate"].str[:10])
    assert day.dt.year.nunique() == 3
    assert day.dt.month.between(4, 10).all()
    alone = day[~checks.on_burst_days(fixes)]
    within_season = alone.groupby(fixes["organismID"]).apply(
        lambda d: d.sort_values().diff().dt.days
    )
    gaps = within_season[within_season < 120]
    assert gaps.between(2, 4).mean() > 0.95
    assert (gaps > 7).any()
    # The two on one channel are tracked in the same season.
    seasons = [set(day[fixes["organismID"] == a].dt.year) for a in animals["organismID"][shared]]
    assert seasons[0] & seasons[1]


def test_days_of_hourly_fixes(facts):
    fixes = checks.read("fixes.csv")
    close = fixes[checks.on_burst_days(fixes)]
    days = close.groupby(["organismID", close["eventDate"].str[:10]])
    assert len(close) == facts["of these on days of hourly fixes"]
    assert len(days) == facts["days of hourly fixes, over all animals"]
    assert close["organismID"].nunique() == facts["animals with days of hourly fixes"]
    assert days.size().between(6, 7).all()
    time = pd.to_datetime(close["eventDate"])
    lag = time.groupby([close["organismID"], time.dt.date]).diff().dropna() / pd.Timedelta(hours=1)
    # One hour apart but for the midday rest of the summer.
    assert set(lag) == {1.0, 5.0}
    # About four weeks apart, a few days later where a fix was made on that day anyway.
    for _, own in time.groupby(close["organismID"]):
        apart = own.dt.normalize().drop_duplicates().diff().dt.days.dropna()
        assert apart[apart < 100].between(21, 36).all()
        assert apart[apart < 100].mean() == pytest.approx(28, abs=2)


def test_places_of_capture(facts, roads):
    animals = checks.read("animals.csv")
    unknown = animals["decimalLatitude"] == ""
    assert (unknown == (animals["decimalLongitude"] == "")).all()
    assert unknown.sum() == facts["animals of which it is not known where they were caught"]
    known = animals[~unknown]
    at = checks.points(known, "decimalLongitude", "decimalLatitude")
    away = at.distance(shapely.union_all(roads.geometry.to_numpy()))
    assert (away <= 15).sum() == facts["animals caught within 15 m of a road"]
    assert away[away > 15].min() > 19
    # At or in the home range: a few standard deviations from the middle of the fixes.
    fixes = checks.read("fixes.csv")
    found = checks.points(fixes, "decimalLongitude", "decimalLatitude")
    for i, number in known["organismID"].items():
        own = found[fixes["organismID"] == number]
        middle = shapely.Point(own.x.mean(), own.y.mean())
        assert at[i].distance(middle) < 4 * np.sqrt((own.x.var() + own.y.var()) / 2)


def test_profile_is_what_the_animals_do():
    """Spread, hours and months of the fixes lie in the invented profile's ranges."""
    data = tomllib.loads((checks.DEMO / "profile.toml").read_text(encoding="utf-8"))
    profile = profile_from(data, "profile.toml")
    assert all("invented" in s for _, value in profile.values() for s in value.source)
    fixes = checks.read("fixes.csv")
    at = checks.points(fixes, "decimalLongitude", "decimalLatitude")
    spread = [
        np.sqrt((own.x.var() + own.y.var()) / 2) for _, own in at.groupby(fixes["organismID"])
    ]
    sd = profile.movement.home_sd_m
    assert sd.low * 0.8 < min(spread)
    assert max(spread) < sd.high * 1.2
    assert np.median(spread) == pytest.approx(sd.likely, rel=0.1)
    time = pd.to_datetime(fixes["eventDate"][checks.on_burst_days(fixes)])
    shares = [profile.active.hour_shares(t.month)[t.hour] for t in time]
    assert min(shares) > 0
    assert profile.months("wide") == (4, 5, 6, 7, 8, 9, 10)
    # Four values of which any three give the fourth: velocity's variance and mean speed.
    move = profile.movement
    hours = move.tau_velocity_minutes.likely / 60 * move.tau_home_hours.likely
    speed = np.sqrt(np.pi / 2) * sd.likely / np.sqrt(hours) / 60
    assert speed == pytest.approx(move.path_speed_m_min.likely, rel=0.01)


def test_home_ranges_are_100_to_250_m_across():
    fixes = checks.read("fixes.csv")
    at = checks.points(fixes, "decimalLongitude", "decimalLatitude")
    for _, own in at.groupby(fixes["organismID"]):
        if len(own) < 50:  # T09 was killed in its first summer
            continue
        # A circle that holds 95 % of a round normal cloud has a radius of 2.4477 sd.
        across = 2 * 2.4477 * np.sqrt((own.x.var() + own.y.var()) / 2)
        assert 100 < across < 250


def test_true_crossings_lie_on_roads_on_the_ground(facts, roads):
    table = checks.read("truth/true_crossings.csv")
    places = checks.points(table, "lon", "lat")
    ground = roads[~roads["off_ground"]]
    for name, own in places.groupby(table["road"]):
        line = shapely.union_all(ground.geometry[ground["road"] == name].to_numpy())
        # Degrees are written to 6 decimals, about 0.1 m.
        assert own.distance(line).max() < 0.2
    assert len(table) == facts["true crossings"]
    off = checks.read("truth/passes_off_ground.csv")
    raised = shapely.union_all(roads.geometry[roads["off_ground"]].to_numpy())
    assert checks.points(off, "lon", "lat").distance(raised).max() < 0.2
    assert len(off) == facts["passes off the ground"]
    assert set(off["animal"]) == {"T14"}
    never = {"T14", "T15", "T17", "T18"}
    assert set(checks.read("animals.csv")["organismID"]) - set(table["animal"]) == never
    assert set(table["road"][table["animal"] == "T16"]) == {"Mirefield Lane"}


def test_full_crossings_are_some_of_the_crossings(facts):
    """Each follows a meeting with the same road's middle line, and lies where that was."""
    full, every = (
        checks.read(f"truth/true_{name}.csv").assign(
            time=lambda t: pd.to_datetime(t["time"]).dt.tz_convert("UTC")
        )
        for name in ("full_crossings", "crossings")
    )
    day = full["time"].dt.tz_convert("Europe/Warsaw").dt.date
    assert len(full) == facts["true crossings from edge to edge"]
    days = full.assign(day=day)[["animal", "day"]].drop_duplicates()
    assert len(days) == facts["days with a crossing from edge to edge, over all animals"]
    assert set(full["animal"]) == set(every["animal"])
    met = pd.merge_asof(
        full.sort_values("time"), every.sort_values("time"), on="time", by=["animal", "line"]
    )
    a, b = (checks.points(met, f"lon_{s}", f"lat_{s}") for s in "xy")
    assert a.distance(b).max() < 0.2
    # Between two full crossings of a road in one season its middle line is met an odd number
    # of times: they lead to opposite sides.
    for (animal, line, _), own in full.groupby(["animal", "line", full["time"].dt.year]):
        one = every[(every["animal"] == animal) & (every["line"] == line)]
        before = [(one["time"] <= t).sum() for t in own["time"]]
        assert (np.diff(before) % 2 == 1).all()


def test_stretches_and_their_numbers(facts, roads, stretches, step_crossings):
    """The truth file's numbers, counted again from fixes, reports and crossings."""
    walked = checks.read("truth/true_crossings.csv")
    walked_at = checks.points(walked, "lon", "lat")
    reports = checks.distinct_reports()
    crossers = []
    for s in stretches.itertuples():
        assert s.geometry.length == pytest.approx(s.length_m, rel=2e-3)
        assert 200 <= s.length_m <= 350
        own = roads[roads["road"] == s.road].geometry.to_numpy()
        assert (
            shapely.hausdorff_distance(
                s.geometry, shapely.intersection(shapely.union_all(own), s.geometry.buffer(1))
            )
            < 2
        )
        beside = s.geometry.buffer(1, cap_style="flat")
        here = walked_at.intersects(beside) & (walked["road"] == s.road)
        found = checks.inside(step_crossings.geometry, s.geometry, 1)
        on_it = reports[reports["stretch"] == s.name]
        assert here.sum() == s.true_crossings
        assert walked["animal"][here].nunique() == s.animals
        assert len(found) == s.expected_crossings
        assert len(on_it) == s.expected_reports
        public = on_it["recordedBy"][on_it["eventID"] == ""]
        assert public[public != ""].nunique() == s.observers >= 20
        assert public.value_counts().drop("").max() <= 6
        by_animal = step_crossings["animal"][step_crossings.intersects(beside)].value_counts()
        assert (by_animal >= 4).sum() == s.animals
        crossers += list(by_animal.index)
    assert len(stretches) == facts["true stretches"]
    assert stretches["road"].nunique() == 3
    assert stretches["animals"].min() == facts["fewest animals that cross at a true stretch"] >= 4
    assert len(crossers) == len(set(crossers)) == facts["animals with a home across a true stretch"]


def test_reports_in_readme(facts):
    reports = checks.read("sightings.csv")
    truth = checks.read("truth/true_reports.csv")
    distinct = checks.distinct_reports()
    who = reports["recordedBy"]
    assert len(reports) == len(truth) == facts["reports"]
    assert who[who != ""].nunique() == facts["named observers"]
    assert (who == "").sum() == facts["anonymous reports"]
    assert round((truth["stretch"] != "").mean() * 100) == facts["reports on true stretches, %"]
    joined = facts["reports by observer-041 from one place, duplicates joined"]
    gate = distinct[distinct["recordedBy"] == REPEATER]
    assert len(gate) == joined
    at = checks.points(gate, "true_lon", "true_lat")
    assert shapely.minimum_bounding_radius(shapely.MultiPoint(at.to_list())) < 20
    assert set(reports["vitality"]) == {"alive", "dead", "uncertain"}


def test_reports_lie_where_their_uncertainty_says(roads):
    """Clean reports: 95 % within the stated radius (binomial, 3 standard errors), on a road."""
    clean = checks.distinct_reports().query("done == 'clean'")
    true_at = checks.points(clean, "true_lon", "true_lat")
    error = true_at.distance(checks.points(clean, "decimalLongitude", "decimalLatitude"))
    held = (error <= clean["coordinateUncertaintyInMeters"].astype(float)).mean()
    assert abs(held - 0.95) < 3 * np.sqrt(0.95 * 0.05 / len(clean))
    # Within 4 m of the middle of the road.
    assert true_at.distance(shapely.union_all(roads.geometry.to_numpy())).max() < 4.2


def test_promised_dirt_is_there(facts):
    both = checks.read("sightings.csv").merge(
        checks.read("truth/true_reports.csv"), on="occurrenceID"
    )
    done = Counter(both["done"])
    kinds = set(done) - {"clean"}
    assert kinds == {k for k in facts if k in done}
    assert len(kinds) == 28
    for kind in kinds:
        assert done[kind] == facts[kind], kind
    lat, lon = both["decimalLatitude"].astype(float), both["decimalLongitude"].astype(float)
    year, remark = both["eventDate"].str[:4], both["occurrenceRemarks"]
    coarse = both["decimalLatitude"].str.fullmatch(r"\d+\.\d\d")
    seen = {
        "wrong year 2015": year == "2015",
        "wrong year 2205": year == "2205",
        "swapped coordinates": lat.between(19, 20) & lon.between(52, 53),
        "40 km off": (lat - 52.2).abs().between(0.2, 1),
        "zero coordinates": (lat == 0) & (lon == 0),
        "coordinates to 2 decimals": coarse,
        "uncertainty missing": both["coordinateUncertaintyInMeters"] == "",
        "script in remark": remark.str.contains("<script>", regex=False),
        "formula in remark": remark == "=1+1",
        "phone number in remark": remark.str.contains("555-01", regex=False),
        "another species": both["scientificName"] != "Testudo ficta",
        "tag read": (both["organismID"] == "T07") & (both["eventID"] == ""),
        "tag misread": both["organismID"] == "TO2",
        "tag in remark": remark.str.contains("tag 11"),
        "tag of no animal": both["organismID"] == "T42",
        "tag of an animal elsewhere": both["organismID"] == "T05",
        "alive, found dead later": both["organismID"] == "T08",
        "found dead, seen alive before": both["organismID"] == "t 08",
        "truncated coordinate": lat.between(2, 3),
        "default position": both["decimalLatitude"].eq("52.19730")
        & both["decimalLongitude"].duplicated(keep=False),
        "sex and features disagree": both["iris_colour"].eq("amber") & both["sex"].eq("female"),
        "e-mail in remark": remark.str.contains("@example.org", regex=False),
        "carcass of a survey": both["carcass_action"].isin(["marked", "removed"]),
        "carcass met again by a survey": both["carcass_action"] == "already marked",
    }
    for kind, there in seen.items():
        assert (there == (both["done"] == kind)).all(), kind
    assert both["eventDate"].str.match(r"^\d{4}-\d\d-\d\d(T\d\d:\d\d\+02:00)?$").all()


def test_copies_are_copies():
    both = checks.read("sightings.csv").merge(
        checks.read("truth/true_reports.csv"), on="occurrenceID"
    )
    by_id = both.set_index("occurrenceID")
    for copy in both[both["done"] == "exact duplicate"].itertuples():
        first = by_id.loc[copy.copy_of]
        assert copy.recordedBy == first["recordedBy"] != ""
        assert copy.eventDate[:10] == first["eventDate"][:10]
        assert copy.decimalLatitude == first["decimalLatitude"]
        assert copy.decimalLongitude == first["decimalLongitude"]
        assert copy.vitality == first["vitality"]
    at = checks.points(by_id, "decimalLongitude", "decimalLatitude")
    for copy in both[both["done"] == "near duplicate"].itertuples():
        first = by_id.loc[copy.copy_of]
        assert copy.recordedBy not in ("", first["recordedBy"])
        assert copy.eventDate[:10] == first["eventDate"][:10]
        assert 0 < at[copy.occurrenceID].distance(at[copy.copy_of]) < 150


def test_reports_of_one_carcass_and_of_tagged_animals():
    """One carcass: one true place, within two days; a tag right while its animal was near."""
    both = checks.read("sightings.csv").merge(
        checks.read("truth/true_reports.csv"), on="occurrenceID"
    )
    for kind, days in (("one carcass, three people", 2), ("one carcass, another report", 12),
                       ("carcass met again by a survey", 200)):  # fmt: skip
        copies = both[(both["done"] == kind) & (both["copy_of"] != "")]
        assert len(copies)
        for copy in copies.itertuples():
            first = both.set_index("occurrenceID").loc[copy.copy_of]
            assert copy.death == first["death"] != ""
            assert (copy.true_lon, copy.true_lat) == (first["true_lon"], first["true_lat"])
            # Some are dated to the day.
            apart = pd.Timestamp(copy.eventDate[:10]) - pd.Timestamp(first["eventDate"][:10])
            assert pd.Timedelta(0) <= apart <= pd.Timedelta(days=days)
    fixes = checks.read("fixes.csv")
    fixes["time"] = pd.to_datetime(fixes["eventDate"], utc=True, format="ISO8601")
    at = checks.points(both, "true_lon", "true_lat")
    for kind, animal, near in (("tag read", "T07", True), ("tag misread", "T02", True),
                               ("tag in remark", "T11", True),
                               ("tag of an animal elsewhere", "T05", False)):  # fmt: skip
        row = both.index[both["done"] == kind][0]
        own = fixes[fixes["organismID"] == animal].sort_values("time")
        gap = (own["time"] - pd.Timestamp(both["eventDate"][row])).dt.total_seconds() / 86_400
        # Tracked: a fix within 7 days before and after.
        assert gap.between(-7, 0).any()
        assert gap.between(0, 7).any()
        place = checks.points(own[gap.abs() <= 7], "decimalLongitude", "decimalLatitude")
        assert bool(place.distance(at[row]).max() < 150) is near
        assert bool(place.distance(at[row]).min() > 500) is not near


def test_true_stretches_stand_out_in_the_truth(roads, stretches):
    """Known truth: per km each holds 4 times what any other 100 m of road holds."""
    walked = checks.points(checks.read("truth/true_crossings.csv"), "lon", "lat")
    reports = checks.distinct_reports()
    reports = reports[reports["recordedBy"] != REPEATER]
    events = pd.concat([walked, checks.points(reports, "true_lon", "true_lat")])
    elsewhere = checks.densest_elsewhere(events, roads, near_m=10)
    assert elsewhere > 5  # T16 alone crosses that often in 100 m
    for line, length in zip(stretches.geometry, stretches["length_m"], strict=True):
        per_100_m = len(checks.inside(events, line, 10)) / length * 100
        assert per_100_m >= 4 * elsewhere


def test_true_stretches_stand_out_in_what_is_recorded(roads, stretches, step_crossings):
    """The same from fixes and reports as written; the one place of one observer stays below."""
    reports = checks.distinct_reports()
    reports = reports[~reports["done"].isin(UNPLACEABLE)]
    at = checks.points(reports, "decimalLongitude", "decimalLatitude")
    gate = (reports["recordedBy"] == REPEATER).to_numpy()
    events = pd.concat([step_crossings.geometry, at[~gate]])
    elsewhere = checks.densest_elsewhere(events, roads, near_m=30)
    from_gate = checks.densest_elsewhere(at[gate], roads, near_m=30)
    assert from_gate > 2 * elsewhere  # dense enough to mislead
    for line, length in zip(stretches.geometry, stretches["length_m"], strict=True):
        per_100_m = len(checks.inside(events, line, 30)) / length * 100
        assert per_100_m >= 4 * elsewhere
        assert checks.most_in_window(checks.inside(at[~gate], line, 30)) > from_gate
