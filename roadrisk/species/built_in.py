"""The profiles that come with the package."""

from __future__ import annotations

import re
import tomllib
from functools import lru_cache
from importlib.resources import files

from roadrisk.species.profile import Profile, profile_from, same_species

GENERIC = "generic_small_slow_animal"


def built_in_names() -> tuple[str, ...]:
    """Return the names of the profiles that come with the package, the generic one included."""
    found = (p.name.removesuffix(".toml") for p in files(__package__).iterdir() if p.is_file())
    return tuple(sorted(n for n in found if re.fullmatch(r"[a-z_]+", n)))


@lru_cache
def built_in_profile(name: str) -> Profile:
    """Return a profile that comes with the package.

    Parameters
    ----------
    name : str
        One of `built_in_names`.

    Returns
    -------
    Profile
    """
    file = files(__package__) / f"{name}.toml"
    return profile_from(tomllib.loads(file.read_text(encoding="utf-8")), file.name)


def built_in_profile_of(scientific_name: str) -> tuple[str, Profile] | None:
    """Return name and profile of a species that the package knows, or None.

    Parameters
    ----------
    scientific_name : str
        Any case; a subspecies or an author's name after the species doesn't matter.
    """
    for name in built_in_names():
        profile = built_in_profile(name)
        if name != GENERIC and same_species(profile, scientific_name):
            return name, profile
    return None
