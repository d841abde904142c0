"""The look-alike sheet: two or three types side by side, and what tells them apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import TYPE_CHECKING

from reportlab.lib.units import mm
from reportlab.platypus import Table

from simsearch.sheets import styles
from simsearch.sheets.choosing import VIEWS, best_by_view, type_of
from simsearch.sheets.dates import KEY, DateChart
from simsearch.sheets.document import Sheet
from simsearch.sheets.errors import SheetError
from simsearch.sheets.fonts import shortened
from simsearch.sheets.pictures import NOT_TO_SCALE, Picture, copy_or_none, credit
from simsearch.sheets.words import Note, length_words, notes_for

if TYPE_CHECKING:
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type

_FEWEST, _MOST = 2, 3
_HEIGHT = 48 * mm
_NAME = 70  # letters at the head of a column


def look_alike_sheet(
    reference: ReferenceSet,
    type_ids: Sequence[str],
    *,
    cautions: Sequence[Note] | None = None,
    author: str = "",
    made_on: date | None = None,
) -> bytes:
    """Return two or three types side by side as a PDF.

    ``cautions`` default to short ones for what the types carry, ``author`` to the set's title.
    Raises ``SheetError`` for another number of types, one named twice, or one that the set does
    not have.
    """
    if not _FEWEST <= len(type_ids) <= _MOST or len(set(type_ids)) < len(type_ids):
        raise SheetError(
            f"A look-alike sheet was asked for of: {', '.join(type_ids) or 'nothing'}.",
            hint="Name two or three different types.",
        )
    kinds = [type_of(reference, type_id) for type_id in type_ids]
    names = [kind.name for kind in kinds]
    title = f"Look-alikes: {' / '.join(shortened(name, 48) for name in names)}"
    sheet = Sheet(
        title, subject=title, author=author or reference.title, made_on=made_on,
        foot=reference.title,
    )  # fmt: skip
    sheet.heading(title, styles.TITLE)
    sheet.text("What separates them, for finds in the hand. A lead stays a lead.", styles.UNDER)
    carried = {key for kind in kinds for key in kind.cautions}
    notes = cautions if cautions is not None else notes_for(carried)
    sheet.banner("", notes)
    used = _pictures(sheet, reference, kinds)
    _separates(sheet, kinds)
    _dates(sheet, kinds)
    sheet.heading("Side by side")
    sheet.columns(_rows(kinds), names)
    sheet.heading("Check on the object")
    for kind in kinds:
        sheet.heading(kind.name, styles.SUBHEADING)
        sheet.bullets(kind.checks or ["The set names no check."])
    sheet.notes(notes)
    if used:
        sheet.heading("Pictures")
        sheet.bullets(_credits(used))
    return sheet.pdf()


def _pictures(sheet: Sheet, reference: ReferenceSet, kinds: Sequence[Type]) -> list[PhotoRow]:
    """A column for each type and a row for each view that any has; return the photos used."""
    best = [{photo.view: photo for photo in _shown(reference.photos_of(kind.id))} for kind in kinds]
    views = [view for view in VIEWS if any(view in own for own in best)]
    width = styles.WIDTH / len(kinds)
    box = (width - 8, _HEIGHT)
    heads = [
        sheet.paragraph(shortened(sheet.plain(kind.name), _NAME), styles.SUBHEADING)
        for kind in kinds
    ]
    cells: list[list[object]] = [list(heads)]
    cells += [[_cell(sheet, reference, own.get(view), view, box) for own in best] for view in views]
    table = Table(cells, colWidths=[width] * len(kinds), hAlign="LEFT", repeatRows=1)
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 4),
            ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ("LINEAFTER", (0, 0), (-2, -1), 0.4, styles.GREY),
        ]
    )
    sheet.add(table)
    if views:
        sheet.text(NOT_TO_SCALE, styles.SMALL)
    else:
        sheet.text("The set has no picture of these types.")
    return [photo for own in best for photo in own.values()]


def _shown(photos: Sequence[PhotoRow]) -> list[PhotoRow]:
    return best_by_view(photos) or best_by_view(photos, "fragment")


def _cell(
    sheet: Sheet,
    reference: ReferenceSet,
    photo: PhotoRow | None,
    view: str,
    box: tuple[float, float],
) -> list[object]:
    if photo is None:
        return [sheet.paragraph(f"{view.capitalize()}: no picture", styles.SMALL)]
    kind = "rendered, " if photo.is_rendered else ""
    said = f"{view.capitalize()} ({kind}{photo.completeness}, {photo.condition})"
    picture = Picture(copy_or_none(reference.path_of(photo)), box)
    return [picture, sheet.paragraph(said, styles.SMALL)]


def _separates(sheet: Sheet, kinds: Sequence[Type]) -> None:
    sheet.heading("What separates them")
    for kind in kinds:
        told = {other.type_id: other.separates for other in kind.look_alikes}
        for other in kinds:
            if other.id != kind.id:
                words = told.get(other.id) or "the set says nothing of this pair."
                names = f"{shortened(kind.name, _NAME)}, not {shortened(other.name, _NAME)}:"
                sheet.text(words, label=names)


def _dates(sheet: Sheet, kinds: Sequence[Type]) -> None:
    entries = [(sheet.plain(kind.name), kind.dates) for kind in kinds]
    chart = DateChart(entries, sheet.made_on.year)
    sheet.together([chart, sheet.paragraph(KEY, styles.SMALL)], "Dates on one axis")


def _rows(kinds: Sequence[Type]) -> list[tuple[str, list[str]]]:
    def row(label: str, words: Callable[[Type], str]) -> tuple[str, list[str]]:
        return label, [words(kind) or "not stated" for kind in kinds]

    return [
        row("Front", lambda kind: kind.features.get("front", "")),
        row("Back", lambda kind: kind.features.get("back", "")),
        row("Side", lambda kind: kind.features.get("side", "")),
        row("Pin or fixing", lambda kind: kind.pin_fixing),
        row("Length", lambda kind: length_words(kind.length_mm)),
        row("Material", lambda kind: kind.material),
        row("Usually survives", lambda kind: kind.survives),
        row("Breaks off", lambda kind: kind.breaks),
    ]


def _credits(used: Sequence[PhotoRow]) -> list[str]:
    said: dict[str, list[str]] = {}
    for photo in used:
        said.setdefault(f"{credit(photo)}. From: {shortened(photo.source, 300)}", []).append(
            photo.id
        )
    return [f"{', '.join(ids)}: {words}" for words, ids in said.items()]
