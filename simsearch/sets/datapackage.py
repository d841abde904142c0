"""Describing a set as a Frictionless Data Package (version 1 of the standard).

``datapackage.json`` gives other programs the tables' columns, allowed values and hashes
(https://specs.frictionlessdata.io/data-package/). It is derived: every fact in it but the
name, title and words about the set follows from the tables.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from simsearch.errors import SetError
from simsearch.files import sha256_of
from simsearch.sets.licences import LICENCES
from simsearch.sets.photos import COMPLETENESS, CONDITIONS, KINDS, PHOTO_COLUMNS, VIEWS
from simsearch.sets.reference_set import PACKAGE_FILE
from simsearch.sets.sources import SOURCE_BASES, SOURCE_COLUMNS
from simsearch.sets.types import DATE_BASES, GROUPS, PIN_FIXINGS, TYPE_COLUMNS
from simsearch.sets.write import write_bytes

_SLUG = "[a-z0-9]+(-[a-z0-9]+)*"
_REQUIRED: Mapping[str, tuple[str, ...]] = {
    "types": ("name", "period", "date_edtf", "material"),
    "sources": ("citation",),
    "photos": ("file", "specimen", "creator", "source", "labelled_by", "label_basis"),
}
_CHOICES: Mapping[str, Mapping[str, Sequence[str]]] = {
    "types": {"group": GROUPS, "pin_fixing": PIN_FIXINGS, "basis": DATE_BASES},
    "sources": {"basis": SOURCE_BASES},
    "photos": {
        "view": VIEWS,
        "completeness": COMPLETENESS,
        "condition": CONDITIONS,
        "kind": KINDS,
        "licence": tuple(LICENCES),
    },
}
_PATTERNS: Mapping[str, Mapping[str, str]] = {"photos": {"type": _SLUG, "sha256": "[0-9a-f]{64}"}}
_DAYS = ("read_on", "labelled_on")
_TABLES: Mapping[str, tuple[str, ...]] = {
    "types": TYPE_COLUMNS,
    "photos": PHOTO_COLUMNS,
    "sources": SOURCE_COLUMNS,
}


def write_datapackage(
    folder: Path | str,
    *,
    name: str | None = None,
    title: str | None = None,
    description: str | None = None,
    licence: str | None = None,
) -> Path:
    """Write a set's ``datapackage.json`` from its tables, in one step; return its path.

    Call it after every change of a table, under the set's lock: it holds their hashes. What is
    not given is kept from the file as it is; ``name`` falls back to the folder's name,
    ``title`` to the name. ``licence`` is the SPDX id for the tables (each photo has its own).
    Raises ``SetError`` when a table is missing, the licence is unknown, or the present file
    cannot be read.
    """
    path = Path(folder) / PACKAGE_FILE
    given = {"name": name, "title": title, "description": description, "licence": licence}
    write_bytes(path, datapackage_bytes(folder, {}, **given))
    return path


def datapackage_bytes(
    folder: Path | str,
    tables: Mapping[str, bytes],
    *,
    name: str | None = None,
    title: str | None = None,
    description: str | None = None,
    licence: str | None = None,
) -> bytes:
    """Return what ``write_datapackage`` would write, without writing it.

    ``tables`` holds by file name the content of tables that are about to change; the others
    are read from the folder. Arguments and errors are otherwise the same.
    """
    root = Path(folder)
    package = _present(root / PACKAGE_FILE)
    given = {"name": name, "title": title, "description": description}
    package |= {key: value for key, value in given.items() if value is not None}
    package.setdefault("name", _package_name(root))
    package.setdefault("title", package["name"])
    if licence is not None:
        package["licenses"] = [_licence(licence)]
    package["profile"] = "data-package"
    contents = {table: _content(root, f"{table}.csv", tables) for table in _TABLES}
    package["resources"] = [table_resource(table, content) for table, content in contents.items()]
    return (json.dumps(package, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def changed_tables(folder: Path, package: Mapping[str, Any]) -> list[str]:
    """Return the names of tables whose bytes are not those ``datapackage.json`` describes."""
    described = {
        str(resource.get("path")): resource.get("hash")
        for resource in package.get("resources", ())
        if isinstance(resource, dict)
    }
    files = [f"{table}.csv" for table in _TABLES if (folder / f"{table}.csv").is_file()]
    return [file for file in files if described.get(file) != _hash(folder / file)]


def _present(path: Path) -> dict[str, Any]:
    try:
        package = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise SetError(
            f"{path} cannot be read ({error}).", hint="Remove it to have it written afresh."
        ) from error
    if not isinstance(package, dict):
        raise SetError(f"{path} is not a JSON object.", hint="Remove it to have it written afresh.")
    return package


def _package_name(folder: Path) -> str:
    """Turn a folder's name into what the standard allows: small letters, digits, . _ and -."""
    kept = [letter if letter.isascii() and letter.isalnum() else "-" for letter in
            folder.resolve().name.lower()]  # fmt: skip
    return "".join(kept).strip("-") or "reference-set"


def _licence(licence: str) -> dict[str, str]:
    known = LICENCES.get(licence)
    if known is None:
        raise SetError(
            f"'{licence}' is not an open licence known here.",
            hint=f"Use one of: {', '.join(LICENCES)}.",
        )
    return {"name": known.id, "path": known.url, "title": known.name}


def _hash(path: Path) -> str:
    return f"sha256:{sha256_of(path)}"


def _content(folder: Path, file: str, given: Mapping[str, bytes]) -> bytes:
    if file in given:
        return given[file]
    try:
        return (folder / file).read_bytes()
    except OSError as error:
        what = f"{folder / file} is missing or cannot be read ({error.strerror})."
        raise SetError(what, hint="A set needs types, photos and sources.") from error


def table_resource(table: str, content: bytes) -> dict[str, Any]:
    """Describe one of the tables types, photos and sources, given the bytes of its file."""
    return {
        "profile": "tabular-data-resource",
        "name": table,
        "path": f"{table}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "schema": _schema(table),
    }


def _schema(table: str) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "fields": [_field(table, column) for column in _TABLES[table]],
        "missingValues": [""],
        "primaryKey": ["id"],
    }
    if table == "photos":
        reference = {"resource": "types", "fields": ["id"]}
        schema["foreignKeys"] = [{"fields": ["type"], "reference": reference}]
    return schema


def _field(table: str, column: str) -> dict[str, Any]:
    limits: dict[str, Any] = {}
    if column == "id":
        limits = {"required": True, "unique": True, "pattern": _SLUG}
    elif column in _CHOICES.get(table, {}):
        limits = {"required": True, "enum": list(_CHOICES[table][column])}
    elif column in _PATTERNS.get(table, {}):
        limits = {"required": True, "pattern": _PATTERNS[table][column]}
    elif column in _REQUIRED[table]:
        limits = {"required": True}
    field: dict[str, Any] = {"name": column, "type": "date" if column in _DAYS else "string"}
    return field | ({"constraints": limits} if limits else {})
