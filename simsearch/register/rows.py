"""Records as rows of the tables, and back."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from simsearch.register.grid import Findspot
from simsearch.register.records import LISTS, MEASURES, TEXTS, FindRecord, RegisterPhoto


def find_row(record: FindRecord) -> dict[str, Any]:
    """The columns of ``finds`` for a record, but for ``words``."""
    row: dict[str, Any] = {name: getattr(record, name) for name in (*TEXTS, *MEASURES)}
    spot = record.findspot or Findspot("", "")
    row["findspot_kind"] = spot.kind
    row["findspot_value"] = spot.value
    row["findspot_precision_m"] = spot.precision_m
    row["findspot_words"] = spot.words
    for name in LISTS:
        row[name] = json.dumps(list(getattr(record, name)), ensure_ascii=False)
    return row


def photo_rows(record: FindRecord) -> list[dict[str, Any]]:
    """The rows of ``photos`` for a record, in its order."""
    return [
        {
            "find_id": record.id,
            "position": position,
            "file": photo.file,
            "view": photo.view,
            "sha256": photo.sha256,
            "caption": photo.caption,
            "mm_per_px": photo.mm_per_px,
        }
        for position, photo in enumerate(record.photos)
    ]


def record_of(row: Any, photos: Iterable[Any]) -> FindRecord:
    """The record that a row of ``finds`` and its rows of ``photos`` hold."""
    values = {name: getattr(row, name) for name in (*TEXTS, *MEASURES)}
    for name in LISTS:
        values[name] = tuple(json.loads(getattr(row, name) or "[]"))
    if row.findspot_kind:
        values["findspot"] = Findspot(
            row.findspot_kind, row.findspot_value, row.findspot_precision_m, row.findspot_words
        )
    values["photos"] = tuple(
        RegisterPhoto(photo.file, photo.view, photo.sha256, photo.caption, photo.mm_per_px)
        for photo in photos
    )
    return FindRecord(**values)
