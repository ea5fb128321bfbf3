"""Our own signing keys, and who may send signed webhooks, as rows."""

import json
from dataclasses import dataclass, field
from datetime import UTC, datetime

from service.basics.signing import SigningKey
from service.store.instants import instant
from service.store.session import Pool, Row

_KEYS = (
    "SELECT kid, alg, private, public, made, retired, made_us FROM signing_key WHERE organization = ?"
    " ORDER BY made_us, kid"
)
_ADD = (
    "INSERT INTO signing_key (organization, kid, alg, private, public, made, retired, made_us)"
    " VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
)
_HOOKS = "SELECT name, secrets, made, active FROM hook WHERE organization = ? ORDER BY name"


@dataclass(frozen=True, slots=True)
class HookRow:
    """Who may send signed webhooks; secrets: the newest first, at most two; they are never shown again."""

    name: str
    secrets: tuple[str, ...] = field(repr=False)
    made: str
    active: bool


class Signing:
    """Keys and webhooks of an organisation."""

    _pool: Pool

    def signing_keys(self, organization: str) -> tuple[SigningKey, ...]:
        """All keys, the oldest first, retired ones among them."""
        with self._pool.reading() as session:
            return tuple(SigningKey(*row) for row in session.rows(_KEYS, organization))

    def add_signing_key(self, organization: str, key: SigningKey) -> None:
        """Keep a key."""
        values = (key.kid, key.alg, key.private, key.public, key.made, key.retired, key.made_us)
        with self._pool.writing() as session:
            session.run(_ADD, organization, *values)

    def retire_signing_key(self, organization: str, kid: str) -> bool:
        """Publish a key no more and sign nothing by it; False when there is none in use of that name."""
        sql = "UPDATE signing_key SET retired = ?, private = '' WHERE organization = ? AND kid = ? AND retired = ''"
        with self._pool.writing() as session:
            return session.run(sql, instant(datetime.now(UTC)), organization, kid) == 1

    def set_destination_settings(self, organization: str, name: str, settings: str) -> bool:
        """Replace the settings of a destination; False when there is none."""
        sql = "UPDATE destination SET settings = ? WHERE organization = ? AND name = ?"
        with self._pool.writing() as session:
            return session.run(sql, settings, organization, name) == 1

    def hooks(self, organization: str) -> tuple[HookRow, ...]:
        """Who may send signed webhooks to an organisation, by name."""
        with self._pool.reading() as session:
            return tuple(map(_hook, session.rows(_HOOKS, organization)))

    def hook(self, organization: str, name: str) -> HookRow | None:
        """One of them."""
        return next((one for one in self.hooks(organization) if one.name == name), None)

    def save_hook(self, organization: str, one: HookRow) -> None:
        """Write one of them."""
        sql = (
            "INSERT INTO hook (organization, name, secrets, made, active) VALUES (?, ?, ?, ?, ?)"
            " ON CONFLICT (organization, name) DO UPDATE SET secrets = excluded.secrets, active = excluded.active"
        )
        with self._pool.writing() as session:
            session.run(sql, organization, one.name, json.dumps(one.secrets), one.made, one.active)


def _hook(row: Row) -> HookRow:
    name, secrets, made, active = row
    return HookRow(name, tuple(json.loads(secrets)), made, bool(active))
