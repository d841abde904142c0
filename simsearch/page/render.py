"""Leads and types as HTML; see ``browsing`` for the list of types and what looks alike."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from simsearch.leads.chart import date_chart, leads_chart
from simsearch.leads.refine import verdict, why_words
from simsearch.page import cautions, words
from simsearch.page.pieces import LARGE_SIDE, THUMB_SIDE, fill, shot, varied
from simsearch.page.placing import placing_of

if TYPE_CHECKING:
    from simsearch.leads.model import Lead, Leads
    from simsearch.leads.observed import Reason
    from simsearch.page.intake import Tray
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import LookAlike, Type

_PHOTOS_PER_LEAD = 3
_PHOTOS_PER_TYPE = 12
_OPEN_LEADS = 3
"""What to check stands open for the first few leads; for the rest it is one key press away."""


def render_head(reference: ReferenceSet) -> str:
    """The page's one top heading, and what it does in a sentence."""
    photos = words.count(len(reference.photos), "reference photo")
    return fill("head.html", photos=photos, set_name=reference.title)


def render_door(problem: str) -> str:
    """The whole page that asks for the password, with what was wrong with the last try."""
    return fill("door.html", problem=problem, enter="/enter")


def render_intake(limit_bytes: int) -> str:
    """The part of the page where photos are chosen, taken or dropped."""
    limit_words = f"{limit_bytes // (1024 * 1024)} MB"
    return fill("intake.html", limit_bytes=limit_bytes, limit_words=limit_words)


def render_tray(tray: Tray) -> str:
    """The photos held for this find, and what went wrong with the last upload."""
    photos = [_find_photo(photo.name, photo.preview) for photo in tray.photos]
    held = words.count(len(photos), "photo")
    kept = f"Nothing was lost: {held} of this find still here." if photos else "Nothing was lost."
    return fill("tray.html", photos=photos, problems=tray.problems, kept=kept)


KEPT = "Nothing was lost: your photos are still above."


def render_problem(what: str, hint: str, kept: str = KEPT) -> str:
    """An error in the place where the result would have stood, and that nothing was lost."""
    return fill("problem.html", what=what, hint=hint, kept=kept)


def render_wait(reference: ReferenceSet) -> str:
    """What stands in place of the leads while they are being looked for."""
    return fill("wait.html", photos=words.count(len(reference.photos), "reference photo"))


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
    return fill(
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


def render_type(kind: Type, reference: ReferenceSet, *, every_photo: bool = False) -> str:
    """The full page of one type, with a dozen of its photos or every one."""
    photos = reference.photos_of(kind.id)
    shown = len(photos) if every_photo else _PHOTOS_PER_TYPE
    left = len(photos) - shown
    return fill(
        "type.html",
        type=_type(kind, reference),
        beside=[_beside(kind, other, reference) for other in kind.look_alikes],
        chart=Markup(date_chart([(kind.name, kind.dates)], title="Date range")),
        photos=[
            shot(photo, reference.path_of(photo), kind.name, LARGE_SIDE)
            for photo in varied(photos)[:shown]
        ],
        photos_left=words.count(left, "more photo") if left > 0 else "",
    )


def render_type_or_close(
    type_id: str, reference: ReferenceSet, *, every_photo: bool = False
) -> str:
    """The page of a type; for an id that is not in the set, the ids most like it."""
    if type_id in reference.types:
        return render_type(reference.types[type_id], reference, every_photo=every_photo)
    close = [reference.types[other] for other in words.close_ids(type_id, reference.types)]
    return fill("no_type.html", type_id=type_id[:80], close=close)


def render_care() -> str:
    """Care of finds and what the law asks, with sources."""
    return fill(
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
        "odds": words.lead_odds_words(lead),
        "why": why_words(lead),
        "reasons": [_reason(reason) for reason in lead.reasons],
        "cautions": cautions.for_keys(lead.type.cautions),
        "photos": [
            shot(evidence.photo, evidence.path, lead.type.name, THUMB_SIDE)
            for evidence in lead.evidence[:_PHOTOS_PER_LEAD]
        ],
        "checks": lead.type.checks,
        "look_alikes": _look_alikes(lead.type, reference),
        "open": opened,
        # Where nothing is close, a drawing would lend a lead a weight that it has not got.
        "placing": placing_of(lead, tray) if opened and close else None,
    }


def _reason(reason: Reason) -> dict[str, str]:
    return {
        "observation": reason.observation,
        "says": verdict(reason.factor),
        "times": f"{reason.factor:.2g}",
        "words": reason.words,
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


def _beside(kind: Type, other: LookAlike, reference: ReferenceSet) -> dict[str, Any]:
    """A look-alike with a photo of each, shown from the same side where there is such a pair."""
    known = reference.types[other.type_id]
    back = [link.separates for link in known.look_alikes if link.type_id == kind.id]
    mine, theirs = _pair(reference.photos_of(kind.id), reference.photos_of(known.id))
    return {
        "type_id": known.id,
        "name": known.name,
        "dates": known.dates.words(),
        "separates": other.separates,
        "other_separates": back[0] if back else "",
        "own_photo": shot(mine, reference.path_of(mine), kind.name, THUMB_SIDE) if mine else None,
        "other_photo": (
            shot(theirs, reference.path_of(theirs), known.name, THUMB_SIDE) if theirs else None
        ),
    }


def _pair(
    mine: Sequence[PhotoRow], theirs: Sequence[PhotoRow]
) -> tuple[PhotoRow | None, PhotoRow | None]:
    """One photo of each that can be compared: the same view and as complete, if there are such."""
    first, second = varied(mine), varied(theirs)
    by_view = {(photo.view, photo.completeness): photo for photo in reversed(second)}
    for photo in first:
        if (photo.view, photo.completeness) in by_view:
            return photo, by_view[photo.view, photo.completeness]
    return (first[0] if first else None), (second[0] if second else None)


def _type(kind: Type, reference: ReferenceSet) -> dict[str, Any]:
    return {
        "id": kind.id,
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
        "cautions": cautions.for_keys(kind.cautions),
        "sources": [reference.sources[key] for key in kind.sources if key in reference.sources],
    }
