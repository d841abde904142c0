"""The finds register: what was found, where, what it may be, who looked at it, and every change.

A register is one folder: ``register.db`` (SQLite) and ``photos/`` beside it. Start at
``simsearch.register.store.open_register``. The modules, from the bottom up:

- ``errors``, ``found_on``, ``grid`` and ``transform`` (findspots), ``records`` (what a find holds)
- ``tables``, ``migrations`` and ``database`` (SQLite through SQLAlchemy, versions by Alembic)
- ``photos`` (copies without metadata), ``history`` (changes and undo), ``store`` (all together)
- ``backup`` (one file out and back in), ``vocabulary`` and ``export`` (CSV and JSON)

Nothing is imported here, so that a command that needs no register loads no database library.
"""
