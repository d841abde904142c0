"""The tab "Practice": a fragment, a guess, what decides. Wiring; the exercise is ``practice``'s."""

from __future__ import annotations

import logging
import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import gradio as gr

from simsearch.errors import SimsearchError
from simsearch.page import render
from simsearch.page.browse import FOCUS, html, payload, script
from simsearch.page.pieces import fill
from simsearch.page.practice_view import render_answer, render_exercise
from simsearch.page.refine import typed
from simsearch.practice.answer import judge
from simsearch.practice.exercise import ask
from simsearch.practice.pool import make_pool
from simsearch.practice.scores import Scores, summary

if TYPE_CHECKING:
    from simsearch.practice.exercise import Exercise
    from simsearch.practice.pool import Pool
    from simsearch.sets.reference_set import ReferenceSet

_LOG = logging.getLogger(__name__)
_HOUR = 3600
_KEPT = "Nothing was scored."


@dataclass(frozen=True, eq=False)
class Playing:
    """One visitor's evening: who plays, what can be shown, and the question that stands open.

    The answer stays here, on the server, until the guess has been made.
    """

    player: str = ""
    pool: Pool | None = None
    made_from: str = ""
    exercise: Exercise | None = None


@dataclass(frozen=True)
class PracticeParts:
    """The parts of the tab that events read or change."""

    playing: gr.State
    place: gr.HTML


def lay_out_practice() -> PracticeParts:
    """Put the tab together."""
    playing = gr.State(Playing(), time_to_live=_HOUR)
    place = html(render_start(), js_on_load=script("forms.js"), elem_id="ss-practice")
    return PracticeParts(playing, place)


def wire_practice(
    parts: PracticeParts, reference: ReferenceSet, scores: Path | None = None
) -> None:
    """Say what the buttons do; ``scores`` is the folder of the scores, the user's own without."""

    def asked(playing: Playing, event: gr.EventData) -> tuple[str, Playing]:
        return answer(playing, payload(event), reference, Scores(scores))

    done = parts.place.asked(
        asked,
        inputs=parts.playing,
        outputs=[parts.place, parts.playing],
        api_visibility="private",
        concurrency_id="encoder",
        concurrency_limit=1,
        show_progress="hidden",
    )
    goal = "#ss-practice-answer, #ss-practice-title, #ss-practice h2"
    done.success(None, js=FOCUS.format(goal=goal), api_visibility="private")


def answer(
    playing: Playing, sent: dict[str, Any], reference: ReferenceSet, scores: Scores
) -> tuple[str, Playing]:
    """What to show for what a button asked, or what went wrong in its place."""
    fields = typed(sent.get("fields"))
    does: dict[str, Callable[[], tuple[str, Playing]]] = {
        "play": lambda: _next(replace(playing, player=fields.get("player", "")), reference, scores),
        "next": lambda: _next(playing, reference, scores),
        "guess": lambda: _judged(playing, fields.get("ss-practice", ""), reference, scores),
        "scores": lambda: (render_scores(scores), replace(playing, exercise=None)),
        "delete": lambda: _deleted(fields.get("player", ""), playing, scores),
    }
    try:
        return does.get(str(sent.get("do")), lambda: (render_start(playing.player), playing))()
    except SimsearchError as error:
        told = render.render_problem(error.message, error.hint, _KEPT)
    except Exception:
        # A fault of ours: the trace belongs in the window the page was started from.
        _LOG.exception("practice failed")
        told = render.render_problem(
            "Something went wrong inside simsearch.",
            "Try once more; what happened is written in the window it was started from.",
            _KEPT,
        )
    return render_start(playing.player, told), replace(playing, exercise=None)


def _next(playing: Playing, reference: ReferenceSet, scores: Scores) -> tuple[str, Playing]:
    player = scores.player(playing.player)
    made_from = reference.fingerprint
    pool = playing.pool if playing.made_from == made_from else None
    if pool is None:
        pool = make_pool(reference, seed=secrets.randbelow(2**31))
    exercise = ask(
        pool,
        player.staircase.level,
        seed=secrets.randbelow(2**31),
        seen=player.seen(reference.name),
    )
    body = render_exercise(exercise, reference, player=player, note=pool.note)
    page = fill("practice_tab.html", body=body, problem="", open=True, player=player.name)
    return page, Playing(player.name, pool, made_from, exercise)


def _judged(
    playing: Playing, guess: str, reference: ReferenceSet, scores: Scores
) -> tuple[str, Playing]:
    exercise = playing.exercise
    if exercise is None:  # answered already, or left lying too long
        return _next(playing, reference, scores)
    player = scores.player(playing.player)
    if not guess:
        body = render_exercise(exercise, reference, player=player)
        problem = "Choose one of the types, or “cannot tell”."
        page = fill("practice_tab.html", body=body, problem=problem, open=True, player=player.name)
        return page, playing
    judged = judge(exercise, guess, reference.types)
    player = scores.record(player.name, exercise, judged, reference.name)
    body = render_answer(exercise, judged, reference, player=player)
    page = fill("practice_tab.html", body=body, problem="", open=False, player=player.name)
    return page, replace(playing, exercise=None)


def _deleted(name: str, playing: Playing, scores: Scores) -> tuple[str, Playing]:
    gone = scores.delete(name)
    told = f"Deleted: {name.strip()}, {gone} answers."
    return render_scores(scores, told), replace(playing, exercise=None)


def render_start(player: str = "", problem: str = "") -> str:
    """Who is practising?"""
    return fill("practice_start.html", player=player, problem=problem)


def render_scores(scores: Scores, told: str = "") -> str:
    """Everybody's scores, each of which can be deleted."""
    players = [{"name": player.name, "words": summary(player)} for player in scores.players()]
    return fill("practice_scores.html", players=players, told=told)
