"""The tab "Your set" as HTML: which set is open, the form for a photo, photos, one photo."""

from __future__ import annotations

import shlex
from collections import Counter
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from simsearch.browse.search import search_types
from simsearch.making.names import slug
from simsearch.page import words
from simsearch.page.intake import MAX_UPLOAD_BYTES
from simsearch.page.own_set_forms import AUTHORITIES, NEW_TYPE, START, Draft, HeldUpload
from simsearch.page.pieces import LARGE_SIDE, THUMB_SIDE, fill, shot
from simsearch.page.shelf import Shelf, index_fits
from simsearch.sets.licences import LICENCES
from simsearch.sets.opinions import opinion_in_force
from simsearch.sets.photos import COMPLETENESS, CONDITIONS, VIEWS
from simsearch.sets.private import CONSENTS
from simsearch.sets.types import DATE_BASES, GROUPS, PIN_FIXINGS

if TYPE_CHECKING:
    from simsearch.page.intake import Problem
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet

_FOUND_TYPES = 12
_PHOTOS_AT_ONCE = 24
_CHOICES = {
    "view": VIEWS, "completeness": COMPLETENESS, "condition": CONDITIONS, "group": GROUPS,
    "pin_fixing": PIN_FIXINGS, "basis": DATE_BASES, "authority": AUTHORITIES,
}  # fmt: skip
_GIVEN = (
    '--creator NAME --licence CC-BY-4.0 --source WHERE --by NAME --authority "seen in the hand"'
)
_CONSENT_WORDS = {
    "given": "given: whoever found or owns it agrees to the photo being shown",
    "not asked": "not asked yet",
    "refused": "refused: the photo never leaves this set",
}


def render_own_head(shelf: Shelf, problem: str = "", sent: dict[str, str] | None = None) -> str:
    """Which set is open, what it holds, whether it may be changed, and the way to another."""
    reference = shelf.reference
    with_photos = len({photo.type for photo in reference.photos})
    return fill(
        "own_set.html",
        title=reference.title,
        photos=words.count(len(reference.photos), "photo"),
        types=words.count(len(reference.types), "type"),
        with_photos=with_photos,
        objects=words.count(len({photo.specimen for photo in reference.photos}), "object"),
        may_change=shelf.may_change,
        folder=reference.folder,
        start=_command("page", "--set", str(reference.folder)),
        indexed=index_fits(reference) or not reference.photos,
        places=shelf.places(),
        home=shelf.home,
        problem=problem,
        sent=_Filled(sent or {}),
        commands=_commands(shelf),
    )


class _Filled(dict[str, str]):
    """Fields in which one that was not sent is empty; templates refuse what they do not know."""

    def __missing__(self, name: str) -> str:
        return ""


def _command(*parts: str) -> str:
    return " ".join(["simsearch", *map(shlex.quote, parts)])


def _commands(shelf: Shelf) -> list[dict[str, str]]:
    """What is done with commands: each with a line of words and how to type it for this set."""
    folder = str(shelf.reference.folder)
    said = [
        (
            "Pack it as one zip for others; findspots and positions stay at home",
            f"{_command('pack', folder)} FILE.zip",
        ),
        ("Unpack a set that somebody packed", "simsearch unpack FILE.zip NEW-FOLDER"),
    ]
    if shelf.may_change:
        said = [
            (
                "Add a folder of photos named or foldered by type; see first what would happen",
                f"{_command('add', folder)} FOLDER {_GIVEN} --preview",
            ),
            (
                "Add photos from a table saved as CSV; see first what would happen",
                f"{_command('add', folder)} TABLE.csv --preview",
            ),
            (
                "Bring openly licensed photos from an IIIF manifest into a folder, to add then",
                "simsearch bring iiif ADDRESS FOLDER --contact YOUR-ADDRESS",
            ),
            *said,
            (
                "Merge another set into this one; see first where they disagree",
                f"{_command('merge', folder)} OTHER --preview",
            ),
            ("Build the index anew", _command("index", folder)),
        ]
    return [{"words": what, "command": command} for what, command in said]


def render_shot(held: HeldUpload | None, problem: Problem | None = None) -> str:
    """Where the photo to add is chosen, and how it will look: upright and without metadata."""
    preview = held.shown.preview if held else None
    return fill(
        "own_shot.html",
        limit_bytes=MAX_UPLOAD_BYTES,
        limit_words=f"{MAX_UPLOAD_BYTES // (1024 * 1024)} MB",
        name=held.name if held else "",
        preview=preview,
        problem=problem,
    )


def render_form(reference: ReferenceSet, draft: Draft | None = None) -> str:
    """The form for one photo, with what was sent and what is wrong beside each field."""
    draft = draft or Draft(START)
    fields = draft.fields
    chosen = fields.get("type", "")
    return fill(
        "own_form.html",
        fields=_Filled(fields),
        problems=_Filled(draft.problems),
        wrong_count=len(draft.problems),
        types=_choices(reference, fields.get("words", ""), chosen),
        new=chosen == NEW_TYPE,
        objects=objects_of(reference, chosen),
        choices=_CHOICES,
        licences=[(licence.id, licence.name) for licence in LICENCES.values()],
        consents=[(consent, _CONSENT_WORDS[consent]) for consent in CONSENTS],
        withdrawn="withdrawn" in draft.problems.get("photo", ""),
    )


def render_type_choices(
    reference: ReferenceSet, wanted: str, chosen: str = "", *, may_be_new: bool = True
) -> str:
    """The types that words may mean, to choose one of; the one that is chosen stays in it."""
    search = search_types(reference.types.values(), wanted)
    few = len(reference.types) <= _FOUND_TYPES
    found = [item.type for item in search.found] if wanted.strip() or few else []
    shown = found[:_FOUND_TYPES]
    if chosen in reference.types and reference.types[chosen] not in shown:
        shown.insert(0, reference.types[chosen])
    return fill(
        "own_types.html",
        types=[{"id": kind.id, "name": kind.name, "dates": kind.dates.words()} for kind in shown],
        left=max(0, len(found) - _FOUND_TYPES),
        notes=search.notes() if wanted.strip() else [],
        nothing=bool(wanted.strip()) and not found,
        chosen=chosen,
        new=NEW_TYPE if may_be_new else "",
    )


def _choices(
    reference: ReferenceSet, wanted: str, chosen: str, *, may_be_new: bool = True
) -> Markup:
    # The template escapes its own values.
    return Markup(render_type_choices(reference, wanted, chosen, may_be_new=may_be_new))


def objects_of(reference: ReferenceSet, type_id: str) -> list[dict[str, str]]:
    """The objects of a type that the set has, each with how many photos of it there are."""
    counted = Counter(photo.specimen for photo in reference.photos_of(type_id))
    return [
        {"id": specimen, "words": f"{specimen} ({words.count(number, 'photo')})"}
        for specimen, number in sorted(counted.items())
    ]


def render_photos(reference: ReferenceSet, wanted: str = "", shown: int = _PHOTOS_AT_ONCE) -> str:
    """The photos of the set, the newest first, or those that words are about."""
    found = _photos_about(reference, wanted) if wanted.strip() else list(reference.photos[::-1])
    return fill(
        "own_photos.html",
        wanted=wanted,
        found=words.count(len(found), "photo"),
        any=bool(reference.photos),
        photos=[_shot(photo, reference, THUMB_SIDE) for photo in found[:shown]],
        left=max(0, len(found) - shown),
        more=shown + 2 * _PHOTOS_AT_ONCE,
    )


def _photos_about(reference: ReferenceSet, wanted: str) -> list[PhotoRow]:
    """Photos whose id or object holds the words; without any, those of the types they name."""
    part = slug(wanted)
    named = [row for row in reference.photos if part and (part in row.id or part in row.specimen)]
    if named:
        return named[::-1]
    types = [item.type.id for item in search_types(reference.types.values(), wanted).found]
    return [photo for type_id in types for photo in reference.photos_of(type_id)]


def _shot(photo: PhotoRow, reference: ReferenceSet, side: int) -> dict[str, Any]:
    kind = reference.types[photo.type]
    return shot(photo, reference.path_of(photo), kind.name, side) | {"type": kind.name}


def render_panel(
    shelf: Shelf,
    photo_id: str,
    *,
    doing: str = "",
    fields: dict[str, str] | None = None,
    problem: str = "",
    told: str = "",
) -> str:
    """One photo: its label in force, every opinion, and what may be done with it.

    ``doing`` is "label" or "withdraw" for what is to stand open. Who may be written to and where
    the object was found are not shown: this page may be open on other people's phones.
    """
    reference = shelf.reference
    row = next((photo for photo in reference.photos if photo.id == photo_id), None)
    if row is None:
        return fill("own_gone.html", photo=photo_id[:80])
    kind = reference.types[row.type]
    filled = _Filled(fields or {})
    private = reference.private.get(row.id)
    same = [one for one in reference.photos if one.specimen == row.specimen and one.id != row.id]
    return fill(
        "own_photo.html",
        photo=row,
        shot=shot(row, reference.path_of(row), kind.name, LARGE_SIDE),
        type={"id": kind.id, "name": kind.name, "dates": kind.dates.words()},
        opinions=_opinions(reference, row),
        consent=private.consent if private else "nothing noted",
        has_place=bool(private and (private.gps or private.findspot)),
        same=[one.id for one in same],
        may_change=shelf.may_change,
        doing=doing,
        fields=filled,
        types=_choices(reference, filled["words"], filled["type"], may_be_new=False),
        authorities=AUTHORITIES,
        problem=problem,
        told=told,
    )


def _opinions(reference: ReferenceSet, row: PhotoRow) -> list[dict[str, Any]]:
    """Every opinion on a photo, the latest first; the one in force is marked."""
    force = opinion_in_force(row)
    given = [one for one in reference.opinions if one.photo == row.id] or [force]
    in_force = (force.type, force.by, force.on, force.authority)
    # The same person may have said the same twice; the later one is then in force.
    places = [
        place
        for place, one in enumerate(given)
        if (one.type, one.by, one.on, one.authority) == in_force
    ]
    return [
        {
            "type": reference.types[one.type].name if one.type in reference.types else one.type,
            "by": one.by,
            "on": one.on,
            "authority": one.authority,
            "note": one.note,
            "in_force": bool(places) and place == places[-1],
        }
        for place, one in reversed(list(enumerate(given)))
    ]


def render_care_start(reference: ReferenceSet) -> str:
    """What looking a set over does, and the button for it."""
    return fill("own_care.html", photos=len(reference.photos))


def render_told(what: str, photo_id: str = "") -> str:
    """A line that says what was done; with a photo's id, the way to that photo."""
    return fill("own_told.html", what=what, photo=photo_id)


def render_steps(what: str, done: int = 0, total: int = 0) -> str:
    """How far a longer piece of work has come."""
    return fill("own_steps.html", what=what, done=done, total=total)


def render_map_again() -> str:
    """What stands in place of an overview picture that was drawn before the set changed."""
    return fill("own_map.html")
