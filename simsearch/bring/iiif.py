"""Reading IIIF Presentation documents, versions 3.0 and 2.1: manifests and collections.

Pure reading: no question is asked here. A manifest is one object, its canvases are views of it.
Rights are taken from ``rights`` (3) or ``license`` (2) alone, at the place nearest to the picture
that states any; the descriptive ``metadata`` is for people to read, and the specification says
that nothing should be inferred from it. Only who took a photo is looked for there, for credit.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from simsearch.bring import iiif_two
from simsearch.bring.iiif_parts import (
    PAINTED_BY_SEVERAL,
    Holder,
    Picture,
    holder_of,
    items,
    picture_offered,
    text_of,
)
from simsearch.bring.offered import LeftOut, Offered, RefusedError
from simsearch.bring.plain import web_address

MAX_CANVASES = 500  # of one manifest; an object with more is a book
MAX_LINKS = 20_000
_NO_IMAGE = "there is no still image on it"


@dataclass
class Document:
    """What one document holds: pictures, things left out, addresses of further documents."""

    offered: list[Offered] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    further: list[str] = field(default_factory=list)


def read_document(document: object, url: str, *, side: int) -> Document:
    """Read what was found at ``url``; pictures are asked for with sides up to ``side`` pixels.

    Raises ``RefusedError`` if it is neither a manifest nor a collection.
    """
    if not isinstance(document, dict) or _kind(document) == "":
        raise RefusedError(
            f"{url} is neither an IIIF manifest nor an IIIF collection.",
            hint="Look for the address of the manifest on the page of the object.",
        )
    found = Document()
    waiting: deque[Any] = deque([document])
    pages: list[str] = []
    while waiting:
        part = waiting.popleft()
        kind = _kind(part)
        if kind == "manifest" and (part is document or _is_embedded(part)):
            _read_manifest(part, url, side, found)
        elif kind == "collection" and (part is document or _is_embedded(part)):
            waiting.extend(_members(part))
            pages.extend(_pages(part))
        elif kind:
            _note_link(part, url, found)
        if len(found.further) + len(waiting) > MAX_LINKS:
            raise RefusedError(f"{url} lists more than {MAX_LINKS} documents.")
    found.further.extend(pages)  # after the members of this page, as a reader would go on
    return found


def _kind(part: object) -> str:
    if not isinstance(part, dict):
        return ""
    kind = part.get("type", part.get("@type"))
    kinds = {"Manifest": "manifest", "Collection": "collection"}
    kinds |= {f"sc:{name}": plain for name, plain in tuple(kinds.items())}
    return kinds.get(kind, "") if isinstance(kind, str) else ""


def _is_embedded(part: dict[str, Any]) -> bool:
    names = ("items", "sequences", "members", "manifests", "collections")
    return any(isinstance(part.get(name), list) and part[name] for name in names)


def _members(collection: dict[str, Any]) -> Iterator[Any]:
    kinds = {"manifests": "sc:Manifest", "collections": "sc:Collection"}
    for name in ("items", "members", "manifests", "collections"):
        for member in items(collection.get(name)):
            if isinstance(member, str):  # version 2 allows the bare address
                yield {"@id": member, "@type": kinds.get(name, "sc:Manifest")}
            elif isinstance(member, dict) and not _kind(member) and name in kinds:
                yield {**member, "@type": kinds[name]}
            else:
                yield member


def _pages(collection: dict[str, Any]) -> Iterator[str]:
    """The first or the next page of a long collection."""
    for name in ("first", "next"):
        page = collection.get(name)
        if isinstance(page, dict):
            page = page.get("@id", page.get("id"))
        if address := web_address(page):
            yield address


def _note_link(part: dict[str, Any], url: str, found: Document) -> None:
    target = part.get("id", part.get("@id"))
    if address := web_address(target):
        found.further.append(address)
    else:
        name = text_of(part.get("label")) or "a document without a name"
        found.left_out.append(LeftOut(name, url, "its address is not an http address"))


def _read_manifest(manifest: dict[str, Any], url: str, side: int, found: Document) -> None:
    is_two = "@type" in manifest and "type" not in manifest
    holder = holder_of(manifest, url)
    canvases = iiif_two.canvases(manifest) if is_two else items(manifest.get("items"))
    if not canvases:
        found.left_out.append(LeftOut(holder.title, holder.page_url, "it has no views"))
    for canvas in canvases[:MAX_CANVASES]:
        if isinstance(canvas, dict):
            pictures = iiif_two.pictures(canvas) if is_two else _pictures(canvas)
            _read_canvas(canvas, pictures, holder, side, found)
    if len(canvases) > MAX_CANVASES:
        reason = f"it has {len(canvases)} views; the first {MAX_CANVASES} are read"
        found.left_out.append(LeftOut(holder.title, holder.page_url, reason))


def _read_canvas(
    canvas: dict[str, Any], pictures: list[Picture], holder: Holder, side: int, found: Document
) -> None:
    label = text_of(canvas.get("label"))
    name = f"{holder.title}, {label}" if label else holder.title
    if len(pictures) != 1:
        reason = PAINTED_BY_SEVERAL if pictures else _NO_IMAGE
        found.left_out.append(LeftOut(name, holder.page_url, reason))
        return
    outcome = picture_offered(canvas, label, pictures[0], holder, side)
    if isinstance(outcome, Offered):
        found.offered.append(outcome)
    else:
        found.left_out.append(LeftOut(name, holder.page_url, outcome))


def _pictures(canvas: dict[str, Any]) -> list[Picture]:
    """What is painted on a canvas of version 3, up to two: more is told apart from one only."""
    found: list[Picture] = []
    for page in items(canvas.get("items")):
        for annotation in items(page.get("items")) if isinstance(page, dict) else []:
            if not isinstance(annotation, dict) or not _paints(annotation):
                continue
            body = annotation.get("body")
            for candidate in body[:1] if isinstance(body, list) else [body]:
                if picture := _picture(candidate, annotation):
                    found.append(picture)
            if len(found) > 1:
                return found
    return found


def _paints(annotation: dict[str, Any]) -> bool:
    motivation = annotation.get("motivation")
    return "painting" in (motivation if isinstance(motivation, list) else [motivation])


def _picture(body: object, annotation: dict[str, Any]) -> Picture | None:
    if isinstance(body, dict) and body.get("type") == "Choice":
        # The first of the alternatives is the one meant to be shown.
        body = next(iter(items(body.get("items"))), None)
    if not isinstance(body, dict):
        return None
    is_part = body.get("type") == "SpecificResource"
    if is_part:
        body = body.get("source")
    if isinstance(body, dict) and body.get("type") == "Image":
        return Picture(body, annotation, is_part)
    return None
