"""Adding a type to a set, and changing what is said about one."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from simsearch.errors import SetError
from simsearch.making.tables import Cells, Tables
from simsearch.sets.changes import changing
from simsearch.sets.types import TYPE_COLUMNS, load_types
from simsearch.sets.write import write_csv

TYPES_FILE = "types.csv"


def add_type(folder: Path | str, cells: Mapping[str, str]) -> None:
    """Add a type to a set; ``cells`` by column of types.csv, those left out are empty.

    The look-alikes it names get it as theirs in return, in the same words, when they do not
    name it yet. Raises ``SetError`` when the id is taken or a column unknown, and
    ``TablesError`` listing every wrong cell; nothing is changed then.
    """
    add_type_rows(Path(folder), [cells])


def add_type_rows(folder: Path, types: Sequence[Mapping[str, str]]) -> None:
    """Add several types in one change. Errors as ``add_type``."""
    new = [_whole_row(cells) for cells in types]
    with changing(folder) as change:
        tables = Tables(folder, change)
        present = list(tables.rows(TYPES_FILE))
        taken = {row["id"] for row in present}
        for row in new:
            if row["id"] in taken:
                hint = "Give the new one another id, or change the one that is there."
                raise SetError(f"There is a type '{row['id']}' already.", hint=hint)
        _save(tables, _linked_back([*present, *new], new))


def change_type(folder: Path | str, type_id: str, cells: Mapping[str, str]) -> None:
    """Change some cells of a type. Its id stays: photos and opinions go by it.

    Raises ``SetError`` when there is no such type or a column is unknown, and ``TablesError``
    listing every wrong cell; nothing is changed then.
    """
    root = Path(folder)
    _require_columns(cells)
    if cells.get("id", type_id) != type_id:
        raise SetError("A type keeps its id.", hint="Add another type, and move the photos to it.")
    with changing(root) as change:
        tables = Tables(root, change)
        rows = list(tables.rows(TYPES_FILE))
        if type_id not in {row["id"] for row in rows}:
            raise SetError(f"There is no type '{type_id}' in {root}.", hint="Add it first.")
        changed = [{**row, **cells} if row["id"] == type_id else row for row in rows]
        _save(tables, _linked_back(changed, [row for row in changed if row["id"] == type_id]))


def _whole_row(cells: Mapping[str, str]) -> dict[str, str]:
    _require_columns(cells)
    return {name: cells.get(name, "").strip() for name in TYPE_COLUMNS}


def _require_columns(cells: Mapping[str, str]) -> None:
    unknown = [name for name in cells if name not in TYPE_COLUMNS]
    if unknown:
        raise SetError(f"A type has no '{unknown[0]}'.", hint=f"It has: {', '.join(TYPE_COLUMNS)}.")


def _linked_back(rows: Sequence[Cells], new: Sequence[Cells]) -> list[Cells]:
    """Let every look-alike of the new rows name them in return."""
    linked = {row["id"]: dict(row) for row in rows}
    for row in new:
        for item in row["look_alikes"].split("|"):
            other, colon, separates = (part.strip() for part in item.partition(":"))
            back = linked.get(other)
            if not colon or back is None or other == row["id"]:
                continue  # what is wrong with it is told when the table is read
            named = [part.partition(":")[0].strip() for part in back["look_alikes"].split("|")]
            if row["id"] not in named:
                link = f"{row['id']}: {row['name']} against this one: {separates}"
                back["look_alikes"] = " | ".join(filter(None, [back["look_alikes"], link]))
    return list(linked.values())


def _save(tables: Tables, rows: Sequence[Cells]) -> None:
    """Read the table as it would be, so that a wrong cell is told before it is written."""
    source_ids = {row["id"] for row in tables.rows("sources.csv")}
    with tempfile.TemporaryDirectory() as aside:
        path = Path(aside) / TYPES_FILE
        write_csv(path, TYPE_COLUMNS, rows)
        load_types(path, source_ids=source_ids)
    tables.replace(TYPES_FILE, rows)
    tables.save()
