"""How Alembic runs here: on the connection it is given, inside that connection's transaction."""

from __future__ import annotations

from alembic import context

from storage import models

connection = context.config.attributes["connection"]
context.configure(
    connection=connection, target_metadata=models.Customer.metadata, render_as_batch=True, transactional_ddl=True
)
with context.begin_transaction():
    context.run_migrations()
