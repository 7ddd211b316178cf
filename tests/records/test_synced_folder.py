"""Folders that other computers write into as well."""

from __future__ import annotations

import pytest

from roadrisk.records.synced_folder import synced_folder

PLAIN = "/dev/sda1 / ext4 rw 0 0\n"


@pytest.fixture
def mounts(tmp_path):
    path = tmp_path / "mounts"
    path.write_text(PLAIN)
    return path


@pytest.mark.parametrize(
    ("path", "program"),
    [
        ("Dropbox/fen", "Dropbox"),
        ("Dropbox (Fen Trust)/fen", "Dropbox"),
        ("OneDrive - Fen Trust/fen", "OneDrive"),
        ("Library/CloudStorage/GoogleDrive-ida/fen", "a cloud drive"),
        ("Library/Mobile Documents/com~apple~CloudDocs/fen", "iCloud"),
        ("Nextcloud/fen", "Nextcloud"),
    ],
)
def test_by_name(tmp_path, mounts, path, program):
    # By hand; the programs' default folders, from memory.
    folder = tmp_path / path
    folder.mkdir(parents=True)
    assert f"synchronised by {program};" in synced_folder(folder, mounts)


@pytest.mark.parametrize(
    ("marker", "program"),
    [
        (".stfolder", "Syncthing"),
        (".dropbox", "Dropbox"),
        (".sync_1a2b3c.db", "ownCloud or Nextcloud"),
        ("._sync_1a2b3c.db", "ownCloud or Nextcloud"),
    ],
)
def test_by_marker_above(tmp_path, mounts, marker, program):
    # By hand; the marker lies two folders up, as in a synced folder of any name.
    folder = tmp_path / "shared" / "2024" / "fen"
    folder.mkdir(parents=True)
    assert synced_folder(folder, mounts) is None
    (tmp_path / "shared" / marker).touch()
    assert f"synchronised by {program};" in synced_folder(folder, mounts)


def test_a_link_into_a_synced_folder(tmp_path, mounts):
    # By hand: the name leads nowhere, the folder behind it does.
    (tmp_path / "Nextcloud" / "fen").mkdir(parents=True)
    (tmp_path / "fen").symlink_to(tmp_path / "Nextcloud" / "fen")
    assert "Nextcloud" in synced_folder(tmp_path / "fen", mounts)


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "fuse.sshfs"])
def test_network_drives(tmp_path, mounts, kind):
    # By hand: the innermost mount that holds the folder counts, blanks in its name included.
    folder = tmp_path / "field work" / "fen"
    folder.mkdir(parents=True)
    point = str(tmp_path / "field work").replace(" ", "\\040")
    mounts.write_text(f"{PLAIN}server:/data {point} {kind} rw 0 0\n")
    assert f"network drive ({kind})" in synced_folder(folder, mounts)
    mounts.write_text(f"{mounts.read_text()}/dev/sdb1 {point}/fen ext4 rw 0 0\n")
    assert synced_folder(folder, mounts) is None
    assert synced_folder(folder, tmp_path / "no such file") is None


def test_windows_shares(tmp_path, mounts):
    # By hand: a path as Windows writes a share; elsewhere it is a name like any other.
    assert synced_folder(tmp_path, mounts) is None
    assert "OneDrive" not in (synced_folder(tmp_path / "my onedrive notes", mounts) or "")
