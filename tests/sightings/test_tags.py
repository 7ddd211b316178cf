"""Tags read by the public: by hand, and by recovering who was read in a made world."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import settings as tries
from hypothesis import strategies as st

from roadrisk.records import schemas
from roadrisk.settings import settings_from
from roadrisk.sightings.tag_readings import TagReader
from roadrisk.sightings.tags import FOUND_DEAD, IMPOSSIBLE, MATCHES, UNKNOWN, match_tags
from roadrisk.species import GENERIC, built_in_profile
from tests.sightings.made_reports import reports

CRS = "EPSG:32634"
IDS = [f"T{k:02}" for k in range(1, 19)]
NOON = pd.Timestamp("2024-05-10T12:00", tz="UTC")
PROFILE = built_in_profile(GENERIC)  # walks 12 m/min at most on a road, 3 m/min along its path


def animals_of(ids, sex=""):
    n = len(ids)
    table = pd.DataFrame({
        "source_file": "animals.csv", "source_row": np.arange(n) + 2, "organismID": ids,
        "sex": sex, "lifeStage": "", "tag_channel": "", "fate": "", "fateDate": "",
        "fate_time": pd.NaT, "fateCause": "",
        **dict.fromkeys(("mass_g", "transmitter_mass_g", "capture_longitude",
                         "capture_latitude"), np.nan),
    })  # fmt: skip
    return schemas.conform(table, schemas.ANIMALS)


def fixes_of(rows, radius=10.0):
    """Fixes of (animal, hours after noon, x, y)."""
    table = pd.DataFrame(rows, columns=["organismID", "hours", "x", "y"])
    table = table.assign(
        source_file="fixes.csv", source_row=np.arange(len(table)) + 2, eventDate="",
        time=NOON + pd.to_timedelta(table["hours"].astype(float), unit="h"), time_known=True,
        coordinateUncertaintyInMeters=radius, method="homed in", route="",
        route_measure=np.nan, side="",
    )  # fmt: skip
    places = shapely.points(table[["x", "y"]].to_numpy(float))
    return schemas.conform(gpd.GeoDataFrame(table, geometry=places, crs=CRS), schemas.FIXES)


def matched(seen, fixes, ids=IDS, sex="", units="metric"):
    study = {"name": "Made up", "short_name": "made", "species": "Testudo ficta",
             "start": "2024-01-01", "end": "2024-12-31", "time_zone": "Europe/Warsaw",
             "units": units}  # fmt: skip
    made = settings_from({"study": study, "sightings": {"file": "s.csv"},
                          "roads": {"osm": {"file": "r.osm"}},
                          "crossings": {"longest_step_days": 7.0}})  # fmt: skip
    return match_tags(seen, animals_of(ids, sex), fixes, made, PROFILE)


TRACK = fixes_of([("T07", -48, 0, 0), ("T07", 24, 0, 0), ("T07", 72, 10, 0)])


@pytest.mark.parametrize(
    ("tag", "remark", "animal"),
    [
        ("T07", "", "T07"),
        (" t-7 ", "", "T07"),
        ("TO7", "", "T07"),  # the letter
        ("T1l", "", "T11"),
        ("7", "", "T07"),
        ("Tag no. 12", "", "T12"),
        ("", "saw tag 07 by the ditch", "T07"),
        ("", "no. T07 on it", "T07"),
        ("", "number 7 on its shell", "T07"),
        ("", "the tag said T-11!", "T11"),
        ("", "tagged turtle #9", "T09"),
        ("see remark", "tag 5, I think", "T05"),
    ],
)
def test_a_reading_finds_its_one_animal(tag, remark, animal):
    """By hand: ways in which people write a tag."""
    readings = TagReader(IDS).read(tag, remark)
    assert {r.animals for r in readings if r.animals} == {(animal,)}
    assert all(r.sure for r in readings)


@pytest.mark.parametrize(
    "remark",
    [
        "at house number 7", "tagged at 10:30", "tagged 3 times this year", "two cars waited",
        "on the T07 towards town", "tag not readable, 2 cars waited", "no 2 cars stopped",
        "please call 555-0100", "small one, 7 cm long", "tag was 12 mm wide", "bus line 7",
        "",
    ],
)  # fmt: skip
def test_other_numbers_are_no_tags(remark):
    assert TagReader(IDS).read("", remark) == ()


@pytest.mark.parametrize("tag", ["", "  ", "none", "no tag", "n/a", "?", "unreadable"])
def test_words_for_no_tag_are_no_reading(tag):
    assert TagReader(IDS).read(tag, "") == ()


def test_a_match_says_how_it_was_read_and_gives_an_opportunistic_fix():
    """Each matched report becomes a fix of its own kind; the scheduled ones are as they were."""
    seen = reports([[50, 0], [20, 0]], organismID=["to7", ""], time=NOON,
                   occurrenceRemarks=["", "tag 07"])  # fmt: skip
    before = TRACK.copy()
    found = matched(seen, TRACK)
    assert tuple(found.matches.columns) == MATCHES
    assert found.matches["organismID"].tolist() == ["T07", "T07"]
    assert found.matches["where"].tolist() == ["organismID", "remark"]
    assert found.matches["read_as"].iloc[0] == "to7 (O or I taken for 0 or 1)"
    assert found.matches["in_track"].all()
    assert found.doubts.empty
    assert found.notes[0].startswith(
        "Reports matched to tagged animals by their tag: 2, of 1 animal; 2 while"
    )
    schemas.FIXES.validate(found.opportunistic)
    assert set(found.opportunistic["method"]) == {"seen by the public"}
    assert found.opportunistic.geometry.x.tolist() == [50, 20]
    pd.testing.assert_frame_equal(TRACK, before)


@pytest.mark.parametrize(
    ("ids", "tag"), [(["N07", "S07"], "7"), (IDS, "T99"), (["T7", "T07"], "t 007")]
)
def test_none_or_two_candidates_are_a_doubt_and_no_guess(ids, tag):
    found = matched(reports([[0, 0]], organismID=tag), fixes_of([]), ids)
    assert found.matches.empty
    assert found.opportunistic.empty
    assert found.doubts["kind"].tolist() == [UNKNOWN]
    assert "ask for the tag" in found.doubts["words"].iloc[0]


def test_of_two_ids_that_read_alike_the_one_as_written_counts():
    found = matched(reports([[0, 0]], organismID="T7"), fixes_of([]), ["T7", "T07"])
    assert found.matches["organismID"].tolist() == ["T7"]


def test_column_and_remark_that_disagree_are_a_doubt():
    seen = reports([[0, 0]], organismID="T07", occurrenceRemarks="tag 09")
    found = matched(seen, fixes_of([]))
    assert found.matches.empty
    assert "several animals: T07, T09" in found.doubts["words"].iloc[0]


@pytest.mark.parametrize(("x", "fits"), [(385.0, True), (395.0, False)])
def test_reach_by_hand(x, fits):
    """Half an hour after the fix: 30 min at 12 m/min and radii of 20 m and 10 m make 390 m."""
    seen = reports([[x, 0]], organismID="T07", time=NOON + pd.Timedelta(minutes=30))
    found = matched(seen, fixes_of([("T07", 0, 0, 0)]))
    assert len(found.matches) == fits
    if not fits:
        assert found.doubts["kind"].tolist() == [IMPOSSIBLE]
        words = found.doubts["words"].iloc[0]
        assert "T07 was 400 m away 30 minutes earlier (2024-05-10)" in words


def test_reach_over_days_by_hand():
    """An hour at 12 m/min, the rest of a day's active hours at 3 m/min, and 30 m of radii."""
    hours = max(sum(PROFILE.active.hour_shares(m)) for m in range(1, 13))
    reach = 60 * 12 + (hours - 1) * 60 * 3
    seen = reports([[reach + 20, 0], [reach + 40, 0]], organismID="T07",
                   time=NOON + pd.Timedelta(hours=24))  # fmt: skip
    found = matched(seen, fixes_of([("T07", 0, 0, 0)]))
    assert found.matches["report_key"].tolist() == ["r0"]
    assert found.doubts["report_key"].tolist() == ["r1"]


def test_a_date_alone_leaves_half_a_day_more():
    seen = reports([[395, 0]], organismID="T07", time=NOON + pd.Timedelta(minutes=30),
                   time_known=False)  # fmt: skip
    assert len(matched(seen, fixes_of([("T07", 0, 0, 0)])).matches) == 1


def test_the_next_fix_counts_as_much_as_the_last():
    seen = reports([[9000, 0]], organismID="T07", time=NOON)
    found = matched(seen, fixes_of([("T07", 1, 0, 0)]), units="us")
    assert "5.59 mi away 60 minutes later" in found.doubts["words"].iloc[0]


def test_sexes_that_disagree_are_a_doubt():
    seen = reports([[0, 0], [0, 0], [0, 0]], organismID="T07", sex=["female", "male", "unknown"])
    found = matched(seen, fixes_of([]), sex="male")
    assert found.matches["report_key"].tolist() == ["r1", "r2"]
    assert "T07 is male and the report says female" in found.doubts["words"].iloc[0]


def test_a_dead_animal_seen_alive_later_is_a_doubt_whatever_the_order():
    day = [NOON + pd.Timedelta(days=d) for d in (30, 20, 10)]
    seen = reports([[0, 0]] * 3, organismID="T07", time=day, vitality=["alive", "dead", "alive"])
    found = matched(seen, fixes_of([]))
    assert found.matches["report_key"].tolist() == ["r1", "r2"]
    assert found.doubts["report_key"].tolist() == ["r0"]
    assert "reported dead before, on 2024-05-30 (report r1)" in found.doubts["words"].iloc[0]


def test_one_animal_is_dead_at_one_place():
    """The same carcass two days later is no doubt; one 500 m on is."""
    day = [NOON + pd.Timedelta(days=d) for d in (0, 2, 2)]
    seen = reports([[0, 0], [30, 0], [500, 0]], organismID="T07", time=day, vitality="dead")
    found = matched(seen, fixes_of([]))
    assert found.matches["report_key"].tolist() == ["r0", "r1"]
    assert "500 m away" in found.doubts["words"].iloc[0]


@pytest.mark.parametrize(("later", "fits"), [((5, 0), True), ((60, 0), False)])
def test_fixes_that_move_after_a_report_of_death_are_a_doubt(later, fits):
    """A transmitter on a carcass stays where it is, but for its error."""
    track = fixes_of([("T07", -24, 0, 0), ("T07", 24, 0, 0), ("T07", 48, *later)])
    found = matched(reports([[0, 0]], organismID="T07", time=NOON, vitality="dead"), track)
    assert len(found.matches) == fits
    if not fits:
        assert "located at other places after that" in found.doubts["words"].iloc[0]


def test_alive_and_later_dead_is_a_history():
    """The last time alive is the later of fix and report."""
    day = [NOON + pd.Timedelta(days=d) for d in (1, 5)]
    seen = reports([[0, 0]] * 2, organismID="T07", time=day, vitality=["alive", "dead"])
    track = fixes_of([("T07", 0, 0, 0), ("T07", 72, 0, 0)])
    by_fix = matched(seen, track).histories
    by_report = matched(seen, track.iloc[:1]).histories
    assert tuple(by_fix.columns) == FOUND_DEAD
    assert by_fix["last_alive_by"].tolist() == ["fix"]
    assert by_report["last_alive_by"].tolist() == ["report"]
    assert by_report["last_alive"].tolist() == [day[0]]
    assert "found dead after they were known alive: T07" in matched(seen, track).notes[-1]
    assert by_report["found_dead"].tolist() == [day[1]]
    assert matched(seen.iloc[1:], fixes_of([])).histories.empty


def test_tracked_means_a_fix_before_and_after_within_the_longest_step():
    hours = [-30, 0, 72 + 7 * 24 - 1, 80 * 24]
    seen = reports([[0, 0]] * 4, organismID="T07",
                   time=[NOON + pd.Timedelta(hours=h) for h in hours])  # fmt: skip
    assert matched(seen, TRACK).matches["in_track"].tolist() == [True, True, False, False]


def test_a_number_that_need_not_be_a_tag_counts_only_near_a_track():
    seen = reports([[20, 0], [90_000, 0], [20, 0]], occurrenceRemarks="number 7",
                   time=[NOON, NOON, NOON + pd.Timedelta(days=60)])  # fmt: skip
    found = matched(seen, TRACK)
    assert found.matches["report_key"].tolist() == ["r0"]
    assert found.doubts.empty


def test_held_reports_without_time_or_place_match_by_tag_and_sex():
    seen = reports([[np.nan, np.nan]] * 2, held=True, organismID=["T07", "T08"],
                   time=pd.NaT, sex=["", "female"])  # fmt: skip
    found = matched(seen, TRACK, sex="male")
    assert found.matches["report_key"].tolist() == ["r0"]
    assert not found.matches["in_track"].any()
    assert found.opportunistic.empty


def test_no_animals_and_no_reports():
    assert matched(reports(np.empty((0, 2))), fixes_of([]), []).matches.empty
    found = matched(reports([[0, 0]], organismID="T07"), fixes_of([]), [])
    assert found.doubts["kind"].tolist() == [UNKNOWN]


@tries(deadline=None, max_examples=150)
@given(tag=st.text(max_size=60), remark=st.text(max_size=200))
def test_any_text_is_read_without_harm(tag, remark):
    """Property: whatever is written, a reading fits known animals only."""
    for reading in TagReader(IDS).read(tag, remark):
        assert set(reading.animals) <= set(IDS)


def test_hostile_text_stays_short_printable_text():
    tags = ["<script>7</script>", "9" * 5000, "T\u202e99", "=cmd|'/c 9'!A1", "²", "T٧"]
    seen = reports([[0, 0]] * 6, organismID=tags, occurrenceRemarks="tag 99 " * 2000)
    found = matched(seen, fixes_of([]))
    words = found.doubts["words"]
    assert (words.str.len() < 300).all()
    assert words.map(str.isprintable).all()


def test_who_was_read_is_recovered():
    """Truth: 400 readings of 18 tracked animals, written in eight ways, a quarter made elsewhere.

    Every reading near its animal is matched to it; none made 20 km away is.
    """
    rng = np.random.default_rng(5)
    ways = ("{0}{1:02}", "{0}{1}", "{0} {1}", "tag {1}", "no. {0}{1:02}", "#{1}", "{0}-{1:02}",
            "{0}O{1}")  # fmt: skip
    number = rng.integers(1, 10, 400)
    home = np.column_stack([1000.0 * np.arange(1, 19), np.zeros(18)])
    far = rng.random(400) < 0.25
    xy = home[number - 1] + rng.normal(size=(400, 2)) * 15 + far[:, None] * [0, 20_000]
    text = [
        ways[w].format("Tt"[w % 2], n) for w, n in zip(rng.integers(0, 8, 400), number, strict=True)
    ]
    in_remark = rng.random(400) < 0.4
    remark = [
        f"crossed, tag was {t}, nice" if r else "" for t, r in zip(text, in_remark, strict=True)
    ]
    seen = reports(xy, organismID=np.where(in_remark, "", text), occurrenceRemarks=remark,
                   time=NOON + pd.to_timedelta(rng.uniform(0, 200, 400), unit="h"))  # fmt: skip
    track = fixes_of([(a, h, *home[k]) for k, a in enumerate(IDS) for h in range(-24, 240, 48)])
    found = matched(seen, track)
    expected = {f"r{i}": f"T{n:02}" for i, n in enumerate(number) if not far[i]}
    assert found.matches.set_index("report_key")["organismID"].to_dict() == expected
    assert set(found.doubts["report_key"]) == {f"r{i}" for i in np.flatnonzero(far)}
    assert set(found.doubts["kind"]) == {IMPOSSIBLE}
