"""Reading about types: the commands ``types`` and ``type``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from simsearch import terminal
from simsearch.commands.common import (
    PROBLEMS,
    JsonOption,
    SetOption,
    Usage,
    console,
    open_set_folder,
    say,
    say_json,
)
from simsearch.page import words

if TYPE_CHECKING:
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type


def types(
    wanted: Annotated[
        list[str] | None, typer.Argument(metavar="[WORDS]...", help="Only types holding these.")
    ] = None,
    set_folder: SetOption = None,
    group: Annotated[
        str | None, typer.Option(help="Only this group, such as 'bow brooch'.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """List the types of a set, all or those that the words are about. Slips are forgiven."""
    from simsearch.browse.search import search_types

    reference = open_set_folder(set_folder)
    search = search_types(reference.types.values(), " ".join(wanted or ()))
    found = list(search.types)
    if group is not None:
        found = [kind for kind in found if kind.group == _group(group, reference)]
    if as_json:
        say_json([_type_document(kind) for kind in found])
    else:
        for note in search.notes():
            say(note)
        terminal.print_types(console(), found)
        say(f"{len(found)} of {words.count(len(reference.types), 'type')}.")
    if not found:
        raise typer.Exit(PROBLEMS)


def show_type(
    type_id: Annotated[str, typer.Argument(metavar="ID", help="A type's id, as 'types' lists it.")],
    set_folder: SetOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show everything the set says about one type."""
    reference = open_set_folder(set_folder)
    kind = reference.types.get(type_id)
    if kind is None:
        close = words.close_ids(type_id, reference.types)
        hint = f"Did you mean {_either(close)}?" if close else "List them with: simsearch types"
        raise Usage(f"there is no type '{type_id}' in this set.", hint=hint)
    if as_json:
        say_json(_type_document(kind))
    else:
        terminal.print_type(console(), kind, reference)


def _type_document(kind: Type) -> dict[str, Any]:
    plain = {
        name: value
        for name, value in vars(kind).items()
        if name not in ("dates", "features", "look_alikes")
    }
    return plain | {
        "dates": {
            "edtf": kind.dates.edtf,
            "earliest": kind.dates.earliest,
            "latest": kind.dates.latest,
            "words": kind.dates.words(),
        },
        "features": dict(kind.features),
        "look_alikes": [asdict(other) for other in kind.look_alikes],
    }


def _group(wanted: str, reference: ReferenceSet) -> str:
    groups = list(dict.fromkeys(kind.group for kind in reference.types.values()))
    for group in groups:
        if group.casefold() == wanted.strip().casefold():
            return group
    raise Usage(f"no type here is in a group '{wanted}'.", hint=f"Groups: {', '.join(groups)}.")


def _either(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} or {items[-1]}"
