"""What an operator keeps: organisations, tokens and destinations, as rows."""

from dataclasses import dataclass, field
from datetime import UTC, datetime

from service.store.agreements import Agreements
from service.store.instants import instant
from service.store.session import Row

KINDS = frozenset({"practice", "clinic", "records"})
CATALOGUE, TARIFF = "catalogue", "tariff"  # what an organisation's own rows are over
LAY_OVER = "INSERT INTO overlay (organization, kind, made, by, files, difference) VALUES (?, ?, ?, ?, ?, ?)"

_DESTINATION = "SELECT organization, name, url, secret, kind, settings, active, disabled FROM destination"


@dataclass(frozen=True, slots=True)
class OrganizationRow:
    """slug is the name in every row; kind is practice, clinic or records; settings is JSON text or ""."""

    slug: str
    name: str
    kind: str
    settings: str


@dataclass(frozen=True, slots=True)
class OverlayRow:
    """Rows of an organisation's own over the catalogue: when, by whom, packed files, and what they changed."""

    made: str
    by: str
    files: str
    difference: str


@dataclass(frozen=True, slots=True)
class DestinationRow:
    """Where posts go; authorization is the value of the Authorization header and is never shown."""

    organization: str
    name: str
    url: str
    authorization: str = field(repr=False)
    kind: str
    settings: str
    active: bool
    disabled: str


class Register(Agreements):
    """Organisations and destinations, beside agreements, tokens and clients."""

    def add_organization(self, slug: str, name: str, kind: str = "practice", settings_text: str = "") -> bool:
        """Add an organisation; False when there is one with that slug. ValueError for an unknown kind."""
        if kind not in KINDS:
            raise ValueError(f"kind is one of {', '.join(sorted(KINDS))}")
        sql = "INSERT INTO organization (slug, name, kind, settings) VALUES (?, ?, ?, ?) ON CONFLICT (slug) DO NOTHING"
        with self._pool.writing() as session:
            return session.run(sql, slug, name, kind, settings_text) == 1

    def organization(self, slug: str) -> OrganizationRow | None:
        """One organisation."""
        with self._pool.reading() as session:
            found = session.one("SELECT slug, name, kind, settings FROM organization WHERE slug = ?", slug)
        return OrganizationRow(*found) if found else None

    def organizations(self) -> tuple[OrganizationRow, ...]:
        """All of them, by slug."""
        with self._pool.reading() as session:
            found = session.rows("SELECT slug, name, kind, settings FROM organization ORDER BY slug")
        return tuple(OrganizationRow(*row) for row in found)

    def set_settings(self, slug: str, text: str) -> bool:
        """Replace an organisation's settings; False when there is none."""
        with self._pool.writing() as session:
            return session.run("UPDATE organization SET settings = ? WHERE slug = ?", text, slug) == 1

    def add_overlay(self, organization: str, *, by: str, files: str, difference: str, kind: str = CATALOGUE) -> None:
        """Put rows of an organisation's own over the catalogue or the tariff; those before stay on record.

        files: packed, "" for none; by: who asked for it; difference: what it changes, a line for each cell."""
        with self._pool.writing() as session:
            session.run(LAY_OVER, organization, kind, instant(datetime.now(UTC)), by, files, difference)

    def overlays(self, organization: str, kind: str = CATALOGUE) -> tuple[OverlayRow, ...]:
        """All of a kind that were ever put over for an organisation, the oldest first; the last one is in force."""
        sql = "SELECT made, by, files, difference FROM overlay WHERE organization = ? AND kind = ? ORDER BY row"
        with self._pool.reading() as session:
            return tuple(OverlayRow(*found) for found in session.rows(sql, organization, kind))

    def add_destination(
        self, organization: str, name: str, *, url: str, authorization: str = "", kind: str = "fhir", settings: str = ""
    ) -> bool:
        """Add a destination; False when the organisation has one of that name."""
        sql = (
            "INSERT INTO destination (organization, name, url, secret, kind, settings, active, disabled)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, '') ON CONFLICT (organization, name) DO NOTHING"
        )
        with self._pool.writing() as session:
            return session.run(sql, organization, name, url, authorization, kind, settings, True) == 1

    def destination(self, organization: str, name: str) -> DestinationRow | None:
        """One destination of an organisation."""
        with self._pool.reading() as session:
            found = session.one(f"{_DESTINATION} WHERE organization = ? AND name = ?", organization, name)
        return _destination(found) if found else None

    def destinations(self, organization: str) -> tuple[DestinationRow, ...]:
        """All destinations of an organisation, by name."""
        with self._pool.reading() as session:
            found = session.rows(f"{_DESTINATION} WHERE organization = ? ORDER BY name", organization)
        return tuple(map(_destination, found))

    def switch_destination(self, organization: str, name: str, *, active: bool, why: str = "") -> bool:
        """Switch a destination on or off; its posts wait meanwhile. False when there is none."""
        sql = "UPDATE destination SET active = ?, disabled = ? WHERE organization = ? AND name = ?"
        with self._pool.writing() as session:
            return session.run(sql, active, "" if active else why, organization, name) == 1


def _destination(row: Row) -> DestinationRow:
    organization, name, url, secret, kind, settings, active, disabled = row
    return DestinationRow(organization, name, url, secret, kind, settings, bool(active), disabled)
