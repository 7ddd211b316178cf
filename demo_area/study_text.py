"""The demo's study.toml."""

from killed import STOP_MIN, TRAFFIC_BY_HOUR
from plane import SEED

HOURS = (
    ", ".join(map(str, TRAFFIC_BY_HOUR[:12])) + ",\n  " + ", ".join(map(str, TRAFFIC_BY_HOUR[12:]))
)

STUDY_TOML = f"""\
# An invented study: the reserve, its roads, its animals and its observers are made up.
# Written by make_demo.py; the truth behind it lies in truth/.

[study]
name = "Pellowmere Reserve (invented)"
short_name = "demo"
species = "Testudo ficta"
common_name = "marsh tortoise (invented)"
profile = "profile.toml"     # hours, season and movement of the invented species
start = 2023-04-01
end = 2025-10-31
time_zone = "Europe/Warsaw"  # of the coordinates that the invented area borrows
units = "metric"             # or "us"
crs = "auto"                 # the UTM zone of the data
seed = {SEED}
invented = true              # every output says so

[animals]
file = "animals.csv"
transmitter_limit_percent = 5.0  # of body mass; above it: a doubt
caught_at_road = "keep"          # or "leave out", "weight": animals that were caught at a road
caught_near_road_m = 15.0        # so near counts as at the road

[fixes]
file = "fixes.csv"
default_uncertainty_m = 10.0

[sightings]
file = "sightings.csv"
default_uncertainty_m = 100.0
surveys = ["carcass survey"]  # values of samplingProtocol that are carcass surveys

[roads.osm]
file = "roads.osm"
# What is no road to a car. Tracks are left out here too: one tractor a day.
leave_out = [
  "footway", "path", "cycleway", "bridleway", "steps", "pedestrian", "platform", "corridor",
  "elevator", "escalator", "proposed", "construction", "planned", "abandoned", "razed",
  "raceway", "via_ferrata", "no", "track",
]

[roads.agency]
file = "agency_roads.geojson"
measure_unit = "km"
speed_unit = "km/h"
match_within_m = 20.0

[roads.agency.columns]  # our word = the agency's field
route = "RTE_ID"
name = "RTE_NM"
begin_measure = "BEG_KM"
end_measure = "END_KM"
direction = "DIR"
aadt = "AADT"
aadt_year = "AADT_YR"
speed_limit = "SPD"
owner = "OWNR"
layer_date = "LYR_DATE"

[traffic]
file = "traffic.csv"

[surveys]
file = "surveys.csv"

[trials]
file = "trials.csv"

[nests]  # secret, as nests are: only counts by road are written
file = "nests.csv"

[habitat]
file = "habitat.geojson"
column = "kind"
within_m = 150.0

[structures]  # culverts and bridges; the map's other bridges are to be looked at
file = "structures.csv"

[openings]  # driveways and gates: a fence must open there
file = "openings.csv"

[parcels]
file = "parcels.geojson"

[works]  # planned: the cheap moment to build
file = "works.csv"

[kill]  # counted on the invented roads, invented like all here
traffic_by_hour = [
  {HOURS}
]
stop_minutes_low = {STOP_MIN[0]}
stop_minutes_high = {STOP_MIN[1]}

[population]  # invented, like all here: adults that live in the area, with a 95 % interval
adults = 140
adults_low = 95
adults_high = 210

[stages]
survival_includes_road_deaths = false
source = "invented for the demo"

[[stages.stage]]
name = "first year"
years = 1
survival_low = 0.35
survival_high = 0.55

[[stages.stage]]
name = "juvenile"
years = 7
survival_low = 0.76
survival_high = 0.84

[[stages.stage]]
name = "adult"
survival_low = 0.93
survival_high = 0.97
young_low = 0.6
young_high = 1.1
road_deaths = true

[crossings]
longest_step_days = 7.0  # longer steps between fixes don't count
reach_m = 200.0

[hotspots]
bandwidth_m = 200.0
rank_window_m = 100.0

[prices]  # invented, like all here
file = "prices.csv"

[mitigation]
budget = 700000      # present value over the horizon: works and upkeep
currency = "florins"
horizon_years = 30
discount_percent = 3.0

[release]
sensitivity = "medium"  # cells of 0.01 degrees in the public edition

[proposal]  # invented, like all here; what is left out is printed as a line to fill in
agency = "Region and District road offices of Pellowmere (invented)"
sponsor = "Pellowmere Reserve (invented)"
requested_by = "Friends of Pellowmere Marsh (invented)"
contact = "roads@pellowmere.example.invalid"
prepared_on = 2025-12-01
legal_status = "strictly protected (invented law of 1998)"
permits = [
  "leave to handle a protected animal (invented nature office)",
  "works on a road (invented road offices)",
]
past_measures = [
  "hand-painted signs on Tarnholt Lane, 2019 to 2021 (invented); nobody counted before or after",
]
objective_percent = 60
objective_year = 2031
monitoring_years = 4
"""

# The reserve's own paragraphs for the proposal, by file.
OWN_TEXTS = {
    "texts/need.txt": """\
The marsh tortoise (invented) has been watched at Pellowmere (invented) since 1974. Rangers who have
worked here for thirty years say that they see fewer old animals each spring. Nobody wrote it down,
so it stands in no number above.
""",
    "texts/maintenance.txt": """\
The reserve (invented) offers two volunteers for fence walks in April and in July, on the field side
of the fence only.

Mending stays with whoever owns the fence: the reserve has no crew and no insurance for work beside
a road.
""",
}  # fmt: skip
