"""Leads, types and the list of types as HTML.

Templates escape everything that is put into them; the only text passed through as it is are
the data URIs made here and the date chart, which does its own escaping.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from simsearch.leads.chart import date_chart, leads_chart
from simsearch.page import cautions, words
from simsearch.page.placing import placing_of
from simsearch.page.thumbs import thumbnail
from simsearch.sets.licences import LICENCES

if TYPE_CHECKING:
    from simsearch.leads.model import Lead, Leads
    from simsearch.page.intake import Tray
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type

_THUMB_SIDE = 220
_LARGE_SIDE = 420
_LIST_SIDE = 96
_PHOTOS_PER_LEAD = 3
_PHOTOS_PER_TYPE = 12
_OPEN_LEADS = 3
"""What to check stands open for the first few leads; for the rest it is one key press away."""


@lru_cache(maxsize=1)
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("simsearch.page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _fill(template: str, **values: Any) -> str:
    return _environment().get_template(template).render(**values)


def render_head(reference: ReferenceSet) -> str:
    """The page's one top heading, and what it does in a sentence."""
    photos = words.count(len(reference.photos), "reference photo")
    return _fill("head.html", photos=photos, set_name=reference.title)


def render_door(problem: str) -> str:
    """The whole page that asks for the password, with what was wrong with the last try."""
    return _fill("door.html", problem=problem, enter="/enter")


def render_intake(limit_bytes: int) -> str:
    """The part of the page where photos are chosen, taken or dropped."""
    limit_words = f"{limit_bytes // (1024 * 1024)} MB"
    return _fill("intake.html", limit_bytes=limit_bytes, limit_words=limit_words)


def render_tray(tray: Tray) -> str:
    """The photos held for this find, and what went wrong with the last upload."""
    photos = [_find_photo(photo.name, photo.preview) for photo in tray.photos]
    held = words.count(len(photos), "photo")
    kept = f"Nothing was lost: {held} of this find still here." if photos else "Nothing was lost."
    return _fill("tray.html", photos=photos, problems=tray.problems, kept=kept)


def render_problem(what: str, hint: str) -> str:
    """An error in the place where the result would have stood."""
    return _fill("problem.html", what=what, hint=hint)


def render_wait(reference: ReferenceSet) -> str:
    """What stands in place of the leads while they are being looked for."""
    return _fill("wait.html", photos=words.count(len(reference.photos), "reference photo"))


def render_busy() -> str:
    """What stands in place of the leads when too many finds are waiting already."""
    return render_problem(
        "Your find could not be looked at: too many are waiting.", "Try again in a minute."
    )


def render_leads(leads: Leads, tray: Tray, reference: ReferenceSet) -> str:
    """The photos of the find and the leads for it, side by side."""
    shown = [_lead(lead, reference, tray, leads.anything_close) for lead in leads.leads]
    urgent = cautions.urgent_for(leads)
    title = words.count(len(shown), "lead") if leads.anything_close else "Nothing here looks close"
    return _fill(
        "leads.html",
        title=title,
        close=leads.anything_close,
        leads=shown,
        find=[_find_photo(photo.name, photo.preview) for photo in tray.photos],
        urgent=urgent,
        always=cautions.ALWAYS,
        ask_officer=cautions.ASK_OFFICER,
        chart=Markup(leads_chart(leads.leads)),
        photo_count=words.count(len(reference.photos), "reference photo"),
        set_name=leads.set_name,
        encoder_name=leads.encoder_name,
        odds_note=leads.odds_note,
        shortlist=words.shortlist_words(leads, reference.types),
    )


def render_type(kind: Type, reference: ReferenceSet) -> str:
    """The full page of one type."""
    photos = reference.photos_of(kind.id)
    left = len(photos) - _PHOTOS_PER_TYPE
    return _fill(
        "type.html",
        type=_type(kind, reference),
        chart=Markup(date_chart([(kind.name, kind.dates)], title="Date range")),
        photos=[
            _shot(photo, reference.path_of(photo), kind.name, _LARGE_SIDE)
            for photo in _varied(photos)[:_PHOTOS_PER_TYPE]
        ],
        photos_left=words.count(left, "more photo") if left > 0 else "",
    )


def render_type_or_close(type_id: str, reference: ReferenceSet) -> str:
    """The page of a type; for an id that is not in the set, the ids most like it."""
    if type_id in reference.types:
        return render_type(reference.types[type_id], reference)
    close = [reference.types[other] for other in words.close_ids(type_id, reference.types)]
    return _fill("no_type.html", type_id=type_id[:80], close=close)


def render_browse(reference: ReferenceSet, wanted: str = "") -> str:
    """The list of types by group, those that hold every one of the ``wanted`` words."""
    types = words.find_types(reference.types.values(), wanted)
    groups: dict[str, list[dict[str, Any]]] = {}
    for kind in types:
        groups.setdefault(kind.group, []).append(_list_entry(kind, reference))
    total = len(reference.types)
    found = (
        f"{words.count(total, 'type')} in this set."
        if len(types) == total
        else (
            f"{len(types)} of {words.count(total, 'type')} hold these words."
            if types
            else "No type holds all these words. Try fewer, or another name for it."
        )
    )
    named = [{"name": name, "types": entries} for name, entries in groups.items()]
    return _fill("browse.html", groups=named, found=found)


def render_care() -> str:
    """Care of finds and what the law asks, with sources."""
    return _fill(
        "care.html",
        always=cautions.ALWAYS,
        ammunition=cautions.AMMUNITION,
        care=cautions.CARE,
        law=cautions.LAW,
        ask_officer=cautions.ASK_OFFICER,
        check_current=cautions.CHECK_CURRENT,
    )


def _find_photo(name: str, preview: Any) -> dict[str, Any]:
    return {
        "name": name,
        "data_uri": preview.data_uri,
        "width": preview.width,
        "height": preview.height,
    }


def _lead(lead: Lead, reference: ReferenceSet, tray: Tray, close: bool) -> dict[str, Any]:
    opened = lead.rank <= _OPEN_LEADS
    return {
        "rank": lead.rank,
        "id": lead.type.id,
        "name": lead.type.name,
        "other_names": ", ".join(lead.type.other_names),
        "dates": lead.type.dates.words(),
        "period": lead.type.period,
        "band": lead.band,
        "strength": lead.band.split()[0],
        "odds": words.odds_words(lead.odds),
        "cautions": cautions.for_keys(lead.type.cautions),
        "photos": [
            _shot(evidence.photo, evidence.path, lead.type.name, _THUMB_SIDE)
            for evidence in lead.evidence[:_PHOTOS_PER_LEAD]
        ],
        "checks": lead.type.checks,
        "look_alikes": _look_alikes(lead.type, reference),
        "open": opened,
        # Where nothing is close, a drawing would lend a lead a weight that it has not got.
        "placing": placing_of(lead, tray) if opened and close else None,
    }


def _look_alikes(kind: Type, reference: ReferenceSet) -> list[dict[str, str]]:
    return [
        {
            "type_id": other.type_id,
            "name": reference.types[other.type_id].name,
            "separates": other.separates,
        }
        for other in kind.look_alikes
        if other.type_id in reference.types
    ]


def _type(kind: Type, reference: ReferenceSet) -> dict[str, Any]:
    return {
        "name": kind.name,
        "other_names": ", ".join(kind.other_names),
        "group": kind.group,
        "period": kind.period,
        "dates": kind.dates.words(),
        "date_note": kind.date_note,
        "basis": f"dates {kind.basis}",
        "material": kind.material,
        "length": words.length_words(kind.length_mm),
        "length_note": kind.length_note,
        "pin_fixing": "" if kind.pin_fixing == "none" else kind.pin_fixing,
        "features": list(kind.features.items()),
        "survives": kind.survives,
        "breaks": kind.breaks,
        "typology": kind.typology,
        "checks": kind.checks,
        "look_alikes": _look_alikes(kind, reference),
        "cautions": cautions.for_keys(kind.cautions),
        "sources": [reference.sources[key] for key in kind.sources if key in reference.sources],
    }


def _shot(photo: PhotoRow, path: Path, type_name: str, side: int) -> dict[str, Any]:
    """One reference photo with what must always stand under it: credit, licence, rendered."""
    picture = thumbnail(path, side)
    what = f"{photo.view}, {photo.completeness}, {photo.condition}"
    rendered = photo.is_rendered
    return {
        "data_uri": picture.data_uri if picture else "",
        "width": picture.width if picture else 0,
        "height": picture.height if picture else 0,
        "problem": f"The photo {photo.file} cannot be read.",
        "alt": f"{type_name}, {'rendered picture' if rendered else 'photo'}: {what}",
        "what": what,
        "rendered": rendered,
        "creator": photo.creator,
        "licence": photo.licence,
        "licence_url": LICENCES[photo.licence].url if photo.licence in LICENCES else "",
    }


def _varied(photos: Sequence[PhotoRow]) -> list[PhotoRow]:
    """Complete before broken, clean before corroded, and the views in turn."""
    order = {"front": 0, "back": 1, "side": 2, "detail": 3}
    state = {"clean": 0, "worn": 1, "corroded": 2}
    return sorted(
        photos,
        key=lambda p: (
            p.completeness != "complete",
            state.get(p.condition, 3),
            order.get(p.view, 4),
        ),
    )


def _list_entry(kind: Type, reference: ReferenceSet) -> dict[str, Any]:
    photos = _varied(reference.photos_of(kind.id))
    picture = thumbnail(reference.path_of(photos[0]), _LIST_SIDE) if photos else None
    return {
        "id": kind.id,
        "name": kind.name,
        "dates": kind.dates.words(),
        "thumb": picture.data_uri if picture else "",
        "rendered": bool(photos) and photos[0].is_rendered,
        "credit": f"{photos[0].creator}, {photos[0].licence}" if photos else "",
    }
