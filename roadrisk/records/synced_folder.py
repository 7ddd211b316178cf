"""Whether a folder is kept in step with other computers while a program writes in it."""

from __future__ import annotations

from pathlib import Path

# Names of folders and of marker files as sync programs make them by default. All from memory:
# a program may name them otherwise, so a folder without such names may be synced as well.
_FOLDERS = {
    "dropbox": "Dropbox",
    "onedrive": "OneDrive",
    "google drive": "Google Drive",
    "googledrive": "Google Drive",
    "my drive": "Google Drive",
    "cloudstorage": "a cloud drive",
    "icloud drive": "iCloud",
    "iclouddrive": "iCloud",
    "com~apple~clouddocs": "iCloud",
    "mobile documents": "iCloud",
    "nextcloud": "Nextcloud",
    "owncloud": "ownCloud",
    "seafile": "Seafile",
    "pclouddrive": "pCloud",
    "pcloud drive": "pCloud",
    "megasync": "MEGA",
    "syncthing": "Syncthing",
    "resilio sync": "Resilio Sync",
}
_MARKERS = {
    ".stfolder": "Syncthing",
    ".stignore": "Syncthing",
    ".dropbox": "Dropbox",
    ".dropbox.cache": "Dropbox",
    ".owncloudsync.log": "ownCloud or Nextcloud",
    ".nextcloudsync.log": "Nextcloud",
    ".csync_journal.db": "ownCloud or Nextcloud",
    ".seafile-data": "Seafile",
    ".tmp.driveupload": "Google Drive",
    ".tmp.drivedownload": "Google Drive",
    ".sync": "Resilio Sync",
}
_MARKER_STARTS = {"._sync_": "ownCloud or Nextcloud", ".sync_": "ownCloud or Nextcloud"}
_NETWORK = frozenset(
    ("nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "davfs", "ceph", "glusterfs", "ncpfs",
     "fuse.sshfs", "fuse.rclone", "fuse.davfs2", "fuse.glusterfs", "fuse.s3fs", "fuse.gvfsd-fuse")
)  # fmt: skip


def synced_folder(folder: Path, mounts: Path = Path("/proc/self/mounts")) -> str | None:
    """Say why a folder looks as if it were synced or on another computer.

    Parameters
    ----------
    folder : pathlib.Path
    mounts : pathlib.Path
        Where Linux lists its file systems; other systems have none.

    Returns
    -------
    str or None
        One sentence; None if nothing tells of it, which is no proof: a sync program may leave no
        trace.
    """
    shown = Path(folder).expanduser()
    for path in {shown.absolute(): None, shown.resolve(): None}:
        text = str(path)
        if text.startswith(("\\\\", "//")):
            return _on_network("a network drive")
        name = _by_name(path) or _by_marker(path)
        if name:
            return (
                f"the study folder seems to be synchronised by {name}; two people who decide at "
                "the same time would each get a copy, and the sync keeps one of them."
            )
    kind = _file_system(shown.resolve(), mounts)
    return _on_network(f"a network drive ({kind})") if kind in _NETWORK else None


def _on_network(where: str) -> str:
    return (
        f"the study folder lies on {where}; a write-ahead log needs a local disk, and two "
        "computers that write at the same time could spoil it."
    )


def _by_name(path: Path) -> str | None:
    for part in path.parts:
        plain = part.casefold()
        # A company's or a second account's folder has its name behind: "OneDrive - Fen Trust".
        for name, program in _FOLDERS.items():
            if plain == name or plain.startswith((f"{name} - ", f"{name} (", f"{name}-")):
                return program
    return None


def _by_marker(path: Path) -> str | None:
    for folder in (path, *path.parents):
        try:
            names = [p.name for p in folder.iterdir() if p.name.startswith(".")]
        except OSError:
            continue
        for name in sorted(names):
            for start, program in _MARKER_STARTS.items():
                if name.startswith(start) and ".db" in name:
                    return program
            # In the home folder some of these hold a program's settings, and it is not synced.
            if name in _MARKERS and folder != Path.home():
                return _MARKERS[name]
    return None


def _file_system(path: Path, mounts: Path) -> str:
    """Return the type of the file system that holds `path`, "" if it can't be told."""
    try:
        lines = mounts.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    best, kind = -1, ""
    for line in lines:
        parts = line.split()
        if len(parts) < 3:
            continue
        point = Path(parts[1].replace("\\040", " "))
        # Of two on one place the later lies on top.
        if path.is_relative_to(point) and len(point.parts) >= best:
            best, kind = len(point.parts), parts[2]
    return kind
