"""Agreements about referrals, as a row for each side that is an organisation here."""

from datetime import UTC, datetime

from service.basics.agreement import Agreement
from service.store.instants import instant
from service.store.session import Row
from service.store.tokens import Tokens

_COLUMNS = "id, hospital, clinic, client, title, services, bills, shares, consent, starts, ends, contacts, made, by"
OF = f"SELECT {_COLUMNS} FROM agreement WHERE organization = ? ORDER BY id"
_ADD = (
    f"INSERT INTO agreement (organization, {_COLUMNS}, ended_by) VALUES (?, {', '.join('?' * 14)}, '')"
    " ON CONFLICT (organization, id) DO NOTHING"
)
_END = "UPDATE agreement SET ends = ?, ended_by = ? WHERE organization = ? AND id = ?"
_LINES = "\n"


class Agreements(Tokens):
    """Agreements, beside tokens and clients."""

    def add_agreement(self, given: Agreement) -> bool:
        """Add an agreement, a row for each side that is here; False when the hospital has one with that id."""
        lists = [_LINES.join(one) for one in (given.services, given.shares, given.contacts)]
        made = instant(datetime.now(UTC))
        sides = (given.id, given.hospital, given.clinic, given.client, given.title)
        terms = (lists[0], given.bills, lists[1], given.consent, given.starts, given.ends, lists[2])
        with self._pool.writing() as session:
            added = [session.run(_ADD, one, *sides, *terms, made, given.by) for one in parties(given)]
        return all(added)

    def agreements(self, organization: str) -> tuple[Agreement, ...]:
        """Those that an organisation is a side of, by id."""
        with self._pool.reading() as session:
            return tuple(map(agreement, session.rows(OF, organization)))

    def end_agreement(self, given: Agreement, *, day: str, by: str) -> None:
        """Let an agreement hold to the end of a day and no longer."""
        with self._pool.writing() as session:
            for one in parties(given):
                session.run(_END, day, by, one, given.id)


def parties(given: Agreement) -> list[str]:
    """The slugs of the sides that are organisations here, the hospital first."""
    return [given.hospital, *([given.clinic] if given.clinic else [])]


def agreement(row: Row) -> Agreement:
    """The agreement of a row."""
    id_, hospital, clinic, client, title, services, bills, shares, consent, starts, ends, contacts, made, by = row
    return Agreement(
        id=id_, hospital=hospital, clinic=clinic, client=client, title=title, services=_listed(services), bills=bills,
        shares=_listed(shares), consent=bool(consent), starts=starts, ends=ends, contacts=_listed(contacts),
        made=made, by=by,
    )  # fmt: skip


def _listed(text: str) -> tuple[str, ...]:
    return tuple(text.split(_LINES)) if text else ()
