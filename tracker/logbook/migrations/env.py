"""Run by alembic: migrates over the connection that `tracker.logbook.database` hands in."""

from alembic import context

from tracker.logbook.tables import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
