"""What an empty study's files hold: settings with comments, and heads of tables."""

from __future__ import annotations

from roadrisk.records.columns import TERMS

TEMPLATES: dict[str, tuple[str, ...]] = {
    "animals.csv": (
        "organismID", "sex", "lifeStage", "mass_g", "transmitter_mass_g", "tag_channel",
        "decimalLatitude", "decimalLongitude",
    ),
    "fixes.csv": (
        "organismID", "eventDate", "decimalLatitude", "decimalLongitude",
        "coordinateUncertaintyInMeters", "method",
    ),
    "sightings.csv": (
        "occurrenceID", "eventDate", "decimalLatitude", "decimalLongitude",
        "coordinateUncertaintyInMeters", "scientificName", "vitality", "sex", "lifeStage",
        "reproductiveCondition", "behavior", "recordedBy", "samplingProtocol", "eventID",
        "carcass_action", "occurrenceRemarks", "associatedMedia",
        "identificationVerificationStatus",
    ),
    "traffic.csv": TERMS["traffic"],
    "surveys.csv": (
        "eventID", "eventDate", "samplingProtocol", "route", "begin_measure", "end_measure",
        "samplingEffort", "observers", "searched_width_m", "individualCount",
    ),
    "trials.csv": (
        "trialID", "trial", "samplingProtocol", "size_class", "look", "carcasses", "found",
        "eventDate", "last_seen", "first_gone",
    ),
    "nests.csv": (
        "occurrenceID", "eventDate", "decimalLatitude", "decimalLongitude",
        "coordinateUncertaintyInMeters", "organismID", "nest_outcome", "recordedBy",
        "occurrenceRemarks",
    ),
}  # fmt: skip

STUDY = """\
# A study: what it is, and where its tables are. Keys after a # are optional; they show
# their usual value. Check the folder with:  roadrisk check FOLDER

[study]
name = ""                # title for the map and the list
short_name = ""          # for file names: a-z, 0-9, - and _
species = ""             # scientific name
# common_name = ""
# profile = ""           # species profile: a .toml file of yours, or one of the package
start = {start}       # first and last day of the study, both counted
end = {end}
time_zone = ""           # of the dates in the tables, such as "America/New_York"
# units = "metric"       # or "us"
# crs = "auto"           # or a projected system in metres, such as "EPSG:32617"
# seed = 1               # the same seed gives the same result
"""

TABLES = """
# Tables. Columns have the names of the Darwin Core standard where it has one. If yours have
# others, name them under [....columns], our name first. Take out the sections you don't need.

[animals]
file = "animals.csv"
# transmitter_limit_percent = 5.0    # of body mass; follow your permit
# caught_at_road = "keep"            # or "leave out", "weight": animals caught near a road
# caught_near_road_m = 100.0         # decimalLatitude and -Longitude say where each was caught

# [animals.columns]
# organismID = "Turtle no."

[fixes]
file = "fixes.csv"                   # or a list: ["2023.csv", "2024.xlsx"]
# default_uncertainty_m = 10.0       # where coordinateUncertaintyInMeters is empty
# date_order = "day-first"           # only for dates such as 03/04/2025; or "month-first"
# crs = "EPSG:4326"                  # of x and y; then map x and y below
# longitude = "signed"               # or "unsigned west": minus signs are missing
# latitude = "signed"                # or "unsigned south"
# swapped = false                    # true: latitude and longitude are exchanged
# sheet = "Sheet1"                   # of a workbook
# layer = "points"                   # of a GeoPackage; "waypoints" or "tracks" of a GPX file
# encoding = "utf-8"                 # or "cp1252", "latin-1"

# [bearings]                         # bearings to tagged animals: see roadrisk bearings
# file = "bearings.csv"              # organismID, eventDate, the observer's place, bearing_degrees
# north = "magnetic"                 # or "true"; or a column north
# declination_degrees = -10.5        # east positive; if left out: the World Magnetic Model
# join_within_minutes = 30.0         # of the first bearing of a fix
# least_crossing_degrees = 15.0
# method = "mle"                     # or a robust one: "huber", "andrews"

# [bearing_tests]                    # bearings to a transmitter at a known place, 20 or more
# file = "bearing_tests.csv"         # ... and transmitterLatitude, transmitterLongitude
# north = "magnetic"
# subtract_bias = false

[sightings]
file = "sightings.csv"               # the same keys as [fixes]
# default_uncertainty_m = 100.0
# surveys = []                       # values of samplingProtocol that are carcass surveys
# undecided = "count"                # or "leave out": reports that nobody decided on yet
# carcass_days = 3.0                 # how long a carcass is there to be seen, on average,
# live_minutes = 30.0                # and a live animal at one place: your choice, nothing is
# same_place_m = 50.0                # published; reports that may be one animal count together

# [traffic]
# file = "traffic.csv"               # aadt by name, ref, or route and measures

# [effort]                           # roads that were searched or watched; see null below
# file = "effort.csv"                # a piece of road, samplingEffort ("3 passes"), eventDate
# match_within_m = 30.0

# [surveys]                          # searches for carcasses, those that found none too:
# file = "surveys.csv"               # survey_form.html is a form to print; eventID, eventDate,
# searched_width_m = 12.0            # samplingProtocol (walk, bicycle, car), and which road.
# match_within_m = 30.0              # Carcasses found are sightings with the survey's eventID

# [trials]                           # what surveys miss: trial_form.html is a form to print
# file = "trials.csv"                # trial: detection, persistence or width
# small_below_mm = 80.0              # if small animals are harder to find

# [nests]                            # secret places: only counts by road come out
# file = "nests.csv"                 # nest_outcome: emerged, predated, failed or not known;
# default_uncertainty_m = 10.0       # organismID: the female, if she is known

# [background]                       # the same public's reports of anything else; see null below
# file = "other_reports.csv"         # eventDate, position, recordedBy
# spread_m = 500.0                   # how far they are spread along the roads
"""

ROADS = """
# Roads: an OpenStreetMap extract, an agency's centreline layer, or both.

[roads.osm]
file = "roads.osm.pbf"               # .osm, .osm.gz, .osm.bz2 or .osm.pbf
# leave_out = ["footway", "path"]    # values of highway that are no road to a car

# [roads.agency]
# file = "centrelines.gpkg"          # or .shp, .geojson
# measure_unit = "km"                # or "m", "mi", "ft"
# speed_unit = "km/h"                # or "mph"
# match_within_m = 20.0
# crossing_lines = "join"            # "apart": the layer has nodes at its junctions
# [roads.agency.columns]
# route = "ROUTE_ID"
# begin_measure = "BEGIN_MP"
# end_measure = "END_MP"
# aadt = "AADT"
"""

METHODS = """
# How it is computed; everything below is optional.

# [population]                       # how many adults live there, with an interval
# adults = 80
# adults_low = 50
# adults_high = 130
# # or adults_per_ha, adults_per_ha_low, adults_per_ha_high and habitat_ha

# [crossings]
# longest_step_days = 14.0           # longer steps between fixes don't count
# reach_m = 200.0
# draws = 400                        # paths drawn between the fixes

# [kill]                             # the chance that a crossing kills; ranges hold about 90 %
# walking_speed_m_min_low = 1.0      # instead of the species profile's
# walking_speed_m_min_high = 4.0
# traffic_by_hour = []               # 24 numbers from 0 h, in proportion to vehicles
# tolerable_percent_a_year = 3.0     # of the adults: your bound; sources give 2, 3, 5 and 10

# [stages]                           # a projection with and without road deaths; the numbers
#                                      here are examples of no species
# survival_includes_road_deaths = true
# source = "invented"                # where these rates come from
# [[stages.stage]]
# name = "young"
# survival_low = 0.3                 # share that lives through a year: a range of 90 %
# survival_high = 0.6
# years = 8                          # in this stage; left out in the last
# [[stages.stage]]
# name = "adult"
# survival_low = 0.85
# survival_high = 0.95
# young_low = 0.5                    # daughters in the first stage a year and female
# young_high = 2.0
# road_deaths = true                 # roads kill animals of this stage

# [placement]
# near_m = 30.0

# [mortality]                        # from carcasses and crossings to deaths
# piece_m = 100.0                    # pieces of road that death rates are told for
# before_first_days = 30.0           # deaths are sought from so long before the first search
# within_width = 0.9                 # share of the killed that lie in the searched width, with
# within_width_low = 0.7             # its range; left out, it is said not to be known
# within_width_high = 0.98
# borrowed_persistence_days = 3.0    # half of the carcasses are gone by then: only without
# borrowed_persistence_days_low = 1.0       # trials of your own, and with its source
# borrowed_persistence_days_high = 8.0
# borrowed_persistence_source = "where these values are from"

# [habitat]                          # what lies beside the roads, by which deaths may vary
# file = "habitat.gpkg"              # polygons; also .shp, .geojson
# layer = "cover"                    # if the file has several
# column = "kind"                    # wetland, forest, water ...: 20 kinds at most
# within_m = 200.0                   # how far from the road is looked

# [prices]                           # unit costs of pay items; prices.csv is a form to fill in.
# file = "prices.csv"                # While any that is needed isn't confirmed, no costs are shown

# [mitigation]                       # what to do where
# budget = 250000                    # present value over the horizon; or, instead of it,
# # target_averted_per_year          # the deaths a year to avert for the least money
# fence_m = 2000                     # metres of fence to place while prices aren't confirmed
# budget_covers = "building and upkeep"     # or "building"
# horizon_years = 30
# discount_percent = 3.0
# currency = "USD"
# least_fence_m = 100                # of road that one fence runs along
# longest_fence_m = 3000
# passage_spacing_m = 150.0          # longest distance that the species walks along a fence
# measures = ["fence_and_passages", "fence_to_culverts", "sign_standing", "sign_seasonal"]
# sign_table = "2023"                # edition of the federal table of advance distances; or "2009"
# [mitigation.effect.fence_and_passages]    # your own range of the share of deaths averted
# low = 0.5                          # 5 % point, middle, 95 % point
# likely = 0.8
# high = 0.95
# source = "where this range is from"
# [mitigation.displaced]             # deaths that move to a fence's ends, for each one averted
# low = 0.0                          # near them: sources run from none to more than one
# likely = 0.5
# high = 1.1
# source = "where this range is from"

# [structures]                       # culverts, bridges, underpasses: which animals can use
# file = "structures.csv"            # id, type, span_m, rise_m, length_m, perched, water, grate,
# least_rise_m = 0.5                 # condition; coordinates, or route and route_measure
# match_within_m = 30.0

# [fences]                           # that stand already
# file = "fences.csv"                # a piece of road as in [effort]; side, height_m, condition

# [openings]                         # driveways and gates: a fence must open there
# file = "openings.csv"              # id, kind, and a place

# [parcels]                          # land beside the roads
# file = "parcels.gpkg"              # polygons; kind: right-of-way, private, protected, public
# within_m = 15.0                    # of the road's middle

# [wetlands]                         # left out: those of [habitat]
# file = "wetlands.gpkg"
# within_m = 15.0

# [crashes]                          # people's accidents: only counted
# file = "crashes.csv"               # eventDate, animal (yes, no), and a place

# [works]                            # planned by the agency: the cheap moment
# file = "works.csv"                 # kind, year, and a place or a piece of road

# [compare]                          # did works help? for: roadrisk compare
# file = "sites.csv"                 # site, kind (works, control, end), of_site, built, begun,
#                                    # chosen_from, chosen_to, and a piece of road as in [effort]
# chosen_years = "leave out"         # or "empirical bayes": years that led to the choice
# end_m = 200.0                      # road beside the works where no end is named
# years_differ = 1.5                 # variance over mean of counts of different years, if known

# [inspections]                      # of fences
# file = "inspections.csv"           # eventDate, site, breaches, mended (yes, no)

# [passage_use]                      # animals that went through passages
# file = "passage_use.csv"           # site, structure, from_date, to_date, camera_days, animals

# [replies]                          # what answers to senders of reports say
# injured_call = ""                  # whom to call for an injured animal, with the number
# signed = ""                        # from whom the answer is

# [release]                          # how far the public edition blurs places
# sensitivity = "high"               # cells of 0.1 degrees; or "extreme" (no places), "medium"
#                                    # (0.01), "low" (0.001): Chapman 2020, table 7
# least_animals = 3                  # cells with fewer are joined with others
# review_on = 2030-01-01             # when this choice is to be looked at again
# rights_holder = ""                 # of published records, and their license
# license = ""
# report_to = ""                     # where the public reports what it sees
# occurrence_status = "detected"     # or "present"

# [proposal]                         # what only people know; left out: a line to fill in.
# agency = ""                        # who is asked. Your own paragraphs: texts/need.txt,
# sponsor = ""                       # texts/objective.txt and so on, printed as they are
# requested_by = ""
# contact = ""
# prepared_on = 2030-01-01
# legal_status = ""                  # of the species, in law
# maintenance_by = ""
# funding = ""
# permits = []                       # that are needed
# past_measures = []                 # what was tried before, and how it went
# objective_percent = 50.0           # deaths at the sites are to fall by so much; left out:
# objective_year = 2030              # what the measures are expected to avert, and no year
# monitoring_years = 3               # of counting after the works

# [hotspots]
# kernel = "continuous"   # along the roads; "straight": across country, as animals walk
# bandwidth_m = 200.0
# rank_window_m = 100.0
# rows = 30
# null = "windows"                   # what stands out is compared with: records moved within
# block_window_m = 2000.0            # windows of road; or "free", "effort", "reports"
# null_within = "all year"           # or "season", with seasons = [[4, 5, 6], [7, 8, 9]]
#                                      (months; the others are one more season)
"""
