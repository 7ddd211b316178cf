"""The log of what public editions let out: whole, or refused in one line."""

import pytest

from roadrisk.errors import InputError, OutputError
from roadrisk.records.release_log import (
    RELEASE_FILE,
    Released,
    ReleaseLog,
    read_release_log,
    write_release_log,
)

LOG = ReleaseLog(
    (
        Released(1, 1940, 5220, 4, 1, 3, 2021, 2023, (("a", "b"), ("c",))),
        Released(2, -3, -20, 7, 0, 0, 2021, 2023, ()),
    )
)


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
        b'{"roadrisk_released": 1, "groups": [{"level": 1.5, "column": 0, "row": 0, "animals": 1,'
        b' "alive": 0, "dead": 0, "first_year": 1, "last_year": 1, "behind": []}]}',
        b'{"roadrisk_released": 1, "groups": [{"level": 9, "column": 0, "row": 0, "animals": 1,'
        b' "alive": 0, "dead": 0, "first_year": 1, "last_year": 1, "behind": []}]}',
    ],
)  # fmt: skip
def test_a_broken_log_is_refused_in_one_line(tmp_path, content):
    (tmp_path / RELEASE_FILE).write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_release_log(tmp_path)
    (line,) = caught.value.lines()
    assert RELEASE_FILE in line
    assert "older copy" in line


def test_a_folder_that_takes_nothing_is_said(tmp_path):
    (tmp_path / f".{RELEASE_FILE}.draft").mkdir()
    with pytest.raises(OutputError, match="no public edition is written"):
        write_release_log(tmp_path, LOG)
    assert not (tmp_path / RELEASE_FILE).exists()
