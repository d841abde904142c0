"""The door of a page that others on the network can reach: nothing passes without the password.

It stands in front of every address of the page, uploads, files and the queue included, so that
no part of the framework can be forgotten. Who gives the password gets a cookie that holds until
the page is stopped. The traffic itself is not encrypted; whoever starts the page is told so.
"""

from __future__ import annotations

import hmac
import secrets
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from simsearch.page.render import render_door

ENTER = "/enter"
TRIES, WINDOW_SECONDS = 8, 60.0
"""Wrong passwords that one address may give in a minute before it has to wait."""
_MOST_BODY = 2048
_MOST_ADDRESSES = 256
_STARTUP = "/startup-events"


class Door:
    """The password, the cookie that stands for it, and who guessed wrong how often.

    While ``starting`` is true, the framework's one call to itself at start is let through.
    """

    def __init__(self, password: str, clock: Callable[[], float] = time.monotonic) -> None:
        self._password = password.encode("utf-8")
        # Browsers keep cookies by machine and not by port: two pages must not share a name.
        self.cookie = f"simsearch-{secrets.token_hex(4)}"
        self._token = secrets.token_urlsafe(32)
        self._clock = clock
        self._wrong: OrderedDict[str, deque[float]] = OrderedDict()
        self.starting = True

    def knows(self, cookies: str) -> bool:
        """Whether a request's cookies hold the one that the password gives."""
        jar: SimpleCookie = SimpleCookie()
        try:
            jar.load(cookies)
        except CookieError:
            return False
        held = jar.get(self.cookie)
        return held is not None and hmac.compare_digest(held.value.encode(), self._token.encode())

    def must_wait(self, address: str) -> bool:
        """Whether this address has guessed wrong too often just now."""
        wrong = self._wrong.get(address)
        while wrong and self._clock() - wrong[0] > WINDOW_SECONDS:
            wrong.popleft()
        return bool(wrong) and len(wrong or ()) >= TRIES

    def accepts(self, password: str, address: str) -> bool:
        """Whether this is the password; a wrong one is counted against the address."""
        if hmac.compare_digest(password.strip().encode("utf-8"), self._password):
            self._wrong.pop(address, None)
            return True
        self._wrong.setdefault(address, deque(maxlen=TRIES)).append(self._clock())
        self._wrong.move_to_end(address)
        while len(self._wrong) > _MOST_ADDRESSES:
            self._wrong.popitem(last=False)
        return False

    def set_cookie(self) -> bytes:
        """The header that gives the cookie. Scripts cannot read it, other sites cannot use it."""
        return f"{self.cookie}={self._token}; Path=/; HttpOnly; SameSite=Strict".encode("ascii")


class Gate:
    """ASGI middleware that lets through only who has been let in by the door."""

    def __init__(self, app: Any, door: Door) -> None:
        self._app = app
        self._door = door

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Pass the request on, ask for the password, or turn it away."""
        kind = scope["type"]
        if kind not in ("http", "websocket") or self._may_pass(scope):
            await self._app(scope, receive, send)
        elif kind == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        elif scope["method"] == "POST" and scope["path"] == ENTER:
            await self._enter(scope, receive, send)
        else:
            await _answer(send, 401, render_door(""))

    def _may_pass(self, scope: Any) -> bool:
        own_start = self._door.starting and scope["path"].endswith(_STARTUP)
        entering = scope["type"] == "http" and scope["path"] == ENTER
        return own_start or (not entering and self._door.knows(_cookies(scope)))

    async def _enter(self, scope: Any, receive: Any, send: Any) -> None:
        address = (scope.get("client") or ("",))[0]
        if self._door.must_wait(address):
            words = "Too many wrong passwords came from this device. Wait a minute, then try again."
            await _answer(send, 429, render_door(words))
        elif self._door.accepts(await _password(receive), address):
            headers = [(b"location", b"/"), (b"set-cookie", self._door.set_cookie())]
            await _answer(send, 303, "", headers)
        else:
            await _answer(send, 401, render_door("That is not the password. Try again."))


def _cookies(scope: Any) -> str:
    values = [value for name, value in scope["headers"] if name == b"cookie"]
    return b"; ".join(values).decode("latin-1")


async def _password(receive: Any) -> str:
    """The field ``password`` of a form that was sent; empty when there is none."""
    body = b""
    while len(body) <= _MOST_BODY:
        message = await receive()
        if message["type"] != "http.request":
            return ""
        body += message.get("body", b"")
        if not message.get("more_body"):
            break
    fields = parse_qs(body[:_MOST_BODY].decode("utf-8", "replace"))
    return fields.get("password", [""])[0]


async def _answer(
    send: Any, status: int, html: str, headers: list[tuple[bytes, bytes]] | None = None
) -> None:
    body = html.encode("utf-8")
    plain = [
        (b"content-type", b"text/html; charset=utf-8"),
        (b"content-length", str(len(body)).encode("ascii")),
        (b"cache-control", b"no-store"),
    ]
    await send(
        {"type": "http.response.start", "status": status, "headers": plain + (headers or [])}
    )
    await send({"type": "http.response.body", "body": body})
