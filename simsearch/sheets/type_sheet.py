"""The type sheet: one type on paper, for a talk or for the table where finds are looked at."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import TYPE_CHECKING

from reportlab.lib.units import mm

from simsearch.errors import PhotoError
from simsearch.photo import open_photo
from simsearch.sets.licences import LICENCES
from simsearch.sheets import styles
from simsearch.sheets.choosing import best_by_view, type_of
from simsearch.sheets.dates import KEY, DateChart
from simsearch.sheets.document import Sheet
from simsearch.sheets.fonts import shortened
from simsearch.sheets.fragments import cut_parts
from simsearch.sheets.pictures import (
    NOT_TO_SCALE,
    Copy,
    Picture,
    Plate,
    copy_of_image,
    copy_or_none,
    credit,
    plates,
)
from simsearch.sheets.words import Note, length_words, notes_for

if TYPE_CHECKING:
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type

_MOST_FRAGMENTS = 3
_COMPLETE_HEIGHT, _FRAGMENT_HEIGHT = 62 * mm, 42 * mm
_Maker = Callable[[tuple[float, float]], Plate]


def type_sheet(
    reference: ReferenceSet,
    type_id: str,
    *,
    cautions: Sequence[Note] | None = None,
    author: str = "",
    made_on: date | None = None,
) -> bytes:
    """Return the sheet of one type as a PDF.

    Fragments are the type's photos marked so; where there are none, halves cut from a complete
    one, which is said. ``cautions`` default to short ones for what the type carries; ``author``
    to the set's title. Raises ``SheetError`` for a type that the set does not have.
    """
    kind = type_of(reference, type_id)
    sheet = Sheet(
        f"Type sheet: {kind.name}",
        subject=f"Type sheet: {kind.name}",
        author=author or reference.title,
        made_on=made_on,
        foot=reference.title,
    )
    sheet.heading(kind.name, styles.TITLE)
    sheet.text(f"{kind.group} · {kind.period} · {kind.dates.words()}", styles.UNDER)
    notes = cautions if cautions is not None else notes_for(kind.cautions)
    sheet.banner("", notes)
    if kind.other_names:
        sheet.text("; ".join(kind.other_names), label="Also called:")
    used = _pictures(sheet, reference, kind)
    _features(sheet, kind)
    _look_alikes(sheet, reference, kind)
    _dates(sheet, kind)
    sheet.notes(notes)
    _sources(sheet, reference, kind)
    _credits(sheet, used)
    return sheet.pdf()


def _pictures(sheet: Sheet, reference: ReferenceSet, kind: Type) -> list[PhotoRow]:
    """Add complete pieces and fragments; return the photos that were used."""
    own = reference.photos_of(kind.id)
    complete = best_by_view(own)
    sheet.heading("Complete")
    if complete:
        made = [_plate(sheet, reference, photo) for photo in complete]
        shown = plates(made, columns=max(len(made), 2), height=_COMPLETE_HEIGHT)
        sheet.add(shown, room=_COMPLETE_HEIGHT + 30)
    else:
        sheet.text("The set has no picture of a complete one.")
    sheet.heading("Typical fragments")
    broken = [photo for photo in own if photo.completeness == "fragment"][:_MOST_FRAGMENTS]
    if broken:
        made = [_plate(sheet, reference, photo) for photo in broken]
        sheet.add(plates(made, columns=3, height=_FRAGMENT_HEIGHT), room=_FRAGMENT_HEIGHT)
    else:
        made = _cut(sheet, reference, complete)
        if made:
            sheet.add(plates(made, columns=3, height=_FRAGMENT_HEIGHT), room=_FRAGMENT_HEIGHT)
        else:
            sheet.text("The set has no picture of a fragment.")
    if made:
        sheet.text(NOT_TO_SCALE, styles.SMALL)
    if kind.survives:
        sheet.text(kind.survives, label="Usually survives:")
    if kind.breaks:
        sheet.text(kind.breaks, label="Breaks off:")
    return [*complete, *broken]


def _plate(sheet: Sheet, reference: ReferenceSet, photo: PhotoRow) -> _Maker:
    def make(box: tuple[float, float]) -> Plate:
        kind = "rendered, " if photo.is_rendered else ""
        said = f"{photo.view.capitalize()} ({kind}{photo.condition})"
        picture = Picture(copy_or_none(reference.path_of(photo)), box)
        return Plate(picture, (sheet.paragraph(said, styles.SMALL),))

    return make


def _cut(sheet: Sheet, reference: ReferenceSet, complete: Sequence[PhotoRow]) -> list[_Maker]:
    if not complete:
        return []
    photo = complete[0]
    try:
        parts = cut_parts(open_photo(reference.path_of(photo)))
    except PhotoError:
        return []
    kind = "rendered picture" if photo.is_rendered else "photo"
    said = f"Part cut from the {kind} above ({photo.view}); real breaks are not straight"
    return [_cut_plate(sheet, copy_of_image(part), said) for part in parts]


def _cut_plate(sheet: Sheet, copy: Copy, said: str) -> _Maker:
    def make(box: tuple[float, float]) -> Plate:
        return Plate(Picture(copy, box), (sheet.paragraph(said, styles.SMALL),))

    return make


def _features(sheet: Sheet, kind: Type) -> None:
    sheet.heading("Features")
    rows = [(view.capitalize(), words) for view, words in kind.features.items()]
    rows.append(("Material", kind.material))
    lengths = length_words(kind.length_mm) or "not known"
    note = f" ({kind.length_note})" if kind.length_note else ""
    rows.append(("Length", f"{lengths}{note}"))
    rows.append(("Pin or fixing", kind.pin_fixing))
    sheet.facts(rows)
    if kind.checks:
        sheet.heading("Check on the object", styles.SUBHEADING)
        sheet.bullets(kind.checks)


def _look_alikes(sheet: Sheet, reference: ReferenceSet, kind: Type) -> None:
    sheet.heading("Look-alikes, and what separates this type from them")
    if not kind.look_alikes:
        sheet.text("The set names none.")
        return
    sheet.bullets(
        f"{_name(reference, other.type_id)}: {other.separates}" for other in kind.look_alikes
    )


def _name(reference: ReferenceSet, type_id: str) -> str:
    return reference.types[type_id].name if type_id in reference.types else type_id


def _dates(sheet: Sheet, kind: Type) -> None:
    chart = DateChart([(sheet.plain(kind.name), kind.dates)], sheet.made_on.year)
    words = sheet.paragraph(
        f"{kind.dates.words()}. How this is known: {kind.basis}.", label="In words:"
    )
    sheet.together([words, chart, sheet.paragraph(KEY, styles.SMALL)], "Date")
    if kind.date_note:
        sheet.text(kind.date_note)


def _sources(sheet: Sheet, reference: ReferenceSet, kind: Type) -> None:
    sheet.heading("Sources")
    items = [f"Typology: {line}" for line in kind.typology]
    for source_id in kind.sources:
        source = reference.sources.get(source_id)
        if source is None:
            items.append(source_id)
            continue
        read = f"read on {source.read_on}" if source.read_on else source.basis
        items.append(f"{source.citation.rstrip('.')} ({read}). {source.url}".strip())
    sheet.bullets(items or ["None named."])


def _credits(sheet: Sheet, used: Sequence[PhotoRow]) -> None:
    """Credit and licence of every picture, each maker and licence once."""
    if not used:
        return
    sheet.heading("Pictures")
    said: dict[tuple[str, str, str], list[str]] = {}
    for photo in used:
        said.setdefault((credit(photo), photo.licence, photo.source), []).append(photo.id)
    items = []
    for (words, licence, source), ids in said.items():
        known = LICENCES.get(licence)
        terms = f" ({known.name}, {known.url})" if known else ""
        items.append(f"{', '.join(ids)}: {words}{terms}. From: {shortened(source, 300)}")
    sheet.bullets(items)
