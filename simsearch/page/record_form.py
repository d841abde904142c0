"""The form of a find's record: what it starts with, and what it says, checked by the register."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from simsearch.page.observing import given_words
from simsearch.page.words import count, lead_odds_words
from simsearch.register.errors import RecordError
from simsearch.register.grid import WORDS, Findspot, read_findspot, shown
from simsearch.register.photos import NewPhoto
from simsearch.register.records import (
    CONFIDENCES,
    FIELDS,
    LISTS,
    MEASURES,
    TEXTS,
    VIEWS,
    FindRecord,
    check_record,
    from_fields,
)

if TYPE_CHECKING:
    from simsearch.leads.model import Lead, Leads
    from simsearch.page.intake import HeldPhoto
    from simsearch.page.refine import Looked
    from simsearch.sets.reference_set import ReferenceSet

LABELS: Mapping[str, str] = {
    "title": "Title",
    "object_name": "Object",
    "period": "Period",
    "type_id": "Type lead",
    "type_confidence": "How sure",
    "leads_note": "Note on the leads",
    "verified_by": "Seen by",
    "verified_on": "Seen on",
    "length_mm": "Length",
    "width_mm": "Width",
    "thickness_mm": "Thickness",
    "diameter_mm": "Diameter",
    "weight_g": "Weight",
    "measured_how": "How measured",
    "completeness": "How much is left",
    "condition": "Condition",
    "surface": "Surface",
    "material": "Material",
    "fixing": "Pin or fixing",
    "method": "How it was found",
    "found_on": "Found on",
    "finder": "Finder",
    "landowner_consent": "Landowner's consent",
    "findspot": "Findspot",
    "nearby": "Found nearby",
    "description": "Description",
    "checked": "Checked on the object",
    "unknowns": "Not known",
    "photos": "Photos",
    "status": "Status",
}
_LEADS_TOLD, _CHECKS = 5, 8
_SET_BY_REGISTER = ("id", "photos", "created_on", "changed_on")
_WORD = re.compile(r"[a-z_]+")
_VIEWS_IN_TURN = ("front", "back", "side")


@dataclass(frozen=True, eq=False)
class Writing:
    """A record being written: what the form starts with and what goes with it.

    ``find_id`` is empty for a new find; ``seen`` is the number of the last change that the writer
    saw. ``checks`` are offered for "what was seen", ``photos`` for keeping with the record.
    """

    values: Mapping[str, str]
    photos: tuple[HeldPhoto, ...] = ()
    checks: tuple[str, ...] = ()
    find_id: str = ""
    seen: int | None = None
    before: FindRecord | None = None


@dataclass(frozen=True, eq=False)
class Filled:
    """A form that was sent: the record it makes, or problems by field."""

    record: FindRecord
    photos: tuple[NewPhoto, ...] = ()
    problems: Mapping[str, str] = field(default_factory=dict)


def start_empty(photos: Sequence[HeldPhoto] = ()) -> Writing:
    """A record of which nothing is known yet."""
    return Writing({"landowner_consent": "not asked", "status": "draft"}, tuple(photos))


def start_from(looked: Looked, reference: ReferenceSet, type_id: str = "") -> Writing:
    """A record of a find that has leads; ``type_id`` picks the lead, the first one without.

    Where nothing looked close no type is filled in unless one was picked.
    """
    leads = looked.leads
    picked = [lead for lead in leads.leads if lead.type.id == type_id]
    offered = picked or list(leads.leads[:1] if leads.anything_close else ())
    lead = offered[0] if offered else None
    values = {**start_empty().values, "leads_note": leads_words(leads), **_observed(leads)}
    if lead is not None:
        values |= {
            "title": f"Perhaps {_article(lead.type.name)}",
            "object_name": lead.type.group,
            "period": lead.type.period,
            "type_id": lead.type.id,
            "type_confidence": CONFIDENCES[int(lead.band == "strong lead")],
        }
    checks = list(lead.type.checks) if lead else []
    for other in leads.leads[:3] if lead else ():
        checks += [check for check in other.type.checks if check not in checks]
    known = (name for name in checks if name)
    return Writing(values, looked.tray.photos, tuple(known)[:_CHECKS])


def start_change(record: FindRecord, seen: int, photos: Sequence[HeldPhoto] = ()) -> Writing:
    """The form of a recorded find. The exact findspot is left out: an empty field keeps it."""
    values = {name: getattr(record, name) for name in TEXTS}
    values |= {name: _figures(getattr(record, name)) for name in MEASURES}
    values |= {name: "\n".join(getattr(record, name)) for name in LISTS}
    values["findspot_words"] = record.findspot.words if record.findspot else ""
    return Writing(values, tuple(photos), (), record.id, seen, record)


def leads_words(leads: Leads) -> str:
    """The leads as a note for the record."""
    close = "" if leads.anything_close else "Nothing looked close; the nearest was: "
    # Weak leads are left out: what they are called would set off cautions for nothing.
    told = [lead for lead in leads.leads if lead.rank == 1 or lead.band != "weak lead"]
    told = told[: _LEADS_TOLD if leads.anything_close else 1]
    listed = "; ".join(_told(lead) for lead in told)
    left = len(leads.leads) - len(told)
    listed += f"; {count(left, 'weaker one')} left out" if left else ""
    seen = given_words(leads.observed)
    observed = f" Weighed in: {seen}." if seen else ""
    return (
        f"{close}{listed}.{observed} Compared with the set “{leads.set_name}” by the encoder "
        f"{leads.encoder_name}. Leads to verify, not an identification."
    )


def _told(lead: Lead) -> str:
    odds = lead_odds_words(lead)
    return f"{lead.rank}. {lead.type.name} ({lead.band}{f', {odds}' if odds else ''})"


def _article(name: str) -> str:
    plain = name[:1].lower() + name[1:] if name[1:2].islower() else name
    return f"{'an' if plain[:1].lower() in 'aeiou' else 'a'} {plain}"


def _observed(leads: Leads) -> dict[str, str]:
    seen = leads.observed
    if seen is None:
        return {}
    values = {
        "weight_g": _figures(seen.weight_g),
        "material": seen.material or "",
        "surface": seen.surface or "",
        "fixing": seen.fixing or "",
        "completeness": seen.completeness or "",
        "nearby": f"dated {seen.nearby.words()}" if seen.nearby else "",
    }
    errors = []
    for name in ("length_mm", "width_mm", "thickness_mm"):
        measure = getattr(seen, name)
        if measure is not None:
            values[name] = _figures(measure.value)
            errors.append(measure.error_mm)
    if errors:
        values["measured_how"] = f"to within {max(errors):g} mm"
    return values


def _figures(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def read_form(writing: Writing, fields: Mapping[str, str]) -> Filled:
    """Read a form that was sent; what is wrong with it stands with its field."""
    problems: dict[str, str] = {}
    values: dict[str, Any] = {
        name: fields.get(name, "").strip() for name in TEXTS if name not in _SET_BY_REGISTER
    }
    for name in MEASURES:
        values[name] = _measure(name, fields.get(name, ""), problems)
    for name in LISTS:
        values[name] = _lines(fields.get(name, ""))
    values["checked"] = (*_seen(writing, fields), *values["checked"])
    try:
        values["findspot"] = _findspot(writing, fields)
    except RecordError as error:
        problems["findspot"] = str(error)
        values["findspot"] = None
    record = from_fields(values, writing.before)
    problems |= {
        name: said for name, said in record_problems(record).items() if name not in problems
    }
    if not fields.get("by", "").strip():
        problems["by"] = "Say who you are: the register keeps who wrote what."
    return Filled(record, _new_photos(writing, fields), problems)


def record_problems(record: FindRecord) -> dict[str, str]:
    """What the register has against a record, by field; the fields have their names on the form."""
    try:
        check_record(replace(record, photos=()), datetime.now(UTC).date())
    except RecordError as error:
        lines = error.message.split("\n- ")[1:] or [error.message.partition(": ")[2]]
        found: dict[str, str] = {}
        for line in lines:
            name = _field_of(line)
            said = _WORD.sub(lambda word: _label(word.group()), line)
            found[name] = f"{found[name]} {said}" if name in found else said
        return found
    return {}


def _field_of(problem: str) -> str:
    """The field that a problem of the register is about: the first that it names."""
    if "needs verified_by" in problem:
        return "verified_by"
    named = (word for word in _WORD.findall(problem.lower()) if word in FIELDS)
    return next(named, "title")


def _label(word: str) -> str:
    return f"“{LABELS[word]}”" if word in LABELS and "_" in word else word


def _measure(name: str, text: str, problems: dict[str, str]) -> float | None:
    try:
        # A comma is how half of Europe writes the point.
        read = from_fields({name: text.strip().replace(",", ".")})
    except RecordError as error:
        problems[name] = f"{error.message} {error.hint}".replace(name, LABELS[name])
        return None
    value: float | None = getattr(read, name)
    return value


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in text.splitlines() if line.strip())


def _seen(writing: Writing, fields: Mapping[str, str]) -> list[str]:
    """What was seen at each check that was offered, where something was written."""
    found = []
    for number, check in enumerate(writing.checks):
        said = fields.get(f"seen-{number}", "").strip()
        if said:
            found.append(f"{check.rstrip('.')}: {said}")
    return found


def _findspot(writing: Writing, fields: Mapping[str, str]) -> Findspot | None:
    value = fields.get("findspot", "").strip()
    words = fields.get("findspot_words", "").strip()
    metres = fields.get("findspot_precision_m", "").strip().replace(",", ".")
    before = writing.before.findspot if writing.before else None
    if fields.get("findspot_none"):
        return None
    if not value and before is not None:
        return replace(before, words=words)
    if not value and not words:
        if metres:
            raise RecordError("It is said how near, but not where.", hint="Give the findspot too.")
        return None
    if not value:
        return read_findspot(words, kind=WORDS, words=words)
    precision = _metres(metres)
    kind = fields.get("findspot_kind") or None
    return read_findspot(value, kind=kind, precision_m=precision, words=words)


def _metres(text: str) -> float | None:
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise RecordError(
            f"“{text[:20]}” is no number of metres.", hint="Write figures only, such as 10 or 100."
        ) from None


def _new_photos(writing: Writing, fields: Mapping[str, str]) -> tuple[NewPhoto, ...]:
    from simsearch.page.intake import jpeg_bytes

    kept = []
    for number, photo in enumerate(writing.photos):
        if fields.get(f"keep-{number}"):
            view = fields.get(f"view-{number}", "")
            caption = fields.get(f"caption-{number}", "").strip()
            source = photo.large or jpeg_bytes(photo.image)
            shown = view if view in VIEWS else "detail"
            kept.append(NewPhoto(source, shown, caption[:500], _scale_of(photo)))
    return tuple(kept)


def _scale_of(photo: HeldPhoto) -> float | None:
    """Millimetres a pixel of the photo that is kept, if it shows the photo card."""
    from simsearch.measure.scale import scale_of
    from simsearch.page.measuring import large

    return scale_of(large(photo))


def first_view(number: int) -> str:
    """The view that the form offers for a photo: front, back, side, then details."""
    return _VIEWS_IN_TURN[number] if number < len(_VIEWS_IN_TURN) else "detail"


def changed_fields(record: FindRecord) -> dict[str, Any]:
    """The fields of a record that a change may set."""
    return {name: getattr(record, name) for name in FIELDS if name not in _SET_BY_REGISTER}


def findspot_words(record: FindRecord, *, exact: bool = False) -> str:
    """The findspot for people: coarse unless asked otherwise."""
    return shown(record.findspot, exact=exact)
