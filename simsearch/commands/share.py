"""Commands that share a set: ``pack``, ``unpack``, ``merge`` and ``manifest``."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

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

SetArgument = Annotated[Path, typer.Argument(metavar="SET", help="Folder of a set.")]
NotAskedOption = Annotated[
    bool,
    typer.Option(
        "--also-not-asked",
        help="Include photos whose finder or owner has not been asked. Refused is never included.",
    ),
]


def pack(
    set_folder: SetArgument,
    zip_file: Annotated[Path, typer.Argument(metavar="ZIP", help="The file to write.")],
    with_private: Annotated[
        bool,
        typer.Option(
            "--with-private", help="Include findspots, positions and contacts. Think twice."
        ),
    ] = False,
    also_not_asked: NotAskedOption = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace ZIP if it is there already.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Pack a set as one zip for others: photos, tables, hashes, licences and credit.

    Findspots and positions stay at home, and so does what cameras write into photo files.
    """
    from simsearch.share.pack import export_set

    reference = open_set_folder(set_folder)
    packed = with_bar(
        "Packing photos",
        lambda progress: export_set(
            reference,
            zip_file,
            with_private=with_private,
            with_not_asked=also_not_asked,
            replace=replace,
            progress=progress,
        ),
    )
    if as_json:
        say_json(asdict(packed) | {"path": str(packed.path)})
        return
    private = "with" if with_private else "without"
    what = f"{count(packed.photos, 'photo')} of {count(packed.types, 'type')}"
    say(f"Packed {what}, {private} the private table.")
    _say_all(packed.notes)


def unpack(
    zip_file: Annotated[Path, typer.Argument(metavar="ZIP", help="A packed set.")],
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A new folder for it.")],
    as_json: JsonOption = False,
) -> None:
    """Unpack a set that somebody packed, after checking all of it; else nothing is written."""
    from simsearch.share.unpack import unpack_set

    unpacked = with_bar(
        "Unpacking photos", lambda progress: unpack_set(zip_file, folder, progress=progress)
    )
    if as_json:
        say_json(asdict(unpacked) | {"folder": str(unpacked.folder)})
        return
    what = f"{count(unpacked.photos, 'photo')} of {count(unpacked.types, 'type')}"
    say(f"Unpacked {what} into {unpacked.folder}.")
    _say_all(unpacked.notes)
    say(f"It has no index yet. Build it with: simsearch index {unpacked.folder}")


def merge(
    set_folder: SetArgument,
    other: Annotated[
        Path, typer.Argument(metavar="OTHER", help="The set to bring in: a folder or a zip.")
    ],
    preview: Annotated[
        bool, typer.Option("--preview", help="Say what would happen; change nothing.")
    ] = False,
    choose: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT=WAY",
            help="Settle a conflict, as in type:knee=ours, or all of a kind: type=ours.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Merge another set into SET. Where they disagree you choose; both opinions are kept.

    With --preview it ends with 1 while there are conflicts to settle.
    """
    from simsearch.share.merge import merge_sets, plan_merge

    choices = _choices(choose or ())
    with _folder_of(other) as second:
        if preview:
            plan = plan_merge(set_folder, second, choices)
        else:
            plan = merge_sets(set_folder, second, choices)
    if as_json:
        say_json(asdict(plan))
    else:
        _say_all(plan.lines())
        if preview:
            say("Nothing has been changed.")
        elif plan.new_photos:
            say(f"Merged. Bring the index up to date with: simsearch index {set_folder}")
        else:
            say("Merged.")
    if preview and plan.open:
        raise typer.Exit(PROBLEMS)


def manifest(
    set_folder: SetArgument,
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="A new folder to put on a web server.")
    ],
    base_url: Annotated[
        str, typer.Option(help="Where that folder will be found, as in https://club.example/finds.")
    ],
    also_not_asked: NotAskedOption = False,
) -> None:
    """Write a set as IIIF manifests, one per type, with its photos, for viewers on the web."""
    from simsearch.share.manifest import COLLECTION_FILE, export_iiif

    reference = open_set_folder(set_folder)
    written = with_bar(
        "Writing photos",
        lambda progress: export_iiif(
            reference, folder, base_url, with_not_asked=also_not_asked, progress=progress
        ),
    )
    say(f"Written to {written}. Viewers open {base_url.rstrip('/')}/{COLLECTION_FILE}.")


def _say_all(sentences: Sequence[str]) -> None:
    for sentence in sentences:
        say(sentence)


def _choices(given: Sequence[str]) -> dict[str, str]:
    choices: dict[str, str] = {}
    for item in given:
        what, sign, way = (part.strip() for part in item.rpartition("="))
        if not (what and sign and way):
            raise Usage(
                f"--choose {item} is not understood.",
                hint="Write what and how, as in --choose type:knee=ours.",
            )
        choices[what] = way
    return choices


@contextmanager
def _folder_of(other: Path) -> Iterator[Path]:
    """The folder of the other set; a zip is unpacked to a place that is removed afterwards."""
    if not other.is_file():
        yield other
        return
    from simsearch.share.unpack import unpack_set

    with tempfile.TemporaryDirectory(prefix="simsearch-") as place:
        yield unpack_set(other, Path(place) / "set").folder
