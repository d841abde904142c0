"""Commands that make a set: ``make``, ``add``, ``add-type``, ``opinion`` and ``withdraw``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simsearch.commands.common import (
    PROBLEMS,
    JsonOption,
    Usage,
    open_set_folder,
    say,
    say_json,
    with_bar,
)
from simsearch.page.words import count

if TYPE_CHECKING:
    from simsearch.making.plan import Defaults, Plan
    from simsearch.sets.problems import Problem
    from simsearch.sets.reference_set import ReferenceSet

_MOST_LINES = 40  # problems printed; --json gives all of them

SetArgument = Annotated[Path, typer.Argument(metavar="SET", help="Folder of a set.")]
TypeArgument = Annotated[str, typer.Argument(metavar="TYPE", help="A type's id.")]


def make(
    set_folder: Annotated[Path, typer.Argument(metavar="SET", help="A new or empty folder.")],
    title: Annotated[str, typer.Option(help="What people read as the set's name.")],
    types_from: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Set to copy the types from; the shipped one without."),
    ] = None,
    no_types: Annotated[bool, typer.Option("--no-types", help="Begin without types.")] = False,
) -> None:
    """Make a set of your own: types to begin with, and no photos yet."""
    from simsearch.making.new_set import make_set

    made = make_set(set_folder, title, types_from=types_from, with_types=not no_types)
    types = len(open_set_folder(made).types)
    say(f"Made a set with {count(types, 'type')} in {made}.")
    say(f"Add photos with: simsearch add {made} FOLDER")


def add(
    set_folder: SetArgument,
    source: Annotated[
        Path,
        typer.Argument(
            metavar="SOURCE", help="A folder of photos named or foldered by type, or a CSV table."
        ),
    ],
    creator: Annotated[str, typer.Option(help="Who took the photos.")] = "",
    licence: Annotated[str, typer.Option(help="Open licence of the photos: CC-BY-4.0 ...")] = "",
    from_where: Annotated[
        str, typer.Option("--source", help="Where the photos come from, in words.")
    ] = "",
    by: Annotated[str, typer.Option(help="Who says which type they show.")] = "",
    authority: Annotated[
        str, typer.Option(help="On what authority: 'seen in the hand', 'from the photo' ...")
    ] = "",
    view: Annotated[str, typer.Option(help="View where none is stated.")] = "front",
    completeness: Annotated[str, typer.Option(help="Where none is stated.")] = "complete",
    condition: Annotated[str, typer.Option(help="Where none is stated.")] = "worn",
    consent: Annotated[
        str, typer.Option(help="Consent to all of them: given, 'not asked' or refused.")
    ] = "",
    photos: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Where a table's photos are; beside it without this."),
    ] = None,
    keep_gps: Annotated[
        bool, typer.Option("--keep-gps", help="Keep the place a photo states, in private.csv.")
    ] = False,
    again: Annotated[
        bool, typer.Option("--again", help="Let photos in that were withdrawn before.")
    ] = False,
    preview: Annotated[
        bool, typer.Option("--preview", help="Say what would happen; write nothing.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Add photos to a set, from a folder or a table. Stopped, the same command goes on.

    Ends with 1 when something was left out; what was fine is in nevertheless.
    """
    from simsearch.making.add import Added, add_photos
    from simsearch.making.names import licence_id
    from simsearch.making.plan import Defaults

    defaults = Defaults(
        creator=creator,
        licence=licence_id(licence),
        source=from_where,
        labelled_by=by,
        label_basis=authority,
        view=view,
        completeness=completeness,
        condition=condition,
        consent=consent,
    )
    reference = open_set_folder(set_folder)
    plan = _plan(reference, source, defaults, photos, again, preview)
    added = Added()
    if plan.incoming and not preview:
        added = with_bar(
            "Adding photos",
            lambda progress: add_photos(set_folder, plan, progress=progress, keep_gps=keep_gps),
        )
    problems = (*plan.problems, *added.problems)
    if as_json:
        say_json(_added_document(plan, added.ids, problems, preview))
    else:
        _say_added(set_folder, plan, added.ids, problems, preview)
    if any(problem.severity == "error" for problem in problems):
        raise typer.Exit(PROBLEMS)


def _plan(
    reference: ReferenceSet,
    source: Path,
    defaults: Defaults,
    photos: Path | None,
    again: bool,
    preview: bool,
) -> Plan:
    from simsearch.making.from_folder import plan_from_folder
    from simsearch.making.from_table import plan_from_table

    if not source.exists():
        raise Usage(f"there is no '{source}'.", hint="Give a folder of photos or a CSV table.")
    if source.is_dir():
        return with_bar(
            "Looking at photos",
            lambda progress: plan_from_folder(
                reference, source, defaults, open_photos=preview, again=again, progress=progress
            ),
        )
    return with_bar(
        "Looking at photos",
        lambda progress: plan_from_table(
            reference,
            source,
            defaults,
            photos=photos,
            open_photos=preview,
            again=again,
            progress=progress,
        ),
    )


def _added_document(
    plan: Plan, ids: Sequence[str], problems: Sequence[Problem], preview: bool
) -> dict[str, object]:
    planned = [
        asdict(item.row) | {"from": str(item.source), "has_private": item.private is not None}
        for item in plan.incoming
    ]
    return {
        "preview": preview,
        "planned": planned,
        "added": list(ids),
        "already": plan.already,
        "problems": [asdict(problem) for problem in problems],
    }


def _say_added(
    folder: Path, plan: Plan, ids: Sequence[str], problems: Sequence[Problem], preview: bool
) -> None:
    ordered = sorted(problems, key=lambda problem: problem.severity != "error")
    for problem in ordered[:_MOST_LINES]:
        kind = "left out" if problem.severity == "error" else "note"
        say(f"{kind}: {' '.join(str(problem).split())}")
    if len(ordered) > _MOST_LINES:
        say(f"... and {len(ordered) - _MOST_LINES} more; --json gives all of them.")
    if plan.already:
        say(f"{count(plan.already, 'photo')} added before.")
    if preview:
        _say_planned(plan)
        return
    types = len({item.row.type for item in plan.incoming})
    say(f"Added {count(len(ids), 'photo')}" + (f" of {count(types, 'type')}." if ids else "."))
    if ids:
        say(f"Bring the index up to date with: simsearch index {folder}")


def _say_planned(plan: Plan) -> None:
    """Say by type how many photos of how many objects would come in."""
    by_type: dict[str, list[str]] = {}
    for item in plan.incoming:
        by_type.setdefault(item.row.type, []).append(item.row.specimen)
    for type_id, specimens in sorted(by_type.items()):
        objects = count(len(set(specimens)), "object")
        say(f"{type_id}: {count(len(specimens), 'photo')} of {objects}")
    say(f"{count(len(plan.incoming), 'photo')} would be added. Nothing has been written.")


def add_type(
    set_folder: SetArgument,
    type_id: Annotated[str, typer.Argument(metavar="ID", help="Its id, as in long-brooch-b.")],
    name: Annotated[str, typer.Option(help="Its name.")],
    dates: Annotated[str, typer.Option(help="EDTF: 0100~/0200, or -0049~/0060 from 50 BC.")],
    group: Annotated[str, typer.Option(help="Group, such as 'bow brooch'.")],
    period: Annotated[str, typer.Option(help="Period, such as Roman.")],
    material: Annotated[str, typer.Option(help="Material.")] = "copper alloy",
    fixing: Annotated[str, typer.Option(help="How the pin is fixed.")] = "other",
    basis: Annotated[str, typer.Option(help="How the date is known.")] = "from memory",
    cell: Annotated[
        list[str] | None,
        typer.Option(metavar="COLUMN=TEXT", help="Any other column of types.csv; repeatable."),
    ] = None,
) -> None:
    """Add a type with its dates to a set. Look-alikes get it as theirs in return."""
    from simsearch.making.types import add_type as add_to

    cells = {"id": type_id, "name": name, "date_edtf": dates, "group": group, "period": period}
    cells |= {"material": material, "pin_fixing": fixing, "basis": basis}
    add_to(set_folder, cells | _cells(cell or ()))
    kind = open_set_folder(set_folder).types[type_id]
    say(f"Added the type '{kind.id}': {kind.name}, {kind.dates.words()}.")


def _cells(given: Sequence[str]) -> dict[str, str]:
    cells: dict[str, str] = {}
    for item in given:
        column, sign, text = (part.strip() for part in item.partition("="))
        if not (column and sign):
            hint = "Write column and text, as in --cell 'front=A bow with a knee'."
            raise Usage(f"--cell {item} is not understood.", hint=hint)
        cells[column] = text
    return cells


def opinion(
    set_folder: SetArgument,
    photo: Annotated[str, typer.Argument(metavar="PHOTO", help="A photo's id.")],
    type_id: TypeArgument,
    by: Annotated[str, typer.Option(help="Whose opinion it is.")],
    authority: Annotated[
        str, typer.Option(help="On what authority: 'seen in the hand', 'finds officer' ...")
    ],
    note: Annotated[str, typer.Option(help="Why.")] = "",
    on: Annotated[str, typer.Option(help="Day, YYYY-MM-DD; today without this.")] = "",
    in_force: Annotated[
        bool, typer.Option("--in-force", help="Make it the label of all photos of the object.")
    ] = False,
) -> None:
    """Record an opinion on what a photo shows, beside those given before."""
    from simsearch.making.labels import give_opinion

    moved = give_opinion(set_folder, photo, type_id, by, authority, note, in_force=in_force, on=on)
    if not in_force:
        say(f"Recorded. The label in force stays; --in-force would make it '{type_id}'.")
    else:
        say(f"Recorded, and in force: {count(len(moved), 'photo')} moved to '{type_id}'.")


def withdraw(
    set_folder: SetArgument,
    photos: Annotated[list[str], typer.Argument(metavar="PHOTO...", help="Ids of photos.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask first.")] = False,
) -> None:
    """Take photos out of a set for good: file, row, opinions, private row and index."""
    from simsearch.making.withdraw import withdraw_photos

    if not yes:
        what = count(len(set(photos)), "photo")
        typer.confirm(f"Take {what} out for good? There is no way back", abort=True)
    withdraw_photos(set_folder, photos)
    say(f"Withdrawn: {', '.join(dict.fromkeys(photos))}.")
