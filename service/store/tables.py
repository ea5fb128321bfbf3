"""Python descriptions of every table, turned into the schema that migrations build and are checked against."""

import sqlalchemy as sa
from sqlalchemy import Column, Index, PrimaryKeyConstraint, Table, UniqueConstraint

from service.store import notice_tables
from service.store.columns import FOLDED, ROW_NUMBER, text, version, whole

metadata = notice_tables.metadata  # of all tables, those of the register and of notices among them

LEASED = sa.text("lease <> ''")
REVISION = "0001_pre_books"  # the schema this code reads and writes; a test holds it to the newest migration


resource = Table(
    "resource",
    metadata,
    Column("row", ROW_NUMBER, primary_key=True, autoincrement=True),
    *version(),
    whole("present"),  # a bit for each search parameter that it has a value for
    UniqueConstraint("organization", "type", "id"),
    Index(None, "organization", "type", "updated_us", "row"),
    comment="the current version of each resource; a deleted one stays as a row without a body",
)

former = Table(
    "former",
    metadata,
    Column("row", sa.BigInteger, nullable=False),
    *version(),
    PrimaryKeyConstraint("row", "version"),
    Index(None, "organization", "type", "updated_us", "row", "version"),
    comment="versions that were replaced; only ever added to",
)

mark = Table(
    "mark",
    metadata,
    *(whole(name) for name in ("key", "low", "high", "row")),
    PrimaryKeyConstraint("key", "low", "high", "row"),
    Index(None, "row", "key"),
    sqlite_with_rowid=False,
    comment="search keys; the organisation is hashed into the key",
)

text_mark = Table(
    "text_mark",
    metadata,
    whole("key"),
    Column("text", FOLDED, nullable=False),
    whole("row"),
    PrimaryKeyConstraint("key", "text", "row"),
    Index(None, "row", "key"),
    sqlite_with_rowid=False,
    comment="folded text for prefix search",
)

claim = Table(
    "claim",
    metadata,
    *(text(name) for name in ("organization", "type", "criteria", "id")),
    PrimaryKeyConstraint("organization", "type", "criteria"),
    Index(None, "organization", "type", "id"),
    comment="a business identity and the one resource that has it",
)

exam = Table(
    "exam",
    metadata,
    *(text(name) for name in ("organization", "id", "order_id", "animal", "procedure", "service", "catalogue")),
    *(text(name) for name in ("state", "started", "report", "invoice", "credit")),
    PrimaryKeyConstraint("organization", "id"),
    UniqueConstraint("organization", "order_id"),
)

step = Table(
    "step",
    metadata,
    *(text(name) for name in ("organization", "exam", "code", "task", "state")),
    PrimaryKeyConstraint("organization", "task"),
    UniqueConstraint("organization", "exam", "code"),
)

receipt = Table(
    "receipt",
    metadata,
    *(text(name) for name in ("organization", "key", "fingerprint", "recorded")),
    Column("answer", sa.LargeBinary, nullable=False),
    PrimaryKeyConstraint("organization", "key"),
    comment="the first answer to a request that may be repeated",
)

counter = Table(
    "counter",
    metadata,
    text("organization"),
    text("series"),
    whole("value"),
    PrimaryKeyConstraint("organization", "series"),
)

unmapped = Table(
    "unmapped",
    metadata,
    *(text(name) for name in ("organization", "what", "system", "code", "display")),
    whole("seen"),
    text("first"),
    text("last"),
    PrimaryKeyConstraint("organization", "what", "system", "code"),
)

post = Table(
    "post",
    metadata,
    Column("row", ROW_NUMBER, primary_key=True, autoincrement=True),
    *(text(name) for name in ("organization", "id", "destination", "key", "thread", "event", "form")),
    text("state"),  # waiting, delivered, dead, skipped
    whole("tries"),  # finished attempts since it was made or last replayed
    text("made"),
    whole("due_us"),
    text("lease"),  # "" when nobody has it
    whole("lease_us"),
    UniqueConstraint("organization", "id"),
    UniqueConstraint("organization", "destination", "key"),
    Index(None, "organization", "destination", "thread", "row"),
    Index(None, "organization", "destination", "state", "due_us", "row"),
    Index("ix_post_leased", "organization", "destination", sqlite_where=LEASED, postgresql_where=LEASED),
)

post_body = Table(
    "post_body",
    metadata,
    text("organization"),
    text("id"),
    Column("body", sa.LargeBinary, nullable=False),
    PrimaryKeyConstraint("organization", "id"),
    comment="what posts promise, never changed: apart from their state, which is written at every attempt",
)

attempt = Table(
    "attempt",
    metadata,
    Column("row", ROW_NUMBER, primary_key=True, autoincrement=True),
    text("organization"),
    text("post"),
    text("at"),
    text("outcome"),  # delivered, waiting, dead, replayed, skipped
    whole("milliseconds"),
    Column("status", sa.Integer, nullable=True),
    *(text(name) for name in ("reason", "answer", "by")),
    Index(None, "organization", "post", "row"),
    comment="what happened to posts; only ever added to",
)

destination = Table(
    "destination",
    metadata,
    *(text(name) for name in ("organization", "name", "url", "secret", "kind", "settings")),
    Column("active", sa.Boolean, nullable=False),
    text("disabled"),  # why it was switched off, "" while active
    PrimaryKeyConstraint("organization", "name"),
)

counterpart = Table(
    "counterpart",
    metadata,
    *(text(name) for name in ("organization", "destination", "ours", "theirs")),
    PrimaryKeyConstraint("organization", "destination", "ours"),
    comment="what a resource of ours is called at a destination that was told of it piece by piece",
)

latch = Table(
    "latch",
    metadata,
    *(text(name) for name in ("organization", "destination", "name", "holder")),
    whole("until_us"),
    PrimaryKeyConstraint("organization", "destination", "name"),
    comment="what a courier searches for and then writes at a destination, so that no other does the same meanwhile",
)

audit = Table(
    "audit",
    metadata,
    Column("row", ROW_NUMBER, primary_key=True, autoincrement=True),
    *(text(name) for name in ("organization", "id", "recorded", "interaction", "action", "outcome", "client")),
    *(text(name) for name in ("request", "type", "id_of", "operation", "entities", "address")),
    whole("recorded_us"),
    UniqueConstraint("organization", "id"),
    Index(None, "organization", "recorded_us", "row"),
    comment="one line per interaction; only ever added to",
)
