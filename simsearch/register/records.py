"""What a find's record holds, and what may stand in it."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import Any

from simsearch.register.errors import RecordError
from simsearch.register.found_on import check_found_on
from simsearch.register.grid import Findspot, checked

CONFIDENCES = ("possible", "probable", "agreed by a finds officer")
CONSENTS = ("given in writing", "given in words", "not asked", "refused")
COMPLETENESS = ("complete", "half or more", "less than half")
FIXINGS = ("sprung", "hinged", "sprung or hinged", "free pin", "none", "other")
STATUSES = ("draft", "recorded", "handed over")
VIEWS = ("front", "back", "side", "detail")
MEASURES = ("length_mm", "width_mm", "thickness_mm", "diameter_mm", "weight_g")
LISTS = ("checked", "unknowns")
ID = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_CHOICES: Mapping[str, tuple[str, ...]] = {
    "type_confidence": CONFIDENCES,
    "landowner_consent": CONSENTS,
    "completeness": COMPLETENESS,
    "fixing": FIXINGS,
}
_LARGEST = {"weight_g": 100_000.0}  # 100 kg; lengths to 5 m
_LARGEST_MM = 5_000.0
_LONGEST_TEXT = 20_000
_PHOTO_FILE = re.compile(r"photos/[a-z0-9]+(?:-[a-z0-9]+)*\.jpg")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_MADE_HERE = ("photos", "findspot", "created_on", "changed_on")


@dataclass(frozen=True)
class RegisterPhoto:
    """A photo kept in the register: ``file`` is relative to its folder, upright, no metadata.

    ``sha256`` is that of the kept file; ``mm_per_px`` the scale on the object, if measured.
    """

    file: str
    view: str = "front"
    sha256: str = ""
    caption: str = ""
    mm_per_px: float | None = None


@dataclass(frozen=True)
class FindRecord:
    """One find. Text that is not known is empty, a number that is not known is ``None``.

    ``type_id`` and ``type_confidence`` are a lead and how sure somebody is of it; "certain" is not
    offered. ``checked`` is what was looked at on the object and what was seen, ``unknowns`` what
    is not known. ``created_on`` and ``changed_on`` are set by the register (ISO 8601, UTC).
    """

    id: str = ""
    title: str = ""
    object_name: str = ""
    period: str = ""
    type_id: str = ""
    type_confidence: str = ""
    leads_note: str = ""
    verified_by: str = ""
    verified_on: str = ""
    length_mm: float | None = None
    width_mm: float | None = None
    thickness_mm: float | None = None
    diameter_mm: float | None = None
    weight_g: float | None = None
    measured_how: str = ""
    completeness: str = ""
    condition: str = ""
    surface: str = ""
    material: str = ""
    fixing: str = ""
    method: str = ""
    found_on: str = ""
    finder: str = ""
    landowner_consent: str = "not asked"
    findspot: Findspot | None = None
    nearby: str = ""
    description: str = ""
    checked: tuple[str, ...] = ()
    unknowns: tuple[str, ...] = ()
    photos: tuple[RegisterPhoto, ...] = ()
    status: str = "draft"
    created_on: str = ""
    changed_on: str = ""


FIELDS = tuple(item.name for item in fields(FindRecord))
TEXTS = tuple(n for n in FIELDS if n not in (*MEASURES, *LISTS, "findspot", "photos"))


def check_record(record: FindRecord, today: date) -> None:
    """Raise ``RecordError`` naming everything in ``record`` that cannot be recorded."""
    problems = [*_texts(record), *_choices(record), *_measures(record)]
    problems += [*_type_lead(record), *_days(record, today), *_photos(record)]
    if record.findspot is not None:
        try:
            checked(record.findspot)
        except RecordError as error:
            problems.append(str(error))
    if problems:
        name = record.id or "The new find"
        if len(problems) == 1:
            raise RecordError(f"{name}: {problems[0]}")
        listed = "\n".join(f"- {problem}" for problem in problems)
        raise RecordError(f"{name} cannot be recorded as it stands:\n{listed}")


def _texts(record: FindRecord) -> list[str]:
    found = []
    for name in TEXTS:
        found += _text(name, getattr(record, name))
    for name in LISTS:
        for item in getattr(record, name):
            found += _text(name, item) if item else [f"{name} has an empty line; leave it out."]
    if record.findspot is not None:
        found += _text("findspot", record.findspot.value)
        found += _text("findspot words", record.findspot.words)
    if not record.title.strip():
        found.append("The title is empty; say in a few words what it is, or 'unknown object'.")
    if record.id and (not ID.fullmatch(record.id) or len(record.id) > 60):
        found.append(f"The id '{record.id}' needs lower-case letters, figures and single hyphens.")
    return found


def _text(name: str, value: object) -> list[str]:
    if not isinstance(value, str):
        return [f"{name} is {value!r:.40}, not text."]
    if len(value) > _LONGEST_TEXT:
        return [f"{name} has {len(value)} characters; {_LONGEST_TEXT} is the most. Shorten it."]
    if _CONTROL.search(value):
        return [f"{name} holds a control character; type it again instead of pasting."]
    return []


def _choices(record: FindRecord) -> list[str]:
    found = []
    for name, allowed in _CHOICES.items():
        value = getattr(record, name)
        if value and value not in allowed:
            reason = " A lead is never certain." if value == "certain" else ""
            found.append(f"{name} '{value}' is not offered.{reason} Choose {_or(allowed)}.")
    if record.status not in STATUSES:
        found.append(f"status '{record.status}' is not offered. Choose {_or(STATUSES)}.")
    return found


def _measures(record: FindRecord) -> list[str]:
    found = []
    for name in MEASURES:
        value, largest = getattr(record, name), _LARGEST.get(name, _LARGEST_MM)
        if value is None:
            continue
        if isinstance(value, bool) or not isinstance(value, int | float):
            found.append(f"{name} is {value!r:.40}, not a number.")
        elif not math.isfinite(value) or not 0 < value <= largest:
            unit = "grams" if name == "weight_g" else "millimetres"
            found.append(f"{name} is {value:g}; it is in {unit}, above 0 and up to {largest:g}.")
    return found


def _type_lead(record: FindRecord) -> list[str]:
    found = []
    if record.type_id and not ID.fullmatch(record.type_id):
        found.append(f"type_id '{record.type_id}' is not the id of a type, like 'knee'.")
    if record.type_confidence and not record.type_id:
        found.append("type_confidence is given without a type_id; say which type.")
    if record.type_confidence == CONFIDENCES[-1] and not (
        record.verified_by and record.verified_on
    ):
        found.append(f"'{CONFIDENCES[-1]}' needs verified_by and verified_on: who, and which day.")
    if bool(record.verified_by) != bool(record.verified_on):
        found.append("verified_by and verified_on go together: who looked at it, and which day.")
    return found


def _days(record: FindRecord, today: date) -> list[str]:
    found = []
    if record.verified_on:
        try:
            day = date.fromisoformat(record.verified_on)
            if day > today or len(record.verified_on) != 10:
                raise ValueError
        except ValueError:
            found.append(
                f"verified_on '{record.verified_on}' is not a past day; write it like 2026-03-14."
            )
    if record.found_on:
        try:
            check_found_on(record.found_on, today)
        except RecordError as error:
            found.append(str(error))
    return found


def _photos(record: FindRecord) -> list[str]:
    found = []
    for photo in record.photos:
        if not _PHOTO_FILE.fullmatch(photo.file) or not _SHA256.fullmatch(photo.sha256):
            found.append(f"The photo {photo.file!r:.80} is none of this register; add it first.")
        if photo.view not in VIEWS:
            found.append(f"The view '{photo.view}' of a photo is not one of {_or(VIEWS)}.")
        found += _text("caption", photo.caption)
        scale = photo.mm_per_px
        if scale is not None and not (math.isfinite(scale) and 0 < scale < 100):
            found.append(f"The scale of {photo.file} is {scale!r}; millimetres a pixel, above 0.")
    return found


def _or(items: tuple[str, ...]) -> str:
    return f"{', '.join(items[:-1])} or {items[-1]}"


def from_fields(given: Mapping[str, Any], base: FindRecord | None = None) -> FindRecord:
    """Return ``base`` (or an empty record) with some fields replaced.

    Numbers may be given as text. Raises ``RecordError`` for a field that does not exist or that
    the register sets itself. What the values are is checked by ``check_record``.
    """
    unknown = sorted(set(given) - set(FIELDS))
    if unknown:
        usable = ", ".join(name for name in FIELDS if name not in _MADE_HERE[2:])
        raise RecordError(f"There is no field '{unknown[0]}'.", hint=f"Fields: {usable}.")
    values = {name: getattr(base or FindRecord(), name) for name in FIELDS}
    for name, value in given.items():
        values[name] = _read_field(name, value)
    return FindRecord(**values)


def _read_field(name: str, value: Any) -> Any:
    if name in MEASURES and isinstance(value, str):
        return _number(name, value)
    if name in LISTS:
        return (value,) if isinstance(value, str) and value else tuple(value)
    return value.strip() if isinstance(value, str) else value


def _number(name: str, text: str) -> float | None:
    if not text.strip():
        return None
    try:
        return float(text)
    except ValueError:
        raise RecordError(
            f"{name} is '{text}', not a number.",
            hint="Write figures only, with a point: 34.2. The unit is in the field's name.",
        ) from None


def to_document(record: FindRecord) -> dict[str, Any]:
    """Return ``record`` as plain lists, mappings, text and numbers, fit for JSON."""
    document = asdict(record)
    for name in (*LISTS, "photos"):
        document[name] = list(document[name])
    return document


def from_document(document: Mapping[str, Any]) -> FindRecord:
    """Return the record that ``to_document`` wrote; fields it did not know yet are empty."""
    values = {name: document[name] for name in FIELDS if name in document}
    spot = values.get("findspot")
    values["findspot"] = Findspot(**spot) if spot else None
    values["photos"] = tuple(RegisterPhoto(**photo) for photo in values.get("photos", ()))
    for name in LISTS:
        values[name] = tuple(values.get(name, ()))
    return FindRecord(**values)


def search_words(record: FindRecord) -> str:
    """Everything of a find that a search by words looks through, without capitals."""
    spot = record.findspot
    parts = [getattr(record, name) for name in TEXTS if not name.endswith("_on")]
    parts += [*record.checked, *record.unknowns, *(photo.caption for photo in record.photos)]
    parts += [spot.value, spot.words] if spot else []
    return "\n".join(part for part in parts if part).casefold()
