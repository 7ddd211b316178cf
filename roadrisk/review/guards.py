"""Who may ask the local page for anything: only the browser that got the address from us.

Other programs and pages on the same computer can reach a local port, and a page from anywhere
can point a name of its own at 127.0.0.1. So the port listens on the loopback address only, the
address in the terminal is good for one use, and every request is held against the checks below.
"""

from __future__ import annotations

import hmac
import secrets
import sys
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from starlette.responses import PlainTextResponse, RedirectResponse

from roadrisk.errors import one_line
from roadrisk.review.asked import RefusedError

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOST = "127.0.0.1"
ENTRY = "/enter"
TOKEN_HEADER = "x-review-token"  # noqa: S105 - the header's name
LARGEST_BODY = 64 * 1024
SECURITY_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self'; connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; "
    "form-action 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Embedder-Policy": "require-corp",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
_NOT_OPEN = (
    "This page opens only by the address that roadrisk printed, once. Stop roadrisk in its "
    "terminal (Ctrl-C), start it again and open the new address."
)


@dataclass
class Keys:
    """The secrets of one run of the page.

    Attributes
    ----------
    entry : str
        Part of the first address; "" once it was used.
    session : str
        Value of the session cookie.
    page : str
        What the page sends with every request for data, so that a cookie alone is no use.
    """

    entry: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    page: str = field(default_factory=lambda: secrets.token_urlsafe(32))


class Guard:
    """Checks every request before the page's own code sees it, and seals every answer.

    Parameters
    ----------
    app : ASGI application
        Behind the checks.
    keys : Keys
    port : int
        That the page is served on.
    """

    def __init__(self, app: ASGIApp, keys: Keys, port: int) -> None:
        self._app = app
        self._keys = keys
        self._hosts = {f"{name}:{port}" for name in (HOST, "localhost")}
        self._cookie = f"roadrisk_review_{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
            return
        sealed = _Sealed(send)
        try:
            headers = _one_each(scope)
            self._check_origin(scope, headers)
            if scope["path"] == ENTRY:
                await self._enter(scope)(scope, receive, sealed)
                return
            self._check_session(headers)
            if scope["path"].startswith("/api/"):
                self._check_token(headers)
            if scope["method"] == "POST":
                _check_body(headers)
                receive = _Limited(receive)
            await self._app(scope, receive, sealed)
        except RefusedError as refused:
            if not sealed.begun:
                await _words(str(refused), refused.status)(scope, receive, sealed)
        except Exception as error:  # noqa: BLE001 - the page must go on, and show no internals
            # What went wrong is for the terminal; the browser gets one sentence.
            sys.stderr.write(one_line(f"The review page failed at one request: {error!r}") + "\n")
            if not sealed.begun:
                sentence = "Something went wrong in roadrisk; nothing was changed by this request."
                await _words(sentence, 500)(scope, receive, sealed)

    def _check_origin(self, scope: Scope, headers: dict[str, str]) -> None:
        if scope["method"] not in ("GET", "HEAD", "POST"):
            raise RefusedError("The page doesn't do that.", 405)
        host = headers.get("host", "")
        if host not in self._hosts:
            raise RefusedError("The request is not meant for this page.", 403)
        origin = headers.get("origin")
        # Of the address it was asked at: localhost and 127.0.0.1 are two origins to a browser.
        if origin != f"http://{host}" and (origin is not None or scope["method"] == "POST"):
            raise RefusedError("The request comes from another page.", 403)
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            raise RefusedError("The request comes from another page.", 403)

    def _enter(self, scope: Scope) -> PlainTextResponse | RedirectResponse:
        if scope["method"] != "GET":
            raise RefusedError("The page doesn't do that.", 405)
        entry = self._keys.entry
        given = scope["query_string"].decode("latin-1")
        if not entry or not _same(given, f"once={entry}"):
            raise RefusedError(_NOT_OPEN, 403)
        self._keys.entry = ""
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(
            self._cookie, self._keys.session, path="/", httponly=True, samesite="strict"
        )
        return answer

    def _check_session(self, headers: dict[str, str]) -> None:
        # Cookies of other local programs may stand beside ours, whatever they hold.
        pairs = (part.strip().partition("=") for part in headers.get("cookie", "").split(";"))
        ours = [value for name, _, value in pairs if name == self._cookie]
        if len(ours) != 1 or not _same(ours[0], self._keys.session):
            raise RefusedError(_NOT_OPEN, 403)

    def _check_token(self, headers: dict[str, str]) -> None:
        if not _same(headers.get(TOKEN_HEADER, ""), self._keys.page):
            raise RefusedError(_NOT_OPEN, 403)


class _Sealed:
    """Sends an answer with the headers that keep it where it belongs."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            ours = {name.lower().encode(): v.encode() for name, v in SECURITY_HEADERS.items()}
            kept = [(n, v) for n, v in message.get("headers", ()) if n.lower() not in ours]
            message = {**message, "headers": [*kept, *ours.items()]}
        await self._send(message)


class _Limited:
    """Receives a body and stops where it grows too large, whatever its headers said."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._size = 0

    async def __call__(self) -> Message:
        message = await self._receive()
        self._size += len(message.get("body", b""))
        if self._size > LARGEST_BODY:
            raise RefusedError(_TOO_LARGE, 413)
        return message


_TOO_LARGE = "The page sent more than can be kept."


def _check_body(headers: dict[str, str]) -> None:
    kind = headers.get("content-type", "").replace(" ", "").lower()
    if kind not in ("application/json", "application/json;charset=utf-8"):
        raise RefusedError("The request is not of the kind that the page sends.", 415)
    length = headers.get("content-length", "0")
    if not (length.isascii() and length.isdigit()) or int(length[:12]) > LARGEST_BODY:
        raise RefusedError(_TOO_LARGE, 413)


def _one_each(scope: Scope) -> dict[str, str]:
    """Headers by name; one that decides and comes twice could be read in two ways."""
    found: dict[str, str] = {}
    once = ("host", "origin", "cookie", "content-type", "content-length", TOKEN_HEADER)
    for raw_name, raw_value in scope["headers"]:
        name = raw_name.decode("latin-1").lower()
        if name in found and name in once:
            raise RefusedError("The request can be read in two ways.", 400)
        found[name] = raw_value.decode("latin-1")
    return found


def _same(given: str, secret: str) -> bool:
    return bool(secret) and hmac.compare_digest(given.encode("latin-1", "replace"), secret.encode())


def _words(sentence: str, status: int) -> PlainTextResponse:
    headers = {"Allow": "GET, HEAD, POST"} if status == 405 else None
    return PlainTextResponse(sentence, status, headers)
