"""The page with a password: every address of it is closed without, and open with it."""

from __future__ import annotations

import asyncio
import http.client
import json
import re
import urllib.parse
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from simsearch import open_set
from simsearch.errors import SimsearchError
from simsearch.page import phone
from simsearch.page.gate import TRIES, WINDOW_SECONDS, Door, Gate
from simsearch.page.start import serving
from tests.page.small_set import make_small_set

PASSWORD = "harrow fen 1066"
# Addresses of the page framework that hand out or take in something, whatever its version.
KNOWN = (
    "/", "/config", "/info", "/gradio_api/info", "/gradio_api/upload", "/gradio_api/queue/join",
    "/gradio_api/queue/data?session_hash=a", "/gradio_api/file=/etc/passwd", "/theme.css",
    "/gradio_api/run/predict", "/gradio_api/component_server", "/gradio_api/startup-events",
    "/gradio_api/heartbeat/a", "/gradio_api/upload_progress?upload_id=a", "/assets/index.js",
    "/manifest.json", "/robots.txt", "/openapi.json", "/docs", "/nowhere", "//", "/login", "/token",
    "/gradio_api/login_check", "/monitoring", "/gradio_api/mcp/",
)  # fmt: skip


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, list[str]]]:
    """Where the page is served with a password, and every route that it has."""
    folder = make_small_set(tmp_path_factory.mktemp("small") / "set")
    with serving(open_set(folder), password=PASSWORD) as (page, address):
        yield urllib.parse.urlsplit(address).netloc, sorted(_routes(page.app.routes))


def _routes(routes: list[object]) -> set[str]:
    found: set[str] = set()
    for route in routes:
        inner = getattr(route, "original_router", route)
        for path in _routes(getattr(inner, "routes", None) or []):
            found |= {path, f"/gradio_api{path}"}
        if path := getattr(route, "path", ""):
            found.add(re.sub(r"\{[^}]*\}", "x", path) or "/")
    return found


def ask(
    where: str, method: str, path: str, body: str = "", **headers: str
) -> tuple[int, str, http.client.HTTPMessage]:
    connection = http.client.HTTPConnection(where, timeout=20)
    try:
        connection.request(method, path, body or None, headers)
        answer = connection.getresponse()
        return answer.status, answer.read().decode("utf-8", "replace"), answer.headers
    finally:
        connection.close()


def enter(where: str, password: str) -> tuple[int, str, http.client.HTTPMessage]:
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    return ask(where, "POST", "/enter", urllib.parse.urlencode({"password": password}), **form)


def test_every_address_is_closed_without_the_password(served: tuple[str, list[str]]) -> None:
    where, routes = served
    assert len(routes) > 60  # the framework's own list was really found
    assert {"/gradio_api/upload", "/gradio_api/queue/join"} <= set(routes)
    open_ones = [
        (method, path, status)
        for path in {*routes, *KNOWN}
        for method in ("GET", "POST", "HEAD", "PUT", "DELETE")
        if path != "/enter" and (status := ask(where, method, path)[0]) != 401
    ]
    assert open_ones == []


def test_nothing_of_the_set_is_in_the_closed_page(served: tuple[str, list[str]]) -> None:
    status, html, headers = ask(served[0], "GET", "/")
    assert status == 401
    assert "Password" in html and "Knee" not in html and "gradio" not in html.casefold()
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["cache-control"] == "no-store"
    assert PASSWORD not in html


@pytest.mark.parametrize("cookie", ["", "simsearch-00000000=x", "=;=;;", "a=b; c", "\xff\xfe=1"])
def test_other_cookies_do_not_open_it(served: tuple[str, list[str]], cookie: str) -> None:
    assert ask(served[0], "GET", "/", Cookie=cookie)[0] == 401


def test_the_password_opens_everything_and_a_wrong_one_nothing(
    served: tuple[str, list[str]],
) -> None:
    where, _ = served
    status, html, headers = enter(where, PASSWORD.upper())
    assert (status, headers["set-cookie"]) == (401, None)
    assert "That is not the password." in html
    status, _, headers = enter(where, f" {PASSWORD} ")
    assert (status, headers["location"]) == (303, "/")
    given = headers["set-cookie"]
    assert "HttpOnly" in given and "SameSite=Strict" in given
    cookie = given.split(";")[0]
    status, html, _ = ask(where, "GET", "/", Cookie=cookie)
    assert status == 200 and "gradio" in html.casefold()
    status, text, _ = ask(where, "GET", "/config", Cookie=cookie)
    assert status == 200 and json.loads(text)["components"]
    # What no page gives out stays closed with the password too.
    assert ask(where, "GET", "/gradio_api/file=/etc/passwd", Cookie=cookie)[0] in (403, 404)


def test_an_endless_or_odd_form_is_only_a_wrong_password(served: tuple[str, list[str]]) -> None:
    where, _ = served
    assert ask(where, "POST", "/enter", "password=" + "x" * 100_000)[0] == 401
    assert ask(where, "POST", "/enter", "\x00\x01&&&==")[0] == 401
    assert ask(where, "GET", "/enter")[0] == 401


def test_a_socket_is_closed_without_the_password() -> None:
    passed, sent = [], []

    async def page(scope: Any, receive: Any, send: Any) -> None:
        passed.append(scope)

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    door = Door(PASSWORD)
    scope: dict[str, Any] = {"type": "websocket", "path": "/queue/join", "headers": []}
    asyncio.run(Gate(page, door)(scope, None, send))
    assert (passed, sent) == ([], [{"type": "websocket.close", "code": 1008}])
    scope["headers"] = [(b"cookie", door.set_cookie().split(b";")[0])]
    asyncio.run(Gate(page, door)(scope, None, send))
    assert passed == [scope]


def test_guessing_has_to_wait() -> None:
    now = [0.0]
    door = Door(PASSWORD, clock=lambda: now[0])
    for _ in range(TRIES):
        assert not door.must_wait("192.168.1.9")
        assert not door.accepts("guess", "192.168.1.9")
    assert door.must_wait("192.168.1.9")
    assert not door.must_wait("192.168.1.10")
    now[0] = WINDOW_SECONDS + 1
    assert not door.must_wait("192.168.1.9")
    assert door.accepts(PASSWORD, "192.168.1.9")


def test_two_pages_do_not_take_each_others_cookie() -> None:
    one, other = Door(PASSWORD), Door(PASSWORD)
    cookie = one.set_cookie().decode().split(";")[0]
    assert one.knows(cookie)
    assert not other.knows(cookie)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.20", "kitchen-table"])
def test_other_computers_are_not_served_without_a_password(tmp_path: Path, host: str) -> None:
    reference = open_set(make_small_set(tmp_path / "set"))
    refused = pytest.raises(SimsearchError, match="needs a password")
    with refused as caught, serving(reference, host=host):
        pass
    assert "--phone" in caught.value.hint


def test_a_short_password_is_refused(tmp_path: Path) -> None:
    reference = open_set(make_small_set(tmp_path / "set"))
    with pytest.raises(SimsearchError, match="at least 8"), serving(reference, password=" fen   "):
        pass


@pytest.mark.parametrize(
    ("host", "own"),
    [
        ("127.0.0.1", True), ("localhost", True), ("::1", True), ("127.9.9.9", True),
        ("0.0.0.0", False), ("::", False), ("192.168.1.20", False),
        ("127.0.0.1.example", False),
    ],
)  # fmt: skip
def test_which_addresses_are_this_computer_only(host: str, own: bool) -> None:
    assert phone.is_this_computer(host) is own


def test_passwords_that_are_made_differ_and_can_be_typed() -> None:
    made = {phone.new_password() for _ in range(50)}
    assert len(made) == 50
    assert all(re.fullmatch(r"[a-hjkmnp-z]{4}(-[a-hjkmnp-z]{4}){2}", word) for word in made)
    assert all(phone.checked_password(word) == word for word in made)


def test_the_network_address_is_none_of_this_computer_only(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phone, "_own_addresses", lambda: ["127.0.1.1", "192.168.1.20"])
    assert phone.network_address() == "192.168.1.20"
    monkeypatch.setattr(phone, "_own_addresses", lambda: ["127.0.0.1", "0.0.0.0"])
    with pytest.raises(SimsearchError, match="in no network"):
        phone.network_address()


def test_the_code_holds_the_address_and_the_password_where_no_request_shows_it() -> None:
    """Read back with OpenCV, which knows nothing of how the code was made."""
    cv2 = pytest.importorskip("cv2", reason="reads the code")
    import numpy as np

    drawn = phone.scan_code("http://192.168.1.20:7860/", PASSWORD)
    halves = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), " ": (0, 0)}
    lines = drawn.split("\n")
    width = max(map(len, lines))
    rows = [[halves[sign][half] for sign in line.ljust(width)] for line in lines for half in (0, 1)]
    picture = np.kron(np.array(rows, np.uint8), np.ones((8, 8), np.uint8))
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(cv2.copyMakeBorder(
        picture, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=255))  # fmt: skip
    assert text == "http://192.168.1.20:7860/#harrow%20fen%201066"
    assert urllib.parse.urlsplit(text).query == ""
