"""The profile that a study uses: its own file, one of the package, or the generic animal."""

from __future__ import annotations

import hashlib
from datetime import date
from importlib.resources import files

import pytest

from roadrisk.errors import InputError
from roadrisk.records.profile_file import load_profile
from roadrisk.settings import StudySection
from roadrisk.species import built_in_profile

TEMPLATE = (files("roadrisk.species") / "TEMPLATE.toml").read_text(encoding="utf-8")


def study(species="Exemplum tardum", profile=""):
    return StudySection(
        name="x", short_name="x", species=species, profile=profile, time_zone="UTC",
        start=date(2024, 1, 1), end=date(2024, 12, 31),
    )  # fmt: skip


def test_a_known_species_gets_its_profile(tmp_path):
    chosen = load_profile(study("Terrapene carolina bauri"), tmp_path)
    assert chosen.profile is built_in_profile("terrapene_carolina")
    assert not chosen.remarks
    assert "eastern box turtle" in chosen.words


def test_an_unknown_species_gets_the_generic_animal_and_a_doubt(tmp_path):
    chosen = load_profile(study("Testudo ficta"), tmp_path)
    assert chosen.profile is built_in_profile("generic_small_slow_animal")
    (doubt,) = chosen.remarks
    assert (doubt.kind, doubt.column) == ("doubt", "study.species")
    assert "'Testudo ficta'" in doubt.problem
    assert "stands in" in doubt.problem
    assert "stands in for Testudo ficta" in chosen.words


@pytest.mark.parametrize("written", ["bufo_bufo", "Bufo bufo", " bufo-bufo"])
def test_a_profile_of_the_package_by_name(written, tmp_path):
    chosen = load_profile(study("Bufo bufo", written), tmp_path)
    assert chosen.profile is built_in_profile("bufo_bufo")


def test_a_file_of_ones_own(tmp_path):
    (tmp_path / "mine.toml").write_text(TEMPLATE, encoding="utf-8")
    chosen = load_profile(study(profile="mine.toml"), tmp_path)
    assert chosen.profile.common_name == "example animal (invented)"
    assert not chosen.remarks
    (read,) = chosen.inputs
    assert (read.name, read.sha256) == (
        "mine.toml", hashlib.sha256(TEMPLATE.encode()).hexdigest(),
    )  # fmt: skip


def test_a_profile_of_another_species_is_doubted_and_the_generic_one_chosen_is_not(tmp_path):
    (doubt,) = load_profile(study("Bufo bufo", "chrysemys_picta"), tmp_path).remarks
    assert (doubt.kind, doubt.column) == ("doubt", "study.profile")
    assert "'Chrysemys picta'" in doubt.problem
    assert not load_profile(study("Bufo bufo", "generic_small_slow_animal"), tmp_path).remarks


@pytest.mark.parametrize(
    ("text", "at", "said"),
    [
        (TEMPLATE.replace("low = 1.0", "low = 1.0 m", 1), "low = 1.0", "the TOML is broken"),
        (TEMPLATE.replace("low = 1.0", "lowest = 1.0", 1), "low = 1.0", "did you mean 'low'"),
        (TEMPLATE.replace('"mm"', '"cm"', 1), "[body.length_mm]", "give the value in 'mm'"),
        (TEMPLATE.replace("# A", "# Ä", 1).encode("latin-1", "replace"), "# A", "not UTF-8"),
    ],
)
def test_errors_in_a_file_name_its_row(text, at, said, tmp_path):
    raw = text if isinstance(text, bytes) else text.encode()
    (tmp_path / "mine.toml").write_bytes(raw)
    row = next(i for i, s in enumerate(TEMPLATE.splitlines(), start=1) if s.startswith(at))
    with pytest.raises(InputError) as caught:
        load_profile(study(profile="mine.toml"), tmp_path)
    lines = caught.value.lines()
    assert any(f"mine.toml, row {row}" in line and said in line for line in lines), lines


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("gone.toml", "there is no file 'gone.toml'"),
        ("../mine.toml", "leads out of the study folder"),
        ("/etc/passwd.toml", "leads out of the study folder"),
        ("box turtle", "there is no profile 'box turtle' in the package"),
    ],
)
def test_a_profile_that_is_not_there(written, said, tmp_path):
    with pytest.raises(InputError) as caught:
        load_profile(study(profile=written), tmp_path)
    (line,) = caught.value.lines()
    assert line.startswith("study.toml, column study.profile: ")
    assert said in line
