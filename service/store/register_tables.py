"""Python descriptions of what an operator keeps: organisations, tokens, catalogues, own rows and closed months."""

import sqlalchemy as sa
from sqlalchemy import Column, Index, PrimaryKeyConstraint, Table, Text

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
    *(text(name) for name in ("organization", "kind", "made", "by", "files", "difference")),
    Index(None, "organization", "kind", "row"),
    comment="an organisation's own rows over catalogue or tariff, the last of a kind in force; only ever added to",
)

closed_month = Table(
    "closed_month",
    metadata,
    *(text(name) for name in ("organization", "month", "closed", "by", "totals")),
    PrimaryKeyConstraint("organization", "month"),
    comment="months whose books are closed, and what they came to; only ever added to",
)

__all__ = ["metadata"]
