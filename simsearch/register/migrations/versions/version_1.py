"""Finds, their photos, and the history of every change."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from simsearch.register.migrations import TRIGGERS

revision = "1"
down_revision = None
branch_labels = None
depends_on = None

_FIRST_TEXTS = (
    *("title", "object_name", "period", "type_id", "type_confidence", "leads_note"),
    *("verified_by", "verified_on"),
)
_NUMBERS = ("length_mm", "width_mm", "thickness_mm", "diameter_mm", "weight_g")
_TEXTS = (
    *("measured_how", "completeness", "condition", "surface", "material", "fixing"),
    *("method", "found_on", "finder", "landowner_consent", "findspot_kind", "findspot_value"),
)
_LAST_TEXTS = (
    *("findspot_words", "nearby", "description", "checked", "unknowns"),
    *("status", "created_on", "changed_on"),
)


def upgrade() -> None:
    """Make the three tables; a row of the history can never be changed or deleted."""
    op.create_table(
        "finds",
        sa.Column("id", sa.Text, primary_key=True),
        *(_text(name) for name in _FIRST_TEXTS),
        *(sa.Column(name, sa.Float) for name in _NUMBERS),
        *(_text(name) for name in _TEXTS),
        sa.Column("findspot_precision_m", sa.Float),
        *(_text(name) for name in _LAST_TEXTS),
    )
    op.create_table(
        "photos",
        sa.Column(
            "find_id",
            sa.Text,
            sa.ForeignKey("finds.id", ondelete="CASCADE"),
            primary_key=True,
            nullable=False,
        ),
        sa.Column("position", sa.Integer, primary_key=True, nullable=False),
        *(_text(name) for name in ("file", "view", "sha256", "caption")),
        sa.Column("mm_per_px", sa.Float),
    )
    op.create_table(
        "changes",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=True),
        *(_text(name) for name in ("find_id", "action", "by", "at")),
        sa.Column("undoes", sa.Integer),
        sa.Column("before", sa.Text),
        sa.Column("after", sa.Text),
        _text("note"),
        sqlite_autoincrement=True,
    )
    for trigger in TRIGGERS:
        op.execute(trigger)


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False, server_default="")
