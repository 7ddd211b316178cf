"""The species profile of a study: a file of its own, one of the package, or the generic animal."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from roadrisk.errors import InputError, Remark
from roadrisk.records.settings_file import NAME, find_line
from roadrisk.records.study_files import describe, find_file
from roadrisk.records.toml_file import parsed_toml
from roadrisk.species import (
    GENERIC,
    Profile,
    built_in_names,
    built_in_profile,
    built_in_profile_of,
    profile_from,
    same_species,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from roadrisk.settings import StudySection
    from roadrisk.study import InputFile

_KEY = "study.profile"
_LARGEST_BYTES = 1_000_000
_WRITE_ONE = (
    "write a profile (roadrisk/species/TEMPLATE.toml explains it) and name it: "
    'profile = "my_species.toml"'
)


@dataclass(frozen=True)
class ChosenProfile:
    """The profile that a study uses, and why.

    Attributes
    ----------
    profile : Profile
    words : str
        One plain sentence for reports: which profile, and whose.
    remarks : tuple of Remark
        Doubts: the generic animal stands in, or the profile is of another species.
    inputs : tuple of InputFile
        The file that was read, if the study brings its own.
    """

    profile: Profile
    words: str
    remarks: tuple[Remark, ...] = ()
    inputs: tuple[InputFile, ...] = ()


def load_profile(
    study: StudySection, folder: Path, note: Callable[[Path], object] = lambda _: None
) -> ChosenProfile:
    """Find the species profile of a study.

    Parameters
    ----------
    study : StudySection
        ``profile`` names a ``.toml`` file of the folder or a profile of the package; if it is
        empty, the scientific name decides, and a species that the package doesn't know gets
        the generic small slow animal and a doubt that says so.
    folder : pathlib.Path
        The study folder.
    note : callable
        Told of the file before it is read.

    Returns
    -------
    ChosenProfile

    Raises
    ------
    InputError
        With every problem in the file, or if there is no such file or profile.
    """
    wanted = study.profile.strip()
    if wanted.casefold().endswith(".toml"):
        chosen = _own(wanted, folder, note)
    elif wanted:
        chosen = _named(wanted)
    else:
        return _by_species(study.species)
    return _checked(chosen, study.species)


def _own(name: str, folder: Path, note: Callable[[Path], object]) -> ChosenProfile:
    path = find_file(folder, name, _KEY, NAME)
    if isinstance(path, Remark):
        raise InputError([path])
    note(path)
    parsed = parsed_toml(
        path, name, most_bytes=_LARGEST_BYTES, anew="write it again from TEMPLATE.toml",
        hint="text needs double quotes, and a table [brackets]",
    )  # fmt: skip
    if isinstance(parsed, Remark):
        raise InputError([parsed])
    data, text = parsed
    try:
        profile = profile_from(data, name)
    except InputError as error:
        raise InputError(replace(r, row=find_line(text, r.column)) for r in error.remarks) from None
    except RecursionError:
        problem = Remark(name, None, "", "it is nested too deep.", "write it again")
        raise InputError([problem]) from None
    words = f"Species values: the study's own profile of {profile.common_name} ({name})."
    return ChosenProfile(profile, words, inputs=tuple(describe(folder, path, None)))


def _named(wanted: str) -> ChosenProfile:
    name = re.sub(r"[\s-]+", "_", wanted.casefold())
    known = built_in_names()
    if name not in known:
        raise InputError(
            [
                Remark(
                    NAME,
                    None,
                    _KEY,
                    f"there is no profile {wanted!r} in the package.",
                    f"write one of {', '.join(known)}, or the name of a .toml file in the folder",
                )
            ]
        )
    return _of_package(name)


def _by_species(species: str) -> ChosenProfile:
    found = built_in_profile_of(species)
    if found is not None:
        return _of_package(found[0])
    doubt = Remark(
        NAME,
        None,
        "study.species",
        f"there is no profile of {species!r}: the generic small slow animal stands in, and what "
        "hangs on its values is hardly informative.",
        _WRITE_ONE,
        kind="doubt",
    )
    profile = built_in_profile(GENERIC)
    words = f"Species values: the generic small slow animal stands in for {species}."
    return ChosenProfile(profile, words, (doubt,))


def _of_package(name: str) -> ChosenProfile:
    profile = built_in_profile(name)
    return ChosenProfile(
        profile, f"Species values: the package's profile of {profile.common_name} ({name})."
    )


def _checked(chosen: ChosenProfile, species: str) -> ChosenProfile:
    profile = chosen.profile
    if profile is built_in_profile(GENERIC) or same_species(profile, species):
        return chosen
    doubt = Remark(
        NAME,
        None,
        _KEY,
        f"the profile is of {profile.scientific_name!r}, the study of {species!r}.",
        "name the right profile, or add the name to also_called in your own",
        kind="doubt",
    )
    return replace(chosen, remarks=(*chosen.remarks, doubt))
