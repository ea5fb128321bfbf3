"""Remembers: the only room that speaks SQL, on SQLite and on PostgreSQL.

books.py      opens views and units of work          view.py, work.py    what may be read and written through them
engine.py     connections that keep their promise    session.py          one transaction on one connection
bulk_*.py     records to rows, set-wise              search.py, history.py  queries to pages
outbox.py     posts leased and settled               deliveries.py, register.py  what an operator sees and keeps
tokens.py     tokens, clients, used assertions
migrate.py    brings a database to tables.py         rebuild.py          derives every projection again
"""

from service.store.books import SqlBooks, open_books
from service.store.deliveries import AttemptRow, Delivery
from service.store.engine import Unusable
from service.store.faults import RETRYABLE, retryable
from service.store.leasing import Leased
from service.store.rebuild import Derivations, Rebuilt
from service.store.register import DestinationRow, OrganizationRow
from service.store.tokens import TokenRow

__all__ = [
    "RETRYABLE",
    "AttemptRow",
    "Delivery",
    "Derivations",
    "DestinationRow",
    "Leased",
    "OrganizationRow",
    "Rebuilt",
    "SqlBooks",
    "TokenRow",
    "Unusable",
    "open_books",
    "retryable",
]
