"""The demo's deaths: its truth is of one piece, and its evidence comes from it."""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from scipy import stats

from tests.truth import demo_checks as checks

ZONE = "Europe/Warsaw"
# The invented walk over a road: the settings beside `demo_area/killed.py`, written down again.
SPEED_M_MIN, SPEED_SD, TYRES_M, BODY_M = 8.5, 0.3, 0.4, 0.17
BUSY = 1.17  # traffic of active hours over that of the mean hour


@pytest.fixture(scope="module")
def deaths():
    table = checks.read("truth/true_deaths.csv")
    return table.assign(
        when=pd.to_datetime(table["time"], utc=True),
        until=pd.to_datetime(table["lies_until"], utc=True),
    )


@pytest.fixture(scope="module")
def both():
    return checks.read("sightings.csv").merge(
        checks.read("truth/true_reports.csv"), on="occurrenceID"
    )


@pytest.fixture(scope="module")
def facts():
    text = (checks.DEMO / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (.+?) \| ([\d.]+) \|$", text, flags=re.MULTILINE)
    return {words: float(number) for words, number in rows}


def chance(vehicles_a_day: float) -> float:
    """Chance that a crossing kills, by the plain formula: stops left out, speeds spread."""
    rng = np.random.default_rng(1)
    slant = np.cos(np.radians(rng.uniform(0, 45, 20_000)))
    speed = SPEED_M_MIN * np.exp(SPEED_SD * rng.standard_normal(20_000))
    # Two tyres, each wider by half of what is touched of the body on average.
    strip = TYRES_M + BODY_M
    per_min = vehicles_a_day * BUSY / 1440
    return float(-np.expm1(-per_min * strip / (speed * slant)).mean())


def test_deaths_are_as_many_as_crossings_and_vehicles_lead_to_expect(deaths):
    """By hand: crossings times 1 − exp(−N a / (v cos α)), against those played through."""
    roads = checks.read("truth/true_kills_by_road.csv")
    crossings = roads["crossings"].astype(float)
    expected = (crossings * roads["vehicles_a_day"].astype(float).map(chance)).sum()
    assert roads["deaths"].astype(int).sum() == len(deaths)
    # Stops add some per cent to the formula; 0.1 % tails of the Poisson law.
    low, high = stats.poisson.ppf([0.001, 0.999], [expected, 1.2 * expected])
    assert low <= len(deaths) <= high
    assert 10 <= len(deaths) / 3 <= 25


def test_two_to_five_road_deaths_were_to_be_expected_among_the_tagged():
    crossed = checks.read("truth/true_full_crossings.csv")["line"]
    roads = checks.read("truth/true_kills_by_road.csv").set_index("line")
    p = roads["vehicles_a_day"].astype(float).map(chance)
    assert 2 <= p.reindex(crossed).sum() <= 5


def test_a_tagged_animal_that_was_killed_was_tracked_until_then(facts, deaths):
    animals = checks.read("animals.csv").set_index("organismID")
    fixes = checks.read("fixes.csv")
    last = pd.to_datetime(fixes["eventDate"], utc=True, format="ISO8601")
    last = last.groupby(fixes["organismID"]).max()
    killed = deaths[deaths["tracked"] == "yes"].set_index("animal")
    on_road = animals[animals["fateCause"] == "vehicle"]
    assert set(killed.index) == set(on_road.index)
    assert len(killed) == facts["tagged animals killed on a road while tracked"]
    for number, death in killed.iterrows():
        said = pd.Timestamp(animals.loc[number, "fateDate"])
        assert pd.Timedelta(0) <= death["when"] - said < pd.Timedelta(minutes=1)
        assert pd.Timedelta(0) < said - last[number] < pd.Timedelta(days=25)
    ended = pd.to_datetime(animals["fateDate"], utc=True)
    assert (last <= ended.reindex(last.index)).all()
    fate = animals["fate"].value_counts()
    assert fate["lost"] == 1
    assert (animals["fate"].eq("dead") & animals["fateCause"].ne("vehicle")).sum() == 1
    assert fate["alive"] == len(animals) - 2 - len(killed)
    # Tagged, but no longer tracked when it died.
    assert deaths.loc[
        (deaths["animal"] != "") & (deaths["tracked"] == "no"), "animal"
    ].tolist() == ["T08"]


def test_every_dead_report_is_of_a_true_death_while_it_lay_there(deaths, both):
    dead = both[both["vitality"] == "dead"]
    assert (dead["death"] != "").all()
    assert (both.loc[both["vitality"] != "dead", "death"] == "").all()
    sound = dead[~dead["done"].str.startswith("wrong year")]
    joined = sound.merge(deaths, left_on="death", right_on="id", suffixes=("", "_true"))
    day = pd.to_datetime(joined["eventDate"].str[:10])
    first = joined["when"].dt.tz_convert(ZONE).dt.tz_localize(None).dt.normalize()
    last = joined["until"].dt.tz_convert(ZONE).dt.tz_localize(None).dt.normalize()
    assert ((first <= day) & (day <= last)).all()
    assert (joined["within_width"] == "yes").all()
    assert ((joined["sex"] == "") | (joined["sex"] == joined["sex_true"])).all()
    by = deaths.set_index("id")["found_by"]
    told = dead.groupby("death")["eventID"].agg(lambda e: {bool(x) for x in e})
    for number, kinds in told.items():
        assert ("survey" in by[number]) is (True in kinds)
        assert ("public" in by[number]) is (False in kinds)
    assert not by.drop(told.index).str.contains("survey|public").any()


def test_surveys_and_what_they_found(facts, both):
    surveys = checks.read("surveys.csv")
    assert surveys["eventID"].is_unique
    assert len(surveys) == facts["carcass surveys"]
    count = surveys.set_index("eventID")["individualCount"].astype(int)
    assert (count == 0).sum() == facts["of these without a carcass"]
    named = both[both["eventID"] != ""]
    assert (named.groupby("eventID").size().reindex(count.index).fillna(0) == count).all()
    day = surveys.set_index("eventID")["eventDate"].str[:10]
    assert (named["eventDate"].str[:10].to_numpy() == day[named["eventID"]].to_numpy()).all()
    assert set(named["vitality"]) == {"dead"}
    # A removed carcass is met no more; a marked one is met again as such.
    for _, own in named.sort_values("eventDate").groupby("death"):
        actions = own["carcass_action"].tolist()
        assert actions[0] in {"marked", "removed"}
        assert set(actions[1:]) <= {"already marked", "removed"}
        assert len(actions) == 1 or actions[0] == "marked"


def test_trials_show_the_chances_behind_them(facts):
    """Known truth: chances that carcasses are found and stay, within 3 standard errors."""
    trials = checks.read("trials.csv")
    looks = trials[trials["trial"] == "detection"]
    for protocol, p in (("walk", 0.75), ("car", 0.40)):
        mine = looks[looks["samplingProtocol"] == protocol]
        for look, times in (("1", 1.0), ("2", 0.6)):
            found = mine.loc[mine["look"] == look, "found"].astype(int)
            error = np.sqrt(p * times * (1 - p * times) / len(found))
            assert abs(found.mean() - p * times) < 3 * error
    stay = trials[trials["trial"] == "persistence"]
    assert len(stay) == facts["carcasses laid out to see how long they stay"]
    laid, last = pd.to_datetime(stay["eventDate"]), pd.to_datetime(stay["last_seen"])
    after_a_week = ((last - laid) >= pd.Timedelta(days=7)).mean()
    true = np.exp(-((7 / 11) ** 0.7))
    assert abs(after_a_week - true) < 3 * np.sqrt(true * (1 - true) / len(stay))


def test_habitat_is_sound_and_the_stretches_lie_in_wetland(facts):
    habitat = gpd.read_file(checks.DEMO / "habitat.geojson").to_crs(checks.UTM)
    assert habitat.is_valid.all()
    assert len(habitat) == facts["polygons of habitat"]
    assert set(habitat["kind"]) == {"water", "wetland", "forest"}
    wet = shapely.union_all(habitat.geometry[habitat["kind"] == "wetland"].to_numpy())
    stretches = checks.stretches()
    assert stretches.interpolate(0.5, normalized=True).within(wet).all()
    # Wetland isn't a give-away: most of the road in it is no true stretch.
    roads = shapely.union_all(checks.ways().geometry.to_numpy())
    assert shapely.intersection(roads, wet).length > 2 * stretches.length.sum()


def test_nests_are_of_females_that_were_there(facts):
    nests, animals = checks.read("nests.csv"), checks.read("animals.csv").set_index("organismID")
    assert len(nests) == facts["nests"]
    known = nests[nests["organismID"] != ""]
    assert len(known) >= 4
    assert (animals.loc[known["organismID"], "sex"] == "female").all()
    assert (
        not known.assign(year=known["eventDate"].str[:4]).duplicated(["organismID", "year"]).any()
    )
    fixes = checks.read("fixes.csv")
    day = pd.to_datetime(fixes["eventDate"].str[:10])
    for nest in known.itertuples():
        apart = (day[fixes["organismID"] == nest.organismID] - pd.Timestamp(nest.eventDate)).dt.days
        assert apart.between(-10, 0).any()
        assert apart.between(0, 10).any()
    away = checks.points(nests, "decimalLongitude", "decimalLatitude").distance(
        shapely.union_all(checks.ways().geometry.to_numpy())
    )
    assert (away < 30).sum() >= 4
    assert away.min() > 5
