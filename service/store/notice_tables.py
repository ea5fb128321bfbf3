"""Python descriptions of who asked to be told of changes, what they were told, and by which secrets and keys."""

import sqlalchemy as sa
from sqlalchemy import Column, PrimaryKeyConstraint, Table

from service.store.columns import text, whole
from service.store.register_tables import metadata

subscription = Table(
    "subscription",
    metadata,
    *(text(name) for name in ("organization", "id", "type", "criteria", "topic", "content", "base")),
    *(text(name) for name in ("state", "stated", "error", "asker")),  # stated: what the resource says the state is
    *(whole(name) for name in ("events", "begun", "heartbeat", "most", "told_us", "until_us")),
    PrimaryKeyConstraint("organization", "id"),
    comment="what a Subscription of a practice watches, and how it stands",
)

happening = Table(
    "happening",
    metadata,
    *(text(name) for name in ("organization", "subscription", "at", "focus")),
    *(whole(name) for name in ("number", "version", "at_us")),
    PrimaryKeyConstraint("organization", "subscription", "number"),
    comment="the events of each subscription by number, for a month",
)

hook = Table(
    "hook",
    metadata,
    *(text(name) for name in ("organization", "name", "secrets", "made")),
    Column("active", sa.Boolean, nullable=False),
    PrimaryKeyConstraint("organization", "name"),
    comment="who may send signed webhooks, and the secrets that they share with us",
)

signing_key = Table(
    "signing_key",
    metadata,
    *(text(name) for name in ("organization", "kid", "alg", "private", "public", "made", "retired")),
    whole("made_us"),
    PrimaryKeyConstraint("organization", "kid"),
    comment="our own keys: assertions are signed by them, and their public halves are published",
)

__all__ = ["metadata"]
