"""Every kind of broken input gives one-line errors that name file, place and mend."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.errors import InputError
from roadrisk.records.checking import check
from roadrisk.records.study_folder import read_study
from tests.hostile.broken_folders import CASES, change, good_folder, put, remove


def test_the_good_folder_is_good(tmp_path):
    # The control: what the cases break reads without an error.
    study = read_study(good_folder(tmp_path / "good"))
    assert (len(study.animals), len(study.fixes), len(study.sightings)) == (2, 6, 6)
    assert not [r for r in study.remarks if r.kind != "doubt"]
    assert study.osm_graph is not None
    assert len(study.agency_lines) == 1
    assert len(study.traffic) == 1


def test_at_least_twenty_kinds():
    assert len({c.name for c in CASES}) == len(CASES) >= 20


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_broken_input(case, tmp_path):
    # By hand: file, row, column and words that the error has to name.
    folder = good_folder(tmp_path / "a study")
    case.break_folder(folder)
    with pytest.raises(InputError) as caught:
        read_study(folder)
    lines = caught.value.lines()
    assert len(lines) == len(caught.value.remarks)
    for line, remark in zip(lines, caught.value.remarks, strict=True):
        assert "\n" not in line
        assert line.isprintable()
        assert remark.mend
        assert line.startswith(remark.file or "a study")
    meant = [
        r
        for r, line in zip(caught.value.remarks, lines, strict=True)
        if case.says in line and r.file == (case.file or "a study")
    ]
    assert len(meant) == 1, lines
    assert (meant[0].row, meant[0].column) == (case.row, case.column)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_checking_finds_the_same_and_never_raises(case, tmp_path):
    folder = good_folder(tmp_path / "a study")
    case.break_folder(folder)
    with pytest.raises(InputError) as caught:
        read_study(folder)
    found = [r for r in check(folder) if r.kind == "error"]
    assert {r.file for r in found} == {r.file for r in caught.value.remarks}
    assert len(found) == len(caught.value.remarks)


def test_all_errors_come_at_once(tmp_path):
    # Settings, two tables and the roads are each wrong in their own way.
    folder = good_folder(tmp_path / "s")
    for break_it in (
        change("study.toml", "[fixes]", "[crossings]\nreach = 5\n[fixes]"),
        remove("animals.csv"),
        put("sightings.csv", b""),
        put("roads.osm", "no extract"),
    ):
        break_it(folder)
    with pytest.raises(InputError) as caught:
        read_study(folder)
    assert [(r.file, r.column) for r in caught.value.remarks] == [
        ("study.toml", "crossings.reach"),
        ("roads.osm", ""),
        ("study.toml", "animals.file"),
        ("sightings.csv", ""),
    ]


@pytest.mark.parametrize(
    "name", ["étude été", "Straße 12", "调查", "quote ' and ; semicolon", "100% {braces} [x]"]
)
def test_folders_and_files_with_odd_names(name, tmp_path):
    folder = good_folder(tmp_path / name)
    (folder / "fixes.csv").rename(folder / "fixés 1.csv")
    change("study.toml", '"fixes.csv"', '"fixés 1.csv"')(folder)
    study = read_study(folder)
    assert set(study.fixes["source_file"]) == {"fixés 1.csv"}
    assert "fixés 1.csv" in {i.name for i in study.inputs}


def test_hostile_text_stays_text_and_printable(tmp_path):
    # Terminal escapes, markup and formulas in values come out as text, and errors as one line.
    folder = good_folder(tmp_path / "s")
    nasty = "<script>alert(1)</script> =1+1 {rows} %s"
    change("sightings.csv", "crossing north", nasty)(folder)
    change("sightings.csv", "DOR", "{rows}\u202e")(folder)
    study = read_study(folder)
    assert study.sightings["occurrenceRemarks"].iloc[0] == nasty
    for remark in study.remarks:
        assert remark.line().isprintable()


@pytest.mark.parametrize("seed", range(24))
def test_damaged_bytes_give_remarks_and_no_traceback(seed, tmp_path):
    # Bytes changed, lost and doubled at seeded places of one file: checking never raises.
    rng = np.random.default_rng(seed)
    folder = good_folder(tmp_path / "s")
    files = sorted(folder.iterdir())
    path = files[seed % len(files)]
    data = bytearray(path.read_bytes())
    for _ in range(int(rng.integers(1, 6))):
        at, length = int(rng.integers(len(data))), int(rng.integers(1, 30))
        match int(rng.integers(3)):
            case 0:
                data[at : at + 1] = rng.integers(0, 256, 2, dtype=np.uint8).tobytes()
            case 1:
                del data[at : at + length]
            case 2:
                data[at:at] = data[-length:]
    path.write_bytes(data)
    for remark in check(folder):
        assert remark.line().isprintable()
        assert remark.file
