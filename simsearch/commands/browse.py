"""Looking around a set: what looks like a photo."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.text import Text

from simsearch.commands.common import (
    JsonOption,
    SetOption,
    Usage,
    console,
    open_set_folder,
    say,
    say_json,
)

if TYPE_CHECKING:
    from simsearch.browse.similar import Alike
    from simsearch.leads.model import Evidence
    from simsearch.sets.reference_set import ReferenceSet


def similar(
    photo: Annotated[
        str, typer.Argument(metavar="PHOTO", help="A photo's file, or the id of one in the set.")
    ],
    set_folder: SetOption = None,
    groups: Annotated[int, typer.Option("--k", min=1, max=50, help="Types to list.")] = 8,
    as_json: JsonOption = False,
) -> None:
    """List photos of the set that look like a photo, by type, nearest first."""
    from simsearch.browse.similar import ALIKE_NOTE

    reference = open_set_folder(set_folder)
    alike = _alike(reference, photo, groups)
    if as_json:
        say_json(_document(alike))
        return
    for group in alike.groups:
        heading = Text.assemble((group.type.name, "bold"), f"  {group.type.dates.words()}")
        console().print(heading)
        _print_photos(group.photos)
    if alike.own:
        console().print(Text("Other photos of the very same object", style="bold"))
        _print_photos(alike.own)
    say(ALIKE_NOTE)


def _alike(reference: ReferenceSet, photo: str, groups: int) -> Alike:
    from simsearch.browse.similar import similar_to_image, similar_to_photo
    from simsearch.index import PHOTO_SIDE
    from simsearch.photo import open_photo

    # A file comes first: an id can be told from it by asking for it from another folder.
    if Path(photo).is_file():
        return similar_to_image(reference, open_photo(photo, max_side=PHOTO_SIDE), groups=groups)
    if any(row.id == photo for row in reference.photos):
        return similar_to_photo(reference, photo, groups=groups)
    raise Usage(
        f"there is no file '{photo}', and no photo of that id in the set.",
        hint="Give a photo's file, or an id from the first column of photos.csv.",
    )


def _print_photos(found: Sequence[Evidence]) -> None:
    for item in found:
        row = item.photo
        kind = "rendered" if row.is_rendered else "photo"
        what = f"{row.view}, {row.completeness}, {row.condition}"
        console().print(Text(f"  {row.id}  {kind}: {what}; {row.creator}, {row.licence}"))


def _document(alike: Alike) -> dict[str, Any]:
    from simsearch.browse.similar import ALIKE_NOTE

    return {
        "note": ALIKE_NOTE,
        "types": [
            {
                "id": group.type.id,
                "name": group.type.name,
                "dates": group.type.dates.words(),
                "photos": [item.to_dict() for item in group.photos],
                "more": group.more,
            }
            for group in alike.groups
        ],
        "same_object": [item.to_dict() for item in alike.own],
    }
