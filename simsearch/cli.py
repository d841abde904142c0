"""The commands. Each is thin: it calls the same functions as the page and prints.

Anything slow to import (torch, the page) is imported inside the command that needs it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape

from simsearch import terminal
from simsearch.errors import (
    EncoderError,
    MissingIndexError,
    PhotoError,
    SetError,
    SimsearchError,
    StaleIndexError,
)
from simsearch.page import words

if TYPE_CHECKING:
    from simsearch.leads.model import Leads
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type

FINE, PROBLEMS, WRONG_USE, NOT_READY = range(4)

_EXIT_CODES = (
    "Exit codes: 0 fine; 1 problems found, or nothing in the set looks close; "
    "2 wrong use or unreadable input; 3 the set, its index or the encoder is not ready."
)
_NOT_READY_ERRORS = (SetError, MissingIndexError, StaleIndexError, EncoderError)

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Ranked leads, with date ranges and evidence, for photos of small corroded finds. "
    "Leads to verify, not identifications.",
    epilog=_EXIT_CODES,
)

SetOption = Annotated[
    Path | None,
    typer.Option(
        "--set", metavar="DIR", help="Folder of a reference set; the shipped one without this."
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON only.")]


class _Usage(SimsearchError):
    """A command was given something it cannot work with."""


@app.callback()
def _options(
    context: typer.Context,
    debug: Annotated[bool, typer.Option("--debug", hidden=True)] = False,
) -> None:
    context.obj = {"debug": debug}


@app.command()
def page(
    set_folder: SetOption = None,
    host: Annotated[
        str, typer.Option(help="Address to serve on; only this computer without a change.")
    ] = "127.0.0.1",
    port: Annotated[
        int | None, typer.Option(min=1, max=65535, help="Port; the first free one without this.")
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open a browser.")] = False,
) -> None:
    """Start the page and print the address to open."""
    from simsearch.page.start import start_page

    reference = _open(set_folder)
    reference.index  # noqa: B018  a missing index is told now, not at the first photo

    def tell(address: str) -> None:
        _print(f"Open {address} in a browser. Stop with Ctrl+C.")

    start_page(reference, host=host, port=port, open_browser=not no_browser, tell=tell)


@app.command()
def look(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos or folders.")],
    set_folder: SetOption = None,
    k: Annotated[int, typer.Option("--k", min=1, max=100, help="Leads to list.")] = 10,
    together: Annotated[
        bool,
        typer.Option(
            "--together/--each",
            help="All photos show one find, or each photo is a find of its own.",
        ),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Rank leads for photos of finds.

    A photo that cannot be read is reported and the others go on. Ends with 2 when any photo
    could not be read, else with 1 when no find has anything close, else with 0.
    """
    reference = _open(set_folder)
    reference.index  # noqa: B018  told once, before any photo is read
    readable, problems = _read_all(_photo_paths(photos))
    groups = [readable] if together and readable else [[photo] for photo in readable]
    finds = [_look_at(group, reference, k) for group in groups]
    if as_json:
        _print_json(_leads_document(finds, problems))
    else:
        _print_finds(finds, reference)
    if problems:
        raise typer.Exit(WRONG_USE)
    if not any(leads.anything_close for _, leads in finds):
        raise typer.Exit(PROBLEMS)


@app.command()
def types(
    wanted: Annotated[
        list[str] | None, typer.Argument(metavar="[WORDS]...", help="Only types holding these.")
    ] = None,
    set_folder: SetOption = None,
    group: Annotated[str | None, typer.Option(help="Only this group, such as 'bow brooch'.")] = None,
    as_json: JsonOption = False,
) -> None:
    """List the types of a set, all or those that hold every one of the words."""
    reference = _open(set_folder)
    found = words.find_types(reference.types.values(), " ".join(wanted or ()))
    if group is not None:
        found = [kind for kind in found if kind.group == _group(group, reference)]
    if as_json:
        _print_json([_type_document(kind) for kind in found])
    else:
        terminal.print_types(_console(), found)
        _print(f"{len(found)} of {words.count(len(reference.types), 'type')}.")
    if not found:
        raise typer.Exit(PROBLEMS)


@app.command("type")
def show_type(
    type_id: Annotated[str, typer.Argument(metavar="ID", help="A type's id, as 'types' lists it.")],
    set_folder: SetOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show everything the set says about one type."""
    reference = _open(set_folder)
    kind = reference.types.get(type_id)
    if kind is None:
        close = words.close_ids(type_id, reference.types)
        hint = f"Did you mean {_either(close)}?" if close else "List them with: simsearch types"
        raise _Usage(f"there is no type '{type_id}' in this set.", hint=hint)
    if as_json:
        _print_json(_type_document(kind))
    else:
        terminal.print_type(_console(), kind, reference)


@app.command()
def index(
    set_folder: Annotated[
        Path | None,
        typer.Argument(metavar="[SET]", help="Folder of a set; the shipped one without this."),
    ] = None,
    encoder: Annotated[
        str,
        typer.Option(help="'built-in', or 'open_clip:ARCH/TAG' where TAG may be a file of weights."),
    ] = "built-in",
) -> None:
    """Build the index of a set, or build it again. Stopped half way, the old one stays."""
    reference = _open(set_folder)
    if not reference.photos:
        raise SetError("this set has no photos.", hint="Add some before building its index.")
    from simsearch.encode import load_encoder

    loaded = load_encoder(encoder)
    _with_bar(
        "Encoding photos",
        lambda progress: reference.rebuild_index(loaded, progress=progress),
    )
    _print(f"Indexed {words.count(len(reference.photos), 'photo')} with {loaded.name}.")


@app.command()
def check(
    set_folder: Annotated[
        Path | None,
        typer.Argument(metavar="[SET]", help="Folder of a set; the shipped one without this."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Check a set: tables, licences, files, hashes, index. Ends with 1 on any error found."""
    from simsearch.sets.check import check_set

    problems = check_set(set_folder)
    errors = [problem for problem in problems if problem.severity == "error"]
    if as_json:
        _print_json([asdict(problem) for problem in problems])
    else:
        terminal.print_problems(_console(), problems)
        warnings = words.count(len(problems) - len(errors), "warning")
        _print(f"{words.count(len(errors), 'error')}, {warnings}.")
    if errors:
        raise typer.Exit(PROBLEMS)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; errors become one line on stderr."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        ended = app(args=given, prog_name="simsearch", standalone_mode=False)
        return ended if isinstance(ended, int) else FINE
    except (KeyboardInterrupt, typer.Abort):
        _complain("stopped.", "Nothing was changed.")
        return 130
    except SimsearchError as error:
        _raise_if_debug(given)
        _complain(error.message, error.hint)
        return NOT_READY if isinstance(error, _NOT_READY_ERRORS) else WRONG_USE
    except Exception as error:
        return _unexpected(error, given)


def _unexpected(error: Exception, given: Sequence[str]) -> int:
    # The option parser's own errors share no public base class across its versions; all of
    # them can put themselves into words.
    in_words = getattr(error, "format_message", None)
    if callable(in_words):
        if type(error).__name__ == "NoArgsIsHelpError":
            return WRONG_USE  # the help has been printed
        _complain(str(in_words()), "See: simsearch --help")
        return WRONG_USE
    _raise_if_debug(given)
    if isinstance(error, BrokenPipeError):
        return FINE
    what = f"{type(error).__name__}: {error}".splitlines()[0]
    _complain(f"simsearch failed ({what}).", "Run it again with --debug first to see where.")
    return WRONG_USE


def _raise_if_debug(given: Sequence[str]) -> None:
    if "--debug" in given:
        raise  # noqa: PLE0704  called from an except block only


def _complain(what: str, hint: str) -> None:
    """Write ``error: what. what to do`` to stderr, on one line unless there is a list in it."""
    first = what[:1].lower() + what[1:] if what[1:2].islower() else what
    ended = first if first.endswith((".", "!", "?")) or "\n" in first else f"{first}."
    _console(stderr=True).print(f"error: {ended} {hint}".rstrip(), markup=False, soft_wrap=True)


def _console(*, stderr: bool = False) -> Console:
    return Console(stderr=stderr, highlight=False, emoji=False)


def _print(text: str) -> None:
    _console().print(text, markup=False, soft_wrap=True)


def _print_json(document: Any) -> None:
    sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=2) + "\n")


def _open(folder: Path | None) -> ReferenceSet:
    from simsearch.sets.reference_set import open_set

    return open_set(folder)


def _photo_paths(given: Sequence[Path]) -> list[Path]:
    from simsearch.photo import list_photos

    paths: list[Path] = []
    for path in given:
        found = list_photos(path) if path.is_dir() else [path]
        if not found:
            raise _Usage(f"there are no photos in '{path}'.", hint="Give photos or their folder.")
        paths.extend(found)
    return paths


Readable = tuple[Path, Any]


def _read_all(paths: Sequence[Path]) -> tuple[list[Readable], list[tuple[Path, PhotoError]]]:
    """Open every photo; those that cannot be read are told on stderr and set aside."""
    from simsearch.photo import open_photo

    readable, problems = [], []
    for path in paths:
        try:
            readable.append((path, open_photo(path, max_side=1600)))
        except PhotoError as error:
            _complain(error.message, error.hint)
            problems.append((path, error))
    return readable, problems


Find = tuple[list[Path], "Leads"]


def _look_at(group: Sequence[Readable], reference: ReferenceSet, k: int) -> Find:
    return [path for path, _ in group], reference.look([photo for _, photo in group], k=k)


def _print_finds(finds: Sequence[Find], reference: ReferenceSet) -> None:
    console = _console()
    for paths, leads in finds:
        terminal.print_leads(console, ", ".join(str(path) for path in paths), leads, reference)
        console.print()
    if finds:
        _print(words.LEADS_NOT_IDENTIFICATIONS)


def _leads_document(
    finds: Sequence[Find], problems: Sequence[tuple[Path, PhotoError]]
) -> dict[str, Any]:
    return {
        "note": words.LEADS_NOT_IDENTIFICATIONS,
        "finds": [
            {"photos": [str(path) for path in paths], **leads.to_dict()} for paths, leads in finds
        ],
        "problems": [
            {"photo": str(path), "what": error.message, "what_to_do": error.hint}
            for path, error in problems
        ],
    }


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
    raise _Usage(f"no type here is in a group '{wanted}'.", hint=f"Groups: {', '.join(groups)}.")


def _either(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} or {items[-1]}"


def _with_bar(label: str, work: Callable[[Callable[[int, int], None]], object]) -> None:
    """Run ``work`` with a function that takes (done, total) and moves a bar on stderr."""
    from rich.progress import Progress

    with Progress(console=_console(stderr=True), transient=True) as bar:
        task = bar.add_task(escape(label), total=None)
        work(lambda done, total: bar.update(task, completed=done, total=total))
