"""Looking finds up: the command ``look``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from simsearch import terminal
from simsearch.commands import observed as seen
from simsearch.commands.common import (
    PROBLEMS,
    WRONG_USE,
    JsonOption,
    SetOption,
    Usage,
    complain,
    console,
    open_set_folder,
    say,
    say_json,
)
from simsearch.errors import PhotoError
from simsearch.page import words

if TYPE_CHECKING:
    from PIL.Image import Image

    from simsearch.leads.model import Leads
    from simsearch.sets.reference_set import ReferenceSet


@dataclass(frozen=True)
class Find:
    """The photos of one find that could be read, and the leads for it."""

    photos: list[Path]
    leads: Leads


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
