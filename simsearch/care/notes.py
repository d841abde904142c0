"""Dates and materials in the notes of photos that contradict what the set says of their type.

Notes are free words, so only what is plainly a date of the object or a metal is read: "AD 120",
"50 BC", "3rd century", "c. 1850", "silver". A bare year is left alone, since it may well be the
year of the photo, and so is the word "lead", which may be a lead to follow.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from simsearch.care.actions import Actions
from simsearch.care.findings import Finding
from simsearch.errors import DateError
from simsearch.sets.dates import DateRange, astronomical_from_bc, parse_edtf
from simsearch.sets.photos import PhotoRow
from simsearch.sets.types import Type

_SLACK = 25  # years; what "about" may mean in a note
_NUMBER = r"(?P<n>\d{1,4})"
_ERA = r"(?P<era>BCE?|AD|CE)"
_PATTERNS = (
    re.compile(rf"\bAD\s*{_NUMBER}\b(?P<era>)(?P<century>)"),
    re.compile(rf"\b{_NUMBER}\s*{_ERA}\b(?P<century>)"),
    re.compile(rf"\b{_NUMBER}(?:st|nd|rd|th)[\s-]+(?P<century>century|c\.)(?:\s+{_ERA}\b)?", re.I),
    re.compile(r"\b(?:c\.|circa|about)\s*(?P<n>1\d{3}|20\d{2})\b(?P<era>)(?P<century>)(?!\s*mm)"),
)
# Words in a note, and the words of which one must stand in the type's material.
_MATERIALS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("silver", ("silver", "metal")),
    ("gold", ("gold", "gilt")),
    ("pewter", ("pewter", "tin", "lead")),
    ("iron", ("iron", "steel")),
    ("lead alloy", ("lead", "pewter")),
    ("copper alloy", ("copper alloy", "brass", "bronze", "metal")),
    ("bronze", ("copper alloy", "bronze", "brass")),
    ("brass", ("copper alloy", "brass", "bronze")),
    ("bone", ("bone", "antler")),
    ("aluminium", ("aluminium", "metal")),
)
_NOT_SAID = re.compile(r"\b(?:not|no|without|never)\s+(?:of\s+)?$", re.I)


def note_findings(
    rows: Sequence[PhotoRow], types: Mapping[str, Type], actions: Actions
) -> list[Finding]:
    """Return photos whose note names a date or a material that their type does not have."""
    found: list[Finding] = []
    for row in rows:
        kind = types.get(row.type)
        if kind is not None and row.note:
            found += _dates(row, kind, actions)
            found += _materials(row, kind, actions)
    return found


def dates_in(note: str) -> list[tuple[str, DateRange]]:
    """Return the dates that a note names, each with the words that name it."""
    found = []
    for pattern in _PATTERNS:
        for hit in pattern.finditer(note):
            span = _span(int(hit["n"]), hit["era"] or "", bool(hit["century"]))
            if span is not None:
                found.append((hit.group().strip(), span))
    return found


def _span(number: int, era: str, is_century: bool) -> DateRange | None:
    first, last = (100 * number - 99, 100 * number) if is_century else (number, number)
    try:
        if era.upper().startswith("B"):
            first, last = astronomical_from_bc(last), astronomical_from_bc(first)
        return parse_edtf(f"{_year(first)}/{_year(last)}")
    except DateError:
        return None  # "0th century" and the like


def _year(year: int) -> str:
    return f"-{-year:04d}" if year < 0 else f"{year:04d}"


def _dates(row: PhotoRow, kind: Type, actions: Actions) -> Iterator[Finding]:
    for words, span in dates_in(row.note):
        away = _years_apart(span, kind.dates)
        if away > _SLACK:
            what = (
                f"The note of photo {row.id} says '{words}', {away} years away from "
                f"{kind.name} ({kind.dates.words()})."
            )
            action = actions.label(row.id)
            weight = min(1.0, away / 1000)
            yield Finding("date", "look", (row.id,), (kind.id,), what, action, weight)


def _years_apart(span: DateRange, dates: DateRange) -> int:
    """Years between two ranges; 0 when they touch."""
    after = dates.latest is not None and span.earliest is not None
    before = dates.earliest is not None and span.latest is not None
    later = span.earliest - dates.latest if after else 0  # type: ignore[operator]
    earlier = dates.earliest - span.latest if before else 0  # type: ignore[operator]
    return max(0, later, earlier)


def _materials(row: PhotoRow, kind: Type, actions: Actions) -> Iterator[Finding]:
    if not kind.material:
        return
    note, material = row.note.casefold(), kind.material.casefold()
    named = [(word, fits) for word, fits in _MATERIALS if _says(note, word)]
    # One word that fits is enough: a silver inlay in copper alloy contradicts nothing.
    if named and not any(part in material for _, fits in named for part in fits):
        words = " and ".join(word for word, _ in named)
        what = f"The note of photo {row.id} says {words}, but {kind.name} is of {kind.material}."
        yield Finding("material", "look", (row.id,), (kind.id,), what, actions.label(row.id))


def _says(note: str, word: str) -> bool:
    for hit in re.finditer(rf"\b{re.escape(word)}\b", note):
        if not _NOT_SAID.search(note[: hit.start()]) and not note.startswith(" age", hit.end()):
            return True
    return False
