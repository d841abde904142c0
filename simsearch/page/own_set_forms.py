"""What the forms of "Your set" send: read, checked, and carried out.

Anybody can send anything, so every field is read as plain text of bounded length, and what is
wrong is told for the field that it is wrong in. Photos are written only by ``making``.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from simsearch.browse.filters import read_years
from simsearch.errors import DateError
from simsearch.making.add import Added, add_photos
from simsearch.making.names import slug
from simsearch.making.plan import Incoming, NewPhoto, Plan, make_plan
from simsearch.page.intake import MAX_UPLOAD_BYTES, HeldPhoto, Tray, add_uploads
from simsearch.page.intake import Problem as UploadProblem
from simsearch.sets.dates import parse_edtf
from simsearch.sets.private import PrivateRow
from simsearch.sets.reference_set import ReferenceSet
from simsearch.sets.types import DATE_BASES, GROUPS, PIN_FIXINGS
from simsearch.share.cells import received

NEW_TYPE = "+new"
LONGEST = 300  # letters of one field
AUTHORITIES = ("seen in the hand", "from the photo", "finds officer", "handbook")
KEPT_FIELDS = ("creator", "licence", "source", "by", "authority", "consent", "condition")
"""What stays in the form after a photo was added: mostly it holds for the next one too."""
START = {
    "view": "front", "completeness": "complete", "condition": "worn", "material": "copper alloy",
    "pin_fixing": "other", "basis": "from memory",
}  # fmt: skip
_PHOTO = "The photo"
# What making calls a cell, and which field of the form it comes from.
_FIELD_OF = {"labelled_by": "by", "label_basis": "authority", "id": "specimen"}
_NEEDED = {
    "creator": "Say who took the photo.",
    "licence": "Choose the licence that whoever took it gives.",
    "source": "Say where the photo comes from.",
    "by": "Say who says which type it is: a name is needed.",
    "authority": "Say on what authority, such as “seen in the hand”.",
    "consent": "Choose one: has who found or owns the object agreed?",
}


@dataclass(frozen=True)
class HeldUpload:
    """A photo that waits to be added: the bytes of its file in memory, and how it looks."""

    name: str
    content: bytes
    shown: HeldPhoto


@dataclass(frozen=True)
class Draft:
    """A form as it was sent, and what is wrong with it by field."""

    fields: Mapping[str, str] = field(default_factory=dict)
    problems: Mapping[str, str] = field(default_factory=dict)

    def kept(self) -> Draft:
        """The form for the next photo."""
        return Draft(START | {name: self.fields.get(name, "") for name in KEPT_FIELDS})


def read_fields(sent: Mapping[str, Any]) -> dict[str, str]:
    """The fields that were sent as lines of text: no control characters, bounded in length.

    What a spreadsheet would take for a formula is made harmless, as when a set is brought in.
    """
    fields = {}
    for name, value in list(sent.items())[:60]:
        if isinstance(name, str) and isinstance(value, str):
            line = " ".join(value[: 4 * LONGEST].split())
            line = "".join(letter for letter in line if letter.isprintable())[: LONGEST - 1]
            fields[name] = received(line, were_guarded=False)[0]
    return fields


def take_upload(entry: object, upload_folder: Path) -> HeldUpload | UploadProblem:
    """Read one upload and delete its file; what cannot be read is a problem."""
    content = _content(entry, upload_folder)
    tray = add_uploads(Tray(), [entry], upload_folder)  # checks the path again, and deletes
    if tray.problems or not tray.photos:
        return next(iter(tray.problems), UploadProblem("The photo did not arrive.", "Try again."))
    return HeldUpload(tray.photos[0].name, content, tray.photos[0])


def _content(entry: object, upload_folder: Path) -> bytes:
    """The bytes of an upload that really lies in the upload folder, else nothing."""
    try:
        path = Path(str(entry.get("path", "") if isinstance(entry, dict) else "")).resolve()
        if path.is_relative_to(upload_folder.resolve()) and path.is_file():
            with path.open("rb") as file:
                return file.read(MAX_UPLOAD_BYTES)
    except (OSError, ValueError):
        pass  # the reading proper, which follows, says what is wrong
    return b""


def check_form(
    fields: Mapping[str, str], held: HeldUpload | None, reference: ReferenceSet
) -> dict[str, str]:
    """What is wrong with the form by field, as far as it shows without the set's own checks."""
    problems = {name: told for name, told in _NEEDED.items() if not fields.get(name)}
    if held is None:
        problems["photo"] = "Choose or take a photo first."
    chosen = fields.get("type", "")
    if not chosen:
        problems["type"] = "Choose a type of the list, or “a new type”."
    elif chosen == NEW_TYPE:
        problems |= _check_new_type(fields, reference)
    elif chosen not in reference.types:
        problems["type"] = "There is no such type in this set. Choose one of the list."
    name = slug(fields.get("specimen_name", ""))
    known = {photo.specimen for photo in reference.photos}
    if fields.get("specimen"):
        if fields["specimen"] not in known:
            problems["specimen"] = "There is no such object in this set. Choose another."
    elif name and name in known:
        problems["specimen_name"] = f"There is an object “{name}” already: choose it in the list."
    return problems


def _check_new_type(fields: Mapping[str, str], reference: ReferenceSet) -> dict[str, str]:
    problems = {}
    name = fields.get("new_name", "")
    if not slug(name):
        problems["new_name"] = "Give the new type a name."
    elif slug(name) in reference.types:
        problems["new_name"] = "There is a type of this name already: choose it in the list."
    for column, allowed in (("group", GROUPS), ("pin_fixing", PIN_FIXINGS), ("basis", DATE_BASES)):
        if fields.get(column) not in allowed:
            problems[column] = "Choose one of the list."
    for column, what in (("period", "a period, such as Roman"), ("material", "a material")):
        if not fields.get(column):
            problems[column] = f"Give {what}."
    try:
        edtf_of(fields)
    except DateError as error:
        problems["first_year"] = f"{error.message} {error.hint}".strip()
    return problems


def edtf_of(fields: Mapping[str, str]) -> str:
    """The years of a new type as EDTF. Raises ``DateError``."""
    first, last = read_years(fields.get("first_year", ""), fields.get("last_year", ""))
    if first is None and last is None:
        raise DateError("No years are given.", hint="Write for example 50 BC and AD 60.")
    about = "~" if fields.get("about") else ""
    text = "/".join(".." if year is None else _year(year) + about for year in (first, last))
    parse_edtf(text)
    return text


def _year(year: int) -> str:
    return f"-{-year:04d}" if year < 0 else f"{year:04d}"


def new_type_cells(fields: Mapping[str, str]) -> dict[str, str]:
    """The row of types.csv for the new type that the form describes."""
    columns = ("group", "period", "material", "pin_fixing", "basis")
    cells = {column: fields.get(column, "") for column in columns}
    name = fields.get("new_name", "")
    return cells | {"id": slug(name), "name": name, "date_edtf": edtf_of(fields)}


def plan_photo(source: Path, fields: Mapping[str, str], reference: ReferenceSet) -> Plan:
    """Look over one photo with what the form says of it; nothing is written."""
    is_new = fields.get("type") == NEW_TYPE
    new_types = [new_type_cells(fields)] if is_new else []
    row = NewPhoto(
        type=new_types[0]["id"] if is_new else fields.get("type", ""),
        specimen=fields.get("specimen", "") or slug(fields.get("specimen_name", "")),
        creator=fields.get("creator", ""),
        licence=fields.get("licence", ""),
        source=fields.get("source", ""),
        labelled_by=fields.get("by", ""),
        label_basis=fields.get("authority", ""),
        view=fields.get("view", ""),
        completeness=fields.get("completeness", ""),
        condition=fields.get("condition", ""),
    )
    private = PrivateRow("", consent=fields.get("consent", ""))
    return make_plan(
        reference, [Incoming(source, row, private, _PHOTO)], new_types=new_types,
        again=bool(fields.get("again")),
    )  # fmt: skip


def problems_of(plan: Plan) -> dict[str, str]:
    """What a plan says is wrong, by field of the form."""
    told: dict[str, str] = {}
    for problem in plan.problems:
        column = problem.where.removeprefix(_PHOTO).removeprefix(", ") or "photo"
        if plan.incoming and problem.severity != "error":
            continue  # a remark on a photo that goes in
        told.setdefault(
            _FIELD_OF.get(column, column), f"{problem.what} {problem.what_to_do}".strip()
        )
    if not plan.incoming and not told:
        told["photo"] = "This photo is in the set already. It is not added again."
    return told


def add_one(
    held: HeldUpload | None, fields: Mapping[str, str], reference: ReferenceSet, aside: Path
) -> Draft | Added:
    """Add the held photo to the set: what was added, or the form with what is wrong.

    ``aside`` is a folder for the photo's file while it is read. Raises ``SimsearchError`` when
    the set cannot be written.
    """
    problems = check_form(fields, held, reference)
    if problems or held is None:
        return Draft(fields, problems)
    with tempfile.TemporaryDirectory(dir=aside) as folder:
        source = Path(folder) / (f"{slug(Path(held.name).stem) or 'photo'}.jpg")
        source.write_bytes(held.content)
        plan = plan_photo(source, fields, reference)
        problems = problems_of(plan)
        if problems:
            return Draft(fields, problems)
        added = add_photos(reference.folder, plan, keep_gps=bool(fields.get("keep_gps")))
    if added.ids:
        return added
    told = next(iter(added.problems), None)
    return Draft(fields, {"photo": f"{told.what} {told.what_to_do}" if told else "Not added."})
