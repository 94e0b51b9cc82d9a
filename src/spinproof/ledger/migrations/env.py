"""How alembic runs the migrations: in the transaction that the ledger opened for them."""

from alembic import context

from spinproof.ledger.tables import Base


def migrate() -> None:
    """Run the migrations on the connection that was handed over."""
    context.configure(
        connection=context.config.attributes["connection"],
        target_metadata=Base.metadata,
        transactional_ddl=True,
    )
    context.run_migrations()


if __name__ == "env_py":  # the name under which alembic loads this file
    migrate()
