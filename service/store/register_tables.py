"""Python descriptions of what an operator keeps: organisations, who may come in, catalogues, own rows, closed books."""

import sqlalchemy as sa
from sqlalchemy import Column, Index, PrimaryKeyConstraint, Table, Text, UniqueConstraint

from service.store.columns import ROW_NUMBER, metadata, text, whole

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
    *(text(name) for name in ("role", "party", "client")),  # client: whose assertion it was given for, or ""
    whole("until_us"),  # when it ends; 0 for one that doesn't
    Index(None, "organization"),
    Index(None, "until_us"),
)

client = Table(
    "client",
    metadata,
    Column("id", Text, primary_key=True),
    *(text(name) for name in ("organization", "name", "role", "party", "scopes", "keys", "keys_url", "made")),
    text("refreshed"),  # when its keys were last given or fetched
    Column("active", sa.Boolean, nullable=False),
    UniqueConstraint("organization", "name"),
    comment="programs that ask for tokens by a signed assertion, with their public keys",
)

assertion = Table(
    "assertion",
    metadata,
    *(text(name) for name in ("issuer", "jti", "organization")),
    whole("until_us"),
    PrimaryKeyConstraint("issuer", "jti"),
    Index(None, "until_us"),
    comment="assertions that were used, kept for longer than any of them is valid",
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

agreement = Table(
    "agreement",
    metadata,
    *(text(name) for name in ("organization", "id", "hospital", "clinic", "client", "title", "services", "bills")),
    text("shares"),
    Column("consent", sa.Boolean, nullable=False),
    *(text(name) for name in ("starts", "ends", "contacts", "made", "by", "ended_by")),
    PrimaryKeyConstraint("organization", "id"),
    comment="what clinics and hospitals agreed on about referrals, a row for each side that is here",
)

__all__ = ["metadata"]
