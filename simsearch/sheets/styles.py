"""How the sheets look: black on white, so that any printer will do."""

from __future__ import annotations

from reportlab.lib.colors import Color, black
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm

from simsearch.sheets.fonts import BOLD, REGULAR

PAGE = A4
MARGIN, HEAD, FOOT = 18 * mm, 20 * mm, 19 * mm
WIDTH = PAGE[0] - 2 * MARGIN
HEIGHT = PAGE[1] - HEAD - FOOT
GREY = Color(0.42, 0.42, 0.42)
PALE = Color(0.82, 0.82, 0.82)
GAP = 4 * mm


def _style(name: str, size: float, font: str = REGULAR, **more: object) -> ParagraphStyle:
    return ParagraphStyle(
        name, fontName=font, fontSize=size, leading=round(size * 1.36, 1), textColor=black,
        splitLongWords=1, **more,
    )  # fmt: skip


TITLE = _style("title", 16, BOLD, spaceAfter=3)
UNDER = _style("under", 9, spaceAfter=4)
HEADING = _style("heading", 11, BOLD, spaceBefore=9, spaceAfter=3)
SUBHEADING = _style("subheading", 9.5, BOLD, spaceBefore=5, spaceAfter=2)
BODY = _style("body", 9, spaceAfter=3)
BULLET = _style("bullet", 9, leftIndent=11, bulletIndent=2, spaceAfter=1.5)
SMALL = _style("small", 7.5, spaceAfter=1)
LABEL = _style("label", 7.5)
BANNER = _style("banner", 10, BOLD)
