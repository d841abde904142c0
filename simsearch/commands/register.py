"""``simsearch register ...``: record finds, look them up, change, undo, back up, hand over."""

from __future__ import annotations

import getpass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.table import Table
from rich.text import Text

from simsearch.commands.common import (
    PROBLEMS,
    JsonOption,
    Usage,
    console,
    say,
    say_json,
    with_bar,
)

if TYPE_CHECKING:
    from simsearch.register.history import Change
    from simsearch.register.photos import NewPhoto
    from simsearch.register.records import FindRecord
    from simsearch.register.store import Register

app = typer.Typer(
    no_args_is_help=True,
    help="The finds register: what was found, its type lead, its findspot, every change.",
)
RegisterOption = Annotated[
    Path | None,
    typer.Option(
        "--register",
        metavar="DIR",
        help="Folder of the register; without this 'simsearch/register' in your data folder.",
    ),
]
ByOption = Annotated[
    str | None, typer.Option("--by", metavar="NAME", help="Who; your user name without this.")
]
FieldsArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="FIELD=VALUE...",
        help="Such as 'title=Bow brooch' length_mm=34.2 'findspot=TG 514 131'; "
        "findspot_words and findspot_precision_m go with it; checked and unknowns may repeat.",
    ),
]
PhotoOption = Annotated[
    list[str] | None,
    typer.Option(
        "--photo", metavar="[VIEW=]FILE", help="A photo to copy in: front=a.jpg. May repeat."
    ),
]
ExactOption = Annotated[
    bool, typer.Option("--exact", help="Findspots as recorded instead of 1 km squares or words.")
]
FindArgument = Annotated[str, typer.Argument(metavar="FIND", help="A find's id: find-0001.")]


@app.command()
def new(
    fields: FieldsArgument = None,
    photo: PhotoOption = None,
    folder: RegisterOption = None,
    by: ByOption = None,
    as_json: JsonOption = False,
) -> None:
    """Record a find. The register is made when there is none."""
    with _open(folder, create=True) as register:
        record = register.new(_fields(fields or []), photos=_photos(photo), by=_who(by))
        if as_json:
            say_json(_document(record, exact=True))
        else:
            say(f"Recorded as {record.id} in {register.folder}.")


@app.command("list")
def list_finds(
    words: Annotated[list[str] | None, typer.Argument(help="Only finds holding these.")] = None,
    period: Annotated[str, typer.Option(help="Only this period, such as 'roman'.")] = "",
    type_id: Annotated[str, typer.Option("--type", help="Only this type lead.")] = "",
    status: Annotated[str, typer.Option(help="Only draft, recorded or 'handed over'.")] = "",
    folder: RegisterOption = None,
    exact: ExactOption = False,
    as_json: JsonOption = False,
) -> None:
    """List the finds, all or those that hold every one of the words."""
    with _open(folder) as register:
        found = register.search(
            " ".join(words or ()), period=period, type_id=type_id, status=status
        )
        total = register.status().finds
    if as_json:
        say_json([_document(record, exact=exact) for record in found])
    else:
        _print_list(found, exact)
        say(f"{len(found)} of {total} finds.")
    if not found:
        raise typer.Exit(PROBLEMS)


@app.command()
def show(
    find: FindArgument,
    folder: RegisterOption = None,
    exact: ExactOption = False,
    as_json: JsonOption = False,
) -> None:
    """Show everything recorded about one find."""
    with _open(folder) as register:
        record = register.get(find)
    document = _document(record, exact=exact)
    if as_json:
        say_json(document)
        return
    for name, value in document.items():
        for item in value if isinstance(value, list) else [value]:
            if item not in ("", None):
                text = _photo_words(item) if name == "photos" else str(item)
                console().print(Text.assemble((f"{name}: ", "bold"), text), soft_wrap=True)


@app.command()
def change(
    find: FindArgument,
    fields: FieldsArgument = None,
    photo: PhotoOption = None,
    folder: RegisterOption = None,
    by: ByOption = None,
) -> None:
    """Change some fields of a find (FIELD= empties one) or add photos."""
    if not fields and not photo:
        raise Usage("nothing to change was given.", hint="Give FIELD=VALUE or --photo FILE.")
    with _open(folder) as register:
        base = register.get(find)
        given = _fields(fields or [], base)
        before = len(register.history(find))
        register.change(find, given, photos=_photos(photo), by=_who(by))
        done = register.history(find)
    say(_change_line(done[-1]) if len(done) > before else f"{find} is like that already.")


@app.command("take-out")
def take_out(find: FindArgument, folder: RegisterOption = None, by: ByOption = None) -> None:
    """Take a find out of the register; its history stays, and undo brings it back."""
    with _open(folder) as register:
        register.take_out(find, by=_who(by))
    say(f"{find} is out. Bring it back with: simsearch register undo {find}")


@app.command()
def undo(
    find: FindArgument,
    number: Annotated[
        int | None, typer.Option(help="The change to take back; the newest without this.")
    ] = None,
    folder: RegisterOption = None,
    by: ByOption = None,
) -> None:
    """Take back the newest change of a find; that too is kept in the history."""
    with _open(folder) as register:
        done = register.undo(find, by=_who(by), number=number)
    say(_change_line(done))


@app.command()
def history(
    find: Annotated[str | None, typer.Argument(metavar="[FIND]", help="Only this find.")] = None,
    folder: RegisterOption = None,
    exact: ExactOption = False,
    as_json: JsonOption = False,
) -> None:
    """List every change: who, when, what was and what is."""
    with _open(folder) as register:
        changes = register.history(find)
    if as_json:
        say_json([_change_document(item, exact) for item in changes])
        return
    for item in changes:
        say(_change_line(item))
        for name, was, now in item.differences() if item.action != "new" else ():
            say(f"    {name}: {_value(name, was, exact)} -> {_value(name, now, exact)}")


@app.command()
def check(folder: RegisterOption = None) -> None:
    """Check that the database is sound and every photo is there as it was kept."""
    with _open(folder) as register:
        status, problems, left_over = register.status(), register.check(), register.left_over()
    for problem in problems:
        say(problem)
    say(
        f"{status.finds} finds, {status.photos} photos, {status.changes} changes in "
        f"{status.folder}: {'all sound' if not problems else f'{len(problems)} problems'}."
    )
    if left_over:
        say(f"{len(left_over)} photo files belong to no record; they do no harm.")
    if problems:
        raise typer.Exit(PROBLEMS)


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The zip file to write.")],
    folder: RegisterOption = None,
    replace: Annotated[bool, typer.Option("--replace", help="Replace FILE.")] = False,
) -> None:
    """Write the whole register, photos and history too, to one file. It holds exact findspots."""
    from simsearch.register.backup import back_up

    with _open(folder) as register:
        made = with_bar(
            "backing up",
            lambda moved: back_up(register, file, replace=replace, progress=moved),
        )
    say(f"{made.finds} finds and {made.photos} photos are in {made.path}.")
    say("It holds exact findspots and names: keep it as carefully as the register.")
    _tell_problems(made.problems)


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file that 'backup' wrote.")],
    folder: RegisterOption = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Set an existing register aside, under a new name.")
    ] = False,
) -> None:
    """Bring a backup back, whole or not at all. An existing register is never deleted."""
    from simsearch.register.backup import restore as bring_back
    from simsearch.register.store import default_folder

    place = folder or default_folder()
    made = with_bar(
        "restoring", lambda moved: bring_back(file, place, replace=replace, progress=moved)
    )
    say(f"{made.finds} finds and {made.photos} photos are back in {made.folder}.")
    if made.set_aside is not None:
        say(f"The register that was there is now in {made.set_aside}.")
    _tell_problems(made.problems)


@app.command()
def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="finds.csv or finds.json.")],
    words: Annotated[list[str] | None, typer.Argument(help="Only finds holding these.")] = None,
    folder: RegisterOption = None,
    exact: ExactOption = False,
    people: Annotated[bool, typer.Option("--people", help="Finders' names too.")] = False,
) -> None:
    """Write finds for others under Dublin Core terms; findspots coarse unless --exact."""
    from simsearch.register.export import export as write

    with _open(folder) as register:
        count = write(register.search(" ".join(words or ())), file, exact=exact, people=people)
    how = "as recorded" if exact else "as squares of 1 km or larger, or words"
    say(f"{count} finds are in {file}, findspots {how}.")
    if people is False:
        say("Finders' names were left out. Read the descriptions for names before you share it.")


# -- shared -----------------------------------------------------------------------------------


def _open(folder: Path | None, *, create: bool = False) -> Register:
    from simsearch.register.store import open_register

    return open_register(folder, create=create)


def _who(by: str | None) -> str:
    if by is not None:
        return by
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        raise Usage("who makes the change is not known.", hint="Give it with --by NAME.") from None


def _fields(given: list[str], base: FindRecord | None = None) -> dict[str, Any]:
    """Turn FIELD=VALUE arguments into fields; a findspot is read from its parts."""
    from simsearch.register.records import LISTS

    fields: dict[str, Any] = {}
    for item in given:
        name, equals, value = item.partition("=")
        name = name.strip()
        if not equals:
            raise Usage(f"'{item}' is no FIELD=VALUE.", hint="Write it like period=Roman.")
        if name in ("photos", "created_on", "changed_on"):
            raise Usage(f"{name} cannot be given.", hint="Photos go with --photo FILE.")
        if name in LISTS:
            fields[name] = (*fields.get(name, ()), *([value.strip()] if value.strip() else []))
        elif name in fields:
            raise Usage(f"{name} is given twice.", hint="Only checked and unknowns may repeat.")
        else:
            fields[name] = value
    _read_place(fields, base)
    return fields


def _read_place(fields: dict[str, Any], base: FindRecord | None) -> None:
    from simsearch.register.grid import read_findspot

    parts = ("findspot", "findspot_words", "findspot_precision_m", "findspot_kind")
    given = {name: fields.pop(name) for name in parts if name in fields}
    if not given:
        return
    old = base.findspot if base else None
    if given.get("findspot") == "":
        fields["findspot"] = None
        return
    if "findspot" not in given and old is None:
        raise Usage("there is no findspot yet.", hint="Give findspot= with it.")
    kept = old if "findspot" not in given else None
    fields["findspot"] = read_findspot(
        given.get("findspot", old.value if old else ""),
        kind=given.get("findspot_kind") or (kept.kind if kept else None),
        precision_m=_metres(given.get("findspot_precision_m"), kept.precision_m if kept else None),
        words=given.get("findspot_words", old.words if old else ""),
    )


def _metres(text: str | None, otherwise: float | None) -> float | None:
    if not text:
        return otherwise
    try:
        return float(text)
    except ValueError:
        raise Usage(f"the precision '{text}' is no number of metres.", hint="Write 100.") from None


def _photos(given: list[str] | None) -> list[NewPhoto]:
    from simsearch.measure.scale import scale_of
    from simsearch.photo import open_photo
    from simsearch.register.photos import NewPhoto
    from simsearch.register.records import VIEWS

    photos = []
    for item in given or ():
        view, equals, file = item.partition("=")
        named = bool(equals) and view in VIEWS
        picture = open_photo(Path(file if named else item))
        scale = scale_of(picture)  # a photo with the photo card gets a scale bar on the sheet
        photos.append(NewPhoto(picture, view if named else "front", mm_per_px=scale))
    return photos


def _document(record: FindRecord, *, exact: bool) -> dict[str, Any]:
    from simsearch.register.grid import coarse, shown
    from simsearch.register.records import to_document

    document = to_document(record)
    spot = record.findspot
    document["findspot"] = shown(spot, exact=exact) if spot else ""
    if spot is not None:
        used = spot if exact else coarse(spot)
        document["findspot_kind"] = used.kind
        document["findspot_value"] = used.value
        document["findspot_precision_m"] = used.precision_m
    return document


def _photo_words(photo: dict[str, Any]) -> str:
    return f"{photo['view']}, {photo['file']} {photo['caption']}".strip()


def _print_list(found: tuple[FindRecord, ...], exact: bool) -> None:
    from simsearch.register.grid import shown

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for heading in ("find", "title", "period", "type lead", "findspot", "status"):
        table.add_column(heading)
    for record in found:
        lead = f"{record.type_id} ({record.type_confidence or 'not judged'})"
        table.add_row(
            *(Text(text) for text in (record.id, record.title, record.period)),
            Text(lead if record.type_id else ""),
            Text(shown(record.findspot, exact=exact)),
            Text(record.status),
        )
    console().print(table)


def _change_line(item: Change) -> str:
    names = ", ".join(name for name, _, _ in item.differences())
    what = {"new": "recorded", "taken out": "taken out", "change": f"changed {names}"}
    undone = f"undid change {item.undoes}"
    return f"{item.number}  {item.at}  {item.by}  {item.find_id}  {what.get(item.action, undone)}"


def _change_document(item: Change, exact: bool) -> dict[str, Any]:
    return {
        "number": item.number,
        "find": item.find_id,
        "action": item.action,
        "by": item.by,
        "at": item.at,
        "undoes": item.undoes,
        "differences": [
            {"field": name, "was": _value(name, was, exact), "is": _value(name, now, exact)}
            for name, was, now in item.differences()
        ],
    }


def _value(name: str, value: Any, exact: bool) -> Any:
    """A field's value in the history; a findspot is no more exact there than elsewhere."""
    from simsearch.register.grid import Findspot, shown

    if name == "findspot" and value:
        return shown(Findspot(**value), exact=exact)
    return "nothing" if value in ("", None, []) else value


def _tell_problems(problems: tuple[str, ...]) -> None:
    for problem in problems:
        say(f"Note: {problem}")
    if problems:
        raise typer.Exit(PROBLEMS)
