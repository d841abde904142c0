"""What comes under the leads: weighing observations in, dates together, what to look at next.

The photos are not encoded again for that: what the encoder made of them is kept in the visitor's
session (``remembered``).
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import gradio as gr
from markupsafe import Markup

from simsearch.errors import SimsearchError
from simsearch.leads.aoristic import aoristic_chart, date_words, leads_dating
from simsearch.leads.next_look import what_next
from simsearch.leads.observed import COMPLETENESS, FIXINGS, MATERIALS, PERIODS, SURFACES
from simsearch.leads.refine import amount_words
from simsearch.page import render
from simsearch.page.browse import html, light, payload, script
from simsearch.page.intake import Tray
from simsearch.page.observing import given_words, read_observed
from simsearch.page.pieces import fill
from simsearch.page.remembered import Remembered

if TYPE_CHECKING:
    from simsearch.leads.model import Leads
    from simsearch.sets.reference_set import ReferenceSet

_LOG = logging.getLogger(__name__)
_HOUR = 3600
_MOVED = 0.1
"""How far the closeness has to move by observations before it is worth a sentence."""


@dataclass(frozen=True, eq=False)
class Looked:
    """One find as it was looked at: its photos, its leads, and what the encoder made of it.

    ``fields`` is what was typed into the panel.
    """

    tray: Tray
    leads: Leads
    encoder: Remembered
    fields: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class RefineParts:
    """The parts under the leads that events read or change."""

    looked: gr.State
    under: gr.HTML


def lay_out_refine() -> RefineParts:
    """Put the part under the leads together; it is empty until there are leads."""
    looked = gr.State(None, time_to_live=_HOUR)
    under = html("", js_on_load=script("forms.js"), elem_id="ss-under")
    return RefineParts(looked, under)


def wire_refine(parts: RefineParts, results: gr.HTML, reference: ReferenceSet) -> None:
    """Say what happens when observations are weighed in."""

    def weigh(looked: Looked | None, event: gr.EventData) -> Iterator[tuple[Any, ...]]:
        yield weigh_in(looked, payload(event).get("fields"), reference)

    weighed = parts.under.asked(
        weigh,
        inputs=parts.looked,
        outputs=[results, parts.looked, parts.under],
        api_visibility="private",
        concurrency_id="encoder",
        concurrency_limit=1,
        show_progress="hidden",
    )
    goal = "#ss-cannot-show .ss-field-problem, #ss-under .ss-problem, #ss-results-title"
    weighed.success(None, js=FOCUS_FIRST.format(goals=goal), api_visibility="private")
    light(weighed.failure, render.render_busy, outputs=results)


# Unlike FOCUS this goes to what comes first in the list, not to what comes first on the page.
FOCUS_FIRST = (
    "() => {{ setTimeout(() => {{ const goal = '{goals}'.split(',')"
    ".map((part) => document.querySelector(part)).find(Boolean); "
    "if (goal) {{ goal.tabIndex = -1; goal.focus({{preventScroll: true}}); "
    "goal.scrollIntoView({{block: 'center'}}); }} }}, 150); }}"
)


def look_at(tray: Tray, reference: ReferenceSet) -> tuple[str, Looked | None, str]:
    """Look for leads: them as HTML, what to keep of the look, and what stands under the leads."""

    def looked() -> Looked:
        encoder = Remembered(reference.encoder())
        photos = [photo.image for photo in tray.photos]
        return Looked(tray, reference.look(photos, encoder=encoder), encoder)

    return _told(looked, reference)


def weigh_in(
    looked: Looked | None, sent: object, reference: ReferenceSet
) -> tuple[Any, Looked | None, Any]:
    """Weigh what was typed into the panel in; the leads stay as they are where a value is wrong."""
    if looked is None:
        gone = render.render_problem(
            "These leads are no longer held here.", "Press “Look for leads” again."
        )
        return gr.skip(), None, gone
    fields = typed(sent)
    observed, problems = read_observed(fields)
    if problems:
        kept = replace(looked, fields=fields)
        return gr.skip(), kept, render_under(kept, reference, problems)

    def again() -> Looked:
        encoder = looked.encoder
        if encoder.fingerprint != reference.encoder().fingerprint:  # another set was opened
            encoder = Remembered(reference.encoder())
        photos = [photo.image for photo in looked.tray.photos]
        leads = reference.look(photos, observed=observed, encoder=encoder)
        return Looked(looked.tray, leads, encoder, fields)

    return _told(again, reference, looked)


def _told(
    make: Any, reference: ReferenceSet, before: Looked | None = None
) -> tuple[str, Looked | None, str]:
    try:
        looked = make()
        leads = render.render_leads(looked.leads, looked.tray, reference)
        return leads, looked, render_under(looked, reference)
    except SimsearchError as error:
        return render.render_problem(error.message, error.hint), before, ""
    except Exception:
        # A fault of ours: the trace belongs in the window the page was started from.
        _LOG.exception("looking for leads failed")
        told = render.render_problem(
            "Something went wrong inside simsearch.",
            "Try once more; what happened is written in the window it was started from.",
        )
        return told, before, ""


def typed(sent: object) -> dict[str, str]:
    """What a form sent, by name of the field: anybody can send anything, so cut to size."""
    if not isinstance(sent, dict):
        return {}
    plain: dict[str, str] = {}
    for name, value in list(sent.items())[:200]:
        text = ("yes" if value else "") if isinstance(value, bool) else str(value or "")
        plain[str(name)[:60]] = text[:20_000]
    return plain


def render_under(
    looked: Looked, reference: ReferenceSet, problems: Mapping[str, str] | None = None
) -> str:
    """Dates together, what to look at next, the panel and the way to a record."""
    leads = looked.leads
    dating = leads_dating(leads) if leads.anything_close else None
    return fill(
        "under_leads.html",
        close=leads.anything_close,
        date_words=date_words(dating) if dating else "",
        date_note=dating.note if dating else "",
        chart=Markup(aoristic_chart(dating)) if dating else "",
        next=what_next(leads, reference.types) if leads.anything_close else [],
        observed=given_words(leads.observed),
        notes=leads.observed_notes,
        closeness=_closeness_words(leads),
        values=looked.fields,
        problems=dict(problems or {}),
        choices={
            "material": MATERIALS,
            "fixing": FIXINGS,
            "surface": SURFACES,
            "completeness": COMPLETENESS,
            "nearby": tuple(PERIODS),
        },
    )


def _closeness_words(leads: Leads) -> str:
    """Whether the observations make it likelier or less likely that the type is here at all."""
    before, now = leads.closeness_before, leads.closeness
    if before is None or now is None or abs(now - before) < _MOVED:
        return ""
    way = "more" if now > before else "less"
    return (
        f"What you observed makes it {way} likely that the find's type is in this set at all: "
        f"{amount_words(now)}, by the photo alone {amount_words(before)}."
    )
