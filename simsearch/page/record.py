"""The tab "Finds register" and the way to it from the leads: wiring and what each button does.

Records are read and written by ``simsearch.register``; nothing is kept until "Keep" is pressed.
"""

from __future__ import annotations

import base64
import logging
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import gradio as gr

from simsearch.errors import SimsearchError
from simsearch.page import render
from simsearch.page.browse import html, light, payload, script
from simsearch.page.intake import Tray
from simsearch.page.record_form import (
    Writing,
    changed_fields,
    read_form,
    start_change,
    start_empty,
    start_from,
)
from simsearch.page.record_view import (
    render_find,
    render_form,
    render_list,
    render_parts_of_law,
)
from simsearch.page.refine import FOCUS_FIRST, Looked, typed
from simsearch.register.records import FindRecord
from simsearch.register.store import Register, default_folder, open_register

if TYPE_CHECKING:
    from simsearch.sets.reference_set import ReferenceSet

_LOG = logging.getLogger(__name__)
_HOUR = 3600
_LONGEST_SEARCH = 200
_KEPT = "Nothing was recorded or changed."
_GOALS = (
    "#ss-register .ss-field-problem, #ss-register .ss-problem, #ss-register .ss-told, "
    "#ss-register h2"
)


@dataclass(frozen=True, eq=False)
class Desk:
    """What one visitor has in hand at the register: a record being written, and who they are."""

    writing: Writing | None = None
    by: str = ""
    words: str = ""


@dataclass(frozen=True)
class RecordParts:
    """The parts of the register's tab that events read or change."""

    desk: gr.State
    place: gr.HTML
    folder: Path


@dataclass(frozen=True)
class Room:
    """What the buttons work with: the register's folder, the set, and what is held of a find."""

    folder: Path
    reference: ReferenceSet
    tray: Tray = field(default_factory=Tray)
    looked: Looked | None = None

    def opened(self) -> Register:
        """Open the register; it is made with the first find."""
        return open_register(self.folder)

    def there(self) -> bool:
        """Whether anything was recorded yet."""
        from simsearch.register.database import DATABASE_FILE

        return (self.folder / DATABASE_FILE).is_file()


def lay_out_record(reference: ReferenceSet, folder: Path | None) -> RecordParts:
    """Put the register's tab together; ``folder`` as for ``open_register``."""
    place = folder if folder is not None else default_folder()
    desk = gr.State(Desk(), time_to_live=_HOUR)
    shown = html(
        _told(lambda: show_list(Room(place, reference), Desk())[0]),
        js_on_load=script("forms.js"),
        elem_id="ss-register",
    )
    return RecordParts(desk, shown, place)


def lay_out_ways(reference: ReferenceSet, parts: RecordParts) -> gr.HTML:
    """What listens for "Write it up" and for sheets; to be laid out beside the tabs.

    A tab that was never opened is not there for the browser, and its scripts do not run.
    """
    return html(
        "",
        js_on_load=script("record.js"),
        elem_id="ss-ways",
        server_functions=[_paper_of(reference, parts.folder)],
    )


def wire_record(
    parts: RecordParts,
    ways: gr.HTML,
    tabs: gr.Tabs,
    tray: gr.State,
    looked: gr.State,
    reference: ReferenceSet,
) -> None:
    """Say what the buttons of the register do; "Write it up" under the leads leads here too."""

    def asked(desk: Desk, held: Tray, found: Looked | None, event: gr.EventData) -> tuple[Any, ...]:
        sent = payload(event)
        room = Room(parts.folder, reference, held, found)
        page, desk = answer(room, desk, sent)
        going = str(sent.get("do")) in ("write", "blank", "open", "list", "edit")
        return gr.Tabs(selected="register") if going else gr.skip(), page, desk

    for source in (parts.place, ways):
        done = light(
            source.asked,
            asked,
            inputs=[parts.desk, tray, looked],
            outputs=[tabs, parts.place, parts.desk],
        )
        done.then(None, js=FOCUS_FIRST.format(goals=_GOALS), api_visibility="private")


def answer(room: Room, desk: Desk, sent: dict[str, Any]) -> tuple[Any, Desk]:
    """What to show for what a button asked, or what went wrong in its place."""
    does = _DOES.get(str(sent.get("do")), show_list)
    fields = typed(sent.get("fields"))
    if fields.get("by", "").strip():
        desk = replace(desk, by=fields["by"].strip()[:100])
    if "words" in fields:
        desk = replace(desk, words=fields["words"][:_LONGEST_SEARCH])
    kept = [desk]

    def make() -> str:
        page, kept[0] = does(room, desk, str(sent.get("id") or "")[:80], fields)
        return page

    return _told(make), kept[0]


def show_list(
    room: Room, desk: Desk, _id: str = "", _fields: dict[str, str] | None = None, told: str = ""
) -> tuple[str, Desk]:
    """The list of finds."""
    if not room.there():
        return render_list(None, room.reference, "", told), desk
    with room.opened() as register:
        return render_list(register, room.reference, desk.words, told), desk


def write_up(room: Room, desk: Desk, type_id: str, _: dict[str, str]) -> tuple[str, Desk]:
    """A form filled with what is known of the find that has leads."""
    if room.looked is None:
        return blank(room, desk, "", {})
    writing = start_from(room.looked, room.reference, type_id)
    return _form(room, replace(desk, writing=writing))


def blank(room: Room, desk: Desk, _id: str, _fields: dict[str, str]) -> tuple[str, Desk]:
    """An empty form, with the photos that are held."""
    return _form(room, replace(desk, writing=start_empty(room.tray.photos)))


def edit(room: Room, desk: Desk, find_id: str, _: dict[str, str]) -> tuple[str, Desk]:
    """The form of a recorded find."""
    with room.opened() as register:
        seen = register.history(find_id)[-1].number
        writing = start_change(register.get(find_id), seen, room.tray.photos)
    return _form(room, replace(desk, writing=writing))


def _form(room: Room, desk: Desk) -> tuple[str, Desk]:
    writing = desk.writing or start_empty()
    values = writing.values if desk.by == "" else {**writing.values, "by": desk.by}
    writing = replace(writing, values=values)
    law = _law(room, read_form(writing, dict(values)).record)
    return render_form(writing, room.reference, writing.values, law=law), replace(
        desk, writing=writing
    )


def keep(room: Room, desk: Desk, _id: str, fields: dict[str, str]) -> tuple[str, Desk]:
    """Record what the form says, or say beside each field what is wrong with it."""
    writing = desk.writing
    if writing is None:
        told = "That form was kept already, or has lain too long. Here is what the register holds."
        return show_list(room, desk, told=told)
    filled = read_form(writing, fields)
    law = _law(room, filled.record)
    if filled.problems:
        page = render_form(writing, room.reference, fields, filled.problems, law=law)
        return page, desk
    try:
        with room.opened() as register:
            if writing.find_id:
                find = register.change(
                    writing.find_id,
                    changed_fields(filled.record),
                    photos=filled.photos,
                    by=desk.by,
                    seen=writing.seen,
                )
                told = "Kept. What it was before stands in its history."
            else:
                find = register.new(filled.record, photos=filled.photos, by=desk.by)
                told = f"Recorded as {find.id}."
            page = _find(room, register, find, desk, told=told)
    except SimsearchError as error:
        failed = f"{error} {_KEPT}"
        return render_form(writing, room.reference, fields, law=law, failed=failed), desk
    return page, replace(desk, writing=None)


def open_find(room: Room, desk: Desk, find_id: str, _: dict[str, str]) -> tuple[str, Desk]:
    """One find, its findspot coarse."""
    with room.opened() as register:
        return _find(room, register, register.get(find_id), desk), desk


def open_exact(room: Room, desk: Desk, find_id: str, _: dict[str, str]) -> tuple[str, Desk]:
    """One find with its findspot as recorded."""
    with room.opened() as register:
        return _find(room, register, register.get(find_id), desk, exact=True), desk


def undo(room: Room, desk: Desk, find_id: str, fields: dict[str, str]) -> tuple[str, Desk]:
    """Take back the newest change of a find."""
    with room.opened() as register:
        if not fields.get("by", "").strip():
            find = register.get(find_id)
            problem = "Say who you are before you undo: the register keeps who did what."
            return _find(room, register, find, desk, problem=problem), desk
        change = register.undo(find_id, by=desk.by)
        if change.after is None:
            told = (
                f"{find_id} is out of the register again. Its history is kept; bring it back "
                f"with: simsearch register undo {find_id}"
            )
            return render_list(register, room.reference, desk.words, told), desk
        told = f"Change {change.undoes} was taken back."
        return _find(room, register, register.get(find_id), desk, told=told), desk


def country(room: Room, desk: Desk, find_id: str, fields: dict[str, str]) -> tuple[str, Desk]:
    """Keep the country, then show the find again."""
    from simsearch.law.choice import choose_country

    choose_country(fields.get("country", ""))
    return open_find(room, desk, find_id, fields) if find_id else show_list(room, desk)


_DOES: dict[str, Callable[[Room, Desk, str, dict[str, str]], tuple[str, Desk]]] = {
    "list": show_list,
    "write": write_up,
    "blank": blank,
    "edit": edit,
    "keep": keep,
    "open": open_find,
    "exact": open_exact,
    "undo": undo,
    "country": country,
}


def _find(room: Room, register: Register, find: FindRecord, desk: Desk, **shown: Any) -> str:
    here = chosen_or_none()
    return render_find(register, find, room.reference, here, by=desk.by, **shown)


def _law(room: Room, find: FindRecord) -> dict[str, Any]:
    return render_parts_of_law(find, room.reference, chosen_or_none())


def chosen_or_none() -> str | None:
    """The country chosen; a settings file that cannot be read counts as none chosen."""
    from simsearch.law import LawError
    from simsearch.law.choice import chosen_country

    try:
        return chosen_country()
    except LawError:
        return None


def _told(make: Callable[[], str]) -> str:
    """The HTML that ``make`` gives, or what went wrong and what to do in its place."""
    try:
        return make()
    except SimsearchError as error:
        return _problem(error.message, error.hint)
    except Exception:
        # A fault of ours: the trace belongs in the window the page was started from.
        _LOG.exception("the register failed")
        return _problem(
            "Something went wrong inside simsearch.",
            "Try once more; what happened is written in the window it was started from.",
        )


def _problem(what: str, hint: str) -> str:
    from simsearch.page.pieces import fill

    return fill("register_problem.html", problem=render.render_problem(what, hint, _KEPT))


def _paper_of(reference: ReferenceSet, folder: Path) -> Callable[[Any], dict[str, str]]:
    def paper(wanted: Any) -> dict[str, str]:
        """A sheet as a PDF (base64) with a name for it, or what went wrong."""
        from simsearch.page.papers import make_paper

        try:
            name, content = make_paper(wanted, reference, folder)
        except SimsearchError as error:
            return {"problem": str(error)}
        except Exception:
            _LOG.exception("a sheet failed")
            return {"problem": "The sheet could not be made: a fault inside simsearch."}
        return {"name": name, "content": base64.b64encode(content).decode("ascii")}

    return paper
