"""Browsing as HTML: search and filters, the list, what looks alike, the overview picture."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from simsearch.browse.filters import Filtered, Wanted
from simsearch.browse.overview import NOTE
from simsearch.browse.similar import ALIKE_NOTE, Alike, photo_of
from simsearch.page import words
from simsearch.page.pieces import LARGE_SIDE, LIST_SIDE, THUMB_SIDE, fill, shot, varied
from simsearch.page.thumbs import thumbnail

if TYPE_CHECKING:
    from simsearch.browse.overview import Points
    from simsearch.leads.model import Evidence
    from simsearch.page.intake import HeldPhoto
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type

VIEWS = ("list", "overview")
_FACET_TITLES = {"period": "Period", "form": "Form", "material": "Material", "fixing": "Pin fixing"}
_FACET_HELP = {"period": "A type used in several periods counts in each."}
_SPREAD = 10_000
"""Places in the overview are sent as whole numbers from 0 to this."""


def render_views(view: str) -> str:
    """The two ways to look at a set: as a list and as a picture."""
    return fill("views.html", view=view if view in VIEWS else "list")


def render_filters(
    filtered: Filtered, wanted: Wanted, years: tuple[str, str] = ("", ""), problem: str = ""
) -> str:
    """The filters with a count beside each choice.

    ``years`` is what was typed for the dates; ``problem`` says what was wrong with it.
    """
    facets = [
        {
            "name": facet.name,
            "title": _FACET_TITLES[facet.name],
            "help": _FACET_HELP.get(facet.name, ""),
            "choices": facet.choices,
        }
        for facet in filtered.facets
    ]
    on = sum(len(chosen) for chosen in wanted.choices.values()) + any(
        text.strip() for text in years
    )
    return fill("filters.html", facets=facets, years=years, problem=problem, on=on)


def render_listing(reference: ReferenceSet, filtered: Filtered, wanted: Wanted) -> str:
    """The types that fit: by group, or with words the best first."""
    searched = bool(wanted.words.strip())
    groups: dict[str, list[dict[str, Any]]] = {}
    for kind in filtered.types:
        groups.setdefault("" if searched else kind.group, []).append(_entry(kind, reference))
    named = [{"name": name, "types": entries} for name, entries in groups.items()]
    notes = filtered.search.notes() if searched else []
    found = _found_words(reference, filtered, wanted)
    return fill("browse.html", groups=named, found=found, notes=notes)


def _found_words(reference: ReferenceSet, filtered: Filtered, wanted: Wanted) -> str:
    total, shown = len(reference.types), len(filtered.types)
    if not wanted.anything:
        return f"{words.count(total, 'type')} in this set."
    if not shown and not filtered.search.found:
        return "No type holds these words. Try fewer, or another name for it."
    if not shown:
        return "No type fits all of this. Take a filter away."
    return f"{shown} of {words.count(total, 'type')} {'fits' if shown == 1 else 'fit'}."


def _entry(kind: Type, reference: ReferenceSet) -> dict[str, Any]:
    photos = varied(reference.photos_of(kind.id))
    picture = thumbnail(reference.path_of(photos[0]), LIST_SIDE) if photos else None
    return {
        "id": kind.id,
        "name": kind.name,
        "dates": kind.dates.words(),
        "thumb": picture.data_uri if picture else "",
        "rendered": bool(photos) and photos[0].is_rendered,
        "credit": f"{photos[0].creator}, {photos[0].licence}" if photos else "",
    }


def render_similar(reference: ReferenceSet, photo_id: str, alike: Alike) -> str:
    """What looks like a photo of the set. Raises ``SetError`` for a photo that is not in it."""
    row = photo_of(reference, photo_id)
    kind = reference.types[row.type]
    return fill(
        "similar.html",
        shown=shot(row, reference.path_of(row), kind.name, LARGE_SIDE),
        own=None,
        type={"id": kind.id, "name": kind.name, "dates": kind.dates.words()},
        **_alike(reference, alike),
    )


def render_similar_to_find(reference: ReferenceSet, photo: HeldPhoto, alike: Alike) -> str:
    """What looks like a photo of the find in hand."""
    preview = photo.preview
    own = {
        "name": photo.name,
        "data_uri": preview.data_uri,
        "width": preview.width,
        "height": preview.height,
    }
    return fill("similar.html", shown=None, own=own, type=None, **_alike(reference, alike))


def render_similar_wait(reference: ReferenceSet) -> str:
    """What stands in place of the photos that look alike while they are being looked for."""
    return fill("wait.html", photos=words.count(len(reference.photos), "reference photo"))


def _alike(reference: ReferenceSet, alike: Alike) -> dict[str, Any]:
    groups = [
        {
            "id": group.type.id,
            "name": group.type.name,
            "dates": group.type.dates.words(),
            "photos": _shots(group.photos, group.type.name),
            "more": words.count(group.more, "more object") if group.more else "",
        }
        for group in alike.groups
    ]
    named = reference.types[alike.own[0].photo.type].name if alike.own else ""
    return {"groups": groups, "same_object": _shots(alike.own, named), "note": ALIKE_NOTE}


def _shots(found: Sequence[Evidence], name: str) -> list[dict[str, Any]]:
    return [shot(item.photo, item.path, name, THUMB_SIDE) for item in found]


def render_overview_wait(reference: ReferenceSet) -> str:
    """What stands in place of the picture while it is being laid out for the first time."""
    return fill("overview_wait.html", photos=words.count(len(reference.photos), "photo"))


def render_overview(reference: ReferenceSet, points: Points) -> str:
    """The overview: ``points`` is (n, 2) in the order of the index; drawn by ``map.js``."""
    by_id = {row.id: row for row in reference.photos}
    rows = [by_id[photo_id] for photo_id in reference.index.photo_ids]
    types = list(dict.fromkeys(row.type for row in rows))
    place = {type_id: number for number, type_id in enumerate(types)}
    marks = [int(row.is_rendered) for row in rows]
    data = {
        "types": [[type_id, reference.types[type_id].name] for type_id in types],
        "ids": [row.id for row in rows],
        "type": [place[row.type] for row in rows],
        "rendered": marks,
        "x": [round(float(x) * _SPREAD) for x, _ in points],
        "y": [round(float(y) * _SPREAD) for _, y in points],
    }
    rendered = sum(marks)
    return fill(
        "overview.html",
        data=json.dumps(data, separators=(",", ":")),
        photos=words.count(len(rows), "photo"),
        rendered="All of them" if rendered == len(rows) else f"{rendered} of them",
        any_rendered=rendered > 0,
        note=NOTE,
    )


def render_shown(filtered: Filtered, wanted: Wanted) -> str:
    """Which types the overview is to keep bright, for ``map.js``; all of them when unfiltered."""
    shown = " ".join(kind.id for kind in filtered.types)
    return fill("shown.html", everything=not wanted.anything, shown=shown)


def render_picked(reference: ReferenceSet, photo_id: str) -> str:
    """The photo picked in the overview. Raises ``SetError`` for one that is not in the set."""
    row = photo_of(reference, photo_id)
    kind = reference.types[row.type]
    return fill(
        "picked.html",
        shot=shot(row, reference.path_of(row), kind.name, THUMB_SIDE),
        type={"id": kind.id, "name": kind.name, "dates": kind.dates.words()},
        specimen=row.specimen,
    )
