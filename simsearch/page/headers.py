"""Headers that keep the page to itself: nothing is loaded from, or shown inside, another site."""

from __future__ import annotations

from typing import Any

# The framework's own scripts are inline and build functions from text, hence the two unsafe-
# words; what matters here is that no address but our own can be asked for anything.
POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:",
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "connect-src 'self'",
        "worker-src 'self' blob:",
        "object-src 'none'",
        "base-uri 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = (
    (b"content-security-policy", POLICY.encode("ascii")),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
)


class StayHere:
    """ASGI middleware that adds the headers to every answer."""

    def __init__(self, app: Any) -> None:
        self._app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Pass the request on and add the headers when the answer starts."""

        async def send_with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", ()), *_HEADERS]}
            await send(message)

        await self._app(scope, receive, send_with_headers if scope["type"] == "http" else send)
