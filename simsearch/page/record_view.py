"""The finds register as HTML: the list, one find with its history, the form, the law beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from simsearch.leads.observed import MATERIALS, SURFACES
from simsearch.page import cautions
from simsearch.page.pieces import LARGE_SIDE, LIST_SIDE, fill
from simsearch.page.record_form import LABELS, Writing, first_view
from simsearch.page.thumbs import thumbnail
from simsearch.page.words import count
from simsearch.register.grid import KINDS, shown
from simsearch.register.records import (
    COMPLETENESS,
    CONFIDENCES,
    CONSENTS,
    FIXINGS,
    LISTS,
    MEASURES,
    STATUSES,
    VIEWS,
    FindRecord,
)

if TYPE_CHECKING:
    from pathlib import Path

    from simsearch.register.history import Change
    from simsearch.register.store import Register
    from simsearch.sets.reference_set import ReferenceSet

_MOST_LISTED = 100
_GROUPS = (
    ("What it may be", ("object_name", "period", "type_id", "leads_note")),
    ("Measured", (*MEASURES, "measured_how")),
    ("As it is", ("completeness", "condition", "material", "surface", "fixing", "description")),
    ("Looked at", ("checked", "unknowns", "verified_by", "verified_on")),
    ("Found", ("findspot", "method", "found_on", "nearby", "finder", "landowner_consent")),
)


def render_list(
    register: Register | None, reference: ReferenceSet, words: str = "", told: str = ""
) -> str:
    """The finds that hold every one of ``words``, newest change first, and their dates together."""
    found = register.search(words) if register else ()
    total = register.status().finds if register else 0
    return fill(
        "register_list.html",
        told=told,
        words=words,
        total=total,
        found=f"{len(found)} of {count(total, 'find')}." if words else count(total, "find") + ".",
        finds=[_entry(register, find, reference) for find in found[:_MOST_LISTED] if register],
        more=max(0, len(found) - _MOST_LISTED),
        folder=str(register.folder) if register else "",
        **_dates(register, reference),
    )


def _entry(register: Register, find: FindRecord, reference: ReferenceSet) -> dict[str, Any]:
    first = find.photos[0] if find.photos else None
    picture = thumbnail(register.photo_path(first), LIST_SIDE) if first else None
    return {
        "id": find.id,
        "title": find.title,
        "thumb": picture.data_uri if picture else "",
        "lead": _lead(find, reference),
        "place": shown(find.findspot),
        "status": find.status,
        "changed": find.changed_on[:10],
    }


def _lead(find: FindRecord, reference: ReferenceSet) -> str:
    if not find.type_id:
        return "no type lead"
    known = reference.types.get(find.type_id)
    sure = f" ({find.type_confidence})" if find.type_confidence else ""
    return f"{known.name if known else find.type_id}{sure}"


def _dates(register: Register | None, reference: ReferenceSet) -> dict[str, Any]:
    from simsearch.leads.aoristic import aoristic, aoristic_chart, date_words

    ranges = register.date_ranges(reference.types) if register else {}
    dated = aoristic((dates, 1.0) for dates in ranges.values())
    if dated is None:
        return {"chart": "", "date_words": "", "dated": ""}
    return {
        "chart": Markup(aoristic_chart(dated, title="Dates of all finds")),
        "date_words": date_words(dated),
        "dated": f"{count(len(ranges), 'find')} with a type lead of this set",
    }


def render_find(
    register: Register,
    find: FindRecord,
    reference: ReferenceSet,
    country: str | None,
    *,
    told: str = "",
    exact: bool = False,
    by: str = "",
    problem: str = "",
) -> str:
    """One find: its photos, what is recorded, the law and care it calls for, and its history."""
    return fill(
        "register_find.html",
        told=told,
        problem=problem,
        id=find.id,
        title=find.title,
        status=find.status,
        changed=find.changed_on.replace("T", " ").rstrip("Z"),
        exact=exact,
        has_findspot=find.findspot is not None,
        photos=[_photo(register.photo_path(photo), photo) for photo in find.photos],
        groups=_groups(find, reference, exact),
        history=[_change(change) for change in reversed(register.history(find.id))],
        by=by,
        **render_parts_of_law(find, reference, country),
    )


def render_parts_of_law(
    find: FindRecord, reference: ReferenceSet, country: str | None
) -> dict[str, Any]:
    """The country, the choice of one, and the cautions that a find calls for there."""
    from simsearch.law import COUNTRIES, NOT_ADVICE

    known = reference.types.get(find.type_id)
    called = cautions.for_find(
        find, country or "other", type_cautions=known.cautions if known else ()
    )
    return {
        "cautions": called,
        "country": country or "",
        "country_name": COUNTRIES.get(country or "", ""),
        "countries": list(COUNTRIES.items()),
        "not_advice": NOT_ADVICE,
    }


def _photo(path: Path, photo: Any) -> dict[str, Any]:
    picture = thumbnail(path, LARGE_SIDE)
    return {
        "data_uri": picture.data_uri if picture else "",
        "width": picture.width if picture else 0,
        "height": picture.height if picture else 0,
        "view": photo.view,
        "caption": photo.caption,
        "scale": f"{photo.mm_per_px:.3g} mm a pixel" if photo.mm_per_px else "",
    }


def _groups(find: FindRecord, reference: ReferenceSet, exact: bool) -> list[dict[str, Any]]:
    groups = []
    for heading, names in _GROUPS:
        rows = [
            {
                "label": LABELS[name],
                "lines": lines,
                "type_id": find.type_id if name == "type_id" else "",
            }
            for name in names
            if (lines := _lines(find, name, reference, exact))
        ]
        if rows:
            groups.append({"heading": heading, "rows": rows})
    return groups


def _lines(find: FindRecord, name: str, reference: ReferenceSet, exact: bool) -> list[str]:
    value = getattr(find, name)
    if name == "findspot":
        return [shown(value, exact=exact)]
    if name == "type_id":
        return [_lead(find, reference)]
    if name in LISTS:
        return list(value)
    if name in MEASURES:
        return [] if value is None else [f"{value:g} {'g' if name == 'weight_g' else 'mm'}"]
    return [value] if value else []


def _change(change: Change) -> dict[str, Any]:
    """One line of the history. Where a findspot changed it is said that it did, not where to."""
    lines = []
    for name, before, after in change.differences() if change.before else ():
        label = LABELS.get(name, name)
        if name in ("findspot", "photos"):
            lines.append(f"{label} changed")
        else:
            lines.append(f"{label}: {_plain(before)} → {_plain(after)}")
    return {
        "number": change.number,
        "what": {"new": "Recorded", "change": "Changed", "undo": "Undone"}.get(
            change.action, change.action.capitalize()
        ),
        "by": change.by,
        "at": change.at.replace("T", " ").rstrip("Z"),
        "lines": lines,
        "undoes": change.undoes,
    }


def _plain(value: Any) -> str:
    text = "; ".join(map(str, value)) if isinstance(value, list) else str(value or "nothing")
    return text if len(text) <= 120 else f"{text[:118]} …"


def render_form(
    writing: Writing,
    reference: ReferenceSet,
    values: Mapping[str, str],
    problems: Mapping[str, str] | None = None,
    *,
    law: Mapping[str, Any] | None = None,
    failed: str = "",
) -> str:
    """The form, with what was typed and what is wrong beside each field."""
    photos = [
        {
            "data_uri": photo.preview.data_uri,
            "width": photo.preview.width,
            "height": photo.preview.height,
            "name": photo.name,
            "view": values.get(f"view-{number}") or first_view(number),
            "caption": values.get(f"caption-{number}", ""),
            "keep": bool(values.get(f"keep-{number}")) if values is not writing.values else True,
        }
        for number, photo in enumerate(writing.photos)
    ]
    return fill(
        "register_form.html",
        id=writing.find_id,
        values=values,
        problems=dict(problems or {}),
        failed=failed,
        photos=photos,
        kept_photos=len(writing.before.photos) if writing.before else 0,
        checks=writing.checks,
        types=_type_choices(reference, values.get("type_id", "")),
        place=shown(writing.before.findspot) if writing.before and writing.before.findspot else "",
        choices={
            "confidence": CONFIDENCES,
            "consent": CONSENTS,
            "completeness": COMPLETENESS,
            "fixing": FIXINGS,
            "status": STATUSES,
            "views": VIEWS,
            "kinds": KINDS,
            "material": MATERIALS,
            "surface": SURFACES,
        },
        labels=LABELS,
        law=law,
    )


def _type_choices(reference: ReferenceSet, chosen: str) -> Sequence[tuple[str, str]]:
    named = sorted(((kind.id, kind.name) for kind in reference.types.values()), key=lambda p: p[1])
    known = not chosen or chosen in reference.types
    return named if known else [(chosen, f"{chosen} (not in the set that is open)"), *named]
