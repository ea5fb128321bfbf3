"""Python descriptions of every table, turned into the schema that migrations build and are checked against."""

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
)

REVISION = "0001_pre_books"  # the schema this code reads and writes; a test holds it to the newest migration

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

# SQLite makes a column its row number only when it is called INTEGER
_Row = BigInteger().with_variant(Integer(), "sqlite")
# byte order, so that "starts with" is a range on both engines
_Folded = Text().with_variant(Text(collation="C"), "postgresql")


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


def _whole(name: str) -> Column[int]:
    return Column(name, BigInteger, nullable=False)


def _version() -> tuple[Column[str] | Column[int] | Column[bool] | Column[bytes], ...]:
    return (
        _text("organization"),
        _text("type"),
        _text("id"),
        _whole("version"),
        _text("updated"),
        _whole("updated_us"),
        Column("deleted", Boolean, nullable=False),
        _text("method"),
        Column("body", LargeBinary, nullable=False),
    )


resource = Table(
    "resource",
    metadata,
    Column("row", _Row, primary_key=True, autoincrement=True),
    *_version(),
    UniqueConstraint("organization", "type", "id"),
    Index(None, "organization", "type", "updated_us", "row"),
    comment="the current version of each resource; a deleted one stays as a row without a body",
)

former = Table(
    "former",
    metadata,
    Column("row", BigInteger, nullable=False),
    *_version(),
    PrimaryKeyConstraint("row", "version"),
    Index(None, "organization", "type", "updated_us", "row", "version"),
    comment="versions that were replaced; only ever added to",
)

mark = Table(
    "mark",
    metadata,
    *(_whole(name) for name in ("key", "low", "high", "row")),
    PrimaryKeyConstraint("key", "low", "high", "row"),
    Index(None, "row", "key"),
    sqlite_with_rowid=False,
    comment="search keys; the organisation is hashed into the key",
)

text_mark = Table(
    "text_mark",
    metadata,
    _whole("key"),
    Column("text", _Folded, nullable=False),
    _whole("row"),
    PrimaryKeyConstraint("key", "text", "row"),
    Index(None, "row", "key"),
    sqlite_with_rowid=False,
    comment="folded text for prefix search",
)

claim = Table(
    "claim",
    metadata,
    *(_text(name) for name in ("organization", "type", "criteria", "id")),
    PrimaryKeyConstraint("organization", "type", "criteria"),
    Index(None, "organization", "type", "id"),
    comment="a business identity and the one resource that has it",
)

exam = Table(
    "exam",
    metadata,
    *(_text(name) for name in ("organization", "id", "order_id", "animal", "procedure", "service", "catalogue")),
    *(_text(name) for name in ("state", "started", "report", "invoice", "credit")),
    PrimaryKeyConstraint("organization", "id"),
    UniqueConstraint("organization", "order_id"),
)

step = Table(
    "step",
    metadata,
    *(_text(name) for name in ("organization", "exam", "code", "task", "state")),
    PrimaryKeyConstraint("organization", "task"),
    UniqueConstraint("organization", "exam", "code"),
)

receipt = Table(
    "receipt",
    metadata,
    *(_text(name) for name in ("organization", "key", "fingerprint", "recorded")),
    Column("answer", LargeBinary, nullable=False),
    PrimaryKeyConstraint("organization", "key"),
    comment="the first answer to a request that may be repeated",
)

counter = Table(
    "counter",
    metadata,
    _text("organization"),
    _text("series"),
    _whole("value"),
    PrimaryKeyConstraint("organization", "series"),
)

unmapped = Table(
    "unmapped",
    metadata,
    *(_text(name) for name in ("organization", "what", "system", "code", "display")),
    _whole("seen"),
    _text("first"),
    _text("last"),
    PrimaryKeyConstraint("organization", "what", "system", "code"),
)

post = Table(
    "post",
    metadata,
    Column("row", _Row, primary_key=True, autoincrement=True),
    *(_text(name) for name in ("organization", "id", "destination", "key", "thread", "event")),
    Column("body", LargeBinary, nullable=False),
    _text("state"),  # waiting, delivered, dead, skipped
    _whole("tries"),  # finished attempts since it was made or last replayed
    _text("made"),
    _whole("due_us"),
    _text("lease"),  # "" when nobody has it
    _whole("lease_us"),
    UniqueConstraint("organization", "id"),
    UniqueConstraint("organization", "destination", "key"),
    Index(None, "organization", "destination", "thread", "row"),
    Index(None, "state", "due_us", "organization", "destination"),
)

attempt = Table(
    "attempt",
    metadata,
    Column("row", _Row, primary_key=True, autoincrement=True),
    _text("organization"),
    _text("post"),
    _text("at"),
    _text("outcome"),  # delivered, waiting, dead, replayed, skipped
    _whole("milliseconds"),
    Column("status", Integer, nullable=True),
    *(_text(name) for name in ("reason", "answer", "by")),
    Index(None, "organization", "post", "row"),
    comment="what happened to posts; only ever added to",
)

destination = Table(
    "destination",
    metadata,
    *(_text(name) for name in ("organization", "name", "url", "secret", "kind", "settings")),
    Column("active", Boolean, nullable=False),
    _text("disabled"),  # why it was switched off, "" while active
    PrimaryKeyConstraint("organization", "name"),
)

organization = Table(
    "organization",
    metadata,
    Column("slug", Text, primary_key=True),
    *(_text(name) for name in ("name", "kind", "settings")),
)

token = Table(
    "token",
    metadata,
    Column("hash", Text, primary_key=True),
    *(_text(name) for name in ("organization", "scopes", "label", "made")),
    Column("revoked", Boolean, nullable=False),
    Index(None, "organization"),
)

audit = Table(
    "audit",
    metadata,
    Column("row", _Row, primary_key=True, autoincrement=True),
    *(_text(name) for name in ("organization", "id", "recorded", "interaction", "action", "outcome", "client")),
    *(_text(name) for name in ("request", "type", "id_of", "operation", "entities")),
    _whole("recorded_us"),
    Index(None, "organization", "recorded_us", "row"),
    comment="one line per interaction; only ever added to",
)

catalogue = Table(
    "catalogue",
    metadata,
    Column("hash", Text, primary_key=True),
    _text("text"),
    comment="the mapping files that exams were opened with, shared by all organisations",
)
