"""Wiring of the tab "Your set": making a set, adding photos, opinions, withdrawing, care.

Nothing is decided here: forms are read by ``own_set_forms``, what is written goes through
``simsearch.making``, and every piece of HTML comes from ``own_set_view`` and ``care_view``.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Generator, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import gradio as gr
from gradio.utils import get_upload_folder

from simsearch.browse.filters import Wanted, filter_types
from simsearch.care.report import look_after_folder
from simsearch.errors import SimsearchError
from simsearch.making.labels import give_opinion
from simsearch.making.withdraw import withdraw_photos
from simsearch.page import browsing, render
from simsearch.page import own_set_view as view
from simsearch.page.browse import FOCUS, BrowseParts, Filters, html, light, payload, script
from simsearch.page.care_view import render_care_report
from simsearch.page.own_set_forms import (
    START,
    Draft,
    HeldUpload,
    add_one,
    read_fields,
    take_upload,
)
from simsearch.page.own_set_work import KEPT, problem_of, render_fault, stepping, told_or
from simsearch.page.shelf import Shelf

_LOG = logging.getLogger(__name__)
_HOUR = 3600
_BUSY = "That could not be done: too many are waiting."
_AFTER_ADDING = "#ss-own-told :is(.ss-own-done, .ss-problem), #ss-own-form .ss-problem"
_MOST_SHOWN = 2000  # photos in one list, whatever the browser asks for

Step = dict[Any, Any]


@dataclass(frozen=True)
class OwnParts:
    """The parts of the tab that events read or change."""

    head: gr.HTML
    shot: gr.HTML
    form: gr.HTML
    told: gr.HTML
    photos: gr.HTML
    care: gr.HTML
    report: gr.HTML
    panel: gr.HTML
    held: gr.State

    def visible(self) -> list[Any]:
        """Every part that a change of the set may change."""
        return [
            self.head, self.shot, self.form, self.told, self.photos, self.care, self.report,
            self.panel, self.held,
        ]  # fmt: skip


def lay_out_own_set(shelf: Shelf) -> OwnParts:
    """Put the tab together; called where the tab is laid out."""
    own, reference = script("own_set.js"), shelf.reference

    def part(value: str, name: str) -> gr.HTML:
        return html(
            value,
            js_on_load=own,
            elem_id=f"ss-own-{name}",
            server_functions=[_types_of(shelf), _objects_of(shelf)],
        )

    adding = shelf.may_change
    with gr.Column(elem_id="ss-own-main"):
        head = part(view.render_own_head(shelf), "head")
        told = part("", "told")
        shot = part(view.render_shot(None) if adding else "", "shot")
        form = part(view.render_form(reference) if adding else "", "form")
        photos = part(view.render_photos(reference), "photos")
        care = part(view.render_care_start(reference), "care")
        report = part("", "report")
    panel = part("", "panel")
    held = gr.State(None, time_to_live=_HOUR)
    return OwnParts(head, shot, form, told, photos, care, report, panel, held)


def wire_own_set(
    parts: OwnParts, shelf: Shelf, page: gr.Blocks, top: gr.HTML, browse: BrowseParts
) -> None:
    """Say what happens in the tab; ``top`` is the page's head, which names the open set."""
    changed = Changed(parts, shelf, top, browse)
    _wire_sets(parts, shelf, changed)
    _wire_photo_panel(parts, shelf, changed)
    _wire_adding(parts, shelf, changed)
    _wire_care(parts, shelf, changed)

    def arrived() -> Step:
        # The page was put together when it started; what has changed since is told now.
        return changed.everywhere() if shelf.version else {parts.head: gr.skip()}

    light(page.load, arrived, outputs=[*changed.outputs, *parts.visible()])


class Changed:
    """What is drawn again on all of the page when the open set has changed."""

    def __init__(self, parts: OwnParts, shelf: Shelf, top: gr.HTML, browse: BrowseParts) -> None:
        self._parts, self._shelf, self._top, self._browse = parts, shelf, top, browse
        self.outputs = [
            top, browse.words, browse.chosen, browse.filters, browse.types, browse.shown,
            browse.map,
        ]  # fmt: skip

    def everywhere(self) -> Step:
        """The whole page but what a visitor has in hand: leads, and an open type."""
        return self.browsing() | self.tab() | self.adding()

    def browsing(self) -> Step:
        """The head and the tab "Browse", without filters."""
        reference, start = self._shelf.reference, Wanted()
        every = filter_types(reference.types.values(), start)
        return {
            self._top: render.render_head(reference),
            self._browse.words: "",
            self._browse.chosen: Filters({}),
            self._browse.filters: browsing.render_filters(every, start),
            self._browse.types: browsing.render_listing(reference, every, start),
            self._browse.shown: browsing.render_shown(every, start),
            self._browse.map: view.render_map_again(),
        }

    def tab(self) -> Step:
        """What the tab says of the set and its photos."""
        reference = self._shelf.reference
        return {
            self._parts.head: view.render_own_head(self._shelf),
            self._parts.photos: view.render_photos(reference),
            self._parts.care: view.render_care_start(reference),
        }

    def adding(self, draft: Draft | None = None) -> Step:
        """An empty place for a photo and its form; nothing where the set is not changed."""
        adding = self._shelf.may_change
        return {
            self._parts.held: None,
            self._parts.shot: view.render_shot(None) if adding else "",
            self._parts.form: view.render_form(self._shelf.reference, draft) if adding else "",
        }


def _types_of(shelf: Shelf) -> Callable[[Any], str]:
    def types(asked: Any) -> str:
        """The types that words may mean, as HTML; sent are words, the choice, and for what."""
        given = [str(part)[:200] for part in asked[:3]] if isinstance(asked, list) else []
        wanted, chosen, what = (*given, "", "", "")[:3]
        return view.render_type_choices(shelf.reference, wanted, chosen, may_be_new=what == "types")

    return types


def _objects_of(shelf: Shelf) -> Callable[[Any], list[dict[str, str]]]:
    def objects(type_id: Any) -> list[dict[str, str]]:
        """The objects of a type that the set has."""
        return view.objects_of(shelf.reference, str(type_id)[:200])

    return objects


def _wire_sets(parts: OwnParts, shelf: Shelf, changed: Changed) -> None:
    def opened(change: Callable[[], None], sent: dict[str, str]) -> Step:
        problem = problem_of(change)
        if problem:
            return {parts.head: view.render_own_head(shelf, problem, sent)}
        said = f"The set “{shelf.reference.title}” is open."
        fresh = {parts.told: view.render_told(said), parts.report: "", parts.panel: ""}
        return changed.everywhere() | fresh

    def make(event: gr.EventData) -> Step:
        sent = read_fields(payload(event))
        title, folder = sent.get("title", "")[:120], sent.get("folder", "")[:60]
        with_types = bool(sent.get("types"))
        return opened(lambda: shelf.make(title, folder, with_types=with_types), sent)

    def use(event: gr.EventData) -> Step:
        name = str(payload(event).get("name", ""))[:200]
        return opened(lambda: shelf.use(name), {})

    outputs = [*changed.outputs, *parts.visible()]
    light(parts.head.make, make, outputs=outputs).then(
        None, js=FOCUS.format(goal="#ss-own-title"), api_visibility="private"
    )
    light(parts.head.use, use, outputs=outputs)


def _wire_photo_panel(parts: OwnParts, shelf: Shelf, changed: Changed) -> None:
    def listed(event: gr.EventData) -> str:
        sent = payload(event)
        shown = str(sent.get("shown", ""))
        more = {"shown": min(int(shown[:9]), _MOST_SHOWN)} if shown.isdecimal() else {}
        return view.render_photos(shelf.reference, str(sent.get("wanted", ""))[:200], **more)

    def opened(event: gr.EventData) -> str:
        photo_id = str(payload(event).get("photo", ""))
        return told_or(lambda: view.render_panel(shelf, photo_id))

    def opinion(event: gr.EventData) -> Step:
        return second_opinion(shelf, parts, changed, read_fields(payload(event)))

    def withdraw(event: gr.EventData) -> Iterator[Step]:
        yield from withdrawn(shelf, parts, changed, payload(event))

    light(parts.photos.list, listed, outputs=parts.photos)
    focus = FOCUS.format(goal="#ss-own-photo-title")
    for part in (parts.photos, parts.told, parts.panel):
        light(part.open, opened, outputs=parts.panel).then(None, js=focus, api_visibility="private")
    light(parts.panel.close, lambda: "", outputs=parts.panel)
    outputs = [*changed.outputs, *parts.visible()]
    light(parts.panel.opinion, opinion, outputs=outputs).then(
        None, js=focus, api_visibility="private"
    )
    _slow(parts.panel.withdraw, withdraw, parts, outputs, at_end="#ss-own-title")


def second_opinion(shelf: Shelf, parts: OwnParts, changed: Changed, fields: dict[str, str]) -> Step:
    """Write down another opinion; the panel then shows it, or what is wrong."""
    photo_id = fields.get("photo", "")
    in_force = bool(fields.get("in_force"))

    def write() -> None:
        folder = shelf.require_change()
        if not fields.get("type"):
            raise SimsearchError("No type is chosen.", hint="Choose one of the list.")
        give_opinion(
            folder, photo_id, fields["type"], fields.get("by", ""), fields.get("authority", ""),
            fields.get("note", ""), in_force=in_force,
        )  # fmt: skip
        shelf.refresh()

    problem = problem_of(write)
    if problem:
        panel = view.render_panel(shelf, photo_id, doing="label", fields=fields, problem=problem)
        return {parts.panel: panel}
    said = "Written down and in force." if in_force else "Written down. The label in force stays."
    again = changed.browsing() | changed.tab() if in_force else {}
    return again | {parts.panel: view.render_panel(shelf, photo_id, told=said)}


def withdrawn(
    shelf: Shelf, parts: OwnParts, changed: Changed, sent: Mapping[str, Any]
) -> Iterator[Step]:
    """Take a photo out for good, when that was asked for a second time."""
    photo_id = str(sent.get("photo", ""))[:200]
    if sent.get("sure") != "yes":
        yield {parts.panel: view.render_panel(shelf, photo_id, doing="withdraw")}
        return

    def write() -> None:
        withdraw_photos(shelf.require_change(), [photo_id])
        shelf.refresh()

    problem = problem_of(write)
    if problem:
        panel = view.render_panel(shelf, photo_id, doing="withdraw", problem=problem)
        yield {parts.panel: panel}
        return
    said = f"{photo_id} is withdrawn: the picture and all that was said of it are gone."
    yield (
        changed.browsing()
        | changed.tab()
        | {
            parts.panel: "",
            parts.report: "",
            parts.told: view.render_told(said),
        }
    )


def _wire_adding(parts: OwnParts, shelf: Shelf, changed: Changed) -> None:
    def sent(event: gr.EventData) -> Step:
        files = payload(event).get("files")
        entry = files[0] if isinstance(files, list) and files else None
        taken = take_upload(entry, Path(get_upload_folder()))
        if isinstance(taken, HeldUpload):
            return {parts.held: taken, parts.shot: view.render_shot(taken)}
        return {parts.held: None, parts.shot: view.render_shot(None, taken)}

    def dropped() -> Step:
        return {parts.held: None, parts.shot: view.render_shot(None)}

    def add(held: HeldUpload | None, event: gr.EventData) -> Iterator[Step]:
        yield from adding(shelf, parts, changed, held, read_fields(payload(event)))

    light(parts.shot.sent, sent, outputs=[parts.held, parts.shot])
    light(parts.shot.dropped, dropped, outputs=[parts.held, parts.shot])
    outputs = [*changed.outputs, *parts.visible()]
    _slow(parts.form.put, add, parts, outputs, inputs=parts.held, at_end=_AFTER_ADDING)


def adding(
    shelf: Shelf,
    parts: OwnParts,
    changed: Changed,
    held: HeldUpload | None,
    fields: dict[str, str],
) -> Iterator[Step]:
    """Add the photo in hand, then bring the index up to date; what is wrong is told by field."""
    yield {parts.told: view.render_steps("Adding the photo …")}
    try:
        shelf.require_change()
        added = add_one(held, fields, shelf.reference, Path(get_upload_folder()))
    except Exception as error:
        yield {parts.told: render_fault(error)}
        return
    if isinstance(added, Draft):
        yield {parts.told: "", parts.form: view.render_form(shelf.reference, added)}
        return
    photo_id = added.ids[0]
    kept = Draft(fields).kept()
    yield {parts.held: None, parts.shot: view.render_shot(None)}
    if not (yield from indexed(shelf, parts)):
        return
    said = f"Added as {photo_id}; the index holds it."
    yield (
        changed.browsing()
        | changed.tab()
        | changed.adding(kept)
        | {parts.told: view.render_told(said, photo_id)}
    )


def indexed(shelf: Shelf, parts: OwnParts) -> Generator[Step, None, bool]:
    """Bring the index up to date, telling how far it is; gives whether that went well."""
    what = "Bringing the index up to date …"
    try:
        for done, total in stepping(shelf.bring_index_up_to_date):
            yield {parts.told: view.render_steps(what, done, total)}
    except Exception as error:
        # What was written before stays; the head then offers to bring the index up to date.
        if problem_of(shelf.refresh):
            _LOG.error("the set could not be opened again")
        told = render_fault(error, "The photo is in the set; only the index is not up to date.")
        yield {parts.told: told, parts.head: view.render_own_head(shelf)}
        return False
    return True


def _wire_care(parts: OwnParts, shelf: Shelf, changed: Changed) -> None:
    def care() -> Iterator[Step]:
        yield from looked_over(shelf, parts)

    def index() -> Iterator[Step]:
        yield from indexed_again(shelf, parts, changed)

    def act(event: gr.EventData) -> Step:
        return acted(shelf, parts, payload(event))

    outputs = [*changed.outputs, *parts.visible()]
    _slow(parts.care.care, care, parts, [parts.report], at_end="#ss-own-report", place="care")
    _slow(parts.head.index, index, parts, outputs)
    _slow(parts.report.index, index, parts, outputs, at_end="#ss-own-told")
    # The heading of the form is still there, hidden, while a photo is open.
    goal = "#ss-own-photo-title, #ss-tab-own:not(:has(.ss-own-panel)) #ss-own-add-title"
    light(parts.report.act, act, outputs=[parts.panel, parts.form, parts.told]).then(
        None, js=FOCUS.format(goal=goal), api_visibility="private"
    )


def looked_over(shelf: Shelf, parts: OwnParts) -> Iterator[Step]:
    """Look the open set over, telling how far it is, and then the report."""
    reference = shelf.reference
    what = "Looking the set over …"
    report = None
    try:
        steps = stepping(lambda told: look_after_folder(reference.folder, progress=told))
        while True:
            try:
                done, total = next(steps)
            except StopIteration as end:
                report = end.value
                break
            yield {parts.report: view.render_steps(what, done, total)}
        yield {parts.report: render_care_report(report, reference)}
    except Exception as error:
        yield {parts.report: render_fault(error)}


def indexed_again(shelf: Shelf, parts: OwnParts, changed: Changed) -> Iterator[Step]:
    """Bring the index up to date because somebody asked for that."""
    problem = problem_of(shelf.require_change)
    if problem:
        yield {parts.told: render.render_problem(problem, "", KEPT)}
    elif (yield from indexed(shelf, parts)):
        done = {parts.told: view.render_told("The index is up to date."), parts.report: ""}
        yield changed.browsing() | changed.tab() | done


def acted(shelf: Shelf, parts: OwnParts, sent: Mapping[str, Any]) -> Step:
    """Lead from a finding of the report to where it is settled."""
    kind = str(sent.get("action", ""))
    photo = str(sent.get("photos", "")).split(";")[0][:200]
    type_id = str(sent.get("types", "")).split(";")[0][:200]
    if kind == "add" and shelf.may_change:
        draft = Draft(START | {"type": type_id})
        return {parts.panel: "", parts.form: view.render_form(shelf.reference, draft)}
    if not photo:
        return {parts.panel: ""}
    doing = {"label": "label", "withdraw": "withdraw", "replace": "withdraw"}.get(kind, "")
    return {parts.panel: told_or(lambda: view.render_panel(shelf, photo, doing=doing))}


def _slow(
    event: Any,
    function: Callable[..., Any],
    parts: OwnParts,
    outputs: list[Any],
    *,
    inputs: Any = None,
    at_end: str = "",
    place: str = "encoder",
) -> None:
    """Wire an event that takes a while and waits for others of its kind."""
    asked = event(
        function,
        inputs=inputs,
        outputs=outputs,
        api_visibility="private",
        concurrency_id=place,
        concurrency_limit=1,
        show_progress="hidden",
    )
    if at_end:
        asked.success(None, js=FOCUS.format(goal=at_end), api_visibility="private")
    busy = render.render_problem(_BUSY, "Try again in a minute.", KEPT)
    light(asked.failure, lambda: busy, outputs=parts.told)
