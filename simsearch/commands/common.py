"""What every command shares: options, saying things, opening a set, a bar for long work."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer
from rich.console import Console
from rich.markup import escape

from simsearch.errors import SimsearchError

if TYPE_CHECKING:
    from simsearch.sets.reference_set import ReferenceSet

FINE, PROBLEMS, WRONG_USE, NOT_READY = range(4)
STOPPED = 130  # what shells give for Ctrl+C

_Made = TypeVar("_Made")
SetOption = Annotated[
    Path | None,
    typer.Option(
        "--set", metavar="DIR", help="Folder of a reference set; the shipped one without this."
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON only.")]


class Usage(SimsearchError):
    """A command was given something it cannot work with."""


def console(*, stderr: bool = False) -> Console:
    """Where commands print; plain text when that is not a terminal."""
    return Console(stderr=stderr, highlight=False, emoji=False)


def say(text: str) -> None:
    """Print a line as it is."""
    console().print(text, markup=False, soft_wrap=True)


def say_json(document: Any) -> None:
    """Print a document for programs to read."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=2) + "\n")


def complain(what: str, hint: str) -> None:
    """Write ``error: what. what to do`` to stderr, on one line unless there is a list in it."""
    first = what[:1].lower() + what[1:] if what[1:2].islower() else what
    ended = first if first.endswith((".", "!", "?")) or "\n" in first else f"{first}."
    console(stderr=True).print(f"error: {ended} {hint}".rstrip(), markup=False, soft_wrap=True)


def open_set_folder(folder: Path | None) -> ReferenceSet:
    """The set in ``folder``, or the shipped one."""
    from simsearch.sets.reference_set import open_set

    return open_set(folder)


def with_bar(label: str, work: Callable[[Callable[[int, int], None]], _Made]) -> _Made:
    """Run ``work`` with a function that takes (done, total) and moves a bar on stderr."""
    from rich.progress import Progress

    with Progress(console=console(stderr=True), transient=True) as bar:
        task = bar.add_task(escape(label), total=None)
        return work(lambda done, total: bar.update(task, completed=done, total=total))
