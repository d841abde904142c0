"""Turning texts and addresses written by strangers into plain, bounded ones."""

from __future__ import annotations

import re
import unicodedata
from html.parser import HTMLParser

import httpx

MAX_TEXT = 500
_MAX_READ = 20_000  # letters of HTML that are looked at; a credit line is far shorter
_MAX_URL = 2_000
_UNSHOWN = frozenset(("script", "style", "template", "head", "noscript"))
_BREAKS = frozenset(("br", "p", "div", "li", "tr", "td", "th", "table", "ul", "ol", "dd", "dt"))


class _Words(HTMLParser):
    """Collects the text of a piece of HTML; scripts and styles are not text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.parts: list[str] = []
        self._unshown = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in _UNSHOWN:
            self._unshown += 1
        elif tag in _BREAKS:
            self.parts.append(" ")

    def handle_endtag(self, tag: str) -> None:
        if tag in _UNSHOWN:
            self._unshown = max(0, self._unshown - 1)
        elif tag in _BREAKS:
            self.parts.append(" ")

    def handle_data(self, data: str) -> None:
        if not self._unshown:
            self.parts.append(data)


def plain_text(value: object, *, limit: int = MAX_TEXT) -> str:
    """``value`` without tags, on one line, at most ``limit`` letters; empty if it is no text."""
    if not isinstance(value, str):
        return ""
    text = value[:_MAX_READ]
    if "<" in text or "&" in text:
        words = _Words()
        try:
            words.feed(text)
            words.close()
        except (ValueError, AssertionError):  # what the parser raises for some broken declarations
            return ""
        text = "".join(words.parts)
    return one_line(text, limit=limit)


def one_line(text: str, *, limit: int = MAX_TEXT) -> str:
    """``text`` without control, direction or half letters, white space made single blanks."""
    # "C" holds controls, invisible direction marks (which can make a name read backwards) and
    # halves of surrogate pairs, which cannot be written to a file.
    kept = "".join(" " if unicodedata.category(letter)[0] in "CZ" else letter for letter in text)
    short = " ".join(kept.split())
    return short if len(short) <= limit else f"{short[: limit - 1].rstrip()}…"


def web_address(value: object) -> str:
    """``value`` if it is a complete http or https address of bounded length, else empty."""
    if not isinstance(value, str) or len(value) > _MAX_URL:
        return ""
    text = value.strip()
    if any(letter.isspace() or unicodedata.category(letter)[0] == "C" for letter in text):
        return ""
    try:
        url = httpx.URL(text)
    except (httpx.InvalidURL, ValueError, TypeError):
        return ""
    if url.scheme not in ("http", "https") or not url.host or url.userinfo:
        return ""
    return text


def slug(text: str, *, limit: int = 40) -> str:
    """Small letters, digits and single hyphens made of ``text``; may be empty."""
    bare = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii").lower()
    return re.sub(r"[^a-z0-9]+", "-", bare)[:limit].strip("-")
