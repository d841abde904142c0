"""Asking servers politely and within bounds.

Says who asks, leaves a pause between questions to a host, waits when told to, keeps documents
so as not to ask twice, and bounds the size and time of everything.
"""

from __future__ import annotations

import time
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urljoin

import httpx

from simsearch import __version__
from simsearch.bring.addresses import Guard, Resolve, system_resolve
from simsearch.bring.cache import Cache, Kept
from simsearch.bring.offered import BringError, RefusedError, UnansweredError
from simsearch.bring.pace import MIN_PAUSE, Pace, retry_after
from simsearch.bring.safe_json import read_json
from simsearch.bring.transport import Deadline, GuardedTransport
from simsearch.photo import MAX_FILE_BYTES

_REDIRECTS = frozenset((301, 302, 303, 307, 308))
_BUSY = frozenset((429, 502, 503, 504))


@dataclass(frozen=True)
class Limits:
    """Most bytes of one answer, seconds for one answer, redirects, tries, seconds of one wait."""

    json_bytes: int = 8_000_000
    picture_bytes: int = MAX_FILE_BYTES
    seconds: float = 90.0
    redirects: int = 5
    tries: int = 4
    longest_wait: float = 120.0


@dataclass(frozen=True)
class Answer:
    """What a server answered in the end: after redirects and waits."""

    status: int
    headers: httpx.Headers
    body: bytes


class PoliteClient:
    """Asks for documents and pictures; use it in a ``with`` block.

    ``contact`` is an e-mail address or a web page of whoever runs this, so that the people who
    keep the server can write instead of blocking. ``given`` is the address that the user typed:
    only its host may be in the local network. Raises ``RefusedError`` for what will not work
    later either and ``UnansweredError`` for what may.
    """

    def __init__(
        self,
        contact: str,
        given: str,
        *,
        cache: Cache | None = None,
        pause: float = MIN_PAUSE,
        limits: Limits | None = None,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
        resolve: Resolve = system_resolve,
    ) -> None:
        self._agent = user_agent(contact)
        self._limits = limits or Limits()
        self._cache = cache
        self._pause = pause
        self._pace = Pace(pause, clock=clock, sleep=sleep)
        self._deadline = Deadline(clock)
        self._guard = Guard(given, resolve=resolve)
        self._transport = GuardedTransport(self._guard, self._deadline)

    def __enter__(self) -> PoliteClient:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections."""
        self._transport.close()

    @property
    def tries(self) -> int:
        """How often a busy server is asked in all."""
        return self._limits.tries

    def json(self, url: str, *, again: bool = False) -> Any:
        """The JSON document at ``url``.

        One kept within the last day is not asked for; an older one (any, with ``again``) only
        if the server says that it has changed.
        """
        kept = self._cache.get(url) if self._cache else None
        if kept and self._cache and self._cache.is_fresh(kept) and not again:
            return read_json(kept.body, _place(url), kept.content_type)
        body, content_type = self._document(url, kept)
        return read_json(body, _place(url), content_type)

    def picture(self, url: str) -> bytes:
        """The bytes at ``url``, which may be a picture or not; never an empty answer."""
        answer = self._follow(url, self._limits.picture_bytes, {"Accept": "image/*"})
        _raise_for_status(answer.status, url)
        if not answer.body:
            raise RefusedError(f"{_place(url)} sent an empty file.")
        return answer.body

    def forget(self, url: str) -> None:
        """Do not answer ``url`` from what was kept."""
        if self._cache:
            self._cache.forget(url)

    def wait(self, seconds: float | None, attempt: int, place: str) -> None:
        """Wait as a busy server asked, or longer each time; too long a wait is an error."""
        wanted = max(self._pause, 1.0) * 2.0 ** (attempt + 1) if seconds is None else seconds
        if wanted > self._limits.longest_wait:
            raise UnansweredError(
                f"{place} is busy and asks to wait {wanted:.0f} seconds.",
                hint="Run the same command again later; what has been brought in is kept.",
            )
        self._pace.wait(wanted)

    def _document(self, url: str, kept: Kept | None) -> tuple[bytes, str]:
        headers = {"Accept": "application/json, application/ld+json;q=0.9, */*;q=0.1"}
        answer = self._follow(
            url, self._limits.json_bytes, headers | (kept.conditions() if kept else {})
        )
        if answer.status == 304 and kept:
            body, told = kept.body, httpx.Headers({"content-type": kept.content_type})
            etag, modified = kept.etag, kept.modified
        else:
            _raise_for_status(answer.status, url)
            body, told = answer.body, answer.headers
            etag, modified = told.get("etag", ""), told.get("last-modified", "")
        content_type = told.get("content-type", "")
        read_json(body, _place(url), content_type)  # only what can be read is worth keeping
        if self._cache:
            self._cache.put(url, body, etag=etag, modified=modified, content_type=content_type)
        return body, content_type

    def _follow(self, url: str, limit: int, headers: dict[str, str]) -> Answer:
        target = url
        for _ in range(self._limits.redirects + 1):
            answer = self._ask(target, limit, headers)
            if answer.status not in _REDIRECTS:
                return answer
            # Checked like any other address before it is asked.
            target = _joined(target, answer.headers.get("location", ""))
        raise RefusedError(
            f"{_place(url)} sends us from one address to the next "
            f"(more than {self._limits.redirects} times)."
        )

    def _ask(self, url: str, limit: int, headers: dict[str, str]) -> Answer:
        """One address, asked again while its server is busy or silent."""
        place = _place(url)
        failure = ""
        for attempt in range(self._limits.tries):
            try:
                answer = self._ask_once(url, limit, headers)
            except httpx.TransportError as error:
                failure, seconds = _reason(error), None
            else:
                if answer.status not in _BUSY:
                    return answer
                failure = f"it says it is busy ({answer.status})"
                seconds = retry_after(answer.headers.get("retry-after", ""))
            if attempt + 1 < self._limits.tries:
                self.wait(seconds, attempt, place)
        raise UnansweredError(
            f"{place} did not answer: {failure}.",
            hint="Run the same command again later; what has been brought in is kept.",
        )

    def _ask_once(self, url: str, limit: int, headers: dict[str, str]) -> Answer:
        checked = self._guard.check(url)
        self._pace.before_asking(checked.host)
        self._deadline.start(self._limits.seconds)
        timeouts = httpx.Timeout(20.0, connect=15.0)
        request = httpx.Request(
            "GET",
            checked,
            headers={"User-Agent": self._agent, "Accept-Encoding": "gzip", **headers},
            extensions={"timeout": timeouts.as_dict()},
        )
        # The transport is used directly: no cookies are kept, no redirect is followed unseen.
        response = self._transport.handle_request(request)
        try:
            if response.status_code != 200:
                return Answer(response.status_code, response.headers, b"")
            body = _bounded_body(response, limit, _place(url))
            return Answer(response.status_code, response.headers, body)
        finally:
            response.close()


def user_agent(contact: str) -> str:
    """How this program names itself; raises ``BringError`` without a usable contact."""
    text = contact.strip()
    usable = text.isascii() and text.isprintable() and len(text) <= 200
    if not usable or not ("@" in text.strip("@") or text.startswith(("http://", "https://"))):
        raise BringError(
            f"'{text[:80]}' is not a contact.",
            hint="Give an e-mail address or a web page at which you can be reached, so that the "
            "people who keep the server can write to you.",
        )
    bare = text.replace("(", "").replace(")", "")
    return f"simsearch/{__version__} (brings in openly licensed photos; contact: {bare})"


def _bounded_body(response: httpx.Response, limit: int, place: str) -> bytes:
    """The body, at most ``limit`` bytes before and after unpacking."""
    told = response.headers.get("content-length", "")
    if told.isascii() and told.isdigit() and int(told[:15]) > limit:
        raise _too_big(place, limit)
    encoding = response.headers.get("content-encoding", "").strip().lower()
    if encoding in ("gzip", "x-gzip"):
        return _unpacked(response.iter_raw(), limit, place)
    if encoding not in ("", "identity"):
        raise RefusedError(f"{place} packed its answer in a way that was not asked for.")
    body = bytearray()
    for chunk in response.iter_raw():
        body += chunk
        if len(body) > limit:
            raise _too_big(place, limit)
    return bytes(body)


def _unpacked(chunks: Iterable[bytes], limit: int, place: str) -> bytes:
    # Never more than the limit is unpacked, however much a small file would swell to.
    unpacker = zlib.decompressobj(wbits=31)
    body = bytearray()
    taken = 0
    for chunk in chunks:
        taken += len(chunk)
        try:
            body += unpacker.decompress(chunk, limit - len(body) + 1)
        except zlib.error as error:
            raise RefusedError(f"{place} sent a damaged packed answer.") from error
        if len(body) > limit or taken > limit:
            raise _too_big(place, limit)
    if not unpacker.eof:
        raise RefusedError(f"{place} sent a packed answer that is cut short.")
    return bytes(body)


def _too_big(place: str, limit: int) -> RefusedError:
    return RefusedError(f"{place} sends more than {limit / 1_000_000:g} MB, which is not read.")


def _raise_for_status(status: int, url: str) -> None:
    if status == 200:
        return
    place = _place(url)
    if status in (404, 410):
        raise RefusedError(f"{place} is not there ({status}).", hint="Check the address.")
    if status in (401, 403):
        raise RefusedError(f"{place} may not be read by everyone ({status}).")
    raise RefusedError(f"{place} answered with an error ({status}).")


def _joined(base: str, target: str) -> str:
    try:
        return urljoin(base, target)
    except ValueError:
        return target


def _place(url: str) -> str:
    return url if len(url) <= 160 else f"{url[:159]}…"


def _reason(error: httpx.TransportError) -> str:
    if isinstance(error, httpx.TimeoutException):
        return "it took too long"
    return " ".join(str(error).split())[:120] or "the connection broke"
