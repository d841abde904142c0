"""One sheet being put together: text that is made safe, and pages with a head and a foot."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from itertools import zip_longest
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import black
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from simsearch.sheets import styles
from simsearch.sheets.fonts import REGULAR, REPLACEMENT, fitted, readable, shortened, use_fonts
from simsearch.sheets.withheld import LEFT_OUT
from simsearch.sheets.words import Note

LONGEST_TITLE = 160
_LONGEST_NOTE = 900
_ROOM, _HEAD_ROOM = 40.0, 26.0  # points below a heading at the foot of a page; the heading
_CELL_LETTERS, _CELL_LINES = 420, 8
_PARAGRAPH = 2_500  # letters; longer ones are set in pieces, which is much quicker
_LABEL_WIDTH = 100  # points
_BRIEF = 42  # letters; two such values stand side by side


class Sheet:
    """Collects what goes on a sheet; ``pdf`` sets it.

    All text passes through ``plain``: ``hide`` leaves out what must not be printed, and letters
    that cannot be set are replaced. ``made_on`` is printed at the foot and the only date.
    """

    def __init__(
        self,
        title: str,
        *,
        subject: str,
        author: str = "",
        made_on: date | None = None,
        foot: str = "",
        hide: Callable[[str], str] = lambda text: text,
    ) -> None:
        use_fonts()
        self._hide = hide
        self._replaced = self._left_out = False
        self.story: list[Flowable] = []
        self._heads: list[Flowable] = []  # headings that wait for what they head
        self._footnoted = False
        self.made_on = made_on or date.today()
        self.title = shortened(self.plain(title), LONGEST_TITLE)
        self.subject = shortened(self.plain(subject), LONGEST_TITLE)
        self.author = shortened(self.plain(author), LONGEST_TITLE) or "simsearch"
        self.foot = shortened(self.plain(foot), LONGEST_TITLE)

    def plain(self, text: str) -> str:
        """Return text as it may be printed, without markup."""
        # Signs that are not seen are gone before places are looked for.
        made = self._hide(readable(text))
        self._replaced = self._replaced or REPLACEMENT in made
        self._left_out = self._left_out or LEFT_OUT in made
        return made

    def paragraph(
        self, text: str, style: ParagraphStyle = styles.BODY, *, label: str = ""
    ) -> Paragraph:
        """One paragraph, with a bold label before it."""
        return self._set(self.plain(text), style, self.plain(label))

    def add(self, *flowables: Flowable, room: float = _ROOM) -> None:
        """Put things at the end of the sheet; below a heading only where ``room`` points are."""
        if self._heads:
            self.story += [CondPageBreak(room + _HEAD_ROOM * len(self._heads)), *self._heads]
            self._heads = []
        self.story += flowables

    def gap(self, height: float = styles.GAP) -> None:
        """Leave some room, in points."""
        self.story.append(Spacer(1, height))

    def heading(self, text: str, style: ParagraphStyle = styles.HEADING) -> None:
        """A heading, kept with what follows; cut where it is very long."""
        self._heads.append(self.paragraph(shortened(self.plain(text), LONGEST_TITLE), style))

    def text(self, text: str, style: ParagraphStyle = styles.BODY, *, label: str = "") -> None:
        """Text of any length; blank lines begin a paragraph."""
        said = self.plain(label)
        for part in _pieces(self.plain(text)):
            self.add(self._set(part, style, said))
            said = ""

    def bullets(self, items: Iterable[str]) -> None:
        """A list, an item a line or more."""
        for item in items:
            for number, part in enumerate(_pieces(self.plain(item))):
                bullet = "•" if number == 0 else None
                self.add(Paragraph(_markup(part), styles.BULLET, bulletText=bullet))

    def facts(self, rows: Sequence[tuple[str, str]], *, pairs: bool = False) -> None:
        """Labels and what is known beside them, with ``pairs`` two to a line where short.

        What is too long for a table stands below it.
        """
        plain = [(self.plain(label), self.plain(value)) for label, value in rows]
        brief = [row for row in plain if pairs and _is_brief(row[1])]
        short = [row for row in plain if row not in brief and fits_cell(row[1])]
        rest = [row for row in plain if row not in brief and row not in short]
        width, half = styles.WIDTH, styles.WIDTH / 2
        if brief:
            middle = (len(brief) + 1) // 2  # read down the left side first
            lines = zip_longest(brief[:middle], brief[middle:], fillvalue=("", ""))
            cells = [[*self._fact(*left), *self._fact(*right)] for left, right in lines]
            self.add(_ruled(cells, [_LABEL_WIDTH, half - _LABEL_WIDTH] * 2, (0, 2)))
        if short:
            cells = [self._fact(*row) for row in short]
            self.add(_ruled(cells, [_LABEL_WIDTH, width - _LABEL_WIDTH], (0,)))
        for label, value in rest:
            self.text(value, label=f"{label}:")

    def _fact(self, label: str, value: str) -> list[Paragraph]:
        return [self._set(label, styles.LABEL), self._set(value, styles.BODY)]

    def columns(self, rows: Sequence[tuple[str, Sequence[str]]], heads: Sequence[str]) -> None:
        """Texts side by side under ``heads``, a labelled row each; long ones one below another."""
        width = styles.WIDTH / len(heads)
        names = [shortened(self.plain(head), 70) for head in heads]
        for label, texts in rows:
            plain = [self.plain(text) for text in texts]
            self.heading(label, styles.SUBHEADING)
            if all(fits_cell(text) for text in plain):
                self.add(_ruled([[self._set(text) for text in plain]], [width] * len(heads)))
                continue
            for name, text in zip(names, plain, strict=True):
                self.text(text, label=f"{name}:")

    def together(
        self,
        flowables: Sequence[Flowable],
        heading: str = "",
        style: ParagraphStyle = styles.HEADING,
    ) -> None:
        """Put things, with a heading above them, on one page if they fit on one."""
        if heading:
            self.heading(heading, style)
        # Headings right above come along, or they would be left at the foot of the page before.
        heads, self._heads = self._heads, []
        self.add(KeepTogether([*heads, *flowables]))

    def banner(self, line: str, notes: Sequence[Note]) -> None:
        """A frame at the top of a sheet with one line and the urgent ones of ``notes``."""
        lines = [self.paragraph(line, styles.BANNER)] if line else []
        for note in notes:
            if note.urgent:
                words = shortened(self.plain(note.text), _LONGEST_NOTE)
                lines.append(self.paragraph(words, label=_ended(note.title)))
        if lines:
            box = Table([[lines]], colWidths=[styles.WIDTH], hAlign="LEFT")
            framed = ("BOX", (0, 0), (-1, -1), 1.2, black)
            box.setStyle([framed, ("BOTTOMPADDING", (0, 0), (-1, -1), 5)])
            self.add(box, Spacer(1, 5))

    def notes(self, notes: Sequence[Note]) -> None:
        """The cautions that are not urgent; those stand in the banner."""
        calm = [note for note in notes if not note.urgent]
        if calm:
            self.heading("Please note")
        for note in calm:
            self.text(note.text, label=_ended(note.title))

    def footnotes(self) -> None:
        """Say, once, what the signs mean that stand for something not printed."""
        if self._footnoted:
            return
        self._footnoted = True
        if self._left_out or self._replaced:
            self.gap()
        if self._left_out:
            self.text(
                f"{LEFT_OUT} stands where the record names a place more exactly than this sheet "
                "may show.",
                styles.SMALL,
            )
        if self._replaced:
            self.text(
                f"{REPLACEMENT} stands for a letter that cannot be printed here; the record has "
                "it.",
                styles.SMALL,
            )

    def pdf(self) -> bytes:
        """Set the sheet and return the PDF's bytes."""
        self.footnotes()
        buffer = io.BytesIO()
        document = BaseDocTemplate(
            buffer, pagesize=styles.PAGE, title=self.title, author=self.author,
            subject=self.subject, creator="simsearch", producer="simsearch", lang="en-GB",
            displayDocTitle=1, invariant=1, pageCompression=1,
        )  # fmt: skip
        frame = Frame(
            styles.MARGIN, styles.FOOT, styles.WIDTH, styles.HEIGHT,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
        )  # fmt: skip
        document.addPageTemplates(PageTemplate("sheet", [frame]))
        document.build(self.story, canvasmaker=self._canvas)
        return buffer.getvalue()

    def _set(self, plain: str, style: ParagraphStyle = styles.BODY, label: str = "") -> Paragraph:
        said = f"<b>{_markup(label)}</b> " if label else ""
        return Paragraph(said + _markup(plain), style)

    def _canvas(self, *given: Any, **named: Any) -> Canvas:
        return _Pages(self, *given, **named)


class _Pages(Canvas):
    """Holds pages back until their number is known, then draws head and foot on each."""

    def __init__(self, sheet: Sheet, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._sheet = sheet
        self._held: list[dict[str, Any]] = []

    def showPage(self) -> None:
        self._held.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for number, page in enumerate(self._held, 1):
            self.__dict__.update(page)
            self._around(number, len(self._held))
            super().showPage()
        super().save()

    def _around(self, number: int, total: int) -> None:
        sheet, left, right = self._sheet, styles.MARGIN, styles.PAGE[0] - styles.MARGIN
        self.setFont(REGULAR, 7.5)
        self.setFillColor(black)
        self.setStrokeColor(styles.GREY)
        self.setLineWidth(0.5)
        top, foot = styles.PAGE[1] - styles.HEAD + 12, styles.FOOT - 12
        self.drawString(left, top, fitted(sheet.subject, REGULAR, 7.5, styles.WIDTH))
        self.line(left, top - 4, right, top - 4)
        self.line(left, foot + 4, right, foot + 4)
        pages = f"Page {number} of {total}"
        room = styles.WIDTH - 70
        said = f"Made with simsearch on {sheet.made_on.isoformat()}"
        if sheet.foot:
            said = f"{sheet.foot} · {said}"
        self.drawString(left, foot - 7, fitted(said, REGULAR, 7.5, room))
        self.drawRightString(right, foot - 7, pages)


def _ended(title: str) -> str:
    line = shortened(title, LONGEST_TITLE)
    return line if line.endswith(("?", "!", ".")) else f"{line}."


def _is_brief(text: str) -> bool:
    return len(text) <= _BRIEF and "\n" not in text


def fits_cell(text: str) -> bool:
    """Whether a text is short enough to stand in a table, which cannot break inside a row."""
    return len(text) <= _CELL_LETTERS and text.count("\n") < _CELL_LINES


def _ruled(cells: list[list[Paragraph]], widths: list[float], labels: Sequence[int] = ()) -> Table:
    """Short texts in rows; ``labels`` are columns of small letters, set down to the others."""
    table = Table(cells, colWidths=widths, hAlign="LEFT")
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 8),
            ("TOPPADDING", (0, 0), (-1, -1), 1.5),
            *(("TOPPADDING", (column, 0), (column, -1), 2.8) for column in labels),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5),
            ("LINEBELOW", (0, 0), (-1, -1), 0.3, styles.PALE),
        ]
    )
    return table


def _pieces(text: str) -> list[str]:
    """Paragraphs of a text, none longer than is set quickly."""
    pieces = []
    for part in text.split("\n"):
        rest = part.strip()
        while len(rest) > _PARAGRAPH:
            cut = rest.rfind(" ", 1, _PARAGRAPH)
            cut = cut if cut > 0 else _PARAGRAPH
            pieces.append(rest[:cut])
            rest = rest[cut:].strip()
        if rest:
            pieces.append(rest)
    return pieces or [""]


def _markup(plain: str) -> str:
    return escape(plain).replace("\n", "<br/>")
