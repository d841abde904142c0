"""Documents that were read before, kept on disk so that a stopped run need not ask again."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from simsearch.files import write_bytes

MAX_CACHE_BYTES = 400_000_000
DAY = 24 * 3600.0


@dataclass(frozen=True)
class Kept:
    """A document as it was answered, with what is needed to ask whether it has changed."""

    body: bytes
    etag: str
    modified: str
    content_type: str
    saved_at: float

    def conditions(self) -> dict[str, str]:
        """Request headers that ask for the document only if it has changed."""
        headers = {}
        if self.etag:
            headers["If-None-Match"] = self.etag
        if self.modified:
            headers["If-Modified-Since"] = self.modified
        return headers


class Cache:
    """One file for each address. A damaged file counts as none; a full cache keeps no more."""

    def __init__(
        self,
        folder: Path,
        *,
        max_bytes: int = MAX_CACHE_BYTES,
        now: Callable[[], float] = time.time,
    ) -> None:
        self._folder = folder
        self._max_bytes = max_bytes
        self._now = now
        self._used: int | None = None

    def get(self, url: str) -> Kept | None:
        """What was kept for ``url``."""
        try:
            head, _, body = self._path(url).read_bytes().partition(b"\n")
            told = json.loads(head)
            if told["url"] != url or told["sha256"] != hashlib.sha256(body).hexdigest():
                return None
            return Kept(
                body,
                etag=str(told["etag"]),
                modified=str(told["modified"]),
                content_type=str(told["content_type"]),
                saved_at=float(told["saved_at"]),
            )
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def is_fresh(self, kept: Kept) -> bool:
        """Whether it was saved within the last day, so that asking again would be a bother."""
        return 0 <= self._now() - kept.saved_at < DAY

    def put(self, url: str, body: bytes, *, etag: str, modified: str, content_type: str) -> None:
        """Keep an answer; one that does not fit, or a disk that refuses, is no error."""
        head = {
            "url": url,
            "etag": etag[:300],
            "modified": modified[:100],
            "content_type": content_type[:100],
            "saved_at": self._now(),
            "sha256": hashlib.sha256(body).hexdigest(),
        }
        content = json.dumps(head).encode("ascii") + b"\n" + body
        with suppress(OSError):
            self._folder.mkdir(parents=True, exist_ok=True)
            if self._size() + len(content) > self._max_bytes:
                return
            write_bytes(self._path(url), content)
            self._used = self._size() + len(content)

    def forget(self, url: str) -> None:
        """Drop what was kept for ``url``."""
        with suppress(OSError):
            self._path(url).unlink()

    def _size(self) -> int:
        if self._used is None:
            self._used = sum(path.stat().st_size for path in self._folder.glob("*.doc"))
        return self._used

    def _path(self, url: str) -> Path:
        return self._folder / f"{hashlib.sha256(url.encode()).hexdigest()[:40]}.doc"
