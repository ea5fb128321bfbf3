"""Who may come in, as rows: tokens by their hashes, clients with their public keys, and the assertions they used."""

import json
from dataclasses import dataclass
from datetime import UTC, datetime

from service.basics.access import Client, Grant
from service.store.instants import instant, micros, moment
from service.store.session import Pool, Row, Session

_TOKEN = (
    "SELECT t.hash, t.organization, o.kind, t.scopes, t.label, t.role, t.party, t.client, t.until_us, t.made"
    " FROM token t JOIN organization o ON o.slug = t.organization WHERE NOT t.revoked AND"
)
_ADD_TOKEN = (
    "INSERT INTO token (hash, organization, scopes, label, made, revoked, role, party, client, until_us)"
    " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_CLIENT = "SELECT id, organization, name, role, party, scopes, keys, keys_url, made, refreshed, active FROM client"
_USED = (
    "INSERT INTO assertion (organization, issuer, jti, until_us) VALUES (?, ?, ?, ?)"
    " ON CONFLICT (issuer, jti) DO NOTHING"
)
_FORGET = "DELETE FROM assertion WHERE organization = ? AND until_us < ?"
_FORGET_TOKENS = "DELETE FROM token WHERE organization = ? AND until_us > 0 AND until_us < ?"
_KEPT = 86_400_000_000  # how long a token that has ended is still known as one that was


@dataclass(frozen=True, slots=True)
class TokenRow:
    """Whose token it is and what it may do; hash is the SHA-256 of the token, which is not kept.

    client: whose assertion it was given for, "" for one made by hand; until: when it ends, "" when it doesn't."""

    hash: str
    organization: str
    kind: str
    scopes: tuple[str, ...]
    label: str
    role: str = ""
    party: str = ""
    client: str = ""
    until: str = ""
    made: str = ""


class Tokens:
    """Tokens, clients and used assertions."""

    def __init__(self, pool: Pool) -> None:
        self._pool = pool

    def add_token(
        self, hash_: str, organization: str, *, scopes: tuple[str, ...], label: str, role: str = "", party: str = ""
    ) -> None:
        """Keep a token by its hash, for as long as nobody revokes it; Conflict when it is there."""
        with self._pool.writing() as session:
            _add(session, Grant(hash_, organization, scopes, label, role, party), until_us=0)

    def token(self, hash_: str) -> TokenRow | None:
        """The token with this hash, unless it was revoked or has ended."""
        with self._pool.reading() as session:
            found = session.one(f"{_TOKEN} t.hash = ?", hash_)
        if found is None or 0 < found[8] <= micros(datetime.now(UTC)):
            return None
        return _token(found)

    def tokens(self, organization: str) -> tuple[TokenRow, ...]:
        """The tokens of an organisation that are good now, the newest first."""
        sql = f"{_TOKEN} t.organization = ? AND (t.until_us = 0 OR t.until_us > ?) ORDER BY t.made DESC, t.hash"
        with self._pool.reading() as session:
            return tuple(map(_token, session.rows(sql, organization, micros(datetime.now(UTC)))))

    def revoke_token(self, organization: str, hash_: str) -> bool:
        """Make a token worthless; False when there is none."""
        sql = "UPDATE token SET revoked = ? WHERE organization = ? AND hash = ?"
        with self._pool.writing() as session:
            return session.run(sql, True, organization, hash_) == 1

    def exchange(self, jti: str, grant: Grant, *, used_until: datetime, until: datetime) -> bool:
        """Keep a token for an assertion of grant.client; False when that was used before, here or elsewhere.

        used_until: how long that is remembered; until: when the token ends."""
        now = micros(datetime.now(UTC))
        with self._pool.writing() as session:
            session.run(_FORGET, grant.organization, now)
            if session.run(_USED, grant.organization, grant.client, jti, micros(used_until)) != 1:
                return False
            session.run(_FORGET_TOKENS, grant.organization, now - _KEPT)
            _add(session, grant, until_us=micros(until))
        return True

    def add_client(self, client: Client) -> bool:
        """Add a client; False when its organisation has one of that name."""
        sql = (
            "INSERT INTO client (id, organization, name, role, party, scopes, keys, keys_url, made, refreshed, active)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (organization, name) DO NOTHING"
        )
        c, now = client, instant(datetime.now(UTC))
        row = (c.id, c.organization, c.name, c.role, c.party, json.dumps(c.scopes), c.keys, c.keys_url)
        with self._pool.writing() as session:
            return session.run(sql, *row, now, now, c.active) == 1

    def client(self, id_: str) -> Client | None:
        """The client with this id."""
        with self._pool.reading() as session:
            found = session.one(f"{_CLIENT} WHERE id = ?", id_)
        return _client(found) if found else None

    def clients(self, organization: str) -> tuple[Client, ...]:
        """The clients of an organisation, by name."""
        with self._pool.reading() as session:
            return tuple(map(_client, session.rows(f"{_CLIENT} WHERE organization = ? ORDER BY name", organization)))

    def renew_keys(self, organization: str, name: str, keys: str) -> bool:
        """Put other public keys in the place of a client's; False when there is none of that name."""
        sql = "UPDATE client SET keys = ?, refreshed = ? WHERE organization = ? AND name = ?"
        with self._pool.writing() as session:
            return session.run(sql, keys, instant(datetime.now(UTC)), organization, name) == 1

    def switch_client(self, organization: str, name: str, *, active: bool) -> bool:
        """Switch a client on or off; switched off, its tokens are worthless too. False when there is none."""
        with self._pool.writing() as session:
            sql = "UPDATE client SET active = ? WHERE organization = ? AND name = ?"
            found = session.run(sql, active, organization, name) == 1
            if not active:
                ids = "SELECT id FROM client WHERE organization = ? AND name = ?"
                sql = f"UPDATE token SET revoked = ? WHERE organization = ? AND client IN ({ids})"
                session.run(sql, True, organization, organization, name)
        return found


def _add(session: Session, grant: Grant, *, until_us: int) -> None:
    now = instant(datetime.now(UTC))
    told = (grant.hash, grant.organization, json.dumps(grant.scopes), grant.label, now, False)
    session.run(_ADD_TOKEN, *told, grant.role, grant.party, grant.client, until_us)


def _token(row: Row) -> TokenRow:
    hash_, organization, kind, scopes, label, role, party, client, until_us, made = row
    until = instant(moment(until_us)) if until_us else ""
    return TokenRow(
        hash_, organization, kind, tuple(json.loads(scopes)), label, role, party, client, until=until, made=made
    )


def _client(row: Row) -> Client:
    id_, organization, name, role, party, scopes, keys, keys_url, made, refreshed, active = row
    return Client(
        id_, organization, name, role, party, tuple(json.loads(scopes)), keys, keys_url, bool(active), made, refreshed
    )
