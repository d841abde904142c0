"""The table of types, ``types.csv``."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from simsearch.errors import DateError
from simsearch.sets.dates import DateRange, parse_edtf
from simsearch.sets.problems import Problem, raise_errors
from simsearch.sets.tables import Cells, Row, note_repeats, read_rows

TYPE_COLUMNS = (
    "id", "name", "other_names", "group", "period", "date_edtf", "date_note", "material",
    "length_mm", "length_note", "pin_fixing", "front", "back", "side", "survives", "breaks",
    "look_alikes", "checks", "typology", "sources", "basis", "cautions",
)  # fmt: skip
GROUPS = (
    "bow brooch", "plate brooch", "penannular brooch", "annular brooch", "long brooch",
    "disc brooch", "buckle", "strap fitting", "pin", "key", "button", "coin", "weight and shot",
    "seal and mount", "household", "modern",
)  # fmt: skip
PIN_FIXINGS = ("sprung", "hinged", "sprung or hinged", "free pin", "none", "other")
DATE_BASES = ("read", "part read", "second-hand", "from memory")
CAUTIONS = ("precious-metal", "coin-group", "modern-copy", "ammunition", "lead")
FEATURE_VIEWS = ("front", "back", "side")


@dataclass(frozen=True)
class LookAlike:
    """A type often confused with this one, and in words what separates the two."""

    type_id: str
    separates: str


@dataclass(frozen=True)
class Type:
    """One named form.

    ``length_mm`` is (shortest, longest) in millimetres, or ``None`` when unknown;
    ``features`` says what is seen in each of the views front, back and side that has words.
    ``basis`` says how the date is known.
    """

    id: str
    name: str
    other_names: tuple[str, ...]
    group: str
    period: str
    dates: DateRange
    date_note: str
    material: str
    length_mm: tuple[float, float] | None
    length_note: str
    pin_fixing: str
    features: Mapping[str, str]
    survives: str
    breaks: str
    look_alikes: tuple[LookAlike, ...]
    checks: tuple[str, ...]
    typology: tuple[str, ...]
    sources: tuple[str, ...]
    basis: str
    cautions: tuple[str, ...]


def load_types(
    path: Path | str, *, source_ids: Collection[str] | None = None
) -> Mapping[str, Type]:
    """Read ``types.csv``, by id in file order.

    With ``source_ids`` given, every source a type names must be among them.
    Raises ``TablesError`` listing every problem with its row and column.
    """
    problems: list[Problem] = []
    types = read_types(Path(path), source_ids, problems)
    raise_errors(problems)
    return types


def read_types(
    path: Path, source_ids: Collection[str] | None, problems: list[Problem]
) -> dict[str, Type]:
    """Read what can be read of ``types.csv`` and note the rest in ``problems``."""
    rows = read_rows(path, TYPE_COLUMNS, problems)
    note_repeats(path.name, "id", [(row.number, row.cells["id"]) for row in rows], problems)
    types: dict[str, Type] = {}
    links: dict[str, tuple[Row, tuple[LookAlike, ...]]] = {}
    for row in rows:
        cells = Cells(path.name, row, problems)
        _check_sources(cells, source_ids)
        read = _type(cells)
        # Links are kept from rows that have other faults too, so that one bad date does not
        # make every type that points at this row look wrong as well.
        links.setdefault(read.id, (row, read.look_alikes))
        if cells.ok:
            types.setdefault(read.id, read)
    _check_links(path.name, links, problems)
    return types


def _type(cells: Cells) -> Type:
    features = {view: cells.text(view) for view in FEATURE_VIEWS if cells.text(view)}
    return Type(
        id=cells.slug("id"),
        name=cells.required("name"),
        other_names=cells.items("other_names"),
        group=cells.choice("group", GROUPS),
        period=cells.required("period"),
        dates=_dates(cells),
        date_note=cells.text("date_note"),
        material=cells.required("material"),
        length_mm=_length(cells),
        length_note=cells.text("length_note"),
        pin_fixing=cells.choice("pin_fixing", PIN_FIXINGS),
        features=MappingProxyType(features),
        survives=cells.text("survives"),
        breaks=cells.text("breaks"),
        look_alikes=_look_alikes(cells),
        checks=cells.items("checks", "|"),
        typology=cells.items("typology", "|"),
        sources=cells.items("sources"),
        basis=cells.choice("basis", DATE_BASES),
        cautions=cells.choices("cautions", CAUTIONS),
    )


def _dates(cells: Cells) -> DateRange:
    text = cells.required("date_edtf")
    try:
        return parse_edtf(text or "0001")
    except DateError as error:
        cells.fail("date_edtf", error.message, error.hint)
        return parse_edtf("0001")


def _length(cells: Cells) -> tuple[float, float] | None:
    text = cells.text("length_mm")
    if not text:
        return None
    try:
        shortest, longest = (float(part) for part in text.split("/"))
        good = 0 < shortest <= longest < 10_000
    except ValueError:
        good = False
    if not good:
        todo = "Write shortest/longest in millimetres, as in 35/70, or leave it empty."
        cells.fail("length_mm", f"'{text}' is not a range of lengths.", todo)
        return None
    return shortest, longest


def _look_alikes(cells: Cells) -> tuple[LookAlike, ...]:
    found = []
    for item in cells.items("look_alikes", "|"):
        type_id, colon, separates = (part.strip() for part in item.partition(":"))
        if not (type_id and colon and separates):
            todo = "Write 'other-id: what separates this type from the other', with | between."
            cells.fail("look_alikes", f"'{item}' is not understood.", todo)
            continue
        found.append(LookAlike(type_id, separates))
    return tuple(found)


def _check_sources(cells: Cells, source_ids: Collection[str] | None) -> None:
    if source_ids is None:
        return
    for source in cells.items("sources"):
        if source not in source_ids:
            todo = "Add it to sources.csv or correct the id."
            cells.fail("sources", f"'{source}' is not in sources.csv.", todo)


def _check_links(
    file: str, links: Mapping[str, tuple[Row, tuple[LookAlike, ...]]], problems: list[Problem]
) -> None:
    """Every look-alike must exist, be another type, be named once, and point back."""
    for type_id, (row, look_alikes) in links.items():
        named = [look_alike.type_id for look_alike in look_alikes]
        cells = Cells(file, row, problems)
        for other in dict.fromkeys(named):
            if other == type_id:
                cells.fail("look_alikes", "The type names itself.", "Name another type.")
            elif other not in links:
                todo = "Add that type or correct the id."
                cells.fail("look_alikes", f"There is no type '{other}'.", todo)
            elif type_id not in [back.type_id for back in links[other][1]]:
                what = f"'{other}' (row {links[other][0].number}) does not point back."
                cells.fail("look_alikes", what, f"Name '{type_id}' among its look-alikes too.")
            if named.count(other) > 1:
                cells.fail("look_alikes", f"'{other}' is named twice.", "Keep one of the two.")
