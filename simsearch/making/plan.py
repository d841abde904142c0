"""What is to be brought into a set, looked over before anything is written.

Wherever photos come from (a folder, a table, a web address, the page), they become a list of
``Incoming`` and go through ``make_plan``. What it lets through, ``add.add_photos`` can add; what
is wrong comes back as problems, one for each cell or file.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from pathlib import Path

from simsearch.errors import PhotoError
from simsearch.making.ledger import Known, file_hash
from simsearch.making.names import slug
from simsearch.sets.check import rendered_fault
from simsearch.sets.licences import LICENCES
from simsearch.sets.photos import COMPLETENESS, CONDITIONS, KINDS, VIEWS
from simsearch.sets.private import CONSENTS, PrivateRow
from simsearch.sets.problems import Problem
from simsearch.sets.reference_set import ReferenceSet
from simsearch.sets.tables import Cells, Row

_GLANCE = 64  # pixels; enough to see that a photo opens, and quick


@dataclass(frozen=True)
class NewPhoto:
    """What a row of photos.csv is to say, as far as it is known before the photo is stored.

    An empty ``id`` is made from the type and the file's name, an empty ``specimen`` is the id
    (an object of its own), an empty ``labelled_on`` is today.
    """

    type: str
    creator: str
    licence: str
    source: str
    labelled_by: str
    label_basis: str
    id: str = ""
    specimen: str = ""
    view: str = "front"
    completeness: str = "complete"
    condition: str = "worn"
    kind: str = "photo"
    labelled_on: str = ""
    note: str = ""


@dataclass(frozen=True)
class Incoming:
    """One photo to bring in: its file, what its row is to say, and what is private about it.

    ``where`` is what problems call it; the file's path without it.
    """

    source: Path
    row: NewPhoto
    private: PrivateRow | None = None
    where: str = ""

    @property
    def place(self) -> str:
        """What a person calls this photo: a row of a table, or a file."""
        return self.where or str(self.source)


@dataclass(frozen=True)
class Defaults:
    """What holds for every photo that does not say otherwise."""

    creator: str = ""
    licence: str = ""
    source: str = ""
    labelled_by: str = ""
    label_basis: str = ""
    labelled_on: str = field(default_factory=lambda: date.today().isoformat())
    view: str = "front"
    completeness: str = "complete"
    condition: str = "worn"
    kind: str = "photo"
    note: str = ""
    consent: str = ""

    def cells(self) -> dict[str, str]:
        """Return the defaults by column of photos.csv."""
        return {name: cell for name, cell in asdict(self).items() if name != "consent"}

    def row(self, **cells: str) -> NewPhoto:
        """Return a row with these cells, and the defaults where a cell is missing or empty."""
        given = {name: cell for name, cell in cells.items() if cell}
        return NewPhoto(**({"type": ""} | self.cells() | given))

    def private(self, **cells: str) -> PrivateRow | None:
        """Return a private row, or ``None`` when there is nothing private to say."""
        given = {name: cell for name, cell in cells.items() if cell}
        if self.consent:
            given.setdefault("consent", self.consent)
        return PrivateRow(photo="", **given) if given else None


@dataclass(frozen=True)
class Plan:
    """What would be added. An error among ``problems`` is a photo left out; a warning is not.

    ``already`` counts photos that an earlier run has brought in. ``new_types`` are rows of
    types.csv to add first.
    """

    incoming: tuple[Incoming, ...]
    new_types: tuple[Mapping[str, str], ...] = ()
    problems: tuple[Problem, ...] = ()
    already: int = 0

    @property
    def errors(self) -> tuple[Problem, ...]:
        """What is left out, and why."""
        return tuple(found for found in self.problems if found.severity == "error")

    def lines(self) -> list[str]:
        """Return one clear line for each problem, what is left out first."""
        ordered = sorted(self.problems, key=lambda found: found.severity != "error")
        return [" ".join(f"{problem}".split()) for problem in ordered]


def make_plan(
    reference: ReferenceSet,
    wanted: Iterable[Incoming],
    problems: Iterable[Problem] = (),
    *,
    new_types: Sequence[Mapping[str, str]] = (),
    open_photos: bool = False,
    again: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Plan:
    """Look over what is to be brought in; nothing is written.

    ``open_photos`` also opens every photo, so that one that cannot be read is known before.
    ``again`` lets in photos that were withdrawn from the set. ``problems`` are those found
    already; ``progress`` is called with (photos looked at, photos in all).
    """
    items = list(wanted)
    check = _Check(reference, {cells["id"] for cells in new_types}, again, open_photos)
    check.problems += problems
    kept: list[Incoming] = []
    for number, item in enumerate(items, start=1):
        passed = check.look_at(item)
        if passed is not None:
            kept.append(passed)
        if progress is not None:
            progress(number, len(items))
    return Plan(tuple(kept), tuple(new_types), tuple(check.problems), check.already)


class _Check:
    """Looks at incoming photos one after the other, remembering what came before."""

    def __init__(
        self, reference: ReferenceSet, new_types: set[str], again: bool, open_photos: bool
    ) -> None:
        self.problems: list[Problem] = []
        self.already = 0
        self._types = {*reference.types, *new_types}
        self._taken = {photo.id for photo in reference.photos}
        self._specimens = {photo.specimen: photo.type for photo in reference.photos}
        self._in_set = frozenset(self._specimens)
        self._joined: set[str] = set()
        self._known = Known.of(reference)
        self._by_size: dict[int, dict[str, str] | Incoming] = {}
        self._again = again
        self._open_photos = open_photos

    def look_at(self, item: Incoming) -> Incoming | None:
        """Return the photo as it is to be added, or ``None`` when it is left out."""
        try:
            size = item.source.stat().st_size
            if self._is_here(item, size):
                return None
        except OSError as error:
            self._fail(item, f"The file cannot be read ({error.strerror}).", "Check the path.")
            return None
        except ValueError as error:
            self._fail(item, f"The file cannot be read ({error}).", "Check the path.")
            return None
        if not row_is_right(item, self._types, self.problems) or not self._opens(item):
            return None
        row = self._named(item)
        return replace(item, row=row) if row is not None else None

    def _fail(self, item: Incoming, what: str, todo: str) -> None:
        self.problems.append(Problem("error", item.place, what, todo))

    def _is_here(self, item: Incoming, size: int) -> bool:
        """Whether the very file is in the set, was withdrawn from it, or came before."""
        known = self._known.like(item.source, size)
        if known is not None and known.photo:
            if known.added:
                self.already += 1
            else:
                what = f"The very file is in the set, as photo '{known.photo}'."
                self.problems.append(Problem("warning", item.place, what, "It is not added again."))
            return True
        if known is not None and not self._again:
            todo = "It stays out; ask for it expressly to have it in again."
            self._fail(item, "This photo was withdrawn from the set.", todo)
            return True
        earlier = self._earlier(item, size)
        if earlier:
            what, todo = f"It is the same file as {earlier}.", "It is added once."
            self.problems.append(Problem("warning", item.place, what, todo))
            return True
        return False

    def _earlier(self, item: Incoming, size: int) -> str:
        """Return the place of the same file among those before; files are read only when
        another of the same size came before."""
        seen = self._by_size.get(size)
        if seen is None:
            self._by_size[size] = item
            return ""
        if isinstance(seen, Incoming):
            seen = self._by_size[size] = {file_hash(seen.source): seen.place}
        first = seen.setdefault(file_hash(item.source), item.place)
        return "" if first == item.place else first

    def _opens(self, item: Incoming) -> bool:
        if not self._open_photos:
            return True
        from simsearch.photo import open_photo

        try:
            open_photo(item.source, max_side=_GLANCE)
        except PhotoError as error:
            self._fail(item, error.message, error.hint)
            return False
        return True

    def _named(self, item: Incoming) -> NewPhoto | None:
        """Settle id and specimen; ``None`` when one of them contradicts what is there."""
        row = item.row
        if row.id and row.id in self._taken:
            where = _cell(item, "id")
            what = f"'{row.id}' is the id of another photo."
            self.problems.append(Problem("error", where, what, "Give it another id."))
            return None
        photo_id = row.id or free_id(row.type, item.source.stem, self._taken)
        specimen = row.specimen or photo_id
        label = self._specimens.setdefault(specimen, row.type)
        if label != row.type:
            what = f"'{specimen}' is a '{label}' already, here it is a '{row.type}'."
            todo = "One object has one type: correct the type, or give the object another name."
            self.problems.append(Problem("error", _cell(item, "specimen"), what, todo))
            return None
        if specimen in self._in_set and specimen not in self._joined:
            self._joined.add(specimen)
            what = f"The set has photos of specimen '{specimen}': these count as the same object."
            todo = "If it is another object, give it another specimen name."
            self.problems.append(Problem("warning", item.place, what, todo))
        self._taken.add(photo_id)
        on = row.labelled_on or date.today().isoformat()
        return replace(row, id=photo_id, specimen=specimen, labelled_on=on)


def free_id(type_id: str, stem: str, taken: Collection[str]) -> str:
    """Return an id made of the type and the file's name that no photo has."""
    name = slug(stem) or "photo"
    base = name if f"{name}-".startswith(f"{type_id}-") else f"{type_id}-{name}"
    found, count = base, 1
    while found in taken:
        count += 1
        found = f"{base}-{count}"
    return found


def row_is_right(item: Incoming, type_ids: Collection[str], problems: list[Problem]) -> bool:
    """Note every wrong cell of a row; return whether there is none."""
    row = item.row
    cells = _Placed(item, problems)
    if cells.slug("type") and row.type not in type_ids:
        cells.fail("type", f"There is no type '{row.type}' in the set.", "Add the type first.")
    if row.id:
        cells.slug("id")
    for column, allowed in _ALLOWED.items():
        cells.choice(column, allowed)
    for column in ("creator", "source", "labelled_by", "label_basis"):
        cells.required(column)
    cells.day("labelled_on")
    if row.licence not in LICENCES:
        what = f"'{row.licence}' is no open licence known here." if row.licence else "None given."
        cells.fail("licence", what, f"A photo needs one of: {', '.join(LICENCES)}.")
    if item.private is not None and item.private.consent not in CONSENTS:
        what = f"'{item.private.consent}' is not known here."
        cells.fail("consent", what, f"Use one of: {', '.join(CONSENTS)}.")
    fault = rendered_fault(row.kind == "rendered", f"{row.source} {row.note} {row.creator}")
    if fault:
        cells.fail("kind", *fault)
    return cells.ok


_ALLOWED: Mapping[str, Collection[str]] = {
    "view": VIEWS, "completeness": COMPLETENESS, "condition": CONDITIONS, "kind": KINDS,
}  # fmt: skip


def _cell(item: Incoming, column: str) -> str:
    """Return "list.csv, row 4, column view" or "knee/03.jpg, view"."""
    return f"{item.place}, {'column ' if ', row ' in item.place else ''}{column}"


class _Placed(Cells):
    """Cells of a row that may not stand in a table yet."""

    def __init__(self, item: Incoming, problems: list[Problem]) -> None:
        super().__init__(item.place, Row(0, asdict(item.row)), problems)
        self._item = item

    def where(self, column: str) -> str:
        """Return where the cell is, or whose it would be."""
        return _cell(self._item, column)
