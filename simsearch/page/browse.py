"""Wiring of the page's browsing part: search, filters, list, type pages, likeness, overview.

As in ``app``, nothing is decided here: types are found by ``simsearch.browse`` and every piece
of HTML comes from ``render`` and ``browsing``.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import gradio as gr

from simsearch.browse.filters import FACETS, Wanted, filter_types, read_years
from simsearch.browse.overview import overview
from simsearch.browse.similar import similar_to_image, similar_to_photo
from simsearch.errors import DateError, SimsearchError
from simsearch.page import browsing, render
from simsearch.page.intake import Tray  # at run time: the framework reads annotations
from simsearch.page.thumbs import thumbnail

if TYPE_CHECKING:
    from simsearch.sets.reference_set import ReferenceSet

_LOG = logging.getLogger(__name__)
_HOUR = 3600
_MAP_THUMB_SIDE = 72
_THUMBS_AT_ONCE = 64
_LONGEST_SEARCH = 200
_KEPT = "Nothing was lost."
_TITLES = "#ss-type-title, #ss-similar-title"
FOCUS = "() => {{ setTimeout(() => {{ const goal = document.querySelector('{goal}'); \
if (goal) {{ goal.focus({{preventScroll: true}}); goal.scrollIntoView({{block: 'start'}}); }} \
}}, 150); }}"


@dataclass(frozen=True)
class Filters:
    """What one visitor has filtered by, and what was typed for the dates."""

    choices: Mapping[str, frozenset[str]]
    years: tuple[str, str] = ("", "")


@dataclass(frozen=True)
class BrowseParts:
    """The parts of the browsing tab that events read or change."""

    words: gr.Textbox
    chosen: gr.State
    filters: gr.HTML
    views: gr.HTML
    types: gr.HTML
    map: gr.HTML
    shown: gr.HTML
    place: gr.HTML


def script(name: str) -> str:
    """One of the page's own scripts."""
    return files("simsearch.page").joinpath(name).read_text(encoding="utf-8")


def html(value: str, **options: Any) -> gr.HTML:
    """A piece of HTML with our own style sheet only: the framework's sets margins on lists."""
    return gr.HTML(value, apply_default_css=False, **options)


def light(event: Callable[..., Any], function: Callable[..., Any], **options: Any) -> Any:
    """Wire an event that is answered at once and never waits behind the encoder."""
    return event(function, queue=False, show_progress="hidden", api_visibility="private", **options)


def payload(event: gr.EventData) -> dict[str, Any]:
    """What the browser sent with an event: anybody can send anything, so check its shape."""
    return event._data if isinstance(event._data, dict) else {}


def lay_out_browsing(reference: ReferenceSet) -> BrowseParts:
    """Put the browsing tab together; called where the tab is laid out."""
    start, everything = Wanted(), filter_types(reference.types.values(), Wanted())
    with gr.Column(elem_id="ss-listing"):
        words = gr.Textbox(
            label="Words to look for",
            placeholder="for example: penannular, knob, iron",
            elem_id="ss-words",
            max_length=_LONGEST_SEARCH,
        )
        chosen = gr.State(Filters({}), time_to_live=_HOUR)
        filters = html(
            browsing.render_filters(everything, start),
            js_on_load=script("filters.js"),
            elem_id="ss-filters",
        )
        views = html(browsing.render_views("list"), elem_id="ss-views")
        # What is seen of list, picture and type page is left to the style sheet: it goes by which
        # way to look is current and by whether there is a type page. Nothing is taken out of the
        # page, so that the picture keeps its zoom.
        with gr.Column(elem_id="ss-list-view"):
            types = html(browsing.render_listing(reference, everything, start), elem_id="ss-browse")
        with gr.Column(elem_id="ss-map-view"):
            shown = html(
                browsing.render_shown(everything, start),
                js_on_load="watch('value', () => window.dispatchEvent(new Event('ss-shown')));",
                elem_id="ss-map-shown",
            )
            overview_map = html(
                "",
                js_on_load=script("map.js"),
                elem_id="ss-map",
                server_functions=[_thumbs_of(reference), _picked_of(reference)],
            )
    place = html("", elem_id="ss-type-page")
    return BrowseParts(words, chosen, filters, views, types, overview_map, shown, place)


def wire_browsing(
    parts: BrowseParts, moves: gr.HTML, tabs: gr.Tabs, tray: gr.State, reference: ReferenceSet
) -> None:
    """Say what happens in the browsing tab; ``moves`` is the part that sends where people go."""
    _wire_filters(parts, reference)
    _wire_places(parts, moves, tabs, reference)
    _wire_find(parts, moves, tabs, tray, reference)
    _wire_overview(parts, reference)


def _wire_filters(parts: BrowseParts, reference: ReferenceSet) -> None:
    def searched(words: str, chosen: Filters) -> tuple[str, str, str]:
        return _filtered(reference, words, chosen)

    def changed(words: str, event: gr.EventData) -> tuple[Filters, str, str, str]:
        chosen = _read_filters(payload(event))
        return chosen, *_filtered(reference, words, chosen)

    answers = [parts.filters, parts.types, parts.shown]
    light(
        parts.words.change, searched, inputs=[parts.words, parts.chosen], outputs=answers,
        trigger_mode="always_last",
    )  # fmt: skip
    light(
        parts.filters.changed, changed, inputs=parts.words, outputs=[parts.chosen, *answers],
        trigger_mode="always_last",
    )  # fmt: skip


def _filtered(reference: ReferenceSet, words: str, chosen: Filters) -> tuple[str, str, str]:
    years: tuple[int | None, int | None] = (None, None)
    problem = ""
    try:
        years = read_years(*chosen.years)
    except DateError as error:
        problem = f"{error.message} {error.hint}"
    wanted = Wanted((words or "")[:_LONGEST_SEARCH], chosen.choices, years)
    filtered = filter_types(reference.types.values(), wanted)
    return (
        browsing.render_filters(filtered, wanted, chosen.years, problem),
        browsing.render_listing(reference, filtered, wanted),
        browsing.render_shown(filtered, wanted),
    )


def _read_filters(sent: Mapping[str, Any]) -> Filters:
    """What the browser says is ticked and typed; anything of another shape is left out."""
    choices: dict[str, frozenset[str]] = {}
    for name in FACETS:
        ticked = sent.get(name)
        if isinstance(ticked, list):
            choices[name] = frozenset(str(label)[:200] for label in ticked[:200])
    first, last = (str(sent.get(end) or "")[:12] for end in ("first", "last"))
    return Filters(choices, (first, last))


def _wire_places(
    parts: BrowseParts, moves: gr.HTML, tabs: gr.Tabs, reference: ReferenceSet
) -> None:
    def opened(event: gr.EventData) -> tuple[Any, ...]:
        return _place(reference, payload(event))

    places = [tabs, parts.views, parts.place]
    light(moves.open, opened, outputs=places).then(
        None, js=FOCUS.format(goal=_TITLES), api_visibility="private"
    )


def _place(reference: ReferenceSet, asked: Mapping[str, Any]) -> tuple[Any, ...]:
    """Where to go: the tab, the way to look at the set, and the page of a type or a photo."""
    inner = ""
    if asked.get("type"):
        every = asked.get("all") == "yes"
        inner = render.render_type_or_close(str(asked["type"]), reference, every_photo=every)
    elif asked.get("like"):
        photo_id = str(asked["like"])
        inner = _told(
            lambda: browsing.render_similar(
                reference, photo_id, similar_to_photo(reference, photo_id)
            )
        )
    if inner:
        return gr.Tabs(selected="types"), gr.skip(), inner
    tab = "types" if asked.get("view") or asked.get("tab") == "types" else "look"
    view = "overview" if asked.get("view") == "overview" else "list"
    return gr.Tabs(selected=tab), browsing.render_views(view), ""


def _wire_find(
    parts: BrowseParts, moves: gr.HTML, tabs: gr.Tabs, tray: gr.State, reference: ReferenceSet
) -> None:
    def found(held: Tray, event: gr.EventData) -> Iterator[tuple[Any, ...]]:
        yield gr.Tabs(selected="types"), browsing.render_similar_wait(reference)
        yield gr.skip(), similar_to_find(held, payload(event).get("position"), reference)

    asked = moves.find(
        found,
        inputs=tray,
        outputs=[tabs, parts.place],
        api_visibility="private",
        concurrency_id="encoder",
        concurrency_limit=1,
        show_progress="hidden",
    )
    asked.success(None, js=FOCUS.format(goal=_TITLES), api_visibility="private")
    light(asked.failure, render.render_busy, outputs=parts.place)


def similar_to_find(tray: Tray, position: object, reference: ReferenceSet) -> str:
    """What looks like one photo of the find in hand as HTML, or what went wrong."""
    if not isinstance(position, int) or not 0 <= position < len(tray.photos):
        return render.render_problem(
            "That photo of your find is no longer held here.",
            "Choose it again under “Your find”.",
            _KEPT,
        )
    photo = tray.photos[position]
    return _told(
        lambda: browsing.render_similar_to_find(
            reference, photo, similar_to_image(reference, photo.image)
        )
    )


def _wire_overview(parts: BrowseParts, reference: ReferenceSet) -> None:
    def drawn() -> Iterator[str]:
        yield browsing.render_overview_wait(reference)
        yield _told(lambda: browsing.render_overview(reference, overview(reference.index)))

    parts.map.wanted(
        drawn,
        outputs=parts.map,
        api_visibility="private",
        concurrency_id="overview",
        concurrency_limit=1,
        show_progress="hidden",
    )


def _thumbs_of(reference: ReferenceSet) -> Callable[[Any], dict[str, str]]:
    def thumbs(ids: Any) -> dict[str, str]:
        """Small pictures as data URIs by photo id; photos that cannot be read are left out."""
        by_id = {row.id: row for row in reference.photos}  # anew: the open set may change
        wanted = ids if isinstance(ids, list) else []
        rows = [
            by_id[one] for one in wanted[:_THUMBS_AT_ONCE] if isinstance(one, str) and one in by_id
        ]
        made = ((row.id, thumbnail(reference.path_of(row), _MAP_THUMB_SIDE)) for row in rows)
        return {photo_id: picture.data_uri for photo_id, picture in made if picture}

    return thumbs


def _picked_of(reference: ReferenceSet) -> Callable[[Any], str]:
    def picked(photo_id: Any) -> str:
        """The photo picked in the overview as HTML."""
        return _told(lambda: browsing.render_picked(reference, str(photo_id)))

    return picked


def _told(make: Callable[[], str]) -> str:
    """The HTML that ``make`` gives, or what went wrong and what to do in its place."""
    try:
        return make()
    except SimsearchError as error:
        return render.render_problem(error.message, error.hint, _KEPT)
    except Exception:
        # A fault of ours: the trace belongs in the window the page was started from.
        _LOG.exception("browsing failed")
        return render.render_problem(
            "Something went wrong inside simsearch.",
            "Try once more; what happened is written in the window it was started from.",
            _KEPT,
        )
