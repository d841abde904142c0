"""Run by Alembic: take the steps on the connection that ``database`` hands over.

The connection is inside a transaction already, so all steps happen or none does.
"""

from __future__ import annotations

from alembic import context

from simsearch.register.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    transactional_ddl=True,
)
context.run_migrations()
