"""A set's index, odds and check: the commands ``index``, ``odds`` and ``check``."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from simsearch import terminal
from simsearch.commands.common import (
    PROBLEMS,
    JsonOption,
    console,
    open_set_folder,
    say,
    say_json,
    with_bar,
)
from simsearch.errors import SetError
from simsearch.page import words


def index(
    set_folder: Annotated[
        Path | None,
        typer.Argument(metavar="[SET]", help="Folder of a set; the shipped one without this."),
    ] = None,
    encoder: Annotated[
        str,
        typer.Option(
            help="'built-in', or 'open_clip:ARCH/TAG' where TAG may be a file of weights."
        ),
    ] = "built-in",
) -> None:
    """Build the index of a set, or build it again. Stopped half way, the old one stays."""
    reference = open_set_folder(set_folder)
    if not reference.photos:
        raise SetError("this set has no photos.", hint="Add some before building its index.")
    from simsearch.encode import load_encoder

    loaded = load_encoder(encoder)
    with_bar(
        "Encoding photos",
        lambda progress: reference.rebuild_index(loaded, progress=progress),
    )
    say(f"Indexed {words.count(len(reference.photos), 'photo')} with {loaded.name}.")


def odds(
    set_folder: Annotated[Path, typer.Argument(metavar="SET", help="Folder of your own set.")],
) -> None:
    """Measure the odds of your own set: each object is looked up among all the others.

    Run it after 'index' and again when photos change. Too few objects: nothing is written.
    """
    reference = open_set_folder(set_folder)
    from simsearch.leads.own_set import measure_own_odds

    found = with_bar("Looking objects up", lambda progress: measure_own_odds(reference, progress))
    terminal.print_measured(console(), found)


def check(
    set_folder: Annotated[
        Path | None,
        typer.Argument(metavar="[SET]", help="Folder of a set; the shipped one without this."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Check a set: tables, licences, files, hashes, index. Ends with 1 on any error found."""
    from simsearch.sets.check import check_set
    from simsearch.sets.reference_set import shipped_set_folder

    problems = check_set(set_folder or shipped_set_folder())
    errors = [problem for problem in problems if problem.severity == "error"]
    if as_json:
        say_json([asdict(problem) for problem in problems])
    else:
        terminal.print_problems(console(), problems)
        warnings = words.count(len(problems) - len(errors), "warning")
        say(f"{words.count(len(errors), 'error')}, {warnings}.")
    if errors:
        raise typer.Exit(PROBLEMS)
