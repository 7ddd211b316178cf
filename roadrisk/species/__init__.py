"""Species profiles: what is known of a species, one TOML a species, every value with its source.

A profile of one's own starts from ``TEMPLATE.toml`` in this folder, which explains every key.
"""

from roadrisk.species.built_in import (
    GENERIC,
    built_in_names,
    built_in_profile,
    built_in_profile_of,
)
from roadrisk.species.profile import Profile, home_sd_from_area, profile_from, same_species
from roadrisk.species.sex_features import SexFeatures
from roadrisk.species.values import Value

__all__ = [
    "GENERIC",
    "Profile",
    "SexFeatures",
    "Value",
    "built_in_names",
    "built_in_profile",
    "built_in_profile_of",
    "home_sd_from_area",
    "profile_from",
    "same_species",
]
