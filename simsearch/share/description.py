"""Describing a whole package, every photo included, as Frictionless Data Package version 1.

The standard: https://specs.frictionlessdata.io/data-package/, data-resource, tabular-data-resource
and table-schema. Unlike the description kept with a set, this one lists each photo as a
resource with its size, SHA-256 and licence, names the contributors, and says what was done to
the cells of the tables.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from simsearch.sets.datapackage import table_resource
from simsearch.sets.licences import LICENCES
from simsearch.sets.photos import PhotoRow
from simsearch.sets.reference_set import PACKAGE_FILE, ReferenceSet
from simsearch.share.tables import COLUMNS, CREDITS_FILE, NEEDED

OWN_KEY, CELLS_KEY, CELLS_GUARDED = "simsearch", "cells", "apostrophe before formulas"
_MEDIA = {".jpg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
_KEPT = ("description", "licenses", "version", "homepage", "sources")


@dataclass(frozen=True)
class PackedPhoto:
    """A photo as it stands in a package: its row in the set, and its file there."""

    row: PhotoRow
    file: str
    size: int
    sha256: str
    redrawn: bool


def described(
    reference: ReferenceSet, texts: Mapping[str, bytes], photos: Sequence[PackedPhoto]
) -> bytes:
    """Return the ``datapackage.json`` of a package of these files."""
    own = _own_description(reference)
    package: dict[str, Any] = {
        "profile": "data-package",
        "name": reference.name,
        "title": reference.title,
        **{key: own[key] for key in _KEPT if key in own},
        "contributors": _contributors(photos),
        OWN_KEY: {CELLS_KEY: CELLS_GUARDED},
        "resources": [
            *(_text_resource(file, content) for file, content in texts.items()),
            *(_photo_resource(photo, reference) for photo in photos),
        ],
    }
    return (json.dumps(package, indent=1, ensure_ascii=False) + "\n").encode("utf-8")


def _own_description(reference: ReferenceSet) -> dict[str, Any]:
    try:
        found = json.loads((reference.folder / PACKAGE_FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}  # opening the set has told of it
    return found if isinstance(found, dict) else {}


def _contributors(photos: Sequence[PackedPhoto]) -> list[dict[str, str]]:
    """Name who took the photos (authors) and who labelled them (contributors)."""
    named = [("author", name) for name in sorted({photo.row.creator for photo in photos})]
    named += [("contributor", name) for name in sorted({p.row.labelled_by for p in photos})]
    return [{"title": name, "role": role} for role, name in named]


def _text_resource(file: str, content: bytes) -> dict[str, Any]:
    table = file.removesuffix(".csv")
    if file in NEEDED:
        return table_resource(table, content)
    resource: dict[str, Any] = {"profile": "data-resource", "name": table, "path": file}
    if file == CREDITS_FILE:
        resource |= {"name": "credits", "format": "txt", "mediatype": "text/plain"}
    else:
        fields = [{"name": column, "type": "string"} for column in COLUMNS[file]]
        reference = {"resource": "photos", "fields": ["id"]}
        resource |= {"profile": "tabular-data-resource", "format": "csv", "mediatype": "text/csv"}
        resource["schema"] = {
            "fields": fields,
            "missingValues": [""],
            "foreignKeys": [{"fields": ["photo"], "reference": reference}],
        }
    digest = hashlib.sha256(content).hexdigest()
    return resource | {"encoding": "utf-8", "bytes": len(content), "hash": f"sha256:{digest}"}


def _photo_resource(photo: PackedPhoto, reference: ReferenceSet) -> dict[str, Any]:
    ending = photo.file[photo.file.rindex(".") :]
    licence = LICENCES[photo.row.licence]
    rendered = "; rendered, not a photograph of a find" if photo.row.is_rendered else ""
    return {
        "profile": "data-resource",
        "name": f"photo-{photo.row.id}",
        "title": f"{reference.types[photo.row.type].name}, {photo.row.view}{rendered}",
        "path": photo.file,
        "format": ending[1:],
        "mediatype": _MEDIA[ending],
        "bytes": photo.size,
        "hash": f"sha256:{photo.sha256}",
        "licenses": [{"name": licence.id, "path": licence.url, "title": licence.name}],
        "sources": [{"title": photo.row.source}],
    }
