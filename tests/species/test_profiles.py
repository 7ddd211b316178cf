"""Species profiles: those of the package, the template, and what is wrong with a profile."""

from __future__ import annotations

import copy
import math
import re
import tomllib
from importlib.resources import files

import pytest
from scipy import stats

from roadrisk.errors import InputError
from roadrisk.species import (
    Profile,
    Value,
    built_in_names,
    built_in_profile,
    built_in_profile_of,
    home_sd_from_area,
    profile_from,
    same_species,
)

TEMPLATE = (files("roadrisk.species") / "TEMPLATE.toml").read_text(encoding="utf-8")
TURTLES = {
    "terrapene_carolina": "land",
    "terrapene_ornata": "land",
    "emydoidea_blandingii": "freshwater",
    "clemmys_guttata": "freshwater",
    "chrysemys_picta": "freshwater",
    "chelydra_serpentina": "freshwater",
}


def value(low, high, likely=None):
    return Value(low=low, high=high, likely=likely, unit="m", source="from memory")


def remarks_on(change):
    data = copy.deepcopy(tomllib.loads(TEMPLATE))
    change(data)
    with pytest.raises(InputError) as caught:
        profile_from(data, "mine.toml")
    return caught.value.remarks


def test_the_package_has_turtles_of_land_and_water_a_toad_and_a_generic_animal():
    names = set(built_in_names())
    assert names == {*TURTLES, "bufo_bufo", "generic_small_slow_animal"}
    assert {n: built_in_profile(n).habitat for n in TURTLES} == TURTLES


@pytest.mark.parametrize("name", built_in_names())
def test_every_value_has_a_range_a_unit_and_an_honest_source(name):
    """A source is a citation with a year or an address, or says in words that it is none."""
    profile = built_in_profile(name)
    found = dict(profile.values())
    assert len(found) == 13
    spells = {f"active.hours.{i}": s for i, s in enumerate(profile.active.hours)}
    for key, some in {**found, **spells}.items():
        for source in some.source:
            plain = re.match(r"from memory|common practice|derived from ", source)
            cited = re.search(r"\b(19|20)\d\d\b|\w\.(com|org|nl|edu|uk|html)\b|\bdoi 10\.", source)
            known = source.startswith(("Georgia: ", "Murfreesboro, ", "MassWildlife: ", "Claussen"))
            assert plain or cited or known, (name, key, source)
    assert found["movement.home_sd_m"].source[0].startswith("derived from home_range.area_ha")


@pytest.mark.parametrize("name", built_in_names())
def test_the_four_movement_values_agree_with_each_other(name):
    """By hand: mean speed sqrt(pi/2)·sd/sqrt(tau_home·tau_velocity) lies in the speed's range."""
    move = built_in_profile(name).movement
    taus = move.tau_home_hours.middle * 60 * move.tau_velocity_minutes.middle
    speed = math.sqrt(math.pi / 2) * move.home_sd_m.middle / math.sqrt(taus)
    assert move.path_speed_m_min.low < speed < move.path_speed_m_min.high
    assert speed == pytest.approx(move.path_speed_m_min.middle, rel=0.5)


def test_home_sd_from_area_against_the_closed_form():
    """Area that holds 95 % of a round bivariate normal: 18.82274 sd² (scipy's chi-square)."""
    sd = home_sd_from_area(1.88)
    assert 18.82274 * sd**2 == pytest.approx(18_800, rel=1e-6)
    assert math.pi * stats.chi2.ppf(0.95, 2) * sd**2 == pytest.approx(18_800, rel=1e-12)


def test_the_box_turtles_values_are_those_of_the_sources():
    """192 ft/h, 400 ft/h, 350 ft and 250 yards by hand; published areas and shares as printed."""
    eastern = built_in_profile("terrapene_carolina")
    ornate = built_in_profile("terrapene_ornata")
    foot = 0.3048
    assert eastern.road.walking_speed_m_min.low == pytest.approx(192 * foot / 60, abs=0.01)
    assert ornate.road.walking_speed_m_min.low == pytest.approx(400 * foot / 60, abs=0.01)
    diameter = eastern.home_range.diameter_m
    assert (diameter.low, diameter.high) == pytest.approx((350 * foot, 750 * foot), abs=0.5)
    assert eastern.road.chance_to_stop.likely == 0.875
    assert eastern.home_range.area_ha.likely == 1.88
    assert ornate.home_range.area_ha.likely == pytest.approx(
        math.pi * (274 * foot) ** 2 / 1e4, abs=0.01
    )


def test_species_are_found_by_name_subspecies_author_and_older_name():
    for written in ("Terrapene carolina", "terrapene  carolina bauri", "Terrapene bauri"):
        assert built_in_profile_of(written)[0] == "terrapene_carolina"
    assert built_in_profile_of("Emys blandingii (Holbrook, 1838)")[0] == "emydoidea_blandingii"
    assert built_in_profile_of("Testudo ficta") is None
    assert not same_species(built_in_profile("bufo_bufo"), "Bufo")


def test_middle_and_prior_of_a_value():
    """By hand; a prior's 5 and 95 % points are the ends of a range with a central middle."""
    assert value(1, 4).middle == 2
    assert value(0, 1).middle == 0.5
    assert value(1, 9, 2).middle == 2
    mean, sd = value(1, 4).log_normal()
    ends = stats.lognorm.ppf([0.05, 0.95], sd, scale=math.exp(mean))
    assert ends == pytest.approx([1, 4], rel=1e-9)
    mean, sd = value(1, 9, 2).log_normal()
    assert stats.lognorm.ppf(0.95, sd, scale=math.exp(mean)) == pytest.approx(9, rel=1e-9)
    assert value(3, 3).log_normal() == (math.log(3), 0)


def test_season_and_clock():
    """By hand, with a season over the year's end and a spell past midnight."""
    data = tomllib.loads(TEMPLATE)
    own = profile_from(data, "mine.toml")
    assert own.months() == (4, 5, 6, 7, 8, 9, 10)
    assert own.months("wide") == tuple(range(3, 12))
    assert own.months("narrow") == (5, 6, 7, 8, 9)
    assert sum(own.active.hour_shares(5)) == 10
    summer = [h for h, s in enumerate(own.active.hour_shares(7)) if s]
    assert summer == [6, 7, 8, 9, 10, 16, 17, 18, 19]

    for key, ends in (("first_month", (9, 10, 11)), ("last_month", (1, 2, 3))):
        data["season"][key].update(zip(("low", "likely", "high"), ends, strict=True))
    data["active"]["hours"] = [{"start": 21.5, "end": 5.25, "unit": "h", "source": "from memory"}]
    night = profile_from(data, "mine.toml")
    assert night.months() == (10, 11, 12, 1, 2)
    shares = night.active.hour_shares(1)
    assert sum(shares) == pytest.approx(7.75)
    assert (shares[21], shares[22], shares[5], shares[6]) == (0.5, 1, 0.25, 0)


def test_the_template_is_a_profile_and_its_own_home_sd_is_kept():
    data = tomllib.loads(TEMPLATE)
    derived = profile_from(data, "mine.toml").movement.home_sd_m
    assert derived.likely == pytest.approx(home_sd_from_area(2.0))
    assert "home_sd_m" not in data["movement"]  # the input stays as it was
    commented = r"(?m)^# (\[movement\.home_sd_m\]|\w+ = (?:\d+|\"(?:m|derived.*)\"))$"
    uncommented = re.sub(commented, r"\1", TEMPLATE)
    own = profile_from(tomllib.loads(uncommented), "mine.toml").movement.home_sd_m
    assert (own.low, own.likely, own.high) == (16, 33, 65)
    # The commented numbers are the derived ones, rounded.
    assert (own.low, own.likely, own.high) == pytest.approx(
        (derived.low, derived.likely, derived.high), abs=0.6
    )


def test_an_unknown_key_comes_with_the_nearest_right_one():
    def change(data):
        data["road"]["walking_speed"] = data["road"].pop("walking_speed_m_min")
        data["body"]["length_mm"]["sourse"] = "x"
        data["active"]["hours"][1]["month"] = [3]
        data["colour"] = "green"

    found = {r.column: (r.problem, r.mend) for r in remarks_on(change)}
    assert found["road.walking_speed"] == ("unknown key.", "did you mean 'walking_speed_m_min'?")
    assert found["body.length_mm.sourse"][1] == "did you mean 'source'?"
    assert found["active.hours.1.month"][1] == "did you mean 'months'?"
    assert found["colour"][1].startswith("known keys here: scientific_name, ")
    assert found["road.walking_speed_m_min"][0] == "this key is missing."


def without_source(data):
    del data["home_range"]["area_ha"]["source"]


def blank_source(data):
    data["home_range"]["area_ha"]["source"] = ["from memory", "  "]


def no_source_in_list(data):
    data["home_range"]["area_ha"]["source"] = []


def spell_without_source(data):
    del data["active"]["hours"][0]["source"]


@pytest.mark.parametrize(
    "change", [without_source, blank_source, no_source_in_list, spell_without_source]
)
def test_a_value_without_a_source_is_an_error(change):
    (remark,) = remarks_on(change)
    assert "source" in remark.column
    assert "from memory" in remark.mend + remark.problem or "at least 1" in remark.problem


@pytest.mark.parametrize(
    ("keys", "wrong", "said"),
    [
        ("road.walking_speed_m_min.unit", "ft/h", "give the value in 'm/min'"),
        ("road.chance_to_stop.high", 90, "leaves 0 to 1"),
        ("body.length_mm.low", 500, "low 500 is above high 180"),
        ("season.first_month.likely", 7, "likely 7 lies outside 3 to 5"),
        ("home_range.area_ha.low", float("nan"), "finite number"),
        ("movement.tau_home_hours.high", True, "valid number"),
        ("movement.tau_home_hours.low", "3", "valid number"),
        ("active.hours.0.end", 8, "starts and ends at the same hour"),
        ("active.hours.0.end", 25, "less than or equal to 24"),
        ("active.hours.0.unit", "min", "clock hours"),
        ("active.hours.1.months", [13], "less than or equal to 12"),
        ("active.hours.0.months", [1, 2, 3], "no spell holds for the month(s) 4, 5, 9"),
        ("habitat", "sea", "'land'"),
        ("active.hours", [], "at least 1 item"),
    ],
)
def test_wrong_values_are_said_in_words(keys, wrong, said):
    def change(data):
        place = data
        *path, last = [int(k) if k.isdigit() else k for k in keys.split(".")]
        for key in path:
            place = place[key]
        place[last] = wrong

    (remark,) = remarks_on(change)
    assert said in remark.problem
    assert remark.column.startswith(keys) or keys.startswith(remark.column)


def test_all_problems_come_at_once_and_an_area_is_blamed_only_once():
    def change(data):
        data["home_range"]["area_ha"]["high"] = "wide"
        data["body"]["length_mm"]["unit"] = "cm"
        del data["population"]

    assert sorted(r.column for r in remarks_on(change)) == [
        "body.length_mm", "home_range.area_ha.high", "population",
    ]  # fmt: skip


def test_profiles_are_frozen():
    with pytest.raises(ValueError, match="frozen"):
        built_in_profile("bufo_bufo").habitat = "any"
    assert isinstance(built_in_profile("bufo_bufo"), Profile)


def test_features_that_tell_the_sexes_apart_are_data_with_a_source():
    # By hand, from the template; only the box turtle's rule is known with its sources.
    rule = profile_from(tomllib.loads(TEMPLATE), "mine.toml").sex_features
    assert rule.sex_of("iris_colour", "Red, very bright") == "male"
    assert rule.sex_of("iris_colour", "yellowish") == "female"
    assert rule.sex_of("plastron_shape", "hollow") == "male"
    for text in ("", "dark red", "reddish brown", "not red", "isn't red", "infrared", "blue"):
        assert rule.sex_of("iris_colour", text) == ""
    with_rule = {n for n in built_in_names() if built_in_profile(n).sex_features}
    assert with_rule == {"terrapene_carolina"}
    (said,) = [s for s in built_in_profile("terrapene_carolina").sex_features.source if "Wild" in s]
    assert "red iris" in said


def test_what_is_wrong_with_features_is_said():
    def change(data):
        data["sex_features"]["iris_color"] = data["sex_features"].pop("iris_colour")
        data["sex_features"]["plastron_shape"]["male"] = []
        del data["sex_features"]["source"]

    said = {r.column: (r.problem, r.mend) for r in remarks_on(change)}
    assert said["sex_features.iris_color"][1] == "did you mean 'iris_colour'?"
    assert said["sex_features.iris_colour"][0] == "this key is missing."
    assert said["sex_features.source"][0] == "a value without a source."
    assert "sex_features.plastron_shape.male" in said
