"""The first schema: resources with their history and search keys, projections, outbox, register, audit.

Revision ID: 0001_pre_books
Revises:
"""

import sqlalchemy as sa
from alembic import op

revision = "0001_pre_books"
down_revision = None
branch_labels = None
depends_on = None

_ROW = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_FOLDED = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")

_TABLES = (
    *("agreement", "assertion", "attempt", "audit", "catalogue", "claim", "client", "closed_month", "counter"),
    *("destination", "counterpart", "exam", "former", "latch", "mark"),
    *("organization", "overlay", "post", "post_body", "receipt", "resource", "step", "text_mark", "token", "unmapped"),
    *("happening", "hook", "signing_key", "subscription"),
)


def _texts(names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.Text(), nullable=False) for name in names.split()]


def _whole(names: str) -> list[sa.Column[int]]:
    return [sa.Column(name, sa.BigInteger(), nullable=False) for name in names.split()]


def _bytes(name: str) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary(), nullable=False)


def _flag(name: str) -> sa.Column[bool]:
    return sa.Column(name, sa.Boolean(), nullable=False)


def _number() -> sa.Column[int]:
    return sa.Column("row", _ROW, primary_key=True, autoincrement=True)


def _key(table: str, names: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint(*names.split(), name=f"pk_{table}")


def _unique(table: str, names: str) -> sa.UniqueConstraint:
    return sa.UniqueConstraint(*names.split(), name=f"uq_{table}_{'_'.join(names.split())}")


def _index(table: str, names: str) -> None:
    op.create_index(f"ix_{table}_{'_'.join(names.split())}", table, names.split())


def upgrade() -> None:
    """Build every table."""
    _resources()
    _search_keys()
    _projections()
    _outbox()
    _register()
    _audit()
    _notices()


def _version() -> list[sa.Column]:
    return [
        *_texts("organization type id"),
        *_whole("version"),
        *_texts("updated"),
        *_whole("updated_us"),
        _flag("deleted"),
        *_texts("method"),
        _bytes("body"),
    ]


def _resources() -> None:
    op.create_table(
        "resource",
        _number(),
        *_version(),
        *_whole("present"),
        _unique("resource", "organization type id"),
        comment="the current version of each resource; a deleted one stays as a row without a body",
    )
    _index("resource", "organization type updated_us row")
    if op.get_bind().dialect.name == "postgresql":
        # bodies of 2 to 8 kB stay beside their row, unpacked: a fifth faster to write; former versions are packed
        op.execute("ALTER TABLE resource SET (toast_tuple_target = 8160)")
    op.create_table(
        "former",
        *_whole("row"),
        *_version(),
        _key("former", "row version"),
        comment="versions that were replaced; only ever added to",
    )
    _index("former", "organization type updated_us row version")


def _search_keys() -> None:
    op.create_table(
        "mark",
        *_whole("key low high row"),
        _key("mark", "key low high row"),
        comment="search keys; the organisation is hashed into the key",
        sqlite_with_rowid=False,
    )
    _index("mark", "row key")
    op.create_table(
        "text_mark",
        *_whole("key"),
        sa.Column("text", _FOLDED, nullable=False),
        *_whole("row"),
        _key("text_mark", "key text row"),
        comment="folded text for prefix search",
        sqlite_with_rowid=False,
    )
    _index("text_mark", "row key")


def _projections() -> None:
    op.create_table(
        "claim",
        *_texts("organization type criteria id"),
        _key("claim", "organization type criteria"),
        comment="a business identity and the one resource that has it",
    )
    _index("claim", "organization type id")
    op.create_table(
        "exam",
        *_texts("organization id order_id animal procedure service catalogue state started report invoice credit"),
        _key("exam", "organization id"),
        _unique("exam", "organization order_id"),
    )
    op.create_table(
        "step",
        *_texts("organization exam code task state"),
        _key("step", "organization task"),
        _unique("step", "organization exam code"),
    )
    op.create_table(
        "receipt",
        *_texts("organization key fingerprint recorded"),
        _bytes("answer"),
        _key("receipt", "organization key"),
        comment="the first answer to a request that may be repeated",
    )
    op.create_table("counter", *_texts("organization series"), *_whole("value"), _key("counter", "organization series"))
    op.create_table(
        "unmapped",
        *_texts("organization what system code display"),
        *_whole("seen"),
        *_texts("first last"),
        _key("unmapped", "organization what system code"),
    )


def _outbox() -> None:
    op.create_table(
        "post",
        _number(),
        *_texts("organization id destination key thread event form"),
        *_texts("state"),
        *_whole("tries"),
        *_texts("made"),
        *_whole("due_us"),
        *_texts("lease"),
        *_whole("lease_us"),
        _unique("post", "organization id"),
        _unique("post", "organization destination key"),
    )
    _index("post", "organization destination thread row")
    _index("post", "organization destination state due_us row")
    leased = sa.text("lease <> ''")
    columns = ["organization", "destination"]
    op.create_index("ix_post_leased", "post", columns, sqlite_where=leased, postgresql_where=leased)
    op.create_table(
        "post_body",
        *_texts("organization id"),
        _bytes("body"),
        _key("post_body", "organization id"),
        comment="what posts promise, never changed: apart from their state, which is written at every attempt",
    )
    op.create_table(
        "attempt",
        _number(),
        *_texts("organization post at outcome"),
        *_whole("milliseconds"),
        sa.Column("status", sa.Integer(), nullable=True),
        *_texts("reason answer by"),
        comment="what happened to posts; only ever added to",
    )
    _index("attempt", "organization post row")
    op.create_table(
        "destination",
        *_texts("organization name url secret kind settings"),
        _flag("active"),
        *_texts("disabled"),
        _key("destination", "organization name"),
    )
    op.create_table(
        "counterpart",
        *_texts("organization destination ours theirs"),
        _key("counterpart", "organization destination ours"),
        comment="what a resource of ours is called at a destination that was told of it piece by piece",
    )
    op.create_table(
        "latch",
        *_texts("organization destination name holder"),
        *_whole("until_us"),
        _key("latch", "organization destination name"),
        comment="what a courier searches for and then writes at a destination, so that no other does the same"
        " meanwhile",
    )


def _register() -> None:
    op.create_table("organization", sa.Column("slug", sa.Text(), primary_key=True), *_texts("name kind settings"))
    op.create_table(
        "token",
        sa.Column("hash", sa.Text(), primary_key=True),
        *_texts("organization scopes label made"),
        _flag("revoked"),
        *_texts("role party client"),
        *_whole("until_us"),
    )
    _index("token", "organization")
    _index("token", "until_us")
    op.create_table(
        "client",
        sa.Column("id", sa.Text(), primary_key=True),
        *_texts("organization name role party scopes keys keys_url made refreshed"),
        _flag("active"),
        _unique("client", "organization name"),
        comment="programs that ask for tokens by a signed assertion, with their public keys",
    )
    op.create_table(
        "assertion",
        *_texts("issuer jti organization"),
        *_whole("until_us"),
        _key("assertion", "issuer jti"),
        comment="assertions that were used, kept for longer than any of them is valid",
    )
    _index("assertion", "until_us")
    op.create_table(
        "catalogue",
        sa.Column("hash", sa.Text(), primary_key=True),
        *_texts("text"),
        comment="the mapping files that exams were opened with, shared by all organisations",
    )
    op.create_table(
        "overlay",
        _number(),
        *_texts("organization kind made by files difference"),
        comment="an organisation's own rows over catalogue or tariff, the last of a kind in force; only ever added to",
    )
    _index("overlay", "organization kind row")
    op.create_table(
        "closed_month",
        *_texts("organization month closed by totals"),
        _key("closed_month", "organization month"),
        comment="months whose books are closed, and what they came to; only ever added to",
    )
    op.create_table(
        "agreement",
        *_texts("organization id hospital clinic client title services bills shares"),
        _flag("consent"),
        *_texts("starts ends contacts made by ended_by"),
        _key("agreement", "organization id"),
        comment="what clinics and hospitals agreed on about referrals, a row for each side that is here",
    )


def _audit() -> None:
    op.create_table(
        "audit",
        _number(),
        *_texts(
            "organization id recorded interaction action outcome client request type id_of operation entities address"
        ),
        *_whole("recorded_us"),
        _unique("audit", "organization id"),
        comment="one line per interaction; only ever added to",
    )
    _index("audit", "organization recorded_us row")


def _notices() -> None:
    op.create_table(
        "subscription",
        *_texts("organization id type criteria topic content base state stated error asker"),
        *_whole("events begun heartbeat most told_us until_us"),
        _key("subscription", "organization id"),
        comment="what a Subscription of a practice watches, and how it stands",
    )
    op.create_table(
        "happening",
        *_texts("organization subscription at focus"),
        *_whole("number version at_us"),
        _key("happening", "organization subscription number"),
        comment="the events of each subscription by number, for a month",
    )
    op.create_table(
        "hook",
        *_texts("organization name secrets made"),
        _flag("active"),
        _key("hook", "organization name"),
        comment="who may send signed webhooks, and the secrets that they share with us",
    )
    op.create_table(
        "signing_key",
        *_texts("organization kid alg private public made retired"),
        *_whole("made_us"),
        _key("signing_key", "organization kid"),
        comment="our own keys: assertions are signed by them, and their public halves are published",
    )


def downgrade() -> None:
    """Drop every table, and all that is in them."""
    for table in _TABLES:
        op.drop_table(table)
