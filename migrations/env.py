"""Runs the migrations on the connection that service.store.migrate hands in."""

from alembic import context

from service.store.tables import metadata

connection = context.config.attributes.get("connection")
if connection is None:
    raise SystemExit("Run: sonoledger migrate")

context.configure(
    connection=connection,
    target_metadata=metadata,
    compare_type=True,
    render_as_batch=connection.dialect.name == "sqlite",
    transactional_ddl=True,  # the caller holds one transaction on both engines
)
context.run_migrations()
