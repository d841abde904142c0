"""The country chosen once, and what its law asks, line by line with sources."""

from __future__ import annotations

from itertools import groupby
from typing import Any

import gradio as gr

from simsearch.errors import SimsearchError
from simsearch.law import CHECK_CURRENT, COUNTRIES, NOT_ADVICE, LawError
from simsearch.law.choice import choose_country, chosen_country
from simsearch.law.countries import rules
from simsearch.page.browse import html, light, payload, script
from simsearch.page.pieces import fill
from simsearch.page.refine import typed


def lay_out_law() -> gr.HTML:
    """Put the part on law together."""
    return html(render_law(), js_on_load=script("forms.js"), elem_id="ss-law-tab")


def wire_law(part: gr.HTML) -> None:
    """Say what happens when a country is chosen."""

    def chosen(event: gr.EventData) -> str:
        return choose(typed(payload(event).get("fields")).get("country", ""))

    light(part.asked, chosen, outputs=part)


def choose(country: str) -> str:
    """Keep the country and show its law; or say what is wrong."""
    try:
        choose_country(country)
    except SimsearchError as error:
        return render_law(str(error))
    return render_law()


def render_law(problem: str = "") -> str:
    """What the law asks in the country chosen; without one, the choice alone."""
    try:
        country = chosen_country() or ""
    except LawError as error:
        country, problem = "", problem or str(error)
    topics: list[dict[str, Any]] = []
    if country:
        for topic, lines in groupby(rules(country), key=lambda rule: rule.topic):
            topics.append({"name": topic, "lines": list(lines)})
    return fill(
        "law.html",
        country=country,
        country_name=COUNTRIES.get(country, ""),
        countries=list(COUNTRIES.items()),
        topics=topics,
        problem=problem,
        check_current=CHECK_CURRENT,
        not_advice=NOT_ADVICE,
    )
