"""Longer work for "Your set": done beside while telling how far it is, and faults in words."""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable, Generator
from typing import Any

from simsearch.errors import SimsearchError
from simsearch.page import render

_LOG = logging.getLogger(__name__)
_OUR_FAULT = (
    "Something went wrong inside simsearch. Try once more; what happened is written in the "
    "window it was started from."
)
KEPT = "What was in the set before is still in it."
Work = Callable[[Callable[[int, int], None]], Any]


def stepping(work: Work) -> Generator[tuple[int, int], None, Any]:
    """Do ``work`` beside, and give (done, total) as it goes on; its result at the end.

    Whoever asked may leave: the work is finished nevertheless. Raises what ``work`` raises.
    """
    told: queue.Queue[tuple[int, int] | None] = queue.Queue()
    ended: dict[str, Any] = {}

    def run() -> None:
        try:
            ended["result"] = work(lambda done, total: told.put((done, total)))
        except BaseException as error:
            ended["error"] = error
        told.put(None)

    threading.Thread(target=run, daemon=True).start()
    while (step := told.get()) is not None:
        while not told.empty():  # only the latest is worth sending
            later = told.get()
            if later is None:
                told.put(None)
                break
            step = later
        yield step
    if "error" in ended:
        raise ended["error"]
    return ended["result"]


def told_or(make: Callable[[], str]) -> str:
    """The HTML that ``make`` gives, or what went wrong in its place."""
    try:
        return make()
    except Exception as error:
        return render_fault(error)


def problem_of(work: Callable[[], Any]) -> str:
    """Do something; what went wrong as a sentence or two, empty when nothing did."""
    try:
        work()
    except SimsearchError as error:
        return str(error)
    except Exception:
        # A fault of ours: the trace belongs in the window the page was started from.
        _LOG.exception("a change of the set failed")
        return _OUR_FAULT
    return ""


def render_fault(error: Exception, kept: str = KEPT) -> str:
    """What went wrong as HTML; a fault of ours goes to the window without its trace here."""
    if isinstance(error, SimsearchError):
        return render.render_problem(error.message, error.hint, kept)
    _LOG.error("your set: something failed", exc_info=error)
    return render.render_problem(_OUR_FAULT, "", kept)
