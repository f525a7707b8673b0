"""Alembic's entry: the connection is given by `database.migrate`; there is no configuration file."""

from alembic import context

from handsfree.desk.tables import Base

context.configure(connection=context.config.attributes["connection"], target_metadata=Base.metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
