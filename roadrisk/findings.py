"""What a run found: result tables that steps hand on and that reports draw.

Every table is in the study's working coordinate system (projected, metres); reports convert
to WGS 84. Counts may be fractions, since an uncertain report is spread over several roads.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from roadrisk.measure_findings import MeasureTables

Verdict = Literal["stretches stand out", "none stands out", "too few to tell"]


@dataclass(frozen=True)
class ChanceTest:
    """Whether any stretch stands out from its neighbourhood.

    Attributes
    ----------
    verdict : str
        "too few to tell" when even a strong hot stretch would be missed in four of five studies.
    units : int
        Different animals plus different observers with at least one event on the network.
    blocks : int
        Groups of events that were moved together.
    draws : int
        Seeded redistributions.
    alpha : float
        Chance of any false stretch in the whole network that was accepted.
    threshold : float
        Value of the test statistic above which a lixel stands out; NaN if nothing was tested.
    largest : float
        Largest observed value of the statistic.
    p_value : float
        Of the largest value, corrected for looking at the whole network; NaN if not tested.
    words : str
        One plain sentence for a planner.
    power : str
        What such a test could find with these animals and observers, in plain words.
    method : str
        How it was tested, for a reviewer.
    """

    verdict: Verdict
    units: int
    blocks: int
    draws: int
    alpha: float
    threshold: float
    largest: float
    p_value: float
    words: str
    power: str
    method: str


@dataclass(frozen=True, eq=False)
class TrackedAnimals:
    """What the tagged animals' fixes tell of crossings, animal by animal and together.

    Crossing-days are days with at least one crossing, *if animals don't respond to the road*.

    Attributes
    ----------
    animals : pandas.DataFrame
        One row an animal with two fixes or more. Columns: organismID, sex, fixes,
        days_watched, crossing_days with _low and _high, crossing_days_per_animal_year with
        _low and _high (of this animal, over drawn paths), least_crossings, total_crossings
        with _low and _high, totals_note, path_scale ("bursts" or "prior"), centres,
        effective_candidates, weight (how much it counts in rates).
    groups : pandas.DataFrame
        One row for all tagged animals and one a sex; columns of
        `telemetry.rate_groups.rate_groups`.
    by_month, by_hour : pandas.DataFrame
        Columns month or hour, total_crossings, share; by month also days_watched and
        crossing_days.
    conditions : pandas.DataFrame
        How the sums move with the path-scale prior and the road's width. Columns:
        turn_factor, width_factor, crossing_days, total_crossings.
    home_ranges : geopandas.GeoDataFrame
        Columns of `telemetry.home_range.home_ranges`.
    roads_cut : pandas.DataFrame
        Columns organismID, segment, segment_id, road, metres_inside.
    words : str
        The numbers in one plain sentence; "" without tagged animals.
    notes : tuple of str
        What the numbers mean and what they can't say.
    """

    animals: pd.DataFrame
    groups: pd.DataFrame
    by_month: pd.DataFrame
    by_hour: pd.DataFrame
    conditions: pd.DataFrame
    home_ranges: gpd.GeoDataFrame
    roads_cut: pd.DataFrame
    words: str
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class ReportTables:
    """What became of the public's reports, one by one and together.

    Attributes
    ----------
    states : pandas.DataFrame
        One row a report. Columns: file, row, record, state (decided, "undecided" or "changed"),
        decided_by, decided_at, reason, counts_as (chance that it is of no animal reported before:
        what it counts; 0 where it doesn't count), same_animal (number shared by reports that are
        rather one animal than not; 0 for a report by itself), segment_id.
    links : pandas.DataFrame
        Columns: record, other (the earlier report), probability (that both are of one animal),
        by_hand.
    choices : pandas.DataFrame
        Columns of `sightings.linking.Links.choices`.
    tags : pandas.DataFrame
        Reports of tagged animals. Columns: record, organismID, read_as, where, in_track, and the
        opportunistic fix that the report gives, which no movement model uses: eventDate,
        decimalLatitude, decimalLongitude, coordinateUncertaintyInMeters, method.
    histories : pandas.DataFrame
        Animals seen alive and later found dead. Columns: organismID, last_alive, found_dead,
        record.
    by_month, by_place : pandas.DataFrame
        Who reports anything; columns of `sightings.reporters.Reporters`.
    """

    states: pd.DataFrame
    links: pd.DataFrame
    choices: pd.DataFrame
    tags: pd.DataFrame
    histories: pd.DataFrame
    by_month: pd.DataFrame
    by_place: pd.DataFrame


@dataclass(frozen=True, eq=False)
class DeathTables:
    """How many animals die on the roads, where and when, and how far that is known.

    Numbers are missing (NaN) wherever they are not identified. With `bound_only` a value is
    missing, its _low is 0 and its _high the one-sided 95 % bound. Other _low and _high are 90 %
    intervals.

    Attributes
    ----------
    known : bool
        How many die is known: some source has a known chance of counting a death.
    bound_only : bool
        Such sources counted nothing, so that only upper bounds mean anything.
    ordered : bool
        Some source counted something: places have an order.
    words : str
        One plain sentence: deaths a year on all roads with interval, or why it isn't known.
    notes : tuple of str
        What stands behind it and what isn't known, in order.
    pieces : geopandas.GeoDataFrame
        One row a piece of road. Columns: piece (1..), road, segment_id (of its middle), length_m,
        watched (by a source with known chance), carcasses, reports_dead, kill_chance,
        deaths_per_km_year, excess_per_km_year, relative_rate (1 is the mean of all roads), each
        with _low and _high, rank, rank_low, rank_high, chance_among_worst, screened_per_km_year
        (Empirical Bayes), geometry (LineString).
    roads, units : pandas.DataFrame
        First row "all roads", then one row a road; one row a unit of an agency (owner of the
        road). Columns: road or unit, length_km, watched_km, carcasses, deaths_per_year and
        deaths_per_km_year, each with _low and _high, coming_year_low, coming_year_high (whole
        deaths that one coming year may bring, 90 %).
    carcasses : pandas.DataFrame
        From carcasses alone; columns of `mortality.deaths_tables.COLUMNS`, group is the road,
        first "all searched roads". Empty without surveys.
    twelve_months : pandas.DataFrame
        first_day, last_day and the same columns; group is "all searched roads" or a unit.
    routes : pandas.DataFrame
        Columns of `mortality.two_routes.TwoRoutes.table`.
    readings : pandas.DataFrame
        Columns: reading, deaths_per_year (with _low, _high), worst_shared, worst. Empty if
        traffic explains nothing.
    sources : pandas.DataFrame
        Columns: source, counted, watched_km, how_many (its chance of counting a death is known).
    kill_compared : pandas.DataFrame
        Columns: assumption, kill_chance, times.
    effort : pandas.DataFrame
        Columns of `mortality.survey_passes.effort_table`. Empty without surveys.
    population : pandas.DataFrame
        Columns of `mortality.population.AddedMortality.table`.
    survival : pandas.DataFrame
        Columns: group ("all", "female", "male"), quantity, chance, chance_low, chance_high,
        deaths.
    survival_curve : pandas.DataFrame
        Columns: group, day, at_risk, deaths, survival (with _low, _high).
    growth : pandas.DataFrame
        Columns: quantity, value, value_low, value_high. Empty without stages.
    when : pandas.DataFrame
        Columns: counted_by ("month", "hour", "road", "sex"), value (text), carcasses (of
        surveys), reports_dead, reports_alive, reports_other (not said), crossings (of tagged
        animals, expected), deaths (a year, by road only).
    nests : pandas.DataFrame
        Columns of `mortality.nests.nesting_table`. Empty without nests and gravid females.
    """

    known: bool
    bound_only: bool
    ordered: bool
    words: str
    notes: tuple[str, ...]
    pieces: gpd.GeoDataFrame
    roads: pd.DataFrame
    units: pd.DataFrame
    carcasses: pd.DataFrame
    twelve_months: pd.DataFrame
    routes: pd.DataFrame
    readings: pd.DataFrame
    sources: pd.DataFrame
    kill_compared: pd.DataFrame
    effort: pd.DataFrame
    population: pd.DataFrame
    survival: pd.DataFrame
    survival_curve: pd.DataFrame
    growth: pd.DataFrame
    when: pd.DataFrame
    nests: pd.DataFrame


@dataclass(frozen=True, eq=False)
class Findings:
    """Results of `analysis.analyse`.

    Attributes
    ----------
    segments : geopandas.GeoDataFrame
        One row a segment. Columns: segment_id, road (label to show), name, ref, road_class,
        level (0 on the ground), bridge, tunnel, band_of (segment_id of the other carriageway's
        leading segment, or empty), route, begin_measure, end_measure, owner, aadt, aadt_year,
        speed_limit_kmh, lanes, length_m, animals_in_reach, animal_days_in_reach,
        crossing_days (expected, all tagged animals), crossing_days_per_animal_year (with
        _low, _high), crossing_days_note, animals_crossing (expected), least_crossings,
        reports_alive, reports_dead, reports_other, evidence_per_km_year (crossing-days and
        reports), kill_chance (that a crossing kills; with _low, _high), traffic_used,
        traffic_from (words), deaths_per_km_year (with _low, _high), geometry.
    lixels : geopandas.GeoDataFrame
        One row a lixel, in network order (of a very large study those with most evidence or
        deaths: `hotspots.lixel_table.rows_to_write`; a note says so). Columns: segment_id, edge,
        start_m, end_m (along the edge), density_per_km_year (kernel), density_crossings,
        density_reports, density_alive, density_dead (the same by evidence),
        deaths_per_km_year (mean of its piece of road; NaN where not known), relative_rate
        (1 is the mean of all roads; NaN where nothing is ordered), statistic, p_value,
        stretch (0 = none), geometry (LineString).
    stretches : geopandas.GeoDataFrame
        Stretches that stand out, between their ends. Columns: stretch (1..), road, route,
        begin_measure, end_measure, begin_place, end_place (words), begin_x_m, begin_y_m,
        end_x_m, end_y_m (working system), length_m, p_value (that it stands out),
        window_p_value (of the fixed window of road that holds it, by itself), window_p_from
        ("draws" or "tail fit"), q_value (Benjamini-Hochberg over all windows),
        ends_p_value (of the scan that found the ends), kept_of_100, begin_low_m,
        begin_high_m, end_low_m, end_high_m (in resamples, along the stretch from its
        beginning), times_around_low, times_around_high (in resamples), ends_note (why there
        are no ends, or empty), crossing_days (with _low, _high: these tagged animals, over drawn
        paths), deaths_per_year, deaths_per_km_year and excess_per_km_year (each with _low, _high),
        reports, reports_alive, reports_dead, reports_other, animals, observers,
        times_around (animals and observers in it, each counted as one, per metre, as a multiple
        of those in the rest of its windows of road; somewhat too high, since the place was
        picked for it; infinite where there are none), owner,
        aadt, speed_limit_kmh (words, "a to b" where it varies), geometry (MultiLineString). May
        be empty.
    stretch_years : pandas.DataFrame
        Columns of `hotspots.stretch_years.reports_by_year`.
    ranked : geopandas.GeoDataFrame
        The ranked list, best first: by expected deaths, else by where more die than elsewhere, else
        by crossings and reports (`DeathTables.known`, `ordered`). Columns: rank, road, route,
        begin_measure, end_measure, place, begin_place, end_place (words), length_m,
        deaths_per_km_year, excess_per_km_year (above similar roads) and relative_rate (1 is the
        mean of all roads), each with _low and _high, chance_among_worst (of the worst k, setting
        worst_places), deaths_note (why a number is missing, or empty), rank_low, rank_high (90 %,
        by deaths; where the list goes by crossings and reports in resamples, and they stand after
        kept_of_100), crossing_days (with _low, _high: these tagged animals, over drawn paths),
        crossing_days_per_animal_year (with _low, _high: animals like these), crossing_days_note,
        least_crossings, reports_alive, reports_dead, reports_other, animals_in_reach, animals
        (missing, like all crossings, where no animal was in reach), observers (with half a report
        or more), evidence_per_km_year, evidence_per_km_year_low, evidence_per_km_year_high,
        evidence_if_independent_low, evidence_if_independent_high (per km and year, were every event
        independent), interval_note, p_value (of the window's strongest point, smoothed),
        kept_of_100 (in resamples of crossings and reports), stretch (with most metres of the
        window, else the one whose smoothed evidence reaches it; 0 for none), metres_in_stretch
        (between its ends), rests_on (words), look_at, owner, aadt, aadt_year, speed_limit_kmh
        (highest of its segments), segment_ids (of both carriageways), geometry (LineString, begin
        to end).
    crossings : geopandas.GeoDataFrame
        One row a straight step between two fixes that meets a road. Columns: organismID,
        from_time, to_time, step_days, segment_id,
        lixel, geometry (Point).
    sightings : geopandas.GeoDataFrame
        One row a report that was placed. Columns: occurrenceID, time, vitality, sex,
        recordedBy, occurrenceRemarks, spread_m (95 % radius), distance_m (to the nearest
        road), segment_id (where most of it lies), weight_there, repeats (reports joined into
        this one), counts_as, geometry (Point as reported, or where a decision moved it).
    left_out : pandas.DataFrame
        Records that did not count. Columns: file, row, record, reason.
    doubts : pandas.DataFrame
        Columns: file, row, column, record, problem, mend.
    road_mismatches : pandas.DataFrame
        Where the agency layer and the network disagree. Columns: segment_id, road, problem.
    chance : ChanceTest
    power : pandas.DataFrame
        What the test could find; columns of `hotspots.power.Power.table`.
    network_k, local_gi : pandas.DataFrame
        For the appendix; columns of `hotspots.appendix.network_k_table` and `local_gi_table`.
    tracked : TrackedAnimals
    reports : ReportTables
    deaths : DeathTables
    measures : MeasureTables
    notes : tuple of str
        Sentences about what was counted and left out, in the order of the computation.
    counts : dict of str to int
        Records read, placed and left out, by kind, for the reports' first lines.
    """

    segments: gpd.GeoDataFrame
    lixels: gpd.GeoDataFrame
    stretches: gpd.GeoDataFrame
    stretch_years: pd.DataFrame
    ranked: gpd.GeoDataFrame
    crossings: gpd.GeoDataFrame
    sightings: gpd.GeoDataFrame
    left_out: pd.DataFrame
    doubts: pd.DataFrame
    road_mismatches: pd.DataFrame
    chance: ChanceTest
    power: pd.DataFrame
    network_k: pd.DataFrame
    local_gi: pd.DataFrame
    tracked: TrackedAnimals
    reports: ReportTables
    deaths: DeathTables
    measures: MeasureTables
    notes: tuple[str, ...]
    counts: dict[str, int]
