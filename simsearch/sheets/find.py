"""The find sheet: all that is known of one find, for the finds officer, and room to answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

from reportlab.platypus import Flowable, Spacer, Table

from simsearch.register.grid import shown
from simsearch.register.records import FindRecord, RegisterPhoto
from simsearch.sheets import styles
from simsearch.sheets.document import LONGEST_TITLE, Sheet
from simsearch.sheets.errors import SheetError
from simsearch.sheets.find_leads import MOST_LEADS, add_leads, lead_cautions
from simsearch.sheets.fonts import shortened
from simsearch.sheets.pictures import (
    Picture,
    PictureSource,
    Plate,
    copy_or_none,
    plate_room,
    plates,
)
from simsearch.sheets.withheld import withholder
from simsearch.sheets.words import LEADS_NOT, Note, notes_for

if TYPE_CHECKING:
    from simsearch.leads.model import Leads
    from simsearch.sets.types import Type

__all__ = ["MOST_LEADS", "caution_keys", "find_sheet", "unknown_words"]

_MEASURES = {
    "length_mm": ("Length", "mm"),
    "width_mm": ("Width", "mm"),
    "thickness_mm": ("Thickness", "mm"),
    "diameter_mm": ("Diameter", "mm"),
    "weight_g": ("Weight", "g"),
}
_CAPTION = 110  # letters that stand below a photo; the rest stands under the photos
_FEWEST_LINES, _LINE = 6, 19.0
_FIELD_HEIGHT = 22.0


def find_sheet(
    record: FindRecord,
    photos: Sequence[PictureSource],
    leads: Leads | None = None,
    *,
    types: Mapping[str, Type] | None = None,
    errors_mm: Mapping[str, float] | None = None,
    cautions: Sequence[Note] | None = None,
    exact_findspot: bool = False,
    author: str = "",
    made_on: date | None = None,
) -> bytes:
    """Return the sheet of one find as a PDF.

    ``photos`` are the files of ``record.photos`` in the same order; one that cannot be read leaves
    an empty frame. ``types`` (by id) give look-alikes their names. ``errors_mm`` holds the error of
    measurements by field name, such as ``{"length_mm": 0.4}``. ``cautions`` default to short ones
    for what the first leads, the type and the material call for. The findspot is shown as
    ``register.grid.shown`` does, coarse unless ``exact_findspot``; while it is coarse, finer places
    are left out of every other text too. ``made_on`` defaults to today.
    Raises ``SheetError`` when photos and record do not go together.
    """
    if len(photos) != len(record.photos):
        raise SheetError(
            f"{record.id or 'The find'} has {len(record.photos)} photos, {len(photos)} were given.",
            hint="Give a file for each photo of the record, in its order.",
        )
    known = types or {}
    sheet = Sheet(
        f"Find sheet {record.id}: {record.title}".replace(" :", ":"),
        subject=f"{record.id or 'find'} · {LEADS_NOT}",
        author=author,
        made_on=made_on,
        foot="Exact findspot: keep private" if exact_findspot else "",
        hide=(lambda text: text) if exact_findspot else withholder(record.findspot),
    )
    chosen = cautions if cautions is not None else notes_for(caution_keys(record, leads, known))
    _top(sheet, record, chosen)
    _photos(sheet, record.photos, photos)
    _measurements(sheet, record, errors_mm or {})
    _about(sheet, record, exact_findspot, known)
    _unknowns(sheet, record)
    if record.checked:
        sheet.heading("Checked on the object, and what was seen")
        sheet.bullets(record.checked)
    else:
        sheet.heading("Checked on the object")
        sheet.text("Nothing has been checked on the object yet.")
    add_leads(sheet, leads, known)
    if record.leads_note:
        sheet.heading("Recorder's note on the leads")
        sheet.text(record.leads_note)
    sheet.notes(chosen)
    _room(sheet)
    return sheet.pdf()


def caution_keys(record: FindRecord, leads: Leads | None, types: Mapping[str, Type]) -> set[str]:
    """Keys of the cautions that a find's first leads, its type and its material call for."""
    keys = lead_cautions(leads)
    if record.type_id in types:
        keys |= set(types[record.type_id].cautions)
    metal = record.material.casefold()
    if any(word in metal for word in ("gold", "silver", "electrum")):
        keys.add("precious-metal")
    if metal.split()[:1] == ["lead"]:
        keys.add("lead")
    return keys


def _top(sheet: Sheet, record: FindRecord, cautions: Sequence[Note]) -> None:
    sheet.heading(record.title or "Unnamed find", styles.TITLE)
    if len(" ".join(record.title.split())) > LONGEST_TITLE:
        sheet.text(record.title, label="In full:")
    line = ["Find sheet", record.id or "not numbered", f"status: {record.status}"]
    sheet.text(" · ".join(line), styles.UNDER)
    sheet.banner(LEADS_NOT, cautions)


def _photos(
    sheet: Sheet, photos: Sequence[RegisterPhoto], sources: Sequence[PictureSource]
) -> None:
    sheet.heading("Photos")
    if not photos:
        sheet.text("Not photographed.")
        return
    made = [
        _plate(sheet, number, photo, source)
        for number, (photo, source) in enumerate(zip(photos, sources, strict=True), 1)
    ]
    sheet.add(plates(made), room=plate_room(len(made)))
    for number, photo in enumerate(photos, 1):
        if len(" ".join(photo.caption.split())) > _CAPTION:
            sheet.text(photo.caption, label=f"Photo {number}, in full:")


def _plate(
    sheet: Sheet, number: int, photo: RegisterPhoto, source: PictureSource
) -> Callable[[tuple[float, float]], Plate]:
    def make(box: tuple[float, float]) -> Plate:
        picture = Picture(copy_or_none(source), box, mm_per_px=photo.mm_per_px, scale=True)
        caption = shortened(sheet.plain(photo.caption), _CAPTION)
        said = f"{number}. {photo.view}" + (f": {caption}" if caption else "")
        return Plate(picture, (sheet.paragraph(said, styles.SMALL),))

    return make


def _measurements(sheet: Sheet, record: FindRecord, errors: Mapping[str, float]) -> None:
    sheet.heading("Measurements")
    rows = []
    for name, (label, unit) in _MEASURES.items():
        value, error = getattr(record, name), errors.get(name)
        if value is None:
            missing = "not weighed" if name == "weight_g" else "not measured"
            rows.append((label, missing))
            continue
        broken = name == "length_mm" and record.completeness in ("half or more", "less than half")
        said = f"{value:g} {unit}"
        said += f" ± {error:g} {unit}" if error is not None else ", error not stated"
        rows.append((label, f"at least {said}, broken" if broken else said))
    rows.append(("How measured", record.measured_how or "not recorded"))
    sheet.facts(rows, pairs=True)


def _about(sheet: Sheet, record: FindRecord, exact: bool, types: Mapping[str, Type]) -> None:
    sheet.heading("The find")
    known = "not recorded"
    seen = f"{record.verified_by}, {record.verified_on}" if record.verified_by else "nobody yet"
    sheet.facts(
        [
            ("Object", record.object_name or known),
            ("Period", record.period or known),
            ("Type lead", _type_words(record, types)),
            ("Verified by, on", seen),
            ("Material", record.material or known),
            ("Surface", record.surface or known),
            ("Completeness", record.completeness or known),
            ("Condition", record.condition or known),
            ("Pin or fixing", record.fixing or known),
            ("Findspot", shown(record.findspot, exact=exact)),
            ("Found on", record.found_on or known),
            ("How found", record.method or known),
            ("Found near it", record.nearby or known),
            ("Finder", record.finder or known),
            ("Landowner's consent", record.landowner_consent or known),
            ("Record made, changed", _made(record)),
        ],
        pairs=True,
    )
    sheet.heading("Description")
    sheet.text(record.description or "None written.")


def _type_words(record: FindRecord, types: Mapping[str, Type]) -> str:
    if not record.type_id:
        return "none chosen"
    name = types[record.type_id].name if record.type_id in types else record.type_id
    return f"{name}: {record.type_confidence or 'how sure is not stated'}"


def _made(record: FindRecord) -> str:
    days = [stamp[:10] for stamp in (record.created_on, record.changed_on) if stamp]
    return ", ".join(days) or "not recorded"


def unknown_words(record: FindRecord) -> tuple[str, ...]:
    """What is not known of a find, a plain sentence each; what its record says comes first."""
    views = {photo.view for photo in record.photos}
    missing = [
        (record.weight_g is None, "Not weighed."),
        (record.length_mm is None and record.diameter_mm is None, "Length not measured."),
        (record.width_mm is None and record.diameter_mm is None, "Width not measured."),
        (record.thickness_mm is None, "Thickness not measured."),
        (not record.photos, "Not photographed."),
        *(
            (bool(record.photos) and view not in views, f"{view.capitalize()} not photographed.")
            for view in ("front", "back", "side")
        ),
        (bool(record.photos) and not _scaled(record), "No photo has a scale."),
        (not record.material, "Material not stated."),
        (not record.completeness, "Not stated how much of the object is left."),
        (not record.condition, "Condition not described."),
        (not record.fixing, "Pin or fixing not described."),
        (record.findspot is None, "Findspot not recorded."),
        (not record.found_on, "Day of the find not recorded."),
        (not record.finder, "Finder not recorded."),
        (record.landowner_consent in ("", "not asked"), "Landowner not asked for consent."),
        (not record.verified_by, "Not seen by a finds officer."),
    ]
    return (*record.unknowns, *(words for holds, words in missing if holds))


def _scaled(record: FindRecord) -> bool:
    return any(photo.mm_per_px is not None for photo in record.photos)


def _unknowns(sheet: Sheet, record: FindRecord) -> None:
    unknown = unknown_words(record)
    sheet.heading("Not known")
    own, plain = unknown[: len(record.unknowns)], unknown[len(record.unknowns) :]
    sheet.bullets(own)
    if plain:
        sheet.text(" ".join(plain))
    if not unknown:
        sheet.text("Nothing was left open in the record.")


def _room(sheet: Sheet) -> None:
    """Room for the finds officer: fields to fill in, and ruled lines. Nothing to sign."""
    fields = [
        ["Seen", "☐ in the hand\u00a0\u00a0 ☐ from photos only", "On", ""],
        ["Object is", "", "Agreed with lead", "☐ yes\u00a0\u00a0 ☐ no\u00a0\u00a0 ☐ open"],
        ["Reference no.", "", "Return by", ""],
    ]
    table_room = _FIELD_HEIGHT * len(fields) + 25
    cells = [[sheet.paragraph(text, styles.SMALL) for text in row] for row in fields]
    table = Table(
        cells, colWidths=[68, styles.WIDTH / 2 - 68, 84, styles.WIDTH / 2 - 84], hAlign="LEFT",
        rowHeights=[_FIELD_HEIGHT] * len(cells),
    )  # fmt: skip
    table.setStyle(
        [("GRID", (0, 0), (-1, -1), 0.5, styles.GREY), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")]
    )
    sheet.footnotes()  # the lines below fill the page
    sheet.heading("For the finds officer")
    notes = sheet.paragraph("Notes", styles.SMALL)
    sheet.add(table, Spacer(1, 4), notes, _Lines(), room=table_room + _FEWEST_LINES * _LINE)


class _Lines(Flowable):
    """Ruled lines to write on, down to the foot of the page."""

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        # Whole lines only, and a little less than there is: the frame compares exactly.
        count = max(_FEWEST_LINES, int((height - 1) // _LINE))
        self.width, self.height = width, count * _LINE
        return self.width, self.height

    def draw(self) -> None:
        self.canv.setStrokeColor(styles.GREY)
        self.canv.setLineWidth(0.4)
        for number in range(round(self.height / _LINE)):
            self.canv.line(0, number * _LINE, self.width, number * _LINE)
