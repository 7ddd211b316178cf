"""The log of what public editions let out: whole, or refused in one line."""

import json

import pytest

from roadrisk.errors import InputError, OutputError
from roadrisk.records.release_log import (
    RELEASE_FILE,
    Batch,
    Released,
    ReleasedAnimal,
    ReleaseLog,
    read_release_log,
    write_release_log,
)

A, B = ReleasedAnimal(("a", "b"), "dead"), ReleasedAnimal(("c",), "alive")
LOG = ReleaseLog(
    (
        Released(1, 1940, 5220, 2021, 2023, (Batch((A, B)),), (2,)),
        Released(
            2, -3, -20, 2021, 2023, (Batch((ReleasedAnimal(("d",), ""),), shown=False),), (1,)
        ),
    )
)
WHERE = '"level": %s, "column": 0, "row": 0, "first_year": 1, "last_year": 1'
GOOD = [{"animals": [{"records": ["a"], "state": "dead"}], "shown": True}]


def written(level="1", batches=GOOD, told=(1,), times=1):
    one = f'{{{WHERE % level}, "batches": {json.dumps(batches)}, "told": {json.dumps(told)}}}'
    return f'{{"roadrisk_released": 1, "groups": [{", ".join([one] * times)}]}}'.encode()


def test_numbers_are_those_of_batches_that_are_shown():
    first, second = LOG.groups
    assert (first.animals, first.alive, first.dead) == (2, 1, 1)
    assert first.behind == (("a", "b"), ("c",))
    assert (second.animals, second.behind) == (0, ())


def test_it_comes_back_as_it_was_written(tmp_path):
    write_release_log(tmp_path, LOG)
    assert read_release_log(tmp_path) == LOG
    first = (tmp_path / RELEASE_FILE).read_bytes()
    write_release_log(tmp_path, LOG)
    assert (tmp_path / RELEASE_FILE).read_bytes() == first
    assert [p.name for p in tmp_path.iterdir()] == [RELEASE_FILE]


def test_without_a_file_nothing_was_published(tmp_path):
    assert read_release_log(tmp_path) == ReleaseLog()


@pytest.mark.parametrize(
    "content",
    [
        b"", b"{", b"[]", b"\xff\xfe", b"[" * 100_000, b'{"roadrisk_released": 2, "groups": []}',
        b'{"roadrisk_released": 1}', b'{"roadrisk_released": 1, "groups": [{}]}',
        written(level="1.5"), written(level="9"), written(told=["x"]), written(batches=[{}]),
        written(times=2), written(batches=GOOD * 2),
        written(batches=[GOOD[0] | {"shown": 1}]), written(batches=[GOOD[0] | {"animals": []}]),
        written(batches=[{"animals": [{"records": ["a"], "state": "eaten"}], "shown": True}]),
        written(batches=[{"animals": [{"records": [1], "state": "dead"}], "shown": True}]),
    ],
)  # fmt: skip
def test_a_broken_log_is_refused_in_one_line(tmp_path, content):
    (tmp_path / RELEASE_FILE).write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_release_log(tmp_path)
    (line,) = caught.value.lines()
    assert RELEASE_FILE in line
    assert "older copy" in line


def test_what_is_changed_in_these_tests_is_all_that_is_wrong(tmp_path):
    (tmp_path / RELEASE_FILE).write_bytes(written())
    (group,) = read_release_log(tmp_path).groups
    assert (group.animals, group.dead, group.told) == (1, 1, (1,))


def test_a_folder_that_takes_nothing_is_said(tmp_path):
    (tmp_path / f".{RELEASE_FILE}.draft").mkdir()
    with pytest.raises(OutputError, match="no public edition is written"):
        write_release_log(tmp_path, LOG)
    assert not (tmp_path / RELEASE_FILE).exists()
