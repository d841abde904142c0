"""The sheets that the page gives out as PDF: of a find, a type, look-alikes side by side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simsearch.errors import SimsearchError
from simsearch.page import cautions

if TYPE_CHECKING:
    from simsearch.leads.model import Leads
    from simsearch.register.records import FindRecord
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sheets.words import Note

_MOST_BESIDE = 3


def make_paper(wanted: Any, reference: ReferenceSet, folder: Path) -> tuple[str, bytes]:
    """Make the sheet that the browser asked for: its file name and the PDF.

    ``wanted`` is a mapping with ``kind`` ("find", "type", "look-alikes"), ``id`` and, for a find,
    ``exact``. Raises ``SimsearchError`` for anything that cannot be made.
    """
    asked: Mapping[str, Any] = wanted if isinstance(wanted, dict) else {}
    kind, name = str(asked.get("kind")), str(asked.get("id") or "")[:80]
    if kind == "find":
        return f"{name}.pdf", _find(name, reference, folder, exact=asked.get("exact") == "yes")
    known = reference.types.get(name)
    if known is None or kind not in ("type", "look-alikes"):
        raise SimsearchError("There is no such sheet.", hint="Open the find or the type again.")
    if kind == "type":
        from simsearch.sheets.type_sheet import type_sheet

        return f"{name}.pdf", type_sheet(reference, name, cautions=_notes(known.cautions))
    from simsearch.sheets.look_alikes import look_alike_sheet

    beside = [other.type_id for other in known.look_alikes if other.type_id in reference.types]
    ids = [name, *beside][:_MOST_BESIDE]
    keys = {key for type_id in ids for key in reference.types[type_id].cautions}
    return f"{name}-look-alikes.pdf", look_alike_sheet(reference, ids, cautions=_notes(keys))


def _find(find_id: str, reference: ReferenceSet, folder: Path, *, exact: bool) -> bytes:
    from simsearch.page.record import chosen_or_none
    from simsearch.register.store import open_register
    from simsearch.sheets.find import find_sheet
    from simsearch.sheets.words import Note

    with open_register(folder, create=False) as register:
        record = register.get(find_id)
        paths = [register.photo_path(photo) for photo in record.photos]
    known = reference.types.get(record.type_id)
    called = cautions.for_find(
        record, chosen_or_none() or "other", type_cautions=known.cautions if known else ()
    )
    return find_sheet(
        record,
        paths,
        _leads(record, paths, reference),
        types=reference.types,
        cautions=[Note(item.title, item.text, item.urgent) for item in called],
        exact_findspot=exact,
    )


def _leads(record: FindRecord, paths: list[Path], reference: ReferenceSet) -> Leads | None:
    """The leads for the photos as kept; none where they, or the set, cannot be looked at."""
    from simsearch.register.observing import observed_of

    if not paths:
        return None
    try:
        return reference.look([str(path) for path in paths], observed=observed_of(record))
    except SimsearchError:
        return None


def _notes(keys: Iterable[str]) -> list[Note]:
    from simsearch.sheets.words import Note

    return [Note(item.title, item.text, item.urgent) for item in cautions.for_keys(keys)]
