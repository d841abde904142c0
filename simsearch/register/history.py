"""The history of a register: who changed what and when, what was and what is; and undo.

Undo puts a find back to what it was before its newest change that still holds, and is recorded as
a change of its own. An undo can be undone too, as long as nothing came after it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, insert, select

from simsearch.register.errors import RegisterError
from simsearch.register.records import FIELDS
from simsearch.register.tables import CHANGES

NEW, CHANGED, TAKEN_OUT, UNDONE = "new", "change", "taken out", "undo"
_SILENT = ("changed_on", "created_on")


@dataclass(frozen=True)
class Change:
    """One line of the history; ``before`` and ``after`` are whole records, ``None`` for no record.

    ``at`` is ISO 8601 in UTC; ``undoes`` is the number of the change that an undo took back.
    """

    number: int
    find_id: str
    action: str
    by: str
    at: str
    undoes: int | None
    before: dict[str, Any] | None
    after: dict[str, Any] | None
    note: str = ""

    def differences(self) -> tuple[tuple[str, Any, Any], ...]:
        """(field, what was, what is) for every field that changed; empty values as they are."""
        before, after = self.before or {}, self.after or {}
        return tuple(
            (name, before.get(name), after.get(name))
            for name in FIELDS
            if name not in _SILENT and _filled(before.get(name)) != _filled(after.get(name))
        )


def write_change(connection: Connection, change: Change) -> Change:
    """Append ``change`` (its number is given by the database) and return it numbered."""
    result = connection.execute(
        insert(CHANGES).values(
            find_id=change.find_id,
            action=change.action,
            by=change.by,
            at=change.at,
            undoes=change.undoes,
            before=_json(change.before),
            after=_json(change.after),
            note=change.note,
        )
    )
    key = result.inserted_primary_key
    number = int(key[0]) if key else 0
    return Change(number, *_rest(change))


def read_changes(connection: Connection, find_id: str | None = None) -> list[Change]:
    """The changes of one find or of all, oldest first."""
    query = select(CHANGES).order_by(CHANGES.c.number)
    if find_id is not None:
        query = query.where(CHANGES.c.find_id == find_id)
    return [
        Change(
            row.number,
            row.find_id,
            row.action,
            row.by,
            row.at,
            row.undoes,
            json.loads(row.before) if row.before else None,
            json.loads(row.after) if row.after else None,
            row.note,
        )
        for row in connection.execute(query)
    ]


def to_undo(changes: Sequence[Change], find_id: str, number: int | None = None) -> Change:
    """Which of a find's ``changes`` an undo takes back.

    Without ``number`` the newest that still holds and is no undo itself. With it, that change,
    which must be the newest that holds: later changes stand on it. Raises ``RegisterError``
    when there is none.
    """
    holding = _holding(changes)
    plain = [change for change in holding if change.action != UNDONE]
    if number is None:
        if not plain:
            raise RegisterError(
                f"{find_id} has nothing to undo.", hint="Look at its history for what was done."
            )
        return plain[-1]
    wanted = next((change for change in changes if change.number == number), None)
    if wanted is None:
        raise RegisterError(
            f"{find_id} has no change {number}.", hint="Its history lists the numbers."
        )
    newest = changes[-1] if wanted.action == UNDONE else (plain[-1] if plain else None)
    if wanted not in holding:
        raise RegisterError(f"Change {number} of {find_id} has been undone already.")
    if newest is None or newest.number != number:
        raise RegisterError(
            f"Change {number} of {find_id} has later changes standing on it.",
            hint="Undo those first, or change the field back by hand.",
        )
    return wanted


def _holding(changes: Sequence[Change]) -> list[Change]:
    """The changes that no undo, itself in force, has taken back."""
    taken_back: set[int] = set()
    # From the newest backwards: whether an undo holds is known before what it undid.
    for change in reversed(changes):
        if change.undoes is not None and change.number not in taken_back:
            taken_back.add(change.undoes)
    return [change for change in changes if change.number not in taken_back]


def _rest(change: Change) -> tuple[Any, ...]:
    return (
        change.find_id,
        change.action,
        change.by,
        change.at,
        change.undoes,
        change.before,
        change.after,
        change.note,
    )


def _json(document: dict[str, Any] | None) -> str | None:
    return None if document is None else json.dumps(document, ensure_ascii=False, sort_keys=True)


def _filled(value: Any) -> Any:
    """Empty text, an empty list and nothing at all say the same."""
    return None if value in ("", [], ()) else value
