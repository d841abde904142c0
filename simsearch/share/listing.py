"""Reading the ``datapackage.json`` of a package that came from anyone.

Only what is needed to unpack is taken from it: which files there are, with sizes and SHA-256,
the words about the set, and its licences. Columns and allowed values are those of this program,
whatever a package says of its own. Versions 1 and 2 of the Frictionless Data Package standard
are read; a hash must be SHA-256, because the others that the standard allows can be forged.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from simsearch.sets.licences import LICENCES
from simsearch.sets.reference_set import PACKAGE_FILE
from simsearch.share.description import CELLS_GUARDED, CELLS_KEY, OWN_KEY
from simsearch.share.problems import shown
from simsearch.share.tables import COLUMNS, CREDITS_FILE, NEEDED

PHOTO_FOLDER = "photos/"
_HASH = re.compile(r"sha256:[0-9a-f]{64}")
_NAME = re.compile(r"[a-z0-9][-a-z0-9._]{0,99}")
_TITLE, _DESCRIPTION = 200, 5000  # letters
_BY_URL = {licence.url: licence.id for licence in LICENCES.values()}


@dataclass(frozen=True)
class Listed:
    """What a package says about one of its files."""

    size: int
    sha256: str
    licences: tuple[str, ...] = ()


@dataclass
class Listing:
    """What a package says about itself."""

    about: dict[str, Any] = field(default_factory=dict)
    cells_guarded: bool = False
    files: dict[str, Listed] = field(default_factory=dict)

    @property
    def photos(self) -> list[str]:
        """The files that are photos, in the order listed."""
        return [file for file in self.files if file.startswith(PHOTO_FOLDER)]

    @property
    def tables(self) -> list[str]:
        """The files that are tables."""
        return [file for file in self.files if file in COLUMNS]


def read_listing(content: bytes, present: Collection[str], reasons: list[str]) -> Listing:
    """Read a ``datapackage.json`` and compare it with the files ``present`` in the zip.

    Everything wrong is added to ``reasons``.
    """
    listing = Listing()
    package = _parsed(content, reasons)
    if package is None:
        return listing
    listing.about = _about(package, reasons)
    own = package.get(OWN_KEY)
    listing.cells_guarded = isinstance(own, dict) and own.get(CELLS_KEY) == CELLS_GUARDED
    resources = package.get("resources")
    if not isinstance(resources, list):
        reasons.append(f"{PACKAGE_FILE}: it lists no resources")
        return listing
    for number, resource in enumerate(resources, start=1):
        _add_resource(listing, f"{PACKAGE_FILE}, resource {number}", resource, reasons)
    listed = set(listing.files)
    for file in NEEDED:
        if file not in listed:
            reasons.append(f"{PACKAGE_FILE}: it does not list {file}, which every set has")
    for file in sorted(listed - set(present)):
        reasons.append(f"{shown(file)}: {PACKAGE_FILE} lists it, but it is missing")
    for file in sorted(set(present) - listed - {PACKAGE_FILE}):
        kind = "a zip inside the zip" if file.lower().endswith(".zip") else "in the zip"
        reasons.append(f"{shown(file)}: it is {kind}, but {PACKAGE_FILE} does not list it")
    return listing


def _parsed(content: bytes, reasons: list[str]) -> dict[str, Any] | None:
    try:
        package = json.loads(content.decode("utf-8"), object_pairs_hook=_without_repeats)
    except (ValueError, RecursionError) as error:
        reasons.append(f"{PACKAGE_FILE}: it cannot be read ({shown(str(error))})")
        return None
    if not isinstance(package, dict):
        reasons.append(f"{PACKAGE_FILE}: it is not a JSON object")
        return None
    return package


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key is given twice, so it can be read in two ways")
    return found


def _about(package: Mapping[str, Any], reasons: list[str]) -> dict[str, Any]:
    """Return the words about the set that are kept: name, title, description, licences."""
    about: dict[str, Any] = {}
    for key, longest in (("name", 100), ("title", _TITLE), ("description", _DESCRIPTION)):
        value = package.get(key)
        if value is None:
            continue
        if not isinstance(value, str) or len(value) > longest or not _is_text(value):
            reasons.append(
                f"{PACKAGE_FILE}: its {key} is not plain text of up to {longest} letters"
            )
        elif key == "name" and not _NAME.fullmatch(value):
            reasons.append(f"{PACKAGE_FILE}: its name must be small letters, digits, . _ and -")
        else:
            about[key] = value
    if "licenses" in package:
        ids = list(_licence_ids(package["licenses"], PACKAGE_FILE, reasons))
        about["licenses"] = [
            {"name": id_, "path": LICENCES[id_].url, "title": LICENCES[id_].name} for id_ in ids
        ]
    return about


def _is_text(value: str) -> bool:
    return all(letter.isprintable() or letter in "\n\t" for letter in value)


def _licence_ids(given: Any, where: str, reasons: list[str]) -> Iterator[str]:
    for licence in given if isinstance(given, list) else [given]:
        name = licence.get("name") if isinstance(licence, dict) else licence
        url = licence.get("path") if isinstance(licence, dict) else None
        known = name if isinstance(name, str) else _BY_URL.get(url) if isinstance(url, str) else ""
        if known in LICENCES:
            yield str(known)
        else:
            said = shown(str(name or url))
            reasons.append(f"{where}: '{said}' is not an open licence known here")


def _add_resource(listing: Listing, where: str, resource: Any, reasons: list[str]) -> None:
    if not isinstance(resource, dict):
        reasons.append(f"{where}: it is not a JSON object")
        return
    path = resource.get("path")
    if not isinstance(path, str):
        reasons.append(f"{where}: it has no path to one file in the package")
        return
    where = f"{where} ({shown(path)})"
    if "://" in path:
        reasons.append(f"{where}: it is on the network, not in the package")
    elif path not in COLUMNS and path != CREDITS_FILE and not path.startswith(PHOTO_FOLDER):
        reasons.append(f"{where}: it is no part of a set")
    elif path in listing.files:
        reasons.append(f"{where}: it is listed twice")
    else:
        listing.files[path] = _listed(where, resource, reasons)


def _listed(where: str, resource: Mapping[str, Any], reasons: list[str]) -> Listed:
    size, digest = resource.get("bytes"), resource.get("hash")
    if not isinstance(size, int) or isinstance(size, bool) or size < 0:
        reasons.append(f"{where}: it does not say its bytes")
        size = -1
    if not isinstance(digest, str) or not _HASH.fullmatch(digest):
        reasons.append(f"{where}: it has no hash that begins with sha256:")
        digest = ""
    licences = tuple(_licence_ids(resource.get("licenses", []), where, reasons))
    return Listed(size, digest.removeprefix("sha256:"), licences)
