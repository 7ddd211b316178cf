"""The files of the page, by the names that a browser may ask for; there are no others."""

from __future__ import annotations

import html
import re
from functools import cache
from importlib import resources
from pathlib import Path

from xstatic.pkg import leaflet

_OWN = (
    "index.html", "review.css", "review.js", "ask.js", "build.js", "hidden.js", "keys.js",
    "list.js", "map.js", "mark.svg", "mover.js", "report.js", "shortcuts.js", "who.js",
)  # fmt: skip
_TYPES = {
    ".js": "text/javascript", ".css": "text/css", ".html": "text/html", ".svg": "image/svg+xml",
}  # fmt: skip


@cache
def page_files() -> dict[str, tuple[bytes, str]]:
    """Return content and content type by name."""
    own = resources.files("roadrisk.review") / "page"
    found = {name: (own / name).read_bytes() for name in _OWN}
    folder = Path(leaflet.BASE_DIR)
    script = (folder / "leaflet.js").read_text("utf-8")
    # Its map for debuggers isn't served, and its pictures aren't used.
    found["leaflet.js"] = re.sub(r"//# sourceMappingURL=\S*", "", script).encode("utf-8")
    style = re.sub(r"url\([^)]*\)", "none", (folder / "leaflet.css").read_text("utf-8"))
    found["leaflet.css"] = style.encode("utf-8")
    return {
        name: (content, f"{_TYPES[Path(name).suffix]}; charset=utf-8")
        for name, content in found.items()
    }


def index_page(token: str) -> bytes:
    """Return the page itself with the token that its requests carry."""
    content, _ = page_files()["index.html"]
    return content.replace(b"{{token}}", html.escape(token).encode("ascii"))
