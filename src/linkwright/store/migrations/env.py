"""What Alembic runs: the steps, on the connection that `linkwright.store.migrate` hands over."""

from __future__ import annotations

from alembic import context

from linkwright.store.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
with context.begin_transaction():
    context.run_migrations()
