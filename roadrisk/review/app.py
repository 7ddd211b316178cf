"""What the page can ask of the desk, request by request."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response
from starlette.routing import Route, Router

from roadrisk.decisions import VERDICTS
from roadrisk.review import views
from roadrisk.review.asked import LONGEST_NAME, LONGEST_REASON, Asked, RefusedError
from roadrisk.review.guards import Guard, Keys
from roadrisk.review.page_files import index_page, page_files
from roadrisk.review.pictures import photo_names
from roadrisk.review.report_words import STATES
from roadrisk.review.shown_text import shown

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.requests import Request

    from roadrisk.review.desk import Desk
    from roadrisk.review.hot import HotStretches
    from roadrisk.review.pictures import Pictures

REASONS = {
    "reject": (
        "another species", "outside the study area", "the date can't be right",
        "no place that can be used", "not an animal on or by a road", "a test or a joke",
    ),
    "ask back": (
        "where exactly it was", "on which day and when", "alive or dead",
        "a photo, if there is one",
    ),
    "not sure": ("the species", "the place", "the date", "alive or dead"),
}  # fmt: skip
"""Reasons offered with each verdict; project choice of words."""


class Pages:
    """Requests to answers.

    Parameters
    ----------
    desk : Desk
    pictures : Pictures
    hot : HotStretches
    keys : Keys
    """

    def __init__(self, desk: Desk, pictures: Pictures, hot: HotStretches, keys: Keys) -> None:
        self._desk, self._pictures, self._hot, self._keys = desk, pictures, hot, keys

    def guarded(self, port: int) -> Guard:
        """Return the application for one port, behind its checks."""
        reads: dict[str, Callable[[Request], Response]] = {
            "/": self.index,
            "/page/{name}": self.file,
            "/photo/{row:int}/{which:int}": self.photo,
            "/api/start": self.start,
            "/api/report/{row:int}": self.report,
            "/api/around/{row:int}": self.around,
            "/api/list": self.list_page,
            "/api/latest": self.latest,
            "/api/stretches": self.stretches,
        }
        writes: dict[str, Callable[[Asked], Any]] = {
            "/api/reviewer": self.name_reviewer,
            "/api/decide": self.decide,
            "/api/place": self.put,
            "/api/pair": self.pair,
            "/api/undo": self.undo,
            "/api/stretches": self.start_stretches,
        }
        routes = [Route(path, answer, methods=["GET"]) for path, answer in reads.items()]
        routes += [Route(path, _written(do), methods=["POST"]) for path, do in writes.items()]
        return Guard(Router(routes, redirect_slashes=False, default=_nothing), self._keys, port)

    def index(self, request: Request) -> Response:
        """Answer with the page."""
        del request
        return Response(index_page(self._keys.page), media_type="text/html; charset=utf-8")

    def file(self, request: Request) -> Response:
        """Answer with one of the page's files."""
        found = page_files().get(request.path_params["name"])
        if found is None or request.path_params["name"] == "index.html":
            raise RefusedError("There is no such page.", 404)
        content, kind = found
        return Response(content, media_type=kind)

    def photo(self, request: Request) -> Response:
        """Answer with a photo that lies in the study folder."""
        mine = self._desk.row(request.path_params["row"])
        names = photo_names(mine["associatedMedia"])
        which = request.path_params["which"]
        found = self._pictures.read(names[which]) if which < len(names) else None
        if found is None:
            raise RefusedError("There is no such photo in the study folder.", 404)
        content, kind = found
        return Response(content, media_type=kind, headers={"Content-Disposition": "inline"})

    def start(self, request: Request) -> Response:
        """Answer with what the page needs once."""
        del request
        desk = self._desk
        return _json(
            {
                "study": shown(desk.words.name, 200),
                "credit": desk.words.credit,
                "warnings": [shown(w, 600) for w in desk.words.warnings],
                "reviewer": desk.reviewer,
                "units": desk.words.units,
                "of": len(desk.queue),
                "first": desk.next_open(None),
                "open": desk.open_rows(),
                "reports": len(desk.keys),
                "reasons": {verdict: list(said) for verdict, said in REASONS.items()},
                "states": dict(STATES),
                "filters": dict(views.FILTERS),
            }
        )

    def report(self, request: Request) -> Response:
        """Answer with one report."""
        row = request.path_params["row"]
        tags = request.query_params.get("tags") == "1"
        return _json(views.report_view(self._desk, row, self._pictures, tags=tags))

    def around(self, request: Request) -> Response:
        """Answer with what lies in a view of the map."""
        row = request.path_params["row"]
        self._desk.row(row)
        sides = [_number(request, name) for name in ("west", "south", "east", "north")]
        if not (sides[0] < sides[2] and sides[1] < sides[3]):
            raise RefusedError("That is no view of the map.")
        return _json(views.around_view(self._desk, (sides[0], sides[1], sides[2], sides[3]), row))

    def list_page(self, request: Request) -> Response:
        """Answer with one page of the list."""
        asked = request.query_params
        page = asked.get("page", "0")
        number = int(page) if page.isascii() and page.isdigit() and len(page) < 9 else 0
        search = asked.get("search", "")[:200]
        return _json(views.list_view(self._desk, asked.get("state", "all"), search, number))

    def latest(self, request: Request) -> Response:
        """Answer with the reviewer's latest decisions."""
        del request
        return _json(views.latest_view(self._desk))

    def stretches(self, request: Request) -> Response:
        """Answer with the stretches that stand out, as far as they are worked out."""
        del request
        return _json(self._hot.told())

    def start_stretches(self, asked: Asked) -> Any:
        """Begin to work the stretches out."""
        del asked
        return self._hot.start()

    def name_reviewer(self, asked: Asked) -> Any:
        """Keep for this session who is reviewing."""
        name = asked.text("name", LONGEST_NAME)
        if not name:
            raise RefusedError("Write a name: it is kept with every decision.")
        self._desk.reviewer = name
        return {"reviewer": name}

    def decide(self, asked: Asked) -> Any:
        """Keep a verdict."""
        said = asked.text("verdict", 20)
        verdict = next((v for v in VERDICTS if v == said), None)
        if verdict is None:
            raise RefusedError("The page sent no verdict.")
        reason = asked.text("reason", LONGEST_REASON)
        if verdict in ("reject", "ask back") and not reason:
            raise RefusedError("Say why: the reason is kept with the decision.")
        self._desk.decide(asked.whole("row"), verdict, reason, asked.whole("seen"))
        return self._after(asked.whole("row"))

    def put(self, asked: Asked) -> Any:
        """Keep a place."""
        self._desk.put(asked.whole("row"), asked.place(), asked.whole("seen"))
        return self._after(asked.whole("row"))

    def pair(self, asked: Asked) -> Any:
        """Keep whether two reports are of one animal."""
        row, other = asked.whole("row"), asked.whole("other")
        self._desk.pair(row, other, asked.whole("seen"), same=asked.flag("same"))
        return self._after(row)

    def undo(self, asked: Asked) -> Any:
        """Take an entry back."""
        entry = self._desk.undo(asked.whole("number"))
        row = self._desk.row_about(entry)
        words = views.entry_words(self._desk, entry)
        return {"row": row, "words": words, "open": self._desk.open_rows()}

    def _after(self, row: int) -> dict[str, Any]:
        return {"next": self._desk.next_open(row), "open": self._desk.open_rows()}


def _written(do: Callable[[Asked], Any]) -> Callable[[Request], Awaitable[Response]]:
    async def answer(request: Request) -> Response:
        asked = Asked(await request.body())
        # The answer goes out after the store has it on the disk, and not before.
        return _json(await run_in_threadpool(do, asked))

    return answer


async def _nothing(scope: Any, receive: Any, send: Any) -> None:
    del scope, receive, send
    raise RefusedError("There is no such page.", 404)


def _number(request: Request, name: str) -> float:
    try:
        value = float(request.query_params.get(name, ""))
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and abs(value) <= 540):
        raise RefusedError("That is no view of the map.")
    return value


def _json(value: Any) -> Response:
    # Halves of surrogate pairs in hostile text are written as escapes, which any reader takes.
    text = json.dumps(value, allow_nan=False, ensure_ascii=True, separators=(",", ":"))
    return Response(text.encode("ascii"), media_type="application/json")
