"""Bearings to fixes: which join, from which north, with what deviation, and why some give none."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
from scipy import stats

from roadrisk.base.seeds import generator
from roadrisk.records import schemas
from roadrisk.settings import settings_from
from roadrisk.study import Study
from roadrisk.telemetry.bearing_tests import deviation_from_tests
from roadrisk.telemetry.bearings import (
    EXACT_MEETING,
    HARDLY_INFORMATIVE,
    OPEN,
    UNKNOWN_ERROR,
    BearingFixes,
    bearing_fixes,
    with_bearing_fixes,
)

CRS = pyproj.CRS("EPSG:32617")
# Near the eastern edge of its zone: the meridians converge by more than a degree.
LON, LAT = -78.2, 38.5
GEOD = pyproj.Geod(ellps="WGS84")
HERE = np.array(pyproj.Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(LON, LAT))


def study(bearings: gpd.GeoDataFrame | None, tests: gpd.GeoDataFrame | None = None,
          of_tests: dict | None = None, **section) -> Study:  # fmt: skip
    data = {
        "study": {
            "name": "Reed Hollow", "short_name": "reed", "species": "Terrapene carolina",
            "start": "2023-01-01", "end": "2025-12-31", "time_zone": "America/New_York",
        },
        "sightings": {"file": "s.csv"},
        "roads": {"osm": {"file": "roads.osm"}},
    }  # fmt: skip
    if bearings is not None:
        data["bearings"] = {"file": "bearings.csv", **section}
    if tests is not None:
        data["bearing_tests"] = {"file": "bearing_tests.csv", **(of_tests or {})}
    return Study(
        folder=Path("reed"), settings=settings_from(data), crs=CRS, animals=pd.DataFrame(),
        fixes=schemas.empty(schemas.FIXES, CRS), sightings=schemas.empty(schemas.SIGHTINGS, CRS),
        osm_graph=None, agency_lines=None, traffic=None, bearings=bearings, bearing_tests=tests,
    )  # fmt: skip


def true_bearings(at: np.ndarray, place: np.ndarray = HERE) -> np.ndarray:
    """Bearings along geodesics, from true north: pyproj.Geod, nothing of this project."""
    turn = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    lon, lat = turn.transform(at[:, 0], at[:, 1])
    to_lon, to_lat = turn.transform(*place)
    many = np.ones(len(at))
    return GEOD.inv(lon, lat, to_lon * many, to_lat * many)[0] % 360


AT = HERE + np.array([[0.0, -300.0], [250.0, -150.0], [-280.0, -90.0], [120.0, -400.0]])


def table(at: np.ndarray = AT, bearings: np.ndarray | None = None, *, animal: str = "T01",
          start: str = "2024-05-03T13:00Z", minutes: float = 5.0, north: str = "true",
          sd: float = np.nan, time_known: bool = True) -> gpd.GeoDataFrame:  # fmt: skip
    count = len(at)
    when = pd.Timestamp(start) + pd.to_timedelta(np.arange(count) * minutes, unit="min")
    rows = gpd.GeoDataFrame(
        {
            "source_file": "bearings.csv", "source_row": np.arange(count) + 2,
            "organismID": animal, "eventDate": when.strftime("%Y-%m-%dT%H:%MZ"), "time": when,
            "time_known": time_known,
            "bearing_degrees": true_bearings(at) if bearings is None else bearings,
            "north": north, "bearing_sd_degrees": sd, "recordedBy": "observer",
        },
        geometry=gpd.points_from_xy(at[:, 0], at[:, 1]), crs=CRS,
    )  # fmt: skip
    return schemas.conform(rows, schemas.BEARINGS)


def made(*arguments, **more) -> BearingFixes:
    found = bearing_fixes(study(*arguments, **more))
    assert found is not None
    return found


def trials(errors: np.ndarray) -> gpd.GeoDataFrame:
    """Tests from places all round, off by known errors [degrees, clockwise]."""
    turn = np.linspace(0, 2 * np.pi, len(errors), endpoint=False)
    at = HERE + 300 * np.column_stack([np.sin(turn), np.cos(turn)])
    rows = table(at, (true_bearings(at) + errors) % 360).drop(
        columns=["organismID", "bearing_sd_degrees"]
    )
    rows = rows.assign(transmitter_x=HERE[0], transmitter_y=HERE[1], source_file="tests.csv")
    return schemas.conform(rows, schemas.BEARING_TESTS)


ERRORS = generator(3, "test errors").normal(0, 5, 24)


def stack(*tables: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), crs=CRS)


def place(found: BearingFixes, row: int = 0) -> tuple[float, float]:
    point = found.fixes.geometry.iloc[row]
    return point.x, point.y


def test_bearings_from_true_north_meet_though_the_grid_is_turned() -> None:
    """Exact geodesic bearings; taken as grid bearings they would miss by the convergence."""
    found = made(table(sd=2.0))
    assert place(found) == pytest.approx(tuple(HERE), abs=0.05)
    turned = pyproj.Proj(CRS).get_factors(LON, LAT).meridian_convergence
    assert turned > 1.5
    assert found.bearings["azimuth_deg"].to_numpy() == pytest.approx(
        table()["bearing_degrees"].to_numpy() - turned, abs=0.01
    )


def test_magnetic_bearings_with_a_stated_declination() -> None:
    rows = table(bearings=(true_bearings(AT) + 10.5) % 360, north="magnetic", sd=2.0)
    found = made(rows, declination_degrees=-10.5)
    assert place(found) == pytest.approx(tuple(HERE), abs=0.05)
    # Only magnetic rows are turned.
    rows.loc[:1, "north"] = "true"
    rows.loc[:1, "bearing_degrees"] = true_bearings(AT)[:2]
    assert place(made(rows, declination_degrees=-10.5)) == pytest.approx(tuple(HERE), abs=0.05)


def test_magnetic_bearings_by_the_world_magnetic_model() -> None:
    """The model's declination in central Virginia was about 10 degrees west in 2024."""
    rows = table(bearings=(true_bearings(AT) + 10.0) % 360, north="magnetic", sd=2.0)
    assert np.hypot(*(place(made(rows)) - HERE)) < 8.0
    plain = rows.assign(north="true")
    assert np.hypot(*(place(made(plain)) - HERE)) > 20.0


def test_bearings_join_within_minutes_of_the_first() -> None:
    """By hand: 0, 20, 40, 60 minutes; within 30 of the first: pairs; within 45: three and one."""
    rows = table(minutes=20)
    assert made(rows).bearings["group"].tolist() == [1, 1, 2, 2]
    assert made(rows, join_within_minutes=45).bearings["group"].tolist() == [1, 1, 1, 2]
    other = table(minutes=20, animal="T02")
    assert made(stack(rows, other)).bearings["group"].tolist() == [1, 1, 2, 2, 3, 3, 4, 4]


def test_the_order_of_rows_does_not_matter() -> None:
    rows = stack(table(minutes=10), table(minutes=10, animal="T02"))
    mixed = rows.sample(frac=1, random_state=4)
    there = made(mixed, trials(ERRORS)).fixes.drop(columns=["source_row"])
    here = made(rows, trials(ERRORS)).fixes.drop(columns=["source_row"])
    pd.testing.assert_frame_equal(there, here)


def test_dates_alone_join_by_the_day_and_not_with_times() -> None:
    alone = table(start="2024-05-03T16:00Z", minutes=0, time_known=False)
    timed = table(start="2024-05-03T15:50Z", minutes=5)
    groups = made(stack(alone, timed)).bearings.groupby("time_known")["group"].nunique()
    assert groups.tolist() == [1, 1]


def test_deviation_by_hand() -> None:
    """Root mean square with m degrees of freedom, chi-square and Student t by scipy."""
    found, doubts = deviation_from_tests(trials(ERRORS), study(None, trials(ERRORS))
                                         .settings.bearing_tests)  # fmt: skip
    assert found is not None
    assert found.sd_deg == pytest.approx(np.sqrt(np.mean(ERRORS**2)), abs=0.01)
    assert found.sd_low_deg == pytest.approx(
        np.sqrt((ERRORS**2).sum() / stats.chi2.ppf(0.975, 24)), abs=0.01
    )
    assert found.sd_high_deg == pytest.approx(
        np.sqrt((ERRORS**2).sum() / stats.chi2.ppf(0.025, 24)), abs=0.01
    )
    t = stats.t.interval(0.95, 23, ERRORS.mean(), stats.sem(ERRORS))
    assert (found.bias_low_deg, found.bias_high_deg) == pytest.approx(t, abs=0.01)
    assert (found.tests, found.freedom, doubts) == (24, 24, ())


def test_a_bias_is_doubted_or_subtracted() -> None:
    off = ERRORS + 8.0
    here = study(table(), trials(off)).settings.bearing_tests
    found, doubts = deviation_from_tests(trials(off), here)
    assert found is not None
    assert found.sd_deg > 8
    assert any("subtract_bias" in d.mend for d in doubts)
    fixes = made(table(bearings=(true_bearings(AT) + 8.0) % 360), trials(off),
                 {"subtract_bias": True})  # fmt: skip
    assert fixes.deviation is not None
    assert fixes.deviation.sd_deg == pytest.approx(np.std(off, ddof=1), abs=0.01)
    assert fixes.deviation.freedom == 23
    assert fixes.remarks == ()
    # What is left is the bias of the tests' own sample.
    assert np.hypot(*(place(fixes) - HERE)) < 300 * np.radians(abs(ERRORS.mean())) * 2 + 0.1


def test_few_tests_and_tests_far_off_are_doubted() -> None:
    errors = np.array([3.0, -4.0, 170.0, 2.0, -1.0])
    here = study(None, trials(errors)).settings.bearing_tests
    found, doubts = deviation_from_tests(trials(errors), here)
    assert found is not None
    assert found.sd_deg > 70
    assert [d.row for d in doubts if "+170 degrees off" in d.problem] == [4]
    assert any(d.problem.startswith("5 tests") for d in doubts)


def test_two_bearings_need_tests_to_be_used() -> None:
    rows = table(AT[:2])
    without = made(rows)
    assert without.fixes["used"].tolist() == [False]
    assert without.fixes["note"].tolist() == [UNKNOWN_ERROR]
    assert without.fixes["deviation_from"].tolist() == ["not known"]
    assert [(r.kind, r.row) for r in without.remarks] == [("left out", 2), ("left out", 3)]
    assert with_bearing_fixes(schemas.empty(schemas.FIXES, CRS), without).empty
    with_tests = made(rows, trials(ERRORS))
    assert with_tests.fixes["used"].tolist() == [True]
    assert with_tests.remarks == ()


def test_three_bearings_without_tests_are_hardly_informative() -> None:
    wide = true_bearings(AT[:3]) + np.array([4.0, -3.0, 3.0])
    found = made(table(AT[:3], wide % 360))
    assert found.fixes["note"].tolist() == [HARDLY_INFORMATIVE]
    assert found.fixes["used"].tolist() == [True]
    assert "1 fix is hardly informative" in found.notes[-1]
    four = made(table(AT, (true_bearings(AT) + np.array([4.0, -3.0, 3.0, -2.0])) % 360))
    assert four.fixes["note"].tolist() == [""]
    assert four.fixes["semi_major_m"].iloc[0] < found.fixes["semi_major_m"].iloc[0] / 2


def test_bearings_that_meet_exactly_tell_nothing_of_their_error() -> None:
    exact = made(table())
    assert exact.fixes["note"].tolist() == [EXACT_MEETING]
    assert exact.fixes[["semi_major_m", "cov_xx", "area_m2"]].isna().all(axis=None)
    assert place(exact) == pytest.approx(tuple(HERE), abs=0.05)


def test_stated_deviations_go_before_tests() -> None:
    stated = made(table(sd=3.0), trials(ERRORS * 3))
    alone = made(table(sd=3.0))
    columns = ["semi_major_m", "cov_xx", "cov_yy", "deviation_from"]
    pd.testing.assert_frame_equal(stated.fixes[columns], alone.fixes[columns])
    some = table(sd=3.0)
    some.loc[0, "bearing_sd_degrees"] = np.nan
    assert made(some).fixes["deviation_from"].tolist() == ["these bearings alone"]
    mixed = made(some, trials(ERRORS * 3)).fixes
    assert mixed["deviation_from"].tolist() == ["tests, and stated for some"]
    assert mixed["semi_major_m"].iloc[0] > alone.fixes["semi_major_m"].iloc[0]


def test_reasons_for_no_fix_name_the_bearing() -> None:
    lonely = table(AT[:1], start="2024-05-01T10:00Z")
    parallel = table(HERE + np.array([[0.0, -300.0], [30.0, -300.0]]), start="2024-05-02T10:00Z")
    wrong = table(AT[1:3], start="2024-05-04T10:00Z")
    wrong["bearing_degrees"] = (wrong["bearing_degrees"] + [0.0, 180.0]) % 360
    found = made(stack(lonely, parallel, wrong), trials(ERRORS))
    assert found.fixes.empty
    reasons = found.bearings["reason"].tolist()
    assert reasons[0] == "fewer than two usable bearings"
    assert reasons[1] == reasons[2]
    assert "near-parallel" in reasons[1]
    assert "behind an observer (bearings.csv, row 3)" in reasons[3]
    left_out = [r for r in found.remarks if r.kind == "left out"]
    assert [r.problem for r in left_out] == [f"bearing: {r}" for r in reasons]
    assert {r.record for r in left_out} == {"T01"}


def test_an_open_region_is_said() -> None:
    at = HERE + np.array([[0.0, -300.0], [90.0, -300.0]])
    found = made(table(at, sd=8.0))
    assert found.fixes["note"].tolist() == [OPEN]


def test_fixes_go_on_together_each_with_its_error() -> None:
    """The covariance is that of the normal distribution with the same 95 % region."""
    found = made(table(AT[:3]), trials(ERRORS))
    seen = schemas.conform(
        gpd.GeoDataFrame(
            {
                "source_file": "fixes.csv", "source_row": [2], "organismID": "T01",
                "eventDate": "2024-05-01", "time": pd.Timestamp("2024-05-01T16:00Z"),
                "time_known": False, "coordinateUncertaintyInMeters": 5.0, "method": "homed in",
                "route": "", "route_measure": np.nan, "side": "",
            },
            geometry=gpd.points_from_xy([HERE[0] + 10], [HERE[1]]), crs=CRS,
        ), schemas.FIXES,
    )  # fmt: skip
    before = seen.copy()
    both = with_bearing_fixes(seen, found)
    pd.testing.assert_frame_equal(seen, before)
    assert both["method"].tolist() == ["homed in", "triangulated"]
    assert both.crs == CRS
    assert str(both["time"].dtype) == "datetime64[ns, UTC]"
    assert both[["cov_xx", "cov_xy", "cov_yy"]].iloc[0].isna().all()
    xx, xy, yy = both[["cov_xx", "cov_xy", "cov_yy"]].iloc[1]
    largest = np.linalg.eigvalsh([[xx, xy], [xy, yy]])[1]
    uncertainty = both["coordinateUncertaintyInMeters"].iloc[1]
    assert uncertainty == pytest.approx(np.sqrt(stats.chi2.ppf(0.95, 2) * largest))
    schemas.conform(both, schemas.FIXES)
    assert with_bearing_fixes(seen, None).columns[-3:].tolist() == ["cov_xx", "cov_xy", "cov_yy"]


def test_a_study_without_bearings() -> None:
    assert bearing_fixes(study(None)) is None
