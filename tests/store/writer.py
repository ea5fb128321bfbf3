"""A process of its own that writes until it is killed: `python -m tests.store.writer URL ORGANIZATION NAME ROUNDS`.

Each round takes an identity that all writers race for, and writes a resource with it. It prints a line when a commit
has returned: `won ROUND ID` or `lost ROUND ID`."""

import sys

from service.basics.errors import Busy
from service.basics.ids import new_id
from service.store import SqlBooks, open_books
from tests.builders.records import keys, new, version


def _round(books: SqlBooks, organization: str, *, criteria: str) -> tuple[str, str]:
    one, two = (new(version(type_, new_id(), padding="x" * 500), keys(1, 2)) for type_ in ("Patient", "Observation"))
    with books.begin(organization) as work:
        holder = work.claim("Patient", criteria, one.new.id)
        if holder is not None:
            return "lost", holder
        work.put([one, two])
        work.next_invoice_number(2026)
    return "won", one.new.id


def main(url: str, organization: str, name: str, rounds: str) -> None:
    """Write, and say what was promised."""
    books = open_books(url)
    n = 0
    while n < int(rounds):
        try:
            outcome, id_ = _round(books, organization, criteria=f"identifier=urn:{name}|{n}")
        except Busy:
            continue
        print(outcome, n, id_, flush=True)  # noqa: T201  # this is how the test hears of it
        n += 1


if __name__ == "__main__":
    main(*sys.argv[1:])
