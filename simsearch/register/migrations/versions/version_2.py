"""Search by words in any alphabet, and quick lists: what SQLite's LIKE cannot do by itself."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "2"
down_revision = "1"
branch_labels = None
depends_on = None

_SEARCHED = (
    *("id", "title", "object_name", "period", "type_id", "type_confidence", "leads_note"),
    *("verified_by", "measured_how", "completeness", "condition", "surface", "material", "fixing"),
    *("method", "finder", "landowner_consent", "findspot_value", "findspot_words", "nearby"),
    *("description", "checked", "unknowns", "status"),
)


def upgrade() -> None:
    """Add the column of words, fill it for the finds that are there, and add the indexes."""
    op.add_column("finds", sa.Column("words", sa.Text, nullable=False, server_default=""))
    connection = op.get_bind()
    columns = ", ".join(_SEARCHED)
    for row in connection.exec_driver_sql(f"SELECT {columns} FROM finds").all():
        words = "\n".join(str(part) for part in row if part).casefold()
        connection.exec_driver_sql("UPDATE finds SET words = ? WHERE id = ?", (words, row[0]))
    op.create_index("changes_by_find", "changes", ["find_id", "number"])
    op.create_index("finds_by_type", "finds", ["type_id"])
