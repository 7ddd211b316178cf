"""Photos that a report names and that lie in the study folder; no others are ever opened."""

from __future__ import annotations

import re
from pathlib import Path, PurePosixPath

from roadrisk.records.photos import FOLDER

LARGEST_BYTES = 40 * 1024 * 1024
MOST_PHOTOS = 12
_MAGIC = (
    (re.compile(rb"\xff\xd8\xff"), "image/jpeg"),
    (re.compile(rb"\x89PNG\r\n\x1a\n"), "image/png"),
    (re.compile(rb"GIF8[79]a"), "image/gif"),
    (re.compile(rb"RIFF....WEBP", re.DOTALL), "image/webp"),
)


def photo_names(media: str) -> list[str]:
    """Return the names in an associatedMedia field, parted as `records.photos` parts them."""
    parts = re.split(r"[|;,\n]", media[:20_000])
    return [part.strip() for part in parts if part.strip()][:MOST_PHOTOS]


class Pictures:
    """Finds photos by the name that a report gives them.

    Parameters
    ----------
    folder : pathlib.Path
        The study folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = Path(folder).resolve()

    def find(self, name: str) -> Path | None:
        """Return the file that a name means, if it lies in the study folder and is a picture.

        Parameters
        ----------
        name : str
            As the report has it; a web address, a path that leads out of the folder, by ``..`` or
            by a link, and a file that doesn't begin as a JPEG, PNG, GIF or WebP does find nothing.
        """
        plain = PurePosixPath(name.replace("\\", "/"))
        bad = not name.isprintable() or len(name) > 250 or ":" in name
        if bad or plain.is_absolute() or ".." in plain.parts:
            return None
        for base in (self._folder, self._folder / FOLDER):
            try:
                path = (base / plain).resolve()
                inside = path.is_relative_to(self._folder) and path.is_file()
                if inside and path.stat().st_size <= LARGEST_BYTES and _kind_of(path):
                    return path
            except (OSError, ValueError):  # a name that no file can have
                continue
        return None

    def read(self, name: str) -> tuple[bytes, str] | None:
        """Return a photo's bytes and its content type, told by how the file begins."""
        path = self.find(name)
        if path is None:
            return None
        content = path.read_bytes()
        kind = _kind(content[:16])
        return (content, kind) if kind else None


def _kind_of(path: Path) -> str:
    with path.open("rb") as file:
        return _kind(file.read(16))


def _kind(start: bytes) -> str:
    return next((kind for magic, kind in _MAGIC if magic.match(start)), "")
