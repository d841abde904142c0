"""The photo card as a PDF, true to size, in plain black, grey and white."""

from __future__ import annotations

import io
from typing import Any

from simsearch.measure.layout import CELLS, DICTIONARY, LAYOUTS, Box, Layout, marker_cells
from simsearch.measure.model import MeasureError

PAGE_MM = (297.0, 210.0)
"""A4 on its side. Either card, printed in its middle, keeps clear of every printer's margins."""
POINTS_PER_MM = 72 / 25.4
"""A point of PDF is 1/72 inch (ISO 32000-1, 8.3.2.3), an inch 25.4 mm."""


def photo_card(size: str = "a5") -> bytes:
    """Return the card of a size ("a5" or "a6") as a PDF of one A4 page.

    Raises MeasureError for a size that there is not.
    """
    layout = LAYOUTS.get(size.strip().lower())
    if layout is None:
        raise MeasureError(
            f"There is no photo card of size '{size}'.", hint=f"Use {' or '.join(LAYOUTS)}."
        )
    from reportlab.pdfgen.canvas import Canvas

    content = io.BytesIO()
    page = (PAGE_MM[0] * POINTS_PER_MM, PAGE_MM[1] * POINTS_PER_MM)
    # invariant: the same card gives the same bytes, with no date in them.
    canvas = Canvas(content, pagesize=page, invariant=1)
    canvas.setTitle(f"Photo card {layout.name}")
    # Viewers offer this as the default, so that nothing is "fitted" without being asked.
    canvas.setViewerPreference("PrintScaling", "None")
    _Drawing(canvas, layout).all()
    canvas.showPage()
    canvas.save()
    return content.getvalue()


def place_on_page(layout: Layout) -> tuple[float, float]:
    """Where the card's left upper corner is on the page, mm from the page's left upper one."""
    return (PAGE_MM[0] - layout.width) / 2, (PAGE_MM[1] - layout.height) / 2


class _Drawing:
    """Draws in the card's millimetres, y downwards."""

    def __init__(self, canvas: Any, layout: Layout) -> None:
        self.canvas, self.layout = canvas, layout
        self.left, self.top = place_on_page(layout)

    def all(self) -> None:
        layout = self.layout
        self.canvas.setFillGray(0)
        self.canvas.setStrokeGray(0)
        self.frame(Box(0, 0, layout.width, layout.height), 0.15, dashed=True)
        for number, box in layout.markers.items():
            self.marker(number, box)
        for patch in layout.patches:
            if patch.grey < 1:
                self.filled(patch.box, patch.grey)
            self.frame(patch.box, 0.2)
        self.room()
        self.rule()
        self.upright_rule()
        self.words()

    def x(self, mm: float) -> float:
        return (self.left + mm) * POINTS_PER_MM

    def y(self, mm: float) -> float:
        return (PAGE_MM[1] - self.top - mm) * POINTS_PER_MM

    def filled(self, box: Box, grey: float) -> None:
        self.canvas.setFillGray(grey)
        size = box.width * POINTS_PER_MM, box.height * POINTS_PER_MM
        self.canvas.rect(self.x(box.x), self.y(box.y + box.height), *size, stroke=0, fill=1)
        self.canvas.setFillGray(0)

    def line(self, x: float, y: float, to_x: float, to_y: float, mm: float = 0.2) -> None:
        self.canvas.setLineWidth(mm * POINTS_PER_MM)
        self.canvas.line(self.x(x), self.y(y), self.x(to_x), self.y(to_y))

    def frame(self, box: Box, mm: float, *, dashed: bool = False) -> None:
        self.canvas.setLineWidth(mm * POINTS_PER_MM)
        self.canvas.setDash([4, 4] if dashed else [])
        size = box.width * POINTS_PER_MM, box.height * POINTS_PER_MM
        self.canvas.rect(self.x(box.x), self.y(box.y + box.height), *size, stroke=1, fill=0)
        self.canvas.setDash([])

    def text(self, x: float, y: float, words: str, points: float, *, bold: bool = False) -> None:
        self.canvas.setFont("Helvetica-Bold" if bold else "Helvetica", points)
        self.canvas.drawCentredString(self.x(x), self.y(y), words)

    def marker(self, number: int, box: Box) -> None:
        # White on black, not black beside black: side by side, viewers leave hairlines.
        self.filled(box, 0)
        cell = box.width / CELLS
        for row, cells in enumerate(marker_cells(number)):
            for column, white in enumerate(cells):
                if white:
                    self.filled(Box(box.x + column * cell, box.y + row * cell, cell, cell), 1)

    def room(self) -> None:
        """Angles at the corners of the room; nothing is printed inside it."""
        room = self.layout.room
        for x, inwards in ((room.x, 1), (room.x + room.width, -1)):
            for y, down in ((room.y, 1), (room.y + room.height, -1)):
                self.line(x, y, x + 4 * inwards, y)
                self.line(x, y, x, y + 4 * down)

    def rule(self) -> None:
        rule = self.layout.rule
        for mm in range(round(rule.width) + 1):
            tick = 4.0 if mm % 10 == 0 else 3.0 if mm % 5 == 0 else 2.0
            tick *= rule.height / 9
            self.line(rule.x + mm, rule.y, rule.x + mm, rule.y + tick, 0.15)
            if mm % 10 == 0:
                self.text(rule.x + mm, rule.y + tick + 2.4, str(mm), 6)
        self.line(rule.x, rule.y, rule.x + rule.width, rule.y, 0.15)
        self.text(rule.x + rule.width + 7, rule.y + 3, "mm", 6)

    def upright_rule(self) -> None:
        rule = self.layout.upright_rule
        for mm in range(round(rule.height) + 1):
            tick = 4.0 if mm % 10 == 0 else 3.0 if mm % 5 == 0 else 2.0
            end = rule.x + rule.width
            self.line(end - tick, rule.y + mm, end, rule.y + mm, 0.15)
        self.line(rule.x + rule.width, rule.y, rule.x + rule.width, rule.y + rule.height, 0.15)

    def words(self) -> None:
        layout, middle = self.layout, self.layout.width / 2
        small = layout.name == "A6"
        points, step = (5.5, 2.4) if small else (7.5, 3.3)
        name, note = layout.titled, layout.noted
        above = name.y + name.height / 2
        self.text(middle, above - step / 2, f"Photo card {layout.name}", points + 1, bold=True)
        self.text(middle, above + step, "find in the middle,", points)
        self.text(middle, above + 2 * step, "all markers in view", points)
        below = note.y + note.height / 2
        self.text(middle, below - step / 2, "Check before use:", points, bold=True)
        self.text(middle, below + step / 2, "is the rule above", points)
        self.text(middle, below + 3 * step / 2, f"{layout.rule.width:.0f} mm long?", points)
        self.around()

    def around(self) -> None:
        """What to do, on the part of the page that is cut off."""
        layout, middle = self.layout, self.layout.width / 2
        upright = layout.upright_rule.height
        above = (
            "Print at 100 % (“actual size”), not “fit to page”, on plain white matt paper.",
            f"Then lay a ruler on it: the long rule must be {layout.rule.width:.0f} mm, the upright"
            f" one {upright:.0f} mm. If the long one is not, measure it and say so when measuring.",
        )
        below = (
            "Lay the card flat. Photograph from straight above, from about 30 cm or more, sharp,"
            " in even light without glare.",
            "The find lies inside the four angles and covers nothing printed."
            f" Cut along the dashes if you like. Markers: OpenCV {DICTIONARY}.",
        )
        for n, words in enumerate(above):
            self.text(middle, -13 + 5 * n, words, 9)
        for n, words in enumerate(below):
            self.text(middle, layout.height + 9 + 5 * n, words, 9)
