"""The page's wiring: which part of the page calls which function.

Nothing is decided here. Photos are read by ``intake``, leads come from ``ReferenceSet.look``
and every piece of HTML from ``render``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import gradio as gr
from gradio.utils import get_upload_folder

from simsearch.page import render
from simsearch.page.browse import (
    FOCUS,
    BrowseParts,
    html,
    lay_out_browsing,
    light,
    payload,
    script,
    wire_browsing,
)
from simsearch.page.intake import MAX_UPLOAD_BYTES, Tray, add_uploads
from simsearch.page.law_tab import lay_out_law, wire_law
from simsearch.page.measuring import lay_out_measuring, wire_measuring
from simsearch.page.own_set import OwnParts, lay_out_own_set, wire_own_set
from simsearch.page.practice import PracticeParts, lay_out_practice, wire_practice
from simsearch.page.record import RecordParts, lay_out_record, lay_out_ways, wire_record
from simsearch.page.refine import Looked, RefineParts, lay_out_refine, look_at, wire_refine
from simsearch.page.shelf import Shelf

if TYPE_CHECKING:
    from simsearch.sets.reference_set import ReferenceSet

_HOUR = 3600


@dataclass(frozen=True)
class _Parts:
    """The parts of the page that events read or change."""

    moves: gr.HTML
    tabs: gr.Tabs
    tray: gr.State
    intake: gr.HTML
    held: gr.HTML
    look: gr.Button
    clear: gr.Button
    results: gr.HTML
    refine: RefineParts
    browse: BrowseParts
    own: OwnParts
    record: RecordParts
    ways: gr.HTML
    law: gr.HTML
    measuring: gr.HTML
    practice: PracticeParts


def build_page(reference: ReferenceSet, *, register: Path | None = None) -> gr.Blocks:
    """Put the page together, to begin with for this set; nothing is served yet.

    ``register`` is the folder of the finds register, as for ``open_register``.
    """
    shelf = Shelf(reference)
    reference = shelf.live  # visitors may open another set; see Shelf
    # The cache holds nothing of ours for long (see intake); this is the net below it.
    with gr.Blocks(
        title="simsearch: leads for a find",
        analytics_enabled=False,
        delete_cache=(600, _HOUR),
        fill_width=True,
    ) as page:
        parts = _lay_out(reference, shelf, register)
        _wire_photos(parts)
        _wire_look(parts, reference)
        wire_refine(parts.refine, parts.results, reference)
        wire_browsing(parts.browse, parts.moves, parts.tabs, parts.tray, reference)
        wire_record(
            parts.record, parts.ways, parts.tabs, parts.tray, parts.refine.looked, reference
        )
        wire_law(parts.law)
        wire_practice(parts.practice, reference)
        wire_own_set(parts.own, shelf, page, parts.moves, parts.browse)
    return page


def _lay_out(reference: ReferenceSet, shelf: Shelf, register: Path | None) -> _Parts:
    moves = html(render.render_head(reference), js_on_load=script("moves.js"), elem_id="ss-moves")
    # Wrapped, so that a phone shows every tab; the framework's menu of the rest has no names.
    with gr.Tabs(elem_id="ss-tabs", overflow_behavior="wrap") as tabs:
        with gr.Tab("Your find", id="look", elem_id="ss-tab-look"):
            tray = gr.State(Tray(), time_to_live=_HOUR)
            intake = html(
                render.render_intake(MAX_UPLOAD_BYTES),
                js_on_load=script("intake.js"),
                elem_id="ss-intake",
            )
            held = html(render.render_tray(Tray()), js_on_load=script("tray.js"), elem_id="ss-tray")
            with gr.Row(elem_id="ss-go"):
                look = gr.Button("Look for leads", variant="primary", elem_id="ss-look-button")
                clear = gr.Button("Start again", elem_id="ss-clear-button")
            results = html("", elem_id="ss-results")
            measuring = lay_out_measuring()
            refine = lay_out_refine()
        with gr.Tab("Browse", id="types", elem_id="ss-tab-types"):
            browse = lay_out_browsing(reference)
        with gr.Tab("Your set", id="own", elem_id="ss-tab-own"):
            own = lay_out_own_set(shelf)
        with gr.Tab("Finds register", id="register", elem_id="ss-tab-register"):
            record = lay_out_record(reference, register)
        with gr.Tab("Practice", id="practice", elem_id="ss-tab-practice"):
            practice = lay_out_practice()
        with gr.Tab("Care and law", id="care", elem_id="ss-tab-care"):
            law = lay_out_law()
            html(render.render_care())
    ways = lay_out_ways(reference, record)
    return _Parts(
        moves,
        tabs,
        tray,
        intake,
        held,
        look,
        clear,
        results,
        refine,
        browse,
        own,
        record,
        ways,
        law,
        measuring,
        practice,
    )


def _wire_photos(parts: _Parts) -> None:
    def added(tray: Tray, event: gr.EventData) -> tuple[Tray, str]:
        tray = add_uploads(tray, payload(event).get("files"), Path(get_upload_folder()))
        return tray, render.render_tray(tray)

    def removed(tray: Tray, event: gr.EventData) -> tuple[Tray, str]:
        position = payload(event).get("position")
        tray = tray.without(position) if isinstance(position, int) else tray
        return tray, render.render_tray(tray)

    def cleared() -> tuple[Tray, str, str, None, str, str]:
        return Tray(), render.render_tray(Tray()), "", None, "", ""

    held = [parts.tray, parts.held]
    light(parts.intake.added, added, inputs=parts.tray, outputs=held)
    light(parts.held.removed, removed, inputs=parts.tray, outputs=held)
    light(parts.clear.click, cleared, outputs=[*held, *_answers(parts), parts.measuring])


def _answers(parts: _Parts) -> list[gr.HTML | gr.State]:
    """The leads, what is kept of the look, and what stands under the leads."""
    return [parts.results, parts.refine.looked, parts.refine.under]


def _wire_look(parts: _Parts, reference: ReferenceSet) -> None:
    def look(tray: Tray) -> Iterator[tuple[str, Looked | None, str]]:
        if not tray.photos:
            told = render.render_problem("There is no photo yet.", "Choose or take one first.")
            yield told, None, ""
            return
        if not reference.photos:
            told = render.render_problem(
                "The set that is open has no photos yet, so there is nothing to compare with.",
                "Add some under “Your set”, or open another set there.",
            )
            yield told, None, ""
            return
        yield render.render_wait(reference), None, ""
        yield look_at(tray, reference)

    looked = parts.look.click(
        look,
        inputs=parts.tray,
        outputs=_answers(parts),
        api_visibility="private",
        concurrency_id="encoder",
        concurrency_limit=1,
        show_progress="hidden",
    )
    looked.success(None, js=FOCUS.format(goal="#ss-results-title"), api_visibility="private")
    wire_measuring(parts.measuring, parts.refine.looked, looked)
    # A full queue is told by the framework in a note that passes; this one stays on the page.
    light(looked.failure, render.render_busy, outputs=parts.results)
