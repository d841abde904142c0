"""The register's tables as they are now. How older ones become these: ``migrations``."""

from __future__ import annotations

from sqlalchemy import Column, Float, ForeignKey, Integer, MetaData, Table, Text

METADATA = MetaData()


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False, server_default="")


def _number(name: str) -> Column[float]:
    return Column(name, Float)


FINDS = Table(
    "finds",
    METADATA,
    Column("id", Text, primary_key=True),
    *(
        _text(name)
        for name in (
            *("title", "object_name", "period", "type_id", "type_confidence", "leads_note"),
            *("verified_by", "verified_on"),
        )
    ),
    *(
        _number(name)
        for name in ("length_mm", "width_mm", "thickness_mm", "diameter_mm", "weight_g")
    ),
    *(
        _text(name)
        for name in (
            *("measured_how", "completeness", "condition", "surface", "material", "fixing"),
            *("method", "found_on", "finder", "landowner_consent"),
            *("findspot_kind", "findspot_value"),
        )
    ),
    _number("findspot_precision_m"),
    *(_text(name) for name in ("findspot_words", "nearby", "description")),
    *(_text(name) for name in ("checked", "unknowns")),  # JSON lists
    *(_text(name) for name in ("status", "created_on", "changed_on")),
    _text("words"),  # what a search by words looks through: records.search_words
)

PHOTOS = Table(
    "photos",
    METADATA,
    Column(
        "find_id",
        Text,
        ForeignKey("finds.id", ondelete="CASCADE"),
        primary_key=True,
        nullable=False,
    ),
    Column("position", Integer, primary_key=True, nullable=False),
    *(_text(name) for name in ("file", "view", "sha256", "caption")),
    _number("mm_per_px"),
)

# Append-only: two triggers refuse to change or delete a row. ``before`` and ``after`` hold the
# whole record as JSON, NULL where there was or is none.
CHANGES = Table(
    "changes",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=True),
    *(_text(name) for name in ("find_id", "action", "by", "at")),
    Column("undoes", Integer),
    Column("before", Text),
    Column("after", Text),
    _text("note"),
    sqlite_autoincrement=True,
)
