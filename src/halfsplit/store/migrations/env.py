"""Alembic's entry: runs the migrations on the connection, and in the transaction, that the store gives it."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    transactional_ddl=True,  # SQLite's DDL is transactional too once we begin ourselves
)
with context.begin_transaction():
    context.run_migrations()
