"""Measures as data: those of the package, a study's own ranges, nonsense."""

from __future__ import annotations

import copy
import re
import tomllib
from importlib.resources import files

import pytest
from pydantic import ValidationError

from roadrisk.errors import InputError
from roadrisk.mitigation.measures import (
    GRADES,
    Range,
    built_in_measures,
    load_measures,
    measures_from,
    with_effect,
)
from roadrisk.mitigation_settings import MEASURE_KEYS, MitigationSection
from roadrisk.records.pay_items import pay_items
from roadrisk.settings import settings_from

FENCES = ("fence_and_passages", "fence_to_culverts")
TEXT = (files("roadrisk.mitigation") / "measures.toml").read_text(encoding="utf-8")
STUDY = {
    "study": {"name": "a", "short_name": "a", "species": "b", "start": "2024-01-01",
              "end": "2024-12-31", "time_zone": "Europe/Warsaw"},
    "sightings": {"file": "a.csv"},
    "roads": {"osm": {"file": "r.osm"}},
}  # fmt: skip
OWN = {"low": 0.1, "likely": 0.2, "high": 0.3, "source": "our own counts"}


def changed(change):
    data = copy.deepcopy(tomllib.loads(TEXT))
    change(data)
    with pytest.raises(InputError) as caught:
        measures_from(data, "measures.toml")
    return caught.value.remarks


def said(**mitigation):
    """Return the one line that settings with nonsense in them give."""
    with pytest.raises(InputError) as caught:
        settings_from({**STUDY, "mitigation": mitigation})
    (remark,) = caught.value.remarks
    assert remark.file == "study.toml"
    assert remark.column.startswith("mitigation")
    assert remark.mend
    return remark.line()


def test_eight_measures_in_order():
    measures = built_in_measures()
    assert tuple(measures) == MEASURE_KEYS
    assert tuple(k for k, m in measures.items() if m.barrier) == FENCES
    assert tuple(k for k, m in measures.items() if m.proven) == FENCES
    for measure in measures.values():
        assert measure.cautions
        assert measure.grade in GRADES
        assert (measure.effect is None) == bool(measure.no_effect)


def test_every_range_says_where_it_is_from():
    """A source has a year, names a build or page that was seen, or says that there is none."""
    honest = re.compile(
        r"\d{4}|page of the|[Pp]roject's choice|Common practice|Highway 69|Haliburton|"
        r"As for a fence with passages"
    )
    for measure in built_in_measures().values():
        parts = [measure.effect, measure.displaced, measure.end_distance_m]
        parts += [value for _, value in measure.design]
        for part in parts:
            assert part is None or honest.search(part.source), (measure.key, part)


def test_what_the_checked_sources_say():
    """check_values.md, section 8: ranges span the sources, and nothing else was put in."""
    fence = built_in_measures()["fence_and_passages"]
    assert (fence.effect.low, fence.effect.likely) == (0.54, 0.89)
    assert fence.effect.high < 1 - 0.09 / 11.9  # Aresco's counts
    assert fence.displaced.low == 0
    assert fence.displaced.high == 1.1
    assert (fence.design.passage_spacing_m.low, fence.design.passage_spacing_m.high) == (100, 200)
    assert (fence.design.height_m.low, fence.height_m, fence.design.height_m.high) == (0.3, 0.6, 1)
    assert (fence.burial_m, fence.lip_m, fence.return_m) == (0.2, 0.1, 6)
    assert fence.mesh_mm is None
    assert fence.life_years is None
    for measure in built_in_measures().values():
        assert all(p.cost == "" for p in measure.precedents)  # none of the sources was seen to say


def test_a_sign_alone_has_no_proven_effect():
    for key in ("sign_standing", "sign_seasonal"):
        effect = built_in_measures()[key].effect
        assert effect.likely == 0
        assert effect.low < -0.5
        assert effect.high > 0.4


def test_precedents_say_what_was_not_reported():
    words = built_in_measures()["fence_and_passages"].precedents[0].words
    assert words.startswith("US 27, 4 lanes, 21,500 vehicles a day, turtles, published 2005: ")
    assert words.endswith("abstract; not reported: cost)")


def test_a_studys_own_ranges():
    settings = MitigationSection(
        measures=("sign_standing", "fence_and_passages", "lower_speed", "patrol"),
        effect={"lower_speed": OWN, "sign_standing": OWN},
        displaced={**OWN, "high": 2},
        end_distance_m={**OWN, "likely": 0.25},
        passage_spacing_m=60,
        fence_height_m=0.9,
        patrol_hours_share=0.4,
    )
    sign, fence, speed, patrol = load_measures(settings)
    assert (sign.effect.likely, sign.grade) == (0.2, "given by the study")
    assert sign.displaced is None
    assert (fence.displaced.high, fence.end_distance_m.likely) == (2, 0.25)
    assert (fence.passage_spacing_m, fence.height_m, fence.burial_m) == (60, 0.9, 0.2)
    assert fence.effect == built_in_measures()["fence_and_passages"].effect
    assert (speed.effect.high, speed.no_effect) == (0.3, "")
    assert (patrol.effect.low, patrol.effect.likely, patrol.effect.high) == (0, 0.2, 0.4)
    assert "at most 0.4" in patrol.effect.source
    assert built_in_measures()["sign_standing"].effect.likely == 0  # nothing was changed


def test_an_effect_that_was_worked_out():
    night = built_in_measures()["night_closure"]
    given = with_effect(night, low=0.1, likely=0.2, high=0.3, source="hours", grade="computed")
    assert given.effect == Range(low=0.1, likely=0.2, high=0.3, source="hours", grade="computed")
    assert given.no_effect == ""
    with pytest.raises(ValidationError, match="above 1"):
        with_effect(night, low=0.1, likely=0.2, high=1.3, source="hours", grade="computed")


@pytest.mark.parametrize(
    ("change", "column", "words"),
    [
        (lambda d: d["patrol"].update(nome="x"), "patrol.nome", "did you mean 'name'"),
        (lambda d: d.pop("patrol"), "patrol", "this measure is missing"),
        (lambda d: d["sign_standing"]["effect"].update(high=1.2), "sign_standing", "above 1"),
        (lambda d: d["sign_standing"]["effect"].update(low=0.2),
         "sign_standing.effect", "not in order"),
        (lambda d: d["sign_standing"]["effect"].pop("source"), "sign_standing.effect.source",
         "missing"),
        (lambda d: d["patrol"].pop("no_effect"), "patrol", "the words why there is none"),
        (lambda d: d["fence_and_passages"].pop("displaced"), "fence_and_passages", "barriers"),
        (lambda d: d["fence_and_passages"]["displaced"].update(low=-0.1), "fence_and_passages",
         "out of nowhere"),
        (lambda d: d["patrol"].update(items=[["gold", "hour", 1]]), "patrol", "no pay item: gold"),
        (lambda d: d["patrol"].update(kind="wish"), "patrol.kind", "'barrier' or 'local'"),
    ],
)  # fmt: skip
def test_a_broken_file_of_measures(change, column, words):
    (remark,) = changed(change)
    assert remark.column == column
    assert words in remark.line()


def test_every_pay_item_is_taken_by_a_measure():
    taken = {item for m in built_in_measures().values() for item, _, _ in m.items}
    assert taken == set(pay_items())


@pytest.mark.parametrize(
    ("mitigation", "words"),
    [
        ({"budget": 0}, "mitigation.budget: nothing can be chosen with that"),
        ({"budget": -5}, "nothing can be chosen"),
        ({"budget": float("nan")}, "finite number"),
        ({"target_averted_per_year": 0}, "target_averted_per_year: nothing can be chosen"),
        ({"fence_m": -1}, "fence_m: nothing can be chosen"),
        ({"budget": 5, "target_averted_per_year": 1}, "keep one"),
        ({"horizon_years": 0}, "horizon_years"),
        ({"horizon_years": 101}, "horizon_years"),
        ({"discount_percent": 21}, "discount_percent"),
        ({"least_fence_m": 500, "longest_fence_m": 400}, "least_fence_m 500 is above"),
        ({"measures": []}, "name at least one"),
        ({"measures": ["patrol", "patrol"]}, "'patrol' is named twice"),
        ({"measures": ["moat"]}, "'fence_and_passages'"),
        ({"closure_months": [13]}, "closure_months"),
        ({"closure_hours": [6, 6]}, "the same"),
        ({"patrol_hours_share": 1.5}, "patrol_hours_share"),
        ({"value_per_animal": -1}, "value_per_animal"),
        ({"sign_table": "1999"}, "'2023' or '2009'"),
        ({"budgett": 5}, "did you mean 'budget'"),
        ({"effect": {"sign_standin": OWN}}, "did you mean 'sign_standing'"),
        ({"effect": {"patrol": {**OWN, "high": 1.1}}}, "more deaths than there are"),
        ({"effect": {"patrol": {**OWN, "low": -20}}}, "is no share"),
        ({"effect": {"patrol": {**OWN, "low": 0.25}}}, "not in order: 0.25, 0.2, 0.3"),
        ({"effect": {"patrol": {**OWN, "source": " "}}}, "source is empty"),
        ({"displaced": {**OWN, "low": -0.1}}, "leaves 0 to 10"),
        ({"end_distance_m": {**OWN, "low": 0}}, "leaves 0 to 5000 m"),
    ],
)  # fmt: skip
def test_nonsense_gets_one_line(mitigation, words):
    assert words in said(**mitigation)
