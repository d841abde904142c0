"""A set as IIIF Presentation 3.0 documents, for any viewer of that standard.

A Collection of the set holds one Manifest per type that has photos; a Manifest holds one Canvas
per photo, in the order front, back, side, detail of one object after another. That is how people
compare: the photos of a type beside one another. The standard:
https://iiif.io/api/presentation/3.0/. Which photos leave, and that they leave without metadata,
is decided as for a package (``simsearch.share.leaving``).

``rights`` may only hold Creative Commons and RightsStatements.org URIs, and the former are
spelled with ``http:`` (section 3.2 of the standard); any other licence is named in words.
"""

from __future__ import annotations

import html
import json
import os
import secrets
import shutil
from collections.abc import Callable, Sequence
from dataclasses import asdict
from io import BytesIO
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

from simsearch.errors import PhotoError
from simsearch.files import sync_folder
from simsearch.sets.licences import LICENCES
from simsearch.sets.photos import VIEWS, PhotoRow
from simsearch.sets.reference_set import ReferenceSet
from simsearch.sets.types import Type
from simsearch.share.credits import credit_line
from simsearch.share.leaving import require_nothing_told, what_leaves
from simsearch.share.names import photo_name
from simsearch.share.photos import photo_to_share
from simsearch.share.plain import ending_of
from simsearch.share.problems import ShareError, shown

CONTEXT = "http://iiif.io/api/presentation/3/context.json"
COLLECTION_FILE = "collection.json"
_MEDIA = {".jpg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
_CC_HOST = "creativecommons.org"
_ADVICE = "Leads to verify, not identifications."

Document = dict[str, Any]
PhotoBytes = Callable[[PhotoRow], bytes]


def iiif_manifest(
    reference: ReferenceSet,
    base_url: str,
    *,
    type_id: str | None = None,
    with_not_asked: bool = False,
) -> Document:
    """Return the Collection of a set, or with ``type_id`` the Manifest of one type.

    ``base_url`` is where the files that ``export_iiif`` writes will be found on the web.
    Raises ``ShareError`` when it is no web address, no such type has photos that may leave, or
    a photo cannot be read.
    """
    base = _base(base_url)
    photos = _leaving(reference, with_not_asked)
    if type_id is None:
        return _collection(reference, base, photos)
    of_type = [photo for photo in photos if photo.type == type_id]
    if not of_type:
        raise ShareError(f"There is no photo of a type '{shown(type_id)}' that may leave.", [])
    return _manifest(reference, base, type_id, of_type, _reader(reference))


def export_iiif(
    reference: ReferenceSet,
    folder: Path | str,
    base_url: str,
    *,
    with_not_asked: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Path:
    """Write the Collection, its Manifests and the photos to a new folder; return its path.

    The folder can be put on any web server at ``base_url``; it appears in one step.
    Raises ``ShareError`` as ``iiif_manifest`` does, and when the folder exists already.
    """
    target, base = Path(folder), _base(base_url)
    if target.exists() or target.is_symlink():
        raise ShareError(f"There is something at {target} already.", [], hint="Name a new folder.")
    photos = _leaving(reference, with_not_asked)
    if not photos:
        raise ShareError("No photo of this set may leave it.", [])
    staging = target.with_name(f".{target.name}.{secrets.token_hex(6)}.part")
    try:
        (staging / "photos").mkdir(parents=True)
        (staging / "types").mkdir()
        _write_all(reference, staging, base, photos, progress)
        os.rename(staging, target)
        sync_folder(target.resolve().parent)
    except OSError as error:
        what = f"{target} could not be written ({error.strerror or error})."
        raise ShareError(what, [], hint="Check the disk and its permissions.") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    return target


def _leaving(reference: ReferenceSet, with_not_asked: bool) -> tuple[PhotoRow, ...]:
    photos = what_leaves(reference, with_not_asked=with_not_asked).photos
    require_nothing_told(reference, [asdict(photo) for photo in photos])
    return photos


def _write_all(
    reference: ReferenceSet,
    folder: Path,
    base: str,
    photos: Sequence[PhotoRow],
    progress: Callable[[int, int], None] | None,
) -> None:
    read = _reader(reference)
    done = 0

    def written(photo: PhotoRow) -> bytes:
        nonlocal done
        data = read(photo)
        (folder / photo_name(photo.id, ending_of(data))).write_bytes(data)
        done += 1
        if progress is not None:
            progress(done, len(photos))
        return data

    for type_id in _types_with(photos, reference):
        of_type = [photo for photo in photos if photo.type == type_id]
        document = _manifest(reference, base, type_id, of_type, written)
        _write_json(folder / _manifest_file(type_id), document)
    _write_json(folder / COLLECTION_FILE, _collection(reference, base, photos))


def _write_json(path: Path, document: Document) -> None:
    path.write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _base(url: str) -> str:
    try:
        parts = urlsplit(url)
        good = parts.scheme in ("http", "https") and bool(parts.hostname)
    except ValueError:
        good = False
    if not good or parts.query or parts.fragment or any(letter.isspace() for letter in url):
        raise ShareError(
            f"'{shown(url)}' is not the address of a folder on the web.",
            [],
            hint="Give where the files will be, as in https://club.example/finds.",
        )
    return url.rstrip("/")


def _reader(reference: ReferenceSet) -> PhotoBytes:
    def read(photo: PhotoRow) -> bytes:
        try:
            return photo_to_share(reference, photo)[0]
        except PhotoError as error:
            raise ShareError(f"photos.csv, photo {photo.id}: {error.message}", []) from error

    return read


def _types_with(photos: Sequence[PhotoRow], reference: ReferenceSet) -> list[str]:
    shown_types = {photo.type for photo in photos}
    return [type_id for type_id in reference.types if type_id in shown_types]


def _manifest_file(type_id: str) -> str:
    return photo_name(type_id, ".json").replace("photos/", "types/", 1)


def _collection(reference: ReferenceSet, base: str, photos: Sequence[PhotoRow]) -> Document:
    items = [
        {
            "id": f"{base}/{_manifest_file(type_id)}",
            "type": "Manifest",
            "label": _words(reference.types[type_id].name),
        }
        for type_id in _types_with(photos, reference)
    ]
    return {
        "@context": CONTEXT,
        "id": f"{base}/{COLLECTION_FILE}",
        "type": "Collection",
        "label": _words(reference.title),
        "summary": _words(_ADVICE),
        "requiredStatement": _credit(photos),
        "items": items,
    }


def _manifest(
    reference: ReferenceSet,
    base: str,
    type_id: str,
    photos: Sequence[PhotoRow],
    read: PhotoBytes,
) -> Document:
    kind = reference.types[type_id]
    manifest = f"{base}/{_manifest_file(type_id)}"
    ordered = sorted(photos, key=lambda row: (row.specimen, VIEWS.index(row.view), row.id))
    document: Document = {
        "@context": CONTEXT,
        "id": manifest,
        "type": "Manifest",
        "label": _words(kind.name),
        "summary": _words(f"{kind.features.get('front', '')} {_ADVICE}".strip()),
        "metadata": _type_metadata(kind),
        "requiredStatement": _credit(photos),
        "behavior": ["individuals"],
        "items": [_canvas(manifest, base, photo, read(photo)) for photo in ordered],
    }
    shared = {photo.licence for photo in photos}
    return document | (_rights(shared.pop()) if len(shared) == 1 else {})


def _canvas(manifest: str, base: str, photo: PhotoRow, data: bytes) -> Document:
    ending = ending_of(data)
    width, height = _size(data)
    canvas = f"{manifest.removesuffix('.json')}/canvas/{photo.id}"
    rendered = ", rendered" if photo.is_rendered else ""
    body = {
        "id": f"{base}/{quote(photo_name(photo.id, ending))}",
        "type": "Image",
        "format": _MEDIA[ending],
        "width": width,
        "height": height,
    }
    annotation = {
        "id": f"{canvas}/page/image",
        "type": "Annotation",
        "motivation": "painting",
        "body": body,
        "target": canvas,
    }
    return {
        "id": canvas,
        "type": "Canvas",
        "label": _words(f"{photo.specimen}, {photo.view}{rendered}"),
        "width": width,
        "height": height,
        "metadata": _photo_metadata(photo),
        "requiredStatement": _credit([photo]),
        **_rights(photo.licence),
        "items": [{"id": f"{canvas}/page", "type": "AnnotationPage", "items": [annotation]}],
    }


def _size(data: bytes) -> tuple[int, int]:
    """Return (width, height) in pixels from a photo's header; the photo is known to be plain."""
    from PIL import Image

    with Image.open(BytesIO(data), formats=("JPEG", "PNG", "WEBP")) as image:
        return image.size


def _type_metadata(kind: Type) -> list[Document]:
    lengths = kind.length_mm
    pairs = [
        ("Dates", kind.dates.words()),
        ("Dates (EDTF)", kind.dates.edtf),
        ("On the dates", kind.date_note),
        ("Period", kind.period),
        ("Group", kind.group),
        ("Other names", "; ".join(kind.other_names)),
        ("Material", kind.material),
        ("Length", f"{lengths[0]:g}-{lengths[1]:g} mm" if lengths else ""),
        ("Typology", "; ".join(kind.typology)),
    ]
    return [_pair(label, value) for label, value in pairs if value]


def _photo_metadata(photo: PhotoRow) -> list[Document]:
    kind = "rendered, not a photograph of a find" if photo.is_rendered else "photograph"
    labelled = f"{photo.labelled_by} ({photo.label_basis}) {photo.labelled_on}".strip()
    pairs = [
        ("Kind of picture", kind),
        ("Object", photo.specimen),
        ("View", photo.view),
        ("State", f"{photo.completeness}, {photo.condition}"),
        ("Creator", photo.creator),
        ("Licence", LICENCES[photo.licence].name),
        ("Source", photo.source),
        ("Labelled by", labelled),
    ]
    return [_pair(label, value) for label, value in pairs]


def _rights(licence: str) -> Document:
    parts = urlsplit(LICENCES[licence].url)
    return {"rights": f"http://{_CC_HOST}{parts.path}"} if parts.hostname == _CC_HOST else {}


def _credit(photos: Sequence[PhotoRow]) -> Document:
    lines = sorted({credit_line(photo) for photo in photos})
    return {"label": _words("Credit"), "value": {"en": [_plain(line) for line in lines]}}


def _pair(label: str, value: str) -> Document:
    return {"label": _words(label), "value": _words(value)}


def _words(text: str) -> Document:
    return {"en": [_plain(text)]}


def _plain(text: str) -> str:
    """Return a value that no viewer takes for markup.

    The standard lets viewers read a value as HTML when it begins with ``<`` and ends with
    ``>``; such a text is escaped and put into the one element that changes nothing.
    """
    stripped = text.strip()
    if stripped.startswith("<") and stripped.endswith(">"):
        return f"<span>{html.escape(stripped)}</span>"
    return text
