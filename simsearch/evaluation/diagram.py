"""A reliability diagram as SVG: odds given against the share that came true."""

from __future__ import annotations

import math
from collections.abc import Mapping
from html import escape

from simsearch.leads.reliability import Bin

_SIDE, _MARGIN, _KEY = 320, 48, 22
_INKS = ("#1b1b1b", "#0b6e4f", "#a0522d", "#4b3f9e")
_MARKS = ("circle", "square", "diamond", "cross")


def reliability_svg(bins: Mapping[str, tuple[Bin, ...]], title: str) -> str:
    """Draw the bins of several collections of finds; the slanted line is where odds hold.

    Each mark is a bin; the bar through it is what chance alone allows 19 times in 20. Marks
    differ by shape as well as by ink.
    """
    height = _SIDE + 2 * _MARGIN + _KEY * len(bins)
    width = _SIDE + 2 * _MARGIN
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img" font-family="sans-serif" font-size="12">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<path d="M{_x(0)} {_y(0)}H{_x(1)}V{_y(1)}H{_x(0)}ZL{_x(1)} {_y(1)}" fill="none" '
        'stroke="#999"/>',
        *_ticks(),
    ]
    for number, (name, some) in enumerate(bins.items()):
        ink, mark = _INKS[number % len(_INKS)], _MARKS[number % len(_MARKS)]
        parts += [
            _bar(part, ink) + _mark(_x(part.odds), _y(part.right), mark, ink) for part in some
        ]
        y = _SIDE + 2 * _MARGIN + _KEY * number
        count = sum(part.count for part in some)
        parts.append(_mark(_MARGIN, y, mark, ink))
        parts.append(f'<text x="{_MARGIN + 14}" y="{y + 4}">{escape(name)}, {count} finds</text>')
    return "".join([*parts, "</svg>\n"])


def _x(share: float) -> float:
    return round(_MARGIN + _SIDE * share, 1)


def _y(share: float) -> float:
    return round(_MARGIN + _SIDE * (1 - share), 1)


def _ticks() -> list[str]:
    parts = []
    for tenth in range(0, 11, 2):
        share = tenth / 10
        words = f"{tenth} in 10"
        parts.append(f'<text x="{_x(share)}" y="{_y(0) + 16}" text-anchor="middle">{tenth}</text>')
        parts.append(f'<text x="{_x(0) - 4}" y="{_y(share) + 4}" text-anchor="end">{words}</text>')
    middle = _x(0.5)
    parts.append(
        f'<text x="{middle}" y="{_y(0) + 34}" text-anchor="middle">odds given, in 10</text>'
    )
    parts.append(f'<text x="{_MARGIN}" y="{_MARGIN - 16}">share that was right</text>')
    return parts


def _bar(part: Bin, ink: str) -> str:
    """Where the share may lie by chance if the odds of the bin hold."""
    reach = 1.96 * math.sqrt(part.odds * (1 - part.odds) / part.count)
    low, high = max(part.odds - reach, 0.0), min(part.odds + reach, 1.0)
    x = _x(part.odds)
    return f'<path d="M{x} {_y(low)}V{_y(high)}" stroke="{ink}" stroke-opacity="0.35"/>'


def _mark(x: float, y: float, mark: str, ink: str) -> str:
    if mark == "circle":
        return f'<circle cx="{x}" cy="{y}" r="4" fill="{ink}"/>'
    if mark == "square":
        return f'<rect x="{x - 4}" y="{y - 4}" width="8" height="8" fill="{ink}"/>'
    if mark == "diamond":
        return f'<path d="M{x - 5} {y}L{x} {y - 5}L{x + 5} {y}L{x} {y + 5}Z" fill="{ink}"/>'
    path = f"M{x - 4} {y - 4}L{x + 4} {y + 4}M{x - 4} {y + 4}L{x + 4} {y - 4}"
    return f'<path d="{path}" stroke="{ink}" stroke-width="2" fill="none"/>'
