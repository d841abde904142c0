"""The commands. Each is thin: it calls the same functions as the page and prints.

Anything slow to import (torch, the page) is imported inside the command that needs it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from simsearch import terminal
from simsearch.commands import observed as seen
from simsearch.commands.common import (
    FINE,
    NOT_READY,
    PROBLEMS,
    STOPPED,
    WRONG_USE,
    JsonOption,
    SetOption,
    Usage,
    complain,
    console,
    open_set_folder,
    say,
    say_json,
    with_bar,
)
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
    from PIL.Image import Image

    from simsearch.leads.model import Leads
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type

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


@dataclass(frozen=True)
class Find:
    """The photos of one find that could be read, and the leads for it."""

    photos: list[Path]
    leads: Leads


@app.callback()
def _options(debug: Annotated[bool, typer.Option("--debug", hidden=True)] = False) -> None:
    """Options before the command; ``main`` looks for this one itself."""


@app.command()
def page(
    set_folder: SetOption = None,
    host: Annotated[
        str, typer.Option(help="Address to serve on; only this computer without a change.")
    ] = "127.0.0.1",
    port: Annotated[
        int | None, typer.Option(min=1, max=65535, help="Port; the first free one without this.")
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Do not open a browser.")
    ] = False,
    phone: Annotated[
        bool,
        typer.Option("--phone", help="Let a phone on the same network in, with a password."),
    ] = False,
    password: Annotated[
        str | None,
        typer.Option(
            envvar="SIMSEARCH_PASSWORD",
            show_envvar=True,
            help="Password to open the page with; --phone makes one without this.",
        ),
    ] = None,
) -> None:
    """Start the page and print the address to open.

    Without --phone only this computer can open it. What goes over the network is not encrypted.
    """
    from simsearch.page import phone as reach
    from simsearch.page.start import start_page

    reference = open_set_folder(set_folder)
    reference.encoder()  # a missing index or encoder is told now, not at the first photo
    if phone:
        host = reach.network_address() if reach.is_this_computer(host) else host
        password = password or reach.new_password()

    def tell(address: str) -> None:
        say(f"Open {address} in a browser. Stop with Ctrl+C.")
        if password:
            say(f"The password is: {password.strip()}")
        if phone and password:
            say("On a phone in the same network, open that address or scan this code:")
            say(reach.scan_code(address, password.strip()))
        if not reach.is_this_computer(host):
            say("Anyone on the network who has the password can open the page too.")
            say(reach.NOT_ENCRYPTED)

    options: dict[str, Any] = {"open_browser": not no_browser, "password": password, "tell": tell}
    start_page(reference, host=host, port=port, **options)


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
    length: seen.LengthOption = None,
    broken: seen.BrokenOption = False,
    width: seen.WidthOption = None,
    thickness: seen.ThicknessOption = None,
    error: seen.ErrorOption = 1.0,
    weight: seen.WeightOption = None,
    material: seen.MaterialOption = None,
    fixing: seen.FixingOption = None,
    surface: seen.SurfaceOption = None,
    left: seen.CompletenessOption = None,
    nearby: seen.NearbyOption = None,
    as_json: JsonOption = False,
) -> None:
    """Rank leads for photos of finds.

    A photo that cannot be read is reported and the others go on. Ends with 2 when any photo
    could not be read, else with 1 when no find has anything close, else with 0.
    """
    observed = seen.observed_from(
        length=length, broken=broken, width=width, thickness=thickness, error=error,
        weight=weight, material=material, fixing=fixing, surface=surface, left=left,
        nearby=nearby,
    )  # fmt: skip
    paths = _photo_paths(photos)
    seen.require_one_find(observed, paths, together)
    reference = open_set_folder(set_folder)
    reference.encoder()  # told once, before any photo is read
    problems: list[PhotoError] = []
    groups = _grouped(paths, together, problems)
    finds = [Find(own, reference.look(shown, observed=observed, k=k)) for own, shown in groups]
    if as_json:
        say_json(_leads_document(finds, problems, reference))
    else:
        _print_finds(finds, reference)
    if problems:
        raise typer.Exit(WRONG_USE)
    if not any(find.leads.anything_close for find in finds):
        raise typer.Exit(PROBLEMS)


@app.command()
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


@app.command("type")
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


@app.command()
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


@app.command()
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


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; errors become one line on stderr.

    With the hidden option ``--debug`` before the command, errors are raised instead.
    """
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        ended = app(args=given, prog_name="simsearch", standalone_mode=False)
        return ended if isinstance(ended, int) else FINE
    except (KeyboardInterrupt, typer.Abort):
        return STOPPED
    except BrokenPipeError:
        # The reader of our output has gone (as with "| head"); nothing is wrong. Without this
        # the interpreter would complain when it flushes stdout at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FINE
    except Exception as error:
        if "--debug" in given[:1]:
            raise
        return _explain(error)


def _explain(error: Exception) -> int:
    if isinstance(error, SimsearchError):
        complain(error.message, error.hint)
        return NOT_READY if isinstance(error, _NOT_READY_ERRORS) else WRONG_USE
    # The option parser's own errors share no public base class across its versions; all of
    # them can put themselves into words. Help asked for by giving no command is printed already.
    in_words = getattr(error, "format_message", None)
    if callable(in_words):
        if type(error).__name__ != "NoArgsIsHelpError":
            complain(str(in_words()), "See: simsearch --help")
        return WRONG_USE
    what = f"{type(error).__name__}: {error}".splitlines()[0]
    complain(f"simsearch failed ({what})", "To see where, run: simsearch --debug and the rest.")
    return WRONG_USE


def _photo_paths(given: Sequence[Path]) -> list[Path]:
    from simsearch.photo import list_photos

    paths: list[Path] = []
    for path in given:
        found = list_photos(path) if path.is_dir() else [path]
        if not found:
            raise Usage(f"there are no photos in '{path}'.", hint="Give photos or their folder.")
        paths.extend(found)
    return paths


def _grouped(
    paths: Sequence[Path], together: bool, problems: list[PhotoError]
) -> Iterator[tuple[list[Path], list[Image]]]:
    """Photos by find. One that cannot be read is told on stderr, noted and set aside.

    Each for itself, photos are read one at a time, so that a folder of any size will do.
    """
    read = ((path, photo) for path in paths if (photo := _read(path, problems)) is not None)
    if not together:
        yield from (([path], [photo]) for path, photo in read)
        return
    found = list(read)
    if found:
        yield [path for path, _ in found], [photo for _, photo in found]


def _read(path: Path, problems: list[PhotoError]) -> Image | None:
    from simsearch.index import PHOTO_SIDE
    from simsearch.photo import open_photo

    try:
        return open_photo(path, max_side=PHOTO_SIDE)
    except PhotoError as error:
        complain(error.message, error.hint)
        problems.append(error)
        return None


def _print_finds(finds: Sequence[Find], reference: ReferenceSet) -> None:
    screen = console()
    for find in finds:
        title = ", ".join(str(path) for path in find.photos)
        terminal.print_leads(screen, title, find.leads, reference)
        screen.print()
    if finds:
        say(words.LEADS_NOT_IDENTIFICATIONS)


def _leads_document(
    finds: Sequence[Find], problems: Sequence[PhotoError], reference: ReferenceSet
) -> dict[str, Any]:
    from simsearch.leads.aoristic import date_words, leads_dating
    from simsearch.leads.next_look import what_next

    return {
        "note": words.LEADS_NOT_IDENTIFICATIONS,
        "finds": [
            {
                "photos": [str(path) for path in find.photos],
                **find.leads.to_dict(),
                "dating": date_words(leads_dating(find.leads)),
                "next": [look.to_dict() for look in what_next(find.leads, reference.types)],
            }
            for find in finds
        ],
        "problems": [{"what": error.message, "what_to_do": error.hint} for error in problems],
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
    raise Usage(f"no type here is in a group '{wanted}'.", hint=f"Groups: {', '.join(groups)}.")


def _either(items: Sequence[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} or {items[-1]}"
