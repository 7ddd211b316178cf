"""Names that columns have in field tables, for proposing a mapping (common practice)."""

from __future__ import annotations

SYNONYMS: dict[str, tuple[str, ...]] = {
    "organismID": (
        "animal", "animal id", "animal no", "animal number", "individual", "individual id", "id",
        "tag", "tag id", "turtle", "turtle id", "name", "code", "pit", "notch code",
    ),
    "occurrenceID": (
        "id", "record", "record id", "record no", "report", "report id", "report no", "objectid",
        "fid", "observation id", "sighting id", "number", "no", "nr", "uuid",
    ),
    "eventDate": (
        "date", "datetime", "date time", "timestamp", "day", "t", "time", "obs date", "date seen",
        "observation date", "inc date", "incident date", "fix time", "gps time", "datum", "fecha",
    ),
    "eventTime": ("time", "time of day", "hour", "obs time", "local time"),
    "decimalLatitude": (
        "lat", "latitude", "y", "gps lat", "lat dd", "wgs84 lat", "ycoord", "breite",
    ),
    "decimalLongitude": (
        "lon", "long", "lng", "longitude", "x", "gps lon", "lon dd", "long dd", "wgs84 lon",
        "xcoord", "länge",
    ),
    "x": ("easting", "utm e", "utm x", "utm easting", "east", "x coord", "os easting", "x utm"),
    "y": ("northing", "utm n", "utm y", "utm northing", "north", "y coord", "os northing", "y utm"),
    "coordinateUncertaintyInMeters": (
        "uncertainty", "accuracy", "accuracy m", "error", "error m", "epe", "precision",
        "gps accuracy", "position error", "hdop m",
    ),
    "method": ("fix method", "how", "technique", "locating method"),
    "route": ("road", "road no", "route no", "route id", "highway", "hwy", "rte"),
    "route_measure": ("milepost", "mile post", "mile marker", "km", "chainage", "measure", "mp"),
    "side": ("side of road", "road side", "verge"),
    "scientificName": ("species", "taxon", "scientific name", "latin name", "spp"),
    "vitality": ("alive or dead", "alive", "dead", "status", "condition", "live dead", "fate"),
    "sex": ("gender", "m f"),
    "lifeStage": ("age", "age class", "stage", "life stage"),
    "reproductiveCondition": (
        "reproductive condition", "reproductive state", "breeding condition", "breeding status",
    ),
    "behavior": ("behaviour", "activity", "doing"),
    "samplingProtocol": ("protocol", "survey protocol", "survey type", "sampling method"),
    "eventID": ("survey", "survey id", "survey no", "event", "event id", "visit id"),
    "recordedBy": ("observer", "reporter", "recorder", "seen by", "reported by", "collector"),
    "occurrenceRemarks": ("remarks", "notes", "note", "comment", "comments", "description"),
    "associatedMedia": ("photo", "photos", "image", "picture", "photo url", "media"),
    "identificationVerificationStatus": ("verified", "verification", "id status", "confirmed"),
    "occurrenceStatus": ("present absent", "presence", "occurrence status"),
    "nest_outcome": ("nest fate", "nest outcome", "outcome", "nest result"),
    "mass_g": ("mass", "weight", "weight g", "body mass", "mass g", "wt", "wt g"),
    "transmitter_mass_g": (
        "transmitter mass", "transmitter weight", "tag mass", "tag weight", "tag mass g",
    ),
    "fateDate": ("fate date", "date of fate", "date of death", "end date", "last date"),
    "fateCause": ("fate cause", "cause of death", "causeofdeath", "death cause"),
    "tag_channel": ("channel", "frequency", "freq", "tag frequency", "vhf", "vhf frequency"),
    "aadt": ("adt", "traffic", "traffic volume", "vehicles per day", "volume", "count"),
    "aadt_year": ("year", "count year", "aadt yr"),
    "begin_measure": ("begin", "from", "from measure", "begin mp", "start measure", "from km"),
    "end_measure": ("end", "to", "to measure", "end mp", "stop measure", "to km"),
    "speed_limit_kmh": ("speed", "speed limit", "limit", "kmh"),
    "samplingEffort": ("effort", "survey effort", "search effort", "passes", "visits", "times"),
    "sampleSizeValue": ("sample size", "effort value", "amount", "duration", "distance"),
    "sampleSizeUnit": ("unit", "units", "effort unit"),
    "footprintWKT": ("wkt", "line", "geometry", "transect"),
    "beginLatitude": ("start lat", "start latitude", "from lat", "begin lat"),
    "beginLongitude": ("start lon", "start longitude", "from lon", "begin lon"),
    "endLatitude": ("end lat", "stop lat", "to lat"),
    "endLongitude": ("end lon", "stop lon", "to lon"),
    "begin_x": ("start x", "start easting", "from x", "begin easting"),
    "begin_y": ("start y", "start northing", "from y", "begin northing"),
    "end_x": ("end easting", "stop x", "to x"),
    "end_y": ("end northing", "stop y", "to y"),
    "name": ("road name", "street", "street name", "fullname"),
    "ref": ("road ref", "road number", "number"),
}  # fmt: skip
"""Our term to names in use, folded: lower case, words apart by one blank."""


def fold(name: str) -> str:
    """Return a column name for comparison: lower case, words apart by one blank."""
    spaced = "".join(
        f" {c}" if c.isupper() and i and name[i - 1].islower() else c for i, c in enumerate(name)
    )
    kept = "".join(c if c.isalnum() else " " for c in spaced.casefold())
    return " ".join(kept.split())
