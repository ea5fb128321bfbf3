"""Python descriptions of the tables that an operator keeps: organisations, tokens, catalogues and rows of their own."""

import sqlalchemy as sa
from sqlalchemy import Column, Index, Table, Text

from service.store.columns import ROW_NUMBER, metadata, text

organization = Table(
    "organization",
    metadata,
    Column("slug", Text, primary_key=True),
    *(text(name) for name in ("name", "kind", "settings")),
)

token = Table(
    "token",
    metadata,
    Column("hash", Text, primary_key=True),
    *(text(name) for name in ("organization", "scopes", "label", "made")),
    Column("revoked", sa.Boolean, nullable=False),
    Index(None, "organization"),
)

catalogue = Table(
    "catalogue",
    metadata,
    Column("hash", Text, primary_key=True),
    text("text"),
    comment="the mapping files that exams were opened with, shared by all organisations",
)

overlay = Table(
    "overlay",
    metadata,
    Column("row", ROW_NUMBER, primary_key=True, autoincrement=True),
    *(text(name) for name in ("organization", "made", "by", "files", "difference")),
    Index(None, "organization", "row"),
    comment="rows of an organisation's own over the catalogue, the last one in force; only ever added to",
)

__all__ = ["metadata"]
