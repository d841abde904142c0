"""The part of the find sheet about leads: odds, evidence, placings, look-alikes, dates."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from reportlab.lib.units import mm
from reportlab.platypus import Table

from simsearch.leads.aoristic import date_words, leads_dating
from simsearch.sheets import styles
from simsearch.sheets.dates import KEY, DateChart
from simsearch.sheets.document import Sheet
from simsearch.sheets.fonts import shortened
from simsearch.sheets.pictures import Picture, Plate, copy_or_none, credit, plates
from simsearch.sheets.words import count, length_words, odds_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from simsearch.leads.model import Evidence, Lead, Leads, Placing
    from simsearch.sets.types import Type

MOST_LEADS = 5
_MOST_LOOK_ALIKES = 10
_NAME = 70  # letters
_PICTURE_HEIGHT = 38 * mm
_BESIDE_LINES = 10
_BESIDE, _BESIDE_WIDTH = 900, 60 * mm  # letters beside a picture; the picture's column


def lead_cautions(leads: Leads | None) -> set[str]:
    """Keys of the cautions that the leads worth looking at carry."""
    if leads is None:
        return set()
    first = 3 if leads.anything_close else 1
    return {key for lead in leads.leads if lead.rank <= first for key in lead.type.cautions}


def add_leads(sheet: Sheet, leads: Leads | None, types: Mapping[str, Type]) -> None:
    """Add everything about the leads of a find, or say that there are none."""
    sheet.heading("Leads")
    if leads is None:
        sheet.text("No leads were looked up for this sheet.")
        return
    if not leads.leads:
        sheet.text("The look-up gave no leads.")
        return
    if not leads.anything_close:
        sheet.text("Nothing in the reference set looks close. The nearest types:")
    for lead in leads.leads[:MOST_LEADS]:
        _lead(sheet, lead)
    rest = leads.leads[MOST_LEADS:]
    if rest:
        names = "; ".join(f"{lead.type.name} ({odds_words(lead.odds)})" for lead in rest)
        sheet.text(names, label="Further leads:")
    looked = f"{count(leads.photo_count, 'photo')} compared with the set {leads.set_name}"
    sheet.text(f"{looked}, by the encoder {leads.encoder_name}. {leads.odds_note}", styles.SMALL)
    for note in leads.observed_notes:
        sheet.text(note, styles.SMALL)
    _look_alikes(sheet, leads, types)
    _dates(sheet, leads)


def _lead(sheet: Sheet, lead: Lead) -> None:
    """One lead: pictures beside its text, or above it where there are two or the text is long."""
    kind = lead.type
    heading = f"{lead.rank}. {shortened(kind.name, 90)}"
    texts = _lead_texts(lead)
    made: list[Callable[[tuple[float, float]], Plate]] = []
    if lead.evidence:
        made.append(_evidence(sheet, lead.evidence[0]))
    if lead.placing is not None and lead.placing.clear:
        made.append(_placing(sheet, lead.placing))
    if len(made) == 1 and _fits_beside(texts):
        plate = made[0]((_BESIDE_WIDTH - 8, _PICTURE_HEIGHT))
        lines = [sheet.paragraph(text, label=label) for label, text in texts]
        cells = [[[plate.picture, *plate.lines], lines]]
        table = Table(cells, [_BESIDE_WIDTH, styles.WIDTH - _BESIDE_WIDTH], hAlign="LEFT")
        table.setStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)])
        sheet.together([table], heading, styles.SUBHEADING)
        return
    (label, first), *rest = texts
    shown = [plates(made, columns=2, height=_PICTURE_HEIGHT)] if made else []
    sheet.together([sheet.paragraph(first, label=label), *shown], heading, styles.SUBHEADING)
    for label, text in rest:
        sheet.text(text, label=label)


def _fits_beside(texts: list[tuple[str, str]]) -> bool:
    """Whether texts are short enough for a table, which cannot break inside a row."""
    whole = "".join(text for _, text in texts)
    return len(whole) <= _BESIDE and whole.count("\n") <= _BESIDE_LINES


def _lead_texts(lead: Lead) -> list[tuple[str, str]]:
    """Labels and texts about a lead; the first is short."""
    kind = lead.type
    odds = odds_words(lead.odds)
    said = f"{lead.band}, {odds if lead.odds is None else f'odds {odds}'}"
    if lead.before is not None:
        said += f"; from the photos alone {odds_words(lead.before)}"
    texts = [("", f"{said[0].upper()}{said[1:]}. Dated {kind.dates.words()}.")]
    texts += [("", f"– {reason.words}") for reason in lead.reasons]
    if kind.length_mm:
        texts.append(("Length of the type:", length_words(kind.length_mm)))
    if kind.checks:
        checks = ". ".join(check.rstrip(".") for check in kind.checks)
        texts.append(("Look at next:", f"{checks}."))
    return texts


def _evidence(sheet: Sheet, seen: Evidence) -> Callable[[tuple[float, float]], Plate]:
    def make(box: tuple[float, float]) -> Plate:
        photo = seen.photo
        what = f"Reference {photo.id}: {photo.view}, {photo.completeness}, {photo.condition}."
        said = f"{shortened(what, 90)} {shortened(credit(photo), 120)}"
        picture = Picture(copy_or_none(seen.path), box)
        return Plate(picture, (sheet.paragraph(said, styles.SMALL),))

    return make


def _placing(sheet: Sheet, placing: Placing) -> Callable[[tuple[float, float]], Plate]:
    def make(box: tuple[float, float]) -> Plate:
        share = f"{max(1, min(10, round(placing.seen * 10)))} in 10"
        said = (
            f"Dashed: where photo {placing.find_photo + 1} of the find may lie on "
            f"{shortened(placing.photo.id, 40)}, covering about {share} of it. To verify. "
            f"{shortened(credit(placing.photo), 120)}"
        )
        picture = Picture(copy_or_none(placing.path), box, lines=placing.outline)
        return Plate(picture, (sheet.paragraph(said, styles.SMALL),))

    return make


def _look_alikes(sheet: Sheet, leads: Leads, types: Mapping[str, Type]) -> None:
    names = {lead.type.id: lead.type.name for lead in leads.leads}
    sheet.heading("Look-alikes considered")
    items = []
    for lead in leads.leads[: min(3, MOST_LEADS)]:
        for other in lead.type.look_alikes:
            known = names.get(other.type_id) or (
                types[other.type_id].name if other.type_id in types else other.type_id
            )
            also = " (also a lead)" if other.type_id in names else ""
            pair = f"{shortened(lead.type.name, _NAME)}, not {shortened(known, _NAME)}{also}"
            items.append(f"{pair}: {other.separates}")
    if not items:
        sheet.text("The set names none for the first leads.")
    sheet.bullets(items[:_MOST_LOOK_ALIKES])


def _dates(sheet: Sheet, leads: Leads) -> None:
    today = sheet.made_on.year
    shown = leads.leads[:MOST_LEADS]
    entries = [(sheet.plain(f"{lead.rank}. {lead.type.name}"), lead.type.dates) for lead in shown]
    chart = DateChart(entries, today)
    found = leads_dating(leads, today=today)
    words = f"{date_words(found)} {found.note if found else ''}".strip()
    key = sheet.paragraph(KEY, styles.SMALL)
    sheet.together([sheet.paragraph(words), chart, key], "Dates of the leads")
