"""From the first version of the tables to the newest, with what was in them."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from simsearch.register.database import DATABASE_FILE
from simsearch.register.errors import RegisterError
from simsearch.register.migrations import FOLDER, KNOWN, NEWEST
from simsearch.register.records import FindRecord, to_document
from simsearch.register.store import open_register
from simsearch.register.tables import METADATA
from tests.register.invented import find_fields, make_register

# Version 1 as it was released, so that nobody can change that step without a test failing.
_TEXT = "TEXT DEFAULT '' NOT NULL"
VERSION_1 = f"""
CREATE TABLE alembic_version (
    version_num VARCHAR(32) NOT NULL, CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num));
INSERT INTO alembic_version VALUES ('1');
CREATE TABLE finds (id TEXT NOT NULL, title {_TEXT}, object_name {_TEXT}, period {_TEXT},
    type_id {_TEXT}, type_confidence {_TEXT}, leads_note {_TEXT}, verified_by {_TEXT},
    verified_on {_TEXT}, length_mm FLOAT, width_mm FLOAT, thickness_mm FLOAT, diameter_mm FLOAT,
    weight_g FLOAT, measured_how {_TEXT}, completeness {_TEXT}, condition {_TEXT}, surface {_TEXT},
    material {_TEXT}, fixing {_TEXT}, method {_TEXT}, found_on {_TEXT}, finder {_TEXT},
    landowner_consent {_TEXT}, findspot_kind {_TEXT}, findspot_value {_TEXT},
    findspot_precision_m FLOAT, findspot_words {_TEXT}, nearby {_TEXT}, description {_TEXT},
    checked {_TEXT}, unknowns {_TEXT}, status {_TEXT}, created_on {_TEXT}, changed_on {_TEXT},
    PRIMARY KEY (id));
CREATE TABLE photos (find_id TEXT NOT NULL, position INTEGER NOT NULL, file {_TEXT}, view {_TEXT},
    sha256 {_TEXT}, caption {_TEXT}, mm_per_px FLOAT, PRIMARY KEY (find_id, position),
    FOREIGN KEY(find_id) REFERENCES finds (id) ON DELETE CASCADE);
CREATE TABLE changes (number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, find_id {_TEXT},
    action {_TEXT}, by {_TEXT}, at {_TEXT}, undoes INTEGER, before TEXT, after TEXT, note {_TEXT});
CREATE TRIGGER changes_no_update BEFORE UPDATE ON changes
    BEGIN SELECT RAISE(ABORT, 'the history is never rewritten'); END;
CREATE TRIGGER changes_no_delete BEFORE DELETE ON changes
    BEGIN SELECT RAISE(ABORT, 'the history is never rewritten'); END;
"""


def make_version_1(folder: Path) -> FindRecord:
    """A register of version 1 with one find, as that version wrote it."""
    stamp = "2026-04-01T10:00:00Z"
    find = FindRecord(
        id="find-0001", title="Ärmchen (invented)", created_on=stamp, changed_on=stamp
    )
    folder.mkdir()
    with sqlite3.connect(folder / DATABASE_FILE) as plain:
        plain.executescript(VERSION_1)
        plain.execute(
            "INSERT INTO finds (id, title, landowner_consent, checked, unknowns, status, "
            "created_on, changed_on) VALUES (?, ?, 'not asked', '[]', '[]', 'draft', ?, ?)",
            (find.id, find.title, stamp, stamp),
        )
        plain.execute(
            "INSERT INTO changes (find_id, action, by, at, after) VALUES (?, 'new', 'A', ?, ?)",
            (find.id, stamp, json.dumps(to_document(find))),
        )
    plain.close()
    return find


def test_a_register_of_version_1_is_brought_up_to_date(tmp_path: Path) -> None:
    find = make_version_1(tmp_path / "old")
    with open_register(tmp_path / "old", create=False) as register:
        assert register.status().version == NEWEST
        assert register.get("find-0001") == find
        assert register.search("ÄRMCHEN") == (find,)  # the words were filled in
        assert register.check() == ()
        register.change("find-0001", {"period": "Roman"}, by="B")
        register.undo("find-0001", by="B")
        assert register.get("find-0001").period == ""


def _parts(file: Path) -> list[tuple[str, ...]]:
    """Every table's columns, and the names of indexes and triggers."""
    with sqlite3.connect(file) as plain:
        names = plain.execute(
            "SELECT type, name FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
        ).fetchall()
        found = [tuple(map(str, name)) for name in names]
        for kind, name in names:
            if kind == "table":
                columns = plain.execute(f"PRAGMA table_info({name})").fetchall()
                found += [(name, *map(str, column[1:])) for column in columns]
    plain.close()
    return sorted(found)


def test_old_and_new_registers_are_alike(tmp_path: Path) -> None:
    make_version_1(tmp_path / "old")
    open_register(tmp_path / "old").close()
    open_register(tmp_path / "new").close()
    assert _parts(tmp_path / "old" / DATABASE_FILE) == _parts(tmp_path / "new" / DATABASE_FILE)


def test_the_steps_lead_to_the_tables_that_the_program_uses(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register, register._engine.connect() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), METADATA)
    # Indexes are made by the steps alone; nothing else may differ.
    assert {difference[0] for difference in differences} <= {"remove_index"}
    assert ScriptDirectory(str(FOLDER)).get_current_head() == NEWEST
    assert KNOWN[-1] == NEWEST


def test_a_step_that_fails_changes_nothing(tmp_path: Path) -> None:
    make_version_1(tmp_path / "old")
    before = _parts(tmp_path / "old" / DATABASE_FILE)
    with sqlite3.connect(tmp_path / "old" / DATABASE_FILE) as plain:
        # The last thing version 2 makes is there already: it fails after all the rest.
        plain.execute("CREATE INDEX finds_by_type ON finds (title)")
    plain.close()
    with pytest.raises(RegisterError):
        open_register(tmp_path / "old")
    after = _parts(tmp_path / "old" / DATABASE_FILE)
    assert after == sorted([*before, ("index", "finds_by_type")])


def test_a_register_of_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    with make_register(tmp_path / "r") as register:
        register.new(find_fields(), by="A")
    with sqlite3.connect(tmp_path / "r" / DATABASE_FILE) as plain:
        plain.execute("UPDATE alembic_version SET version_num = '99'")
    plain.close()
    with pytest.raises(RegisterError, match="newer than"):
        open_register(tmp_path / "r")
