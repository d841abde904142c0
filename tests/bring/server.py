"""A small web server on this computer, for what the published specifications describe."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from io import BytesIO
from typing import Any

from PIL import Image

from simsearch.bring.polite import Limits, PoliteClient

CONTACT = "recorder@example.org"


@dataclass
class Reply:
    """What one address answers; ``write`` takes over the whole connection after the headers."""

    body: bytes = b""
    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    write: Callable[[Any], None] | None = None


Route = Reply | Callable[["Asked"], Reply]


@dataclass(frozen=True)
class Asked:
    """One question as the server saw it."""

    path: str
    headers: dict[str, str]


@dataclass
class Site:
    """The running server: ``routes`` by path (with its query, else without), and the log."""

    base: str
    routes: dict[str, Route] = field(default_factory=dict)
    asked: list[Asked] = field(default_factory=list)

    def put_json(self, path: str, document: Any, **headers: str) -> str:
        """Answer ``path`` with JSON; returns its whole address."""
        body = json.dumps(document).encode()
        told = {"Content-Type": "application/json"} | {
            name.replace("_", "-"): value for name, value in headers.items()
        }
        self.routes[path] = Reply(body, headers=told)
        return self.base + path

    def put_picture(self, path: str, colour: tuple[int, int, int] = (90, 120, 60)) -> str:
        """Answer ``path`` with a small JPEG; returns its whole address."""
        self.routes[path] = Reply(jpeg(colour), headers={"Content-Type": "image/jpeg"})
        return self.base + path

    def paths(self) -> list[str]:
        """What was asked for, in order."""
        return [asked.path for asked in self.asked]


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    wbufsize = 65_536  # head and body in one packet: the client then need not wait for the second

    def do_GET(self) -> None:
        site: Site = self.server.site  # type: ignore[attr-defined]
        asked = Asked(self.path, {name.lower(): value for name, value in self.headers.items()})
        site.asked.append(asked)
        route = site.routes.get(self.path) or site.routes.get(self.path.partition("?")[0])
        reply = Reply(b"nothing here", 404) if route is None else route
        if callable(reply):
            reply = reply(asked)
        with suppress(OSError):  # the client may have hung up, as it should
            self._send(reply)

    def _send(self, reply: Reply) -> None:
        self.send_response(reply.status)
        for name, value in reply.headers.items():
            self.send_header(name, value)
        if reply.write is None and "Content-Length" not in reply.headers:
            self.send_header("Content-Length", str(len(reply.body)))
        if reply.write is not None or "Content-Length" in reply.headers:
            self.send_header("Connection", "close")
            self.close_connection = True
        self.end_headers()
        if reply.write is not None:
            reply.write(self.wfile)
        else:
            self.wfile.write(reply.body)

    def log_message(self, format: str, *args: Any) -> None:
        """Keep quiet."""


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that hangs up is no error here."""


@contextmanager
def serving() -> Iterator[Site]:
    """Run a server on a free port of this computer."""
    server = _Server(("127.0.0.1", 0), _Handler)
    site = Site(f"http://127.0.0.1:{server.server_port}")
    server.site = site  # type: ignore[attr-defined]
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield site
    finally:
        server.shutdown()
        server.server_close()


class Waits(list[float]):
    """Stands in for sleeping: notes what would have been waited, and moves its own clock."""

    def __init__(self) -> None:
        super().__init__()
        self.time = 0.0

    def sleep(self, seconds: float) -> None:
        self.append(seconds)
        self.time += seconds

    def clock(self) -> float:
        return self.time


def client_for(site: Site, waits: Waits | None = None, **changes: Any) -> PoliteClient:
    """A client that does not really wait."""
    waits = Waits() if waits is None else waits
    settings: dict[str, Any] = {"clock": waits.clock, "sleep": waits.sleep, "limits": Limits()}
    return PoliteClient(CONTACT, site.base + "/", **(settings | changes))


def jpeg(colour: tuple[int, int, int] = (90, 120, 60), size: tuple[int, int] = (48, 32)) -> bytes:
    """A small photo-like file."""
    stream = BytesIO()
    Image.new("RGB", size, colour).save(stream, "JPEG")
    return stream.getvalue()
