"""Kinds of column, and how constraints are named: what tables are made of."""

import sqlalchemy as sa
from sqlalchemy import Column, Text

_NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}
metadata = sa.MetaData(naming_convention=_NAMES)

# SQLite makes a column its row number only when it is called INTEGER
ROW_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
# byte order, so that "starts with" is a range on both engines
FOLDED = Text().with_variant(Text(collation="C"), "postgresql")


def text(name: str) -> Column[str]:
    """Text that is always there, "" when there is nothing to say."""
    return Column(name, Text, nullable=False)


def whole(name: str) -> Column[int]:
    """A whole number of 64 bits."""
    return Column(name, sa.BigInteger, nullable=False)


def version() -> tuple[Column[str] | Column[int] | Column[bool] | Column[bytes], ...]:
    """The columns of one version of one resource."""
    return (
        text("organization"),
        text("type"),
        text("id"),
        whole("version"),
        text("updated"),
        whole("updated_us"),
        Column("deleted", sa.Boolean, nullable=False),
        text("method"),
        Column("body", sa.LargeBinary, nullable=False),
    )
