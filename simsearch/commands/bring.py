"""``simsearch bring``: openly licensed photos from IIIF or a MediaWiki into a folder."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from simsearch.commands.common import PROBLEMS, JsonOption, Usage, say, say_json, with_bar

if TYPE_CHECKING:
    from simsearch.bring.fetch import Outcome
    from simsearch.bring.offered import LeftOut, Offered
    from simsearch.bring.polite import PoliteClient

app = typer.Typer(
    no_args_is_help=True,
    help="Bring openly licensed photos from a museum or a wiki into a folder, with their credit. "
    "Nothing is put into a set until you say of which types they are and use 'add'.",
)
_VIEWS = ("front", "back", "side", "detail")
_LISTED = 8

FolderArgument = Annotated[
    Path, typer.Argument(metavar="FOLDER", help="Where the pictures and their table go.")
]
ContactOption = Annotated[
    str,
    typer.Option(
        envvar="SIMSEARCH_CONTACT",
        help="Your e-mail address or web page, told to the server so that its keepers can write.",
    ),
]
TypeOption = Annotated[
    str, typer.Option("--type", help="The type of all of them, if they are of one type.")
]
ViewOption = Annotated[
    str, typer.Option(help="The view where the source names none: front, back, side or detail.")
]
MostOption = Annotated[int, typer.Option(min=1, max=20_000, help="Most pictures in the folder.")]
SideOption = Annotated[
    int, typer.Option(min=200, max=4_000, help="Longest side to ask for, in pixels.")
]
PauseOption = Annotated[
    float, typer.Option(min=1.0, max=600.0, help="Seconds between two questions to a server.")
]
AgainOption = Annotated[
    bool, typer.Option("--again", help="Ask anew for documents that were read within a day.")
]
_Offers = Callable[["PoliteClient"], "Iterable[Offered | LeftOut]"]


@app.command()
def iiif(
    address: Annotated[str, typer.Argument(help="Address of an IIIF manifest or collection.")],
    folder: FolderArgument,
    contact: ContactOption,
    type_id: TypeOption = "",
    view: ViewOption = "",
    most: MostOption = 200,
    side: SideOption = 1_600,
    pause: PauseOption = 1.0,
    again: AgainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Photos of an IIIF manifest or collection, version 2 or 3 of the Presentation API.

    Stopped half way, the same command goes on. Ends with 1 when there is no picture.
    """
    from simsearch.bring.walk import offers_from_iiif

    def offers(client: PoliteClient) -> Iterable[Offered | LeftOut]:
        return offers_from_iiif(client, address, side=side, again=again)

    outcome = _bring(address, offers, folder, contact, type_id, view, most, pause)
    _tell(outcome, folder, type_id, as_json)


@app.command()
def wiki(
    address: Annotated[str, typer.Argument(help="Address of a MediaWiki API; ends in api.php.")],
    folder: FolderArgument,
    contact: ContactOption,
    category: Annotated[str, typer.Option(help="A category whose files to bring.")] = "",
    search: Annotated[str, typer.Option(help="Words to search files for.")] = "",
    type_id: TypeOption = "",
    view: ViewOption = "",
    most: MostOption = 200,
    side: SideOption = 1_600,
    pause: PauseOption = 1.0,
    again: AgainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Photos of a category, or found by words, in a wiki that runs MediaWiki.

    Stopped half way, the same command goes on. Ends with 1 when there is no picture.
    """
    from simsearch.bring.mediawiki import api_address, question
    from simsearch.bring.walk import offers_from_mediawiki

    asked = question(category=category, search=search, side=side)
    api_address(address, asked)  # a wrong address is told before anything is asked

    def offers(client: PoliteClient) -> Iterable[Offered | LeftOut]:
        return offers_from_mediawiki(client, address, asked, again=again)

    outcome = _bring(address, offers, folder, contact, type_id, view, most, pause)
    _tell(outcome, folder, type_id, as_json)


def _bring(
    address: str,
    offers: _Offers,
    folder: Path,
    contact: str,
    type_id: str,
    view: str,
    most: int,
    pause: float,
) -> Outcome:
    from simsearch.bring.cache import Cache
    from simsearch.bring.fetch import bring_photos
    from simsearch.bring.plain import slug
    from simsearch.bring.polite import PoliteClient

    if view and view not in _VIEWS:
        raise Usage(f"'{view}' is not a view.", hint=f"Views: {', '.join(_VIEWS)}.")
    if type_id and slug(type_id, limit=len(type_id)) != type_id:
        hint = "Use the id that 'simsearch types' lists, such as trumpet."
        raise Usage(f"'{type_id}' is not the id of a type.", hint=hint)
    cache = Cache(folder / ".documents")
    with PoliteClient(contact, address, cache=cache, pause=pause) as client:
        return with_bar(
            "Bringing photos",
            lambda progress: bring_photos(
                client,
                offers(client),
                folder,
                type_id=type_id,
                view=view,
                most=most,
                progress=progress,
            ),
        )


def _tell(outcome: Outcome, folder: Path, type_id: str, as_json: bool) -> None:
    from simsearch.bring.table import LEFT_OUT_TABLE, TABLE

    there = outcome.new + outcome.already
    if as_json:
        say_json(
            {
                "new": outcome.new,
                "already": outcome.already,
                "table": str(folder / TABLE),
                "left_out": [asdict(item) for item in outcome.left_out],
            }
        )
    else:
        say(f"{outcome.new} new, {outcome.already} already there: {folder / TABLE}")
        _say_left_out(outcome.left_out, folder / LEFT_OUT_TABLE)
        if there:
            first = "" if type_id else f"Fill in the column type of {folder / TABLE}, then "
            then = f"simsearch add SET {folder / TABLE}"
            say(f"{first}{'run' if first else 'Run'}: {then}")
    if not there:
        raise typer.Exit(PROBLEMS)


def _say_left_out(left_out: list[LeftOut], table: Path) -> None:
    if not left_out:
        return
    say(f"{len(left_out)} left out (all of them in {table}):")
    counted = Counter(item.reason for item in left_out).most_common()
    for reason, number in counted[:_LISTED]:
        example = next(item for item in left_out if item.reason == reason)
        say(f"  {number}: {reason} (such as {example.what})")
    if len(counted) > _LISTED:
        say(f"  and {len(counted) - _LISTED} more reasons")
