"""Sheets to look into. Everything on them is invented, the Harrow Fen Finds Club too."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pypdfium2
import pypdfium2.raw as raw
from PIL import Image
from pypdf import PdfReader

from simsearch.leads.model import Evidence, Lead, Leads, Placing
from simsearch.register.records import FindRecord, RegisterPhoto
from simsearch.sets.reference_set import ReferenceSet, open_set
from tests import tiny_set
from tests.register.invented import find_fields

DAY = date(2026, 5, 1)
BOX = (((0.2, 0.2), (0.8, 0.2), (0.8, 0.6), (0.2, 0.6)),)
Bounds = tuple[float, float, float, float]


def reference_in(folder: Path) -> ReferenceSet:
    """A set of three types with four rendered pictures each, and no index."""
    return open_set(tiny_set.make_set(folder / "set"))


def photo(width: int = 200, height: int = 150, colour: int = 120) -> bytes:
    """A plain grey photo as a file, with words in its metadata that must never be seen."""
    exif = Image.Exif()
    exif[0x010E] = "SECRET TG 51409 13177"  # ImageDescription
    with io.BytesIO() as buffer:
        Image.new("RGB", (width, height), (colour,) * 3).save(
            buffer, format="JPEG", exif=exif, comment=b"SECRET comment"
        )
        return buffer.getvalue()


def register_photo(view: str = "front", **changes: Any) -> RegisterPhoto:
    """A photo of a record, without a file."""
    return replace(RegisterPhoto("photos/x-1.jpg", view, "0" * 64, "as found", 0.05), **changes)


def record(**changes: Any) -> FindRecord:
    """A plausible invented find."""
    return FindRecord(**({"id": "find-0001", "weight_g": 7.4} | find_fields() | changes))


def leads_of(reference: ReferenceSet, odds: float | None = 0.68) -> Leads:
    """Two leads for a find, the first with a clear placing."""
    made = []
    for rank, type_id in enumerate(("knee", "dolphin"), 1):
        row = reference.photos_of(type_id)[0]
        path = reference.path_of(row)
        placing = Placing(row, path, 0, 0.4, 0.5, 10.0, True, BOX, ())
        made.append(
            Lead(
                rank, reference.types[type_id], 0.9, odds, "strong lead",
                (Evidence(row, 0.9, path),), placing if rank == 1 else None,
            )
        )  # fmt: skip
    return Leads(tuple(made), True, 0.9, "Simulated odds.", "tiny", "grid", 1)


def words_of(pdf: bytes) -> str:
    """All text of a sheet, line ends as spaces."""
    return " ".join(
        " ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages
    )


def everything_in(pdf: bytes) -> str:
    """Text, metadata and every stream of a sheet unpacked, without any white space."""
    reader = PdfReader(io.BytesIO(pdf))
    parts = [words_of(pdf), str(reader.metadata), str(reader.xmp_metadata), str(reader.outline)]
    for number in range(1, reader.trailer["/Size"]):
        thing = reader.get_object(number)
        parts.append(str(thing))
        if hasattr(thing, "get_data"):
            parts.append(thing.get_data().decode("latin-1"))
    return "".join("".join(parts).split()).casefold()


def bounds(pdf: bytes) -> Iterator[tuple[int, int, Bounds]]:
    """Page, kind and left, bottom, right, top of everything drawn, as another library reads it."""
    document = pypdfium2.PdfDocument(pdf)
    for number, page in enumerate(document):
        for thing in page.get_objects():
            yield number, thing.type, thing.get_bounds()


TEXT, PATH, IMAGE = (
    raw.FPDF_PAGEOBJ_TEXT,
    raw.FPDF_PAGEOBJ_PATH,
    raw.FPDF_PAGEOBJ_IMAGE,
)


@cache
def awkward() -> FindRecord:
    """A find with everything too long, and letters of many scripts."""
    letters = "Ŵyn ŷ āb Łódź ḃ Кіт 山田 אבג عربي 😀 e\u0301 \u202e <b>&</para> "
    return record(
        title="A very long title " * 40,
        object_name="x" * 3000,
        condition="line\n" * 90,
        surface="y" * 300,
        measured_how="how " * 700,
        finder=letters,
        description=f"{letters * 60}\n\n" * 3,
        checked=tuple(letters * (n + 1) for n in range(12)),
        unknowns=("Unknown " * 400,),
        leads_note="note " * 900,
        photos=tuple(
            register_photo(view, caption="caption " * 20 * n, mm_per_px=(0.05, None)[n % 2])
            for n, view in enumerate(("front", "back", "side", "detail") * 2)
        ),
    )


def awkward_photos() -> list[bytes]:
    """Portrait, landscape, slivers, tiny, and one that is no photo."""
    sizes = [(200, 150), (40, 600), (600, 40), (150, 200), (8, 8), (300, 300), (90, 60)]
    return [*(photo(*size) for size in sizes), b"no photo"]
