"""Requests that are not the page's own are refused, whole, and change nothing.

By hand, against the page's own rules; the rebinding of names and forged requests are those that
the OWASP cheat sheets on cross-site request forgery and on DNS rebinding describe (from memory).
"""

from __future__ import annotations

import json
import socket
import threading
import time
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPResponse
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import uvicorn

from roadrisk.records.decision_store import DecisionStore
from roadrisk.review.guards import LARGEST_BODY, SECURITY_HEADERS
from roadrisk.review.server import Prepared, _listening
from tests.pages.serve_made import made_page
from tests.pages.small_png import small_png

if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")


@dataclass
class Running:
    """A server in this process, and the page's own way to talk to it."""

    prepared: Prepared
    port: int
    folder: Path
    cookie: str = ""

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def own(self) -> dict[str, str]:
        """What the page itself sends."""
        return {
            "Host": f"127.0.0.1:{self.port}", "Cookie": self.cookie, "Origin": self.origin,
            "X-Review-Token": self.prepared.keys.page, "Content-Type": "application/json",
        }  # fmt: skip

    def ask(self, method: str, path: str, body: bytes | None = None, **changed: Any) -> Answer:
        """Send a request of the page's own with some headers changed (None: left out)."""
        headers = self.own() | {k.replace("_", "-"): v for k, v in changed.items()}
        link = _InOnePiece("127.0.0.1", self.port, timeout=20)
        link.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in headers.items():
            for one in value if isinstance(value, tuple) else (value,):
                if one is not None:
                    link.putheader(name, one)
        if body is not None and "Content-Length" not in headers:
            link.putheader("Content-Length", str(len(body)))
        try:
            link.endheaders(body)
            link.send_all()
            return _read(link.getresponse())
        finally:
            link.close()

    def post(self, path: str, values: Any, **changed: Any) -> Answer:
        return self.ask("POST", path, json.dumps(values).encode(), **changed)

    def kept(self) -> int:
        return len(DecisionStore(self.folder).history())


class _InOnePiece(HTTPConnection):
    """Sends head and body as one.

    A refusal can be answered on the head alone; a body that comes after it makes the system
    drop the link, at times before the answer was read.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._pieces: list[bytes] = []

    def send(self, data: Any) -> None:
        self._pieces.append(bytes(data))

    def send_all(self) -> None:
        super().send(b"".join(self._pieces))


def _read(answer: HTTPResponse) -> Answer:
    headers = {name.lower(): value for name, value in answer.getheaders()}
    return Answer(answer.status, headers, answer.read())


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    folder = tmp_path / "étude"
    folder.mkdir()
    prepared = made_page(folder, more=3, reviewer="Ann Reed")
    with _listening(0) as listening:
        port = listening.getsockname()[1]
        assert listening.getsockname()[0] == "127.0.0.1"
        config = uvicorn.Config(
            prepared.guarded(port), lifespan="off", ws="none", http="h11", log_level="critical",
            server_header=False,
        )  # fmt: skip
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        while not server.started:
            time.sleep(0.01)
        yield Running(prepared, port, folder)
        server.should_exit = True
        thread.join()


@pytest.fixture
def entered(running: Running) -> Running:
    answer = running.ask("GET", f"/enter?once={running.prepared.keys.entry}", Origin=None)
    running.cookie = answer.headers["set-cookie"].split(";")[0]
    return running


DECISION = {"row": 1, "verdict": "accept", "reason": "", "seen": 0}


def test_the_address_opens_the_page_once(running: Running) -> None:
    entry = running.prepared.keys.entry
    assert len(entry) > 40
    for method in ("HEAD", "POST"):  # a preview must not use it up
        running.ask(method, f"/enter?once={entry}", Origin=running.origin)
    for wrong in ("/enter", "/enter?once=", f"/enter?once={entry[:-1]}", f"/enter?{entry}"):
        assert running.ask("GET", wrong, Origin=None).status == 403
    first = running.ask("GET", f"/enter?once={entry}", Origin=None, Cookie=None)
    assert first.status == 303
    assert first.headers["location"] == "/"
    words = [w.strip().lower() for w in first.headers["set-cookie"].split(";")]
    assert {"httponly", "samesite=strict", "path=/"} <= set(words)
    assert entry not in first.headers["set-cookie"]
    again = running.ask("GET", f"/enter?once={entry}", Origin=None, Cookie=None)
    assert again.status == 403
    assert "set-cookie" not in again.headers
    assert "start it again" in again.text
    assert running.ask("GET", "/enter?once=", Origin=None).status == 403


def test_the_pages_own_requests_are_answered(entered: Running) -> None:
    """The other tests mean something only if this one passes."""
    page = entered.ask("GET", "/", Origin=None)
    assert page.status == 200
    assert entered.prepared.keys.page in page.text
    assert entered.prepared.keys.session not in page.text
    assert entered.post("/api/decide", DECISION).status == 200
    assert entered.kept() == 1
    as_named = f"localhost:{entered.port}"
    start = entered.ask("GET", "/api/start", Host=as_named, Origin=f"http://{as_named}")
    assert start.status == 200


FORGED: dict[str, dict[str, Any]] = {
    "host of a page that rebinds its name": {"Host": "evil.invalid"},
    "the same with our port": {"Host": "evil.invalid:{port}"},
    "the same with its own origin": {
        "Host": "evil.invalid:{port}",
        "Origin": "http://evil.invalid:{port}",
    },
    "host without port": {"Host": "127.0.0.1"},
    "host with another port": {"Host": "127.0.0.1:1"},
    "host that begins as ours": {"Host": "127.0.0.1:{port}.evil.invalid"},
    "host as a number": {"Host": "2130706433:{port}"},
    "no host": {"Host": None},
    "two hosts": {"Host": ("127.0.0.1:{port}", "evil.invalid")},
    "another origin": {"Origin": "http://evil.invalid"},
    "origin null": {"Origin": "null"},
    "origin on another port": {"Origin": "http://127.0.0.1:1"},
    "origin by https": {"Origin": "https://127.0.0.1:{port}"},
    "origin of the other name": {"Origin": "http://localhost:{port}"},
    "two origins": {"Origin": ("http://127.0.0.1:{port}", "http://evil.invalid")},
    "two origins, ours last": {"Origin": ("http://evil.invalid", "http://127.0.0.1:{port}")},
    "two tokens": {"X-Review-Token": ("wrong", "{page}")},
    "no cookie": {"Cookie": None},
    "a wrong cookie": {"Cookie": "roadrisk_review_{port}=wrong"},
    "the cookie of another port": {"Cookie": "roadrisk_review_1={session}"},
    "the cookie twice": {"Cookie": "roadrisk_review_{port}=x; roadrisk_review_{port}={session}"},
    "no token": {"X-Review-Token": None},
    "a wrong token": {"X-Review-Token": "wrong"},
    "an empty token": {"X-Review-Token": ""},
    "the cookie as token": {"X-Review-Token": "{session}"},
    "sent by another site": {"Sec-Fetch-Site": "cross-site"},
    "sent by another port": {"Sec-Fetch-Site": "same-site"},
}
NOT_ASKED_OF_READS = {"no origin": {"Origin": None}}
ONLY_BODIES: dict[str, dict[str, Any]] = {
    "a plain text, as a form can send it": {"Content-Type": "text/plain"},
    "a form": {"Content-Type": "application/x-www-form-urlencoded"},
    "no type": {"Content-Type": None},
    "a type that begins as ours": {"Content-Type": "application/jsonp"},
    "two types": {"Content-Type": ("text/plain", "application/json")},
    "a length that is none": {"Content-Length": "-5"},
}


def _filled(changed: dict[str, Any], running: Running) -> dict[str, Any]:
    def fill(value: str | None) -> str | None:
        secrets = running.prepared.keys
        keys = {"port": running.port, "session": secrets.session, "page": secrets.page}
        return None if value is None else value.format(**keys)

    return {
        name.replace("-", "_"): tuple(map(fill, v)) if isinstance(v, tuple) else fill(v)
        for name, v in changed.items()
    }


def test_forged_requests_change_nothing(entered: Running) -> None:
    """Every one is the page's own request but for what its name says."""
    for name, changed in (FORGED | NOT_ASKED_OF_READS | ONLY_BODIES).items():
        answer = entered.post("/api/decide", DECISION, **_filled(changed, entered))
        assert answer.status in (400, 403, 413, 415), (name, answer.status)
        _is_one_plain_sentence(answer, name)
    assert entered.kept() == 0
    assert entered.post("/api/decide", DECISION).status == 200


def test_forged_requests_read_nothing(entered: Running) -> None:
    for name, changed in FORGED.items():
        answer = entered.ask("GET", "/api/report/1", **_filled(changed, entered))
        assert answer.status in (400, 403), (name, answer.status)
        assert b"Heron Road" not in answer.body, name


def test_no_page_is_served_without_the_cookie(entered: Running) -> None:
    for path in ("/", "/page/review.js", "/photo/2/0", "/api/start", "/nowhere"):
        assert entered.ask("GET", path, Cookie=None).status == 403, path
        # By a name of another site that was pointed at this computer, even with the cookie.
        for origin in (None, f"http://evil.invalid:{entered.port}"):
            host = f"evil.invalid:{entered.port}"
            assert entered.ask("GET", path, Host=host, Origin=origin).status == 403, path


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_other_methods_are_refused(entered: Running, method: str) -> None:
    for path in ("/", "/api/decide", "/api/report/1"):
        answer = entered.ask(method, path)
        assert answer.status in (400, 405), (path, answer.status)
        assert not any(h.startswith("access-control") for h in answer.headers)
    assert entered.kept() == 0


def test_reading_and_writing_are_not_the_same_request(entered: Running) -> None:
    assert entered.ask("GET", "/api/decide").status == 405
    assert entered.post("/api/report/1", {}).status == 405
    assert entered.post("/", {}).status == 405
    head = entered.ask("HEAD", "/api/report/1")
    assert head.status == 200
    assert head.body == b""
    assert entered.kept() == 0


def test_large_bodies_are_refused_whatever_they_say_of_themselves(entered: Running) -> None:
    large = json.dumps(DECISION | {"reason": "x" * (LARGEST_BODY + 1)}).encode()
    assert entered.ask("POST", "/api/decide", large).status == 413
    # Refused by what it says of itself, before anything of it has come.
    assert entered.ask("POST", "/api/decide", b"", Content_Length=str(10**9)).status == 413
    chunks = b"".join(
        b"%x\r\n%s\r\n" % (len(part), part)
        for part in (large[i : i + 8192] for i in range(0, len(large), 8192))
    )
    headers = {"Transfer-Encoding": "chunked", "Content-Length": None}
    answer = entered.ask("POST", "/api/decide", chunks + b"0\r\n\r\n", **headers)
    assert answer.status == 413
    assert entered.kept() == 0


BODIES = [
    b"", b"{", b"[]", b"null", b'"accept"', b"\xff\xfe", b"[" * 50_000, b'{"row": NaN}',
    *(
        json.dumps(DECISION | changed).encode()
        for changed in (
            {"row": True}, {"row": "1"}, {"row": 1.5}, {"row": -1}, {"row": 10**6},
            {"row": 10**400}, {"row": None}, {"verdict": "Accept"}, {"verdict": ["accept"]},
            {"verdict": ""}, {"reason": 5}, {"reason": "x" * 1001}, {"seen": "0"},
            {"verdict": "reject"}, {"verdict": "ask back", "reason": " \u202e\x00 "},
        )
    ),
]  # fmt: skip


def test_bodies_that_are_not_as_they_should_be_are_refused(entered: Running) -> None:
    for body in BODIES:
        answer = entered.ask("POST", "/api/decide", body)
        assert answer.status in (400, 404), (body[:60], answer.status)
        _is_one_plain_sentence(answer, body[:60])
    places = [(None, 5), (200, 0), (0, 91), ("19", "52"), (float("inf"), 0), (True, False), (1,)]
    for place in places:
        values = dict(zip(("longitude", "latitude"), place, strict=False)) | {"row": 1, "seen": 0}
        assert entered.post("/api/place", values).status == 400, place
    pairs = [{"other": 1}, {"other": 99_999}, {"same": "yes"}, {"same": None}]
    for pair in pairs:
        values = {"row": 1, "other": 2, "same": True, "seen": 0} | pair
        assert entered.post("/api/pair", values).status in (400, 404), pair
    for number in (0, 1, -3, 10**9):
        assert entered.post("/api/undo", {"number": number}).status == 404, number
    assert entered.post("/api/reviewer", {"name": " \u200b\n"}).status == 400
    assert entered.kept() == 0


def test_what_is_kept_is_one_printable_line(entered: Running) -> None:
    reason = "a\u202eb\ud800\x00c\n<script>"
    decision = DECISION | {"verdict": "reject", "reason": reason}
    assert entered.post("/api/decide", decision).status == 200
    (entry,) = DecisionStore(entered.folder).history()
    assert entry.reason == "a b c <script>"
    assert entry.who == "Ann Reed"


def test_nothing_but_the_pages_own_files_is_served(entered: Running) -> None:
    (entered.folder / "secret.txt").write_text("secret", encoding="utf-8")
    for name in (
        "../guards.py", "%2e%2e/guards.py", "..%2fguards.py", "%2e%2e%2f%2e%2e%2fstudy.toml",
        "....//guards.py", "index.html", "guards.py", "/etc/passwd", "%2fetc%2fpasswd",
        "review.js%00.css", "REVIEW.JS", "secret.txt", "leaflet-src.js", "",
    ):  # fmt: skip
        assert entered.ask("GET", f"/page/{name}").status == 404, name
    for path in ("/secret.txt", "/../secret.txt", "//secret.txt", "/study.toml", "/page"):
        assert entered.ask("GET", path).status == 404, path
    assert entered.ask("GET", "/page/review.js").status == 200


def test_only_pictures_that_a_report_names_and_that_lie_in_the_folder(entered: Running) -> None:
    """The content type comes from how the file begins, never from its name."""
    photos, outside = entered.folder / "photos", entered.folder.parent / "outside.png"
    photos.mkdir()
    outside.write_bytes(small_png())
    (photos / "a b.jpg").write_bytes(small_png())
    (photos / "page.jpg").write_bytes(b"<script>window.__hacked = 1</script>")
    (photos / "drawing.svg").write_bytes(b"<svg xmlns='http://www.w3.org/2000/svg'/>")
    (photos / "link.png").symlink_to(outside)
    names = (
        "photos/a b.jpg", "photos/page.jpg", "photos/drawing.svg", "photos/link.png",
        "../outside.png", str(outside), "photos/../../outside.png", "..\\outside.png",
        "file:///etc/passwd", "photos", "\x00", "decisions.sqlite",
    )  # fmt: skip
    entered.prepared.desk.columns["associatedMedia"][2] = " | ".join(names)
    first = entered.ask("GET", "/photo/2/0")
    assert (first.status, first.headers["content-type"]) == (200, "image/png")
    assert first.body == small_png()
    for which in range(1, 14):
        assert entered.ask("GET", f"/photo/2/{which}").status == 404, which
    for path in ("/photo/2/-1", "/photo/99999/0", "/photo/2/x", "/photo/2/../2/0"):
        assert entered.ask("GET", path).status == 404, path


def test_every_answer_is_sealed(entered: Running) -> None:
    answers = [
        entered.ask("GET", "/"), entered.ask("GET", "/page/review.js"),
        entered.ask("GET", "/api/start"), entered.ask("GET", "/nowhere"),
        entered.ask("GET", "/api/start", Cookie=None), entered.ask("OPTIONS", "/api/start"),
        entered.post("/api/decide", {}), entered.ask("GET", "/enter?once=x"),
    ]  # fmt: skip
    for answer in answers:
        for name, value in SECURITY_HEADERS.items():
            assert answer.headers[name.lower()] == value
        assert "server" not in answer.headers
    policy = SECURITY_HEADERS["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    page = entered.ask("GET", "/").text
    assert "<style" not in page
    assert " style=" not in page
    assert page.count("<script") == page.count("<script src=")


def test_a_fault_inside_shows_no_internals(
    entered: Running, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("/home/ann/secret")

    monkeypatch.setattr(entered.prepared.desk, "row", broken)
    answer = entered.ask("GET", "/api/report/1")
    assert answer.status == 500
    _is_one_plain_sentence(answer, "fault")
    said = capfd.readouterr().err
    assert said.count("\n") == 1
    assert "Traceback" not in said


def test_of_two_that_decide_at_once_one_is_told(entered: Running) -> None:
    """Both saw the report undecided: the second is refused and shown what stands."""
    answers = []

    def decide(verdict: str) -> None:
        values = {"row": 2, "verdict": verdict, "reason": "a stone", "seen": 0}
        answers.append(entered.post("/api/decide", values).status)

    threads = [threading.Thread(target=decide, args=(v,)) for v in ("accept", "reject") * 4]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [200, *[409] * 7]
    assert entered.kept() == 1


def test_a_decision_that_cannot_be_written_is_not_called_kept(entered: Running) -> None:
    assert entered.post("/api/decide", DECISION).status == 200
    (entered.folder / "decisions.sqlite").write_bytes(b"no database at all" * 1000)
    for path in ("decisions.sqlite-wal", "decisions.sqlite-shm"):
        (entered.folder / path).unlink(missing_ok=True)
    answer = entered.post("/api/decide", DECISION | {"row": 2, "seen": 1})
    assert answer.status == 503
    assert answer.text.startswith("Not kept: ")
    _is_one_plain_sentence(answer, "broken file")
    view = json.loads(entered.ask("GET", "/api/report/2").text)
    assert view["state"] == "undecided"


def test_nobody_decides_without_a_name(entered: Running) -> None:
    entered.prepared.desk.reviewer = ""
    assert entered.post("/api/decide", DECISION).status == 409
    assert entered.kept() == 0
    assert entered.post("/api/reviewer", {"name": "  Una   Marsh "}).status == 200
    assert entered.post("/api/decide", DECISION).status == 200
    assert DecisionStore(entered.folder).history()[0].who == "Una Marsh"


def test_the_port_is_not_open_to_other_computers(entered: Running) -> None:
    """Bound to 127.0.0.1: another address of this computer doesn't answer."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.settimeout(2)
        assert probe.connect_ex(("127.0.0.2", entered.port)) != 0


def _is_one_plain_sentence(answer: Answer, about: object) -> None:
    text = answer.text
    assert 10 < len(text) < 400, about
    assert "\n" not in text, about
    for inside in ("Traceback", "Error:", "Exception", ".py", "/home", "/tmp", "<"):
        assert inside not in text, (about, text)
    assert answer.headers["content-type"].startswith("text/plain"), about
