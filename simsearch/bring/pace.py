"""Waiting: between two questions to one host, and when a host says that it is busy."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

MIN_PAUSE = 1.0


class Pace:
    """Keeps ``pause`` seconds between two questions to one host."""

    def __init__(
        self,
        pause: float = MIN_PAUSE,
        *,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._pause = pause
        self._clock = clock
        self._sleep = sleep
        self._last: dict[str, float] = {}

    def before_asking(self, host: str) -> None:
        """Wait until ``host`` may be asked again, and note that it is asked now."""
        last = self._last.get(host)
        if last is not None and (left := self._pause - (self._clock() - last)) > 0:
            self._sleep(left)
        self._last[host] = self._clock()

    def wait(self, seconds: float) -> None:
        """Wait because a server asked for it."""
        self._sleep(max(0.0, seconds))


def retry_after(value: str, *, now: Callable[[], datetime] | None = None) -> float | None:
    """The seconds that a ``Retry-After`` header asks for (RFC 9110, 10.2.3); None if unreadable.

    It is a number of seconds, or the date to wait for.
    """
    text = value.strip()
    if text.isascii() and text.isdigit():
        return float(text[:12])
    try:
        moment = parsedate_to_datetime(text)
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    current = now() if now else datetime.now(UTC)
    return max(0.0, (moment - current).total_seconds())
