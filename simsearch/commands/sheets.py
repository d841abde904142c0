"""``simsearch sheet ...``: PDF sheets for paper, of a find, a type, or look-alikes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simsearch.commands.common import SetOption, Usage, open_set_folder, say
from simsearch.register.observing import observed_of

if TYPE_CHECKING:
    from simsearch.leads.model import Leads
    from simsearch.register.records import FindRecord
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sheets.words import Note

app = typer.Typer(
    no_args_is_help=True,
    help="PDF sheets on A4: a find for the finds officer, a type, look-alikes side by side.",
)
OutArgument = Annotated[Path, typer.Argument(metavar="OUT.pdf", help="The PDF file to write.")]
ReplaceOption = Annotated[bool, typer.Option("--replace", help="Replace OUT.pdf.")]


@app.command("find")
def find(
    find_id: Annotated[str, typer.Argument(metavar="FIND", help="A find's id: find-0001.")],
    out: OutArgument,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--register",
            metavar="DIR",
            help="Folder of the register; without this 'simsearch/register' in your data folder.",
        ),
    ] = None,
    set_folder: SetOption = None,
    look: Annotated[
        bool, typer.Option("--leads/--no-leads", help="Look the find's photos up for leads.")
    ] = True,
    exact: Annotated[
        bool, typer.Option("--exact", help="The findspot as recorded, not coarse.")
    ] = False,
    replace: ReplaceOption = False,
) -> None:
    """Write the sheet of one find. Its findspot is coarse unless --exact is given."""
    from simsearch.register.store import open_register
    from simsearch.sheets.find import find_sheet

    _check_free(out, replace)
    with open_register(folder, create=False) as register:
        record = register.get(find_id)
        paths = [register.photo_path(photo) for photo in record.photos]
    reference = open_set_folder(set_folder)
    leads = _leads(reference, record, paths) if look and paths else None
    made = find_sheet(
        record, paths, leads, types=reference.types, exact_findspot=exact,
        cautions=_cautions_of_find(record, leads, reference),
    )  # fmt: skip
    _write(out, made)
    if exact and record.findspot is not None:
        say("It shows the exact findspot: hand it only to whom may know.")


@app.command("type")
def type_(
    type_id: Annotated[str, typer.Argument(metavar="ID", help="A type's id, as 'types' lists it.")],
    out: OutArgument,
    set_folder: SetOption = None,
    replace: ReplaceOption = False,
) -> None:
    """Write the sheet of one type, for a talk or a table."""
    from simsearch.sheets.type_sheet import type_sheet

    _check_free(out, replace)
    reference = open_set_folder(set_folder)
    kind = reference.types.get(type_id)
    cautions = _notes(kind.cautions) if kind is not None else None
    _write(out, type_sheet(reference, type_id, cautions=cautions))


@app.command("look-alikes")
def look_alikes(
    wanted: Annotated[
        list[str],
        typer.Argument(metavar="ID ID [ID] OUT.pdf", help="Two or three types, then the file."),
    ],
    set_folder: SetOption = None,
    replace: ReplaceOption = False,
) -> None:
    """Write two or three types side by side."""
    from simsearch.sheets.look_alikes import look_alike_sheet

    if len(wanted) < 3:
        raise Usage("a look-alike sheet needs two or three types and a file.",
                    hint="Such as: simsearch sheet look-alikes knee dolphin OUT.pdf")  # fmt: skip
    out = Path(wanted[-1])
    _check_free(out, replace)
    reference, ids = open_set_folder(set_folder), wanted[:-1]
    known = [reference.types[type_id] for type_id in ids if type_id in reference.types]
    cautions = _notes({key for kind in known for key in kind.cautions})
    _write(out, look_alike_sheet(reference, ids, cautions=cautions))


def _check_free(out: Path, replace: bool) -> None:
    """Refuse before any work what would be refused at the end."""
    if out.suffix.casefold() != ".pdf":
        raise Usage(f"'{out}' does not end in .pdf.", hint="Give the PDF file to write last.")
    if out.is_dir() or not out.parent.is_dir():
        raise Usage(f"'{out}' cannot be written.", hint="Name a file in a folder that exists.")
    if out.exists() and not replace:
        raise Usage(f"'{out}' is there already.", hint="Name another file, or give --replace.")


def _write(out: Path, content: bytes) -> None:
    from simsearch.files import write_bytes

    try:
        write_bytes(out, content)
    except OSError as error:
        raise Usage(
            f"'{out}' could not be written ({error.strerror or error}).",
            hint="Check that the disk has room and may be written to.",
        ) from error
    say(f"Wrote {out} ({len(content) // 1024 + 1} KB, A4).")


def _leads(reference: ReferenceSet, record: FindRecord, paths: Sequence[Path]) -> Leads:
    return reference.look([str(path) for path in paths], observed=observed_of(record))


def _cautions_of_find(
    record: FindRecord, leads: Leads | None, reference: ReferenceSet
) -> list[Note]:
    from simsearch.sheets.find import caution_keys

    return _notes(caution_keys(record, leads, reference.types))


def _notes(keys: Sequence[str] | set[str]) -> list[Note]:
    """The cautions that the page shows, for paper."""
    from simsearch.page.cautions import for_keys
    from simsearch.sheets.words import Note

    return [Note(item.title, item.text, item.urgent) for item in for_keys(keys)]
