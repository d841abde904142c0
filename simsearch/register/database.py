"""The SQLite file of a register: opening it safely and bringing it up to date.

SQLAlchemy Core keeps the statements readable and Alembic the versions in order; both are light and
need no server. Every commit is on the disk before it counts: write-ahead log with full
synchronisation, so a kill or a power cut loses nothing that was committed.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DatabaseError, OperationalError

from simsearch.register.errors import RegisterError
from simsearch.register.migrations import FOLDER, KNOWN, NEWEST, TRIGGERS

DATABASE_FILE = "register.db"
_WAIT_MS = 15_000
_PRAGMAS = (
    "journal_mode = WAL",
    "synchronous = FULL",
    "foreign_keys = ON",
    f"busy_timeout = {_WAIT_MS}",
    "trusted_schema = OFF",
)
# All that any version has made; SQLite itself adds the sequence and the automatic indexes.
_KNOWN_PARTS = {
    *(("table", name) for name in ("finds", "photos", "changes", "alembic_version")),
    ("table", "sqlite_sequence"),
    *(("index", f"sqlite_autoindex_{name}_1") for name in ("finds", "photos", "alembic_version")),
    *(("index", name) for name in ("changes_by_find", "finds_by_type")),
    *(("trigger", name) for name in ("changes_no_update", "changes_no_delete")),
}


def open_database(file: Path) -> Engine:
    """Open the register's file, making or updating its tables.

    Raises ``RegisterError`` for a file that is none of ours, damaged, or from a newer program.
    """
    engine = create_engine(URL.create("sqlite", database=str(file)))
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    try:
        _bring_up_to_date(engine, file)
    except BaseException:
        engine.dispose()
        raise
    return engine


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A transaction that sees the register as it was at its first look, and changes nothing."""
    with _told(engine), engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction that holds other writers off from its beginning; all of it or nothing."""
    with _told(engine), engine.connect() as plain:
        connection = plain.execution_options(writing=True)
        with connection.begin():
            yield connection


def version_of(connection: Connection) -> str:
    """The version of the tables; empty for a file without any."""
    found = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table'")
    names = {row[0] for row in found}
    if not names:
        return ""
    if not {"alembic_version", "finds", "changes"} <= names:
        return "foreign"
    row = connection.exec_driver_sql("SELECT version_num FROM alembic_version").first()
    return str(row[0]) if row else "foreign"


def version_of_file(file: Path) -> str:
    """The version of a database file that is not trusted; "foreign" for what is no register.

    Nothing but our own tables, indexes and triggers may be in it, because a trigger runs
    whatever its author wrote.
    """
    try:
        with closing(sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)) as opened:
            opened.execute("PRAGMA trusted_schema = OFF")
            found = set(opened.execute("SELECT type, name FROM sqlite_master").fetchall())
            version = opened.execute("SELECT version_num FROM alembic_version").fetchone()
            triggers = opened.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
            texts = {" ".join(str(row[0]).split()) for row in triggers}
    except sqlite3.Error:
        return "foreign"
    if not found <= _KNOWN_PARTS or not texts <= set(TRIGGERS) or version is None:
        return "foreign"
    return str(version[0])


def upgrade(connection: Connection, version: str = NEWEST) -> None:
    """Take all steps from the version that ``connection`` sees to ``version``."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, version)


def integrity_problems(engine: Engine) -> list[str]:
    """What SQLite's own check finds wrong with the file; empty when it is sound."""
    with reading(engine) as connection:
        lines = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    return [line for line in lines if line != "ok"] + [f"foreign key: {row}" for row in broken]


def _prepare(connection: Any, _record: Any) -> None:
    # The driver must not begin transactions by itself: _begin does, at once and for every kind
    # of statement, so that changes of tables can be rolled back too.
    connection.isolation_level = None
    cursor = connection.cursor()
    try:
        for pragma in _PRAGMAS:
            cursor.execute(f"PRAGMA {pragma}")
    finally:
        cursor.close()


def _begin(connection: Connection) -> None:
    wants_to_write = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if wants_to_write else "BEGIN")


def _bring_up_to_date(engine: Engine, file: Path) -> None:
    with reading(engine) as connection:
        found = version_of(connection)
    if found == NEWEST:
        return
    if found not in ("", *KNOWN):
        what = "no register" if found == "foreign" else f"of version {found}, newer than {NEWEST}"
        raise RegisterError(
            f"{file} is {what}.",
            hint="Update simsearch, or give the folder of another register.",
        )
    with writing(engine) as connection:
        # Another program may have done it while we waited for our turn.
        if version_of(connection) != NEWEST:
            upgrade(connection)


@contextmanager
def _told(engine: Engine) -> Iterator[None]:
    file = engine.url.database
    try:
        yield
    except (OperationalError, sqlite3.OperationalError) as error:
        reason = str(getattr(error, "orig", error))
        busy = "locked" in reason or "busy" in reason
        hint = (
            "Another program is writing to it; wait a little and try again."
            if busy
            else "Check that the disk is there, has room, and that the folder may be written to."
        )
        raise RegisterError(f"{file} could not be used ({reason}).", hint=hint) from error
    except (DatabaseError, sqlite3.DatabaseError) as error:
        reason = str(getattr(error, "orig", error))
        raise RegisterError(
            f"{file} is damaged or is no register ({reason}).",
            hint="Keep the file as it is, and restore the newest backup into a new folder.",
        ) from error
