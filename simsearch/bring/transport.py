"""The connection itself: only to addresses that were allowed, and never for longer than agreed.

A time limit between two bytes is not enough: a server that sends one byte every ten seconds
would hold the program for days. So every read counts against one limit for the whole answer.
"""

from __future__ import annotations

import ssl
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import httpcore
import httpx

from simsearch.bring.addresses import Guard


class Deadline:
    """How much time is left for the answer under way, by ``clock`` (seconds)."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._end = float("inf")

    def start(self, seconds: float) -> None:
        """From now on, ``seconds`` are left."""
        self._end = self._clock() + seconds

    def bounded(self, timeout: float | None) -> float:
        """``timeout`` or what is left, whichever is shorter; raises when nothing is left."""
        left = self._end - self._clock()
        if left <= 0:
            raise httpcore.ReadTimeout("the whole answer took too long")
        return left if timeout is None else min(timeout, left)


class _Stream(httpcore.NetworkStream):
    def __init__(self, stream: httpcore.NetworkStream, deadline: Deadline) -> None:
        self._stream = stream
        self._deadline = deadline

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        return self._stream.read(max_bytes, self._deadline.bounded(timeout))

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        self._stream.write(buffer, self._deadline.bounded(timeout))

    def close(self) -> None:
        self._stream.close()

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,
    ) -> httpcore.NetworkStream:
        secured = self._stream.start_tls(
            ssl_context, server_hostname, self._deadline.bounded(timeout)
        )
        return _Stream(secured, self._deadline)

    def get_extra_info(self, info: str) -> Any:
        return self._stream.get_extra_info(info)


class _Backend(httpcore.NetworkBackend):
    def __init__(self, guard: Guard, deadline: Deadline) -> None:
        self._guard = guard
        self._deadline = deadline
        self._plain = httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:
        failure: Exception = httpcore.ConnectError(f"no address of {host} can be reached")
        for address in self._guard.addresses(host, port):
            try:
                stream = self._plain.connect_tcp(
                    address, port, self._deadline.bounded(timeout), local_address, socket_options
                )
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as error:
                failure = error
            else:
                return _Stream(stream, self._deadline)
        raise failure

    def sleep(self, seconds: float) -> None:
        """Part of the interface; nothing here waits by it."""


class _Body(httpx.SyncByteStream):
    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def __iter__(self) -> Iterator[bytes]:
        with _as_httpx_errors():
            yield from self._stream

    def close(self) -> None:
        if hasattr(self._stream, "close"):
            self._stream.close()


class GuardedTransport(httpx.BaseTransport):
    """HTTP/1.1 over connections that ``guard`` allows and ``deadline`` ends."""

    def __init__(self, guard: Guard, deadline: Deadline) -> None:
        self._pool = httpcore.ConnectionPool(
            max_connections=4,
            max_keepalive_connections=2,
            keepalive_expiry=15,
            network_backend=_Backend(guard, deadline),
        )

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        """Send one request; the body is read by whoever iterates the answer."""
        asked = httpcore.Request(
            method=request.method,
            url=httpcore.URL(
                scheme=request.url.raw_scheme,
                host=request.url.raw_host,
                port=request.url.port,
                target=request.url.raw_path,
            ),
            headers=request.headers.raw,
            content=b"",
            extensions=request.extensions,
        )
        with _as_httpx_errors():
            answer = self._pool.handle_request(asked)
        return httpx.Response(
            status_code=answer.status,
            headers=answer.headers,
            stream=_Body(answer.stream),
            extensions=answer.extensions,
        )

    def close(self) -> None:
        """Close every connection."""
        self._pool.close()


@contextmanager
def _as_httpx_errors() -> Iterator[None]:
    try:
        yield
    except httpcore.TimeoutException as error:
        raise httpx.ReadTimeout(str(error) or "timed out") from error
    except (httpcore.NetworkError, httpcore.ProtocolError, httpcore.UnsupportedProtocol) as error:
        raise httpx.NetworkError(str(error) or type(error).__name__) from error
