"""From any older register to the newest: one module in ``versions`` for each step (Alembic).

A step that has been released is never edited; a new one is added, and ``NEWEST`` with it.
"""

from __future__ import annotations

from pathlib import Path

NEWEST = "2"
KNOWN = ("1", "2")
FOLDER = Path(__file__).parent
# The history is append-only; these keep it so, in the file itself.
TRIGGERS = tuple(
    f"CREATE TRIGGER changes_no_{event.lower()} BEFORE {event} ON changes "
    "BEGIN SELECT RAISE(ABORT, 'the history is never rewritten'); END"
    for event in ("UPDATE", "DELETE")
)
