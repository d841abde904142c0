"""Records for others: CSV for a spreadsheet and JSON with a context, under Dublin Core terms.

Columns named ``dcterms:...`` are DCMI Metadata Terms (http://purl.org/dc/terms/, 20 January 2020);
the others are the register's own. Findspots go out as squares of 1 km or larger, and words only as
far as they may be shown, unless exact ones are asked for. The finder's name stays behind unless
asked for. Drafts go out too, and say so.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from simsearch.files import write_bytes
from simsearch.register.errors import RegisterError
from simsearch.register.grid import WORDS, Findspot, coarse, position
from simsearch.register.records import MEASURES, FindRecord
from simsearch.register.vocabulary import PHYSICAL_OBJECT, material_id, period_id

DCTERMS = "http://purl.org/dc/terms/"
OWN_TERMS = "urn:simsearch:register:"
_UNITS = {"length_mm": "mm", "width_mm": "mm", "thickness_mm": "mm", "diameter_mm": "mm"}
# What a spreadsheet takes for the beginning of a formula, also in full-width form.
_FORMULA = re.compile(r"[=+\-@\t\r\n＝＋－＠]")
_PLAIN_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")

_Value = str | float | None
_OWN: tuple[str, ...] = (
    *("type_id", "type_confidence", "leads_note", "verified_by", "verified_on"),
    *MEASURES,
    *("measured_how", "completeness", "condition", "surface", "fixing", "method", "found_on"),
    *("landowner_consent", "nearby", "status"),
)
_FROM_TERMS: Mapping[str, Callable[[FindRecord], _Value]] = {
    "dcterms:identifier": lambda find: find.id,
    "dcterms:title": lambda find: find.title,
    "dcterms:type": lambda find: PHYSICAL_OBJECT,
    "dcterms:subject": lambda find: find.object_name,
    "dcterms:temporal": lambda find: find.period,
    "period_id": lambda find: period_id(find.period)[0],
    "period_id_relation": lambda find: period_id(find.period)[1],
    "dcterms:medium": lambda find: find.material,
    "material_id": lambda find: material_id(find.material),
    "dcterms:extent": lambda find: _extent(find),
    "dcterms:description": lambda find: find.description,
}
_LAST: Mapping[str, Callable[[FindRecord], _Value]] = {
    "checked": lambda find: "; ".join(find.checked),
    "unknowns": lambda find: "; ".join(find.unknowns),
    "photos": lambda find: "; ".join(photo.file for photo in find.photos),
    "record_created": lambda find: find.created_on,
    "record_changed": lambda find: find.changed_on,
}
_PLACE = (
    *("dcterms:spatial", "findspot_kind", "findspot_precision_m"),
    *("latitude", "longitude", "position_within_m", "position_how"),
)
PEOPLE = ("finder",)


def export_rows(
    finds: Iterable[FindRecord], *, exact: bool = False, people: bool = False
) -> list[dict[str, _Value]]:
    """One flat row for each find; findspots coarse unless ``exact``, finders with ``people``."""
    rows = []
    for find in finds:
        row = {name: read(find) for name, read in _FROM_TERMS.items()}
        row |= {name: getattr(find, name) for name in _OWN}
        row |= _place(find.findspot, exact)
        row |= {name: read(find) for name, read in _LAST.items()}
        if people:
            row["finder"] = find.finder
        rows.append(row)
    return rows


def columns(*, people: bool = False) -> tuple[str, ...]:
    """The columns of an export, in order."""
    return (*_FROM_TERMS, *_OWN, *_PLACE, *_LAST, *(PEOPLE if people else ()))


def as_csv(finds: Iterable[FindRecord], *, exact: bool = False, people: bool = False) -> bytes:
    """RFC 4180 in UTF-8 with the mark that spreadsheets look for; no cell is a formula.

    A text that a spreadsheet would run gets an apostrophe in front.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    names = columns(people=people)
    writer.writerow(names)
    for row in export_rows(finds, exact=exact, people=people):
        writer.writerow([_cell(row[name]) for name in names])
    return text.getvalue().encode("utf-8-sig")


def as_json(finds: Iterable[FindRecord], *, exact: bool = False, people: bool = False) -> bytes:
    """A JSON document with a JSON-LD context; lists stay lists, what is unknown is left out."""
    finds = list(finds)
    records = []
    for find, row in zip(finds, export_rows(finds, exact=exact, people=people), strict=True):
        record: dict[str, Any] = {
            name: value for name, value in row.items() if value not in ("", None)
        }
        record |= {name: list(getattr(find, name)) for name in ("checked", "unknowns")}
        record["photos"] = [
            {"file": p.file, "view": p.view, "sha256": p.sha256, "caption": p.caption}
            for p in find.photos
        ]
        records.append(record)
    document = {
        "@context": {"dcterms": DCTERMS, "@vocab": OWN_TERMS},
        "note": "Types are leads to verify, not identifications.",
        "findspots": "as stated" if exact else "made coarser: squares of 1 km or larger, or words",
        "records": records,
    }
    return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode("utf-8")


def export(
    finds: Iterable[FindRecord], path: Path | str, *, exact: bool = False, people: bool = False
) -> int:
    """Write an export to ``path`` in one step, CSV or JSON by its ending; returns how many finds.

    Raises ``RegisterError`` for another ending or a path that cannot be written.
    """
    target, finds = Path(path), list(finds)
    writers = {".csv": as_csv, ".json": as_json}
    write = writers.get(target.suffix.lower())
    if write is None:
        raise RegisterError(
            f"{target} ends in neither .csv nor .json.", hint="Name it finds.csv or finds.json."
        )
    try:
        write_bytes(target, write(finds, exact=exact, people=people))
    except OSError as error:
        raise RegisterError(
            f"{target} could not be written ({error.strerror or error}).",
            hint="Check that the folder exists and may be written to.",
        ) from error
    return len(finds)


def _place(spot: Findspot | None, exact: bool) -> dict[str, _Value]:
    row: dict[str, _Value] = dict.fromkeys(_PLACE)
    if spot is None:
        return row
    used = spot if exact else coarse(spot)
    given = dict.fromkeys((used.value, used.words))
    row["dcterms:spatial"] = "; ".join(part for part in given if part)
    row["findspot_kind"] = used.kind
    row["findspot_precision_m"] = used.precision_m
    where = position(used)
    if where is not None and used.kind != WORDS:
        # As many figures as the precision bears: a middle to the metre would look exact.
        places = 6 if where.radius_m < 10 else 4 if where.radius_m < 500 else 3
        row["latitude"] = round(where.latitude, places)
        row["longitude"] = round(where.longitude, places)
        row["position_within_m"] = round(where.radius_m, 1)
        row["position_how"] = where.how.name if where.how else "as stated"
    return row


def _extent(find: FindRecord) -> str:
    parts = []
    for name in MEASURES:
        value = getattr(find, name)
        if value is not None:
            parts.append(f"{name.rpartition('_')[0]} {value:g} {_UNITS.get(name, 'g')}")
    return "; ".join(parts)


def _cell(value: _Value) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.10g}"
    text = str(value)
    if _FORMULA.match(text) and not _PLAIN_NUMBER.fullmatch(text):
        return f"'{text}"
    return text
