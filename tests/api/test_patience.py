"""A store that is busy: what is done again by itself, how often, and what is told in the end (row T13)."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from service.actions.ports import Caller, House, Work
from service.actions.transact import TRIES, transact
from service.basics.entries import Entry
from service.basics.errors import Busy
from service.store import SqlBooks
from tests.api.twins import NoCatalogues


class Reluctant:
    """A store that is busy so many times before it takes a transaction; known: it says that nothing was stored."""

    def __init__(self, books: SqlBooks, times: int, *, known: bool = True) -> None:
        self.books, self.times, self.known, self.asked = books, times, known, 0

    @contextmanager
    def begin(self, organization: str) -> Iterator[Work]:
        self.asked += 1
        if self.asked <= self.times:
            raise Busy(retry_after=1 if self.known else None)
        with self.books.begin(organization) as work:
            yield work

    def __getattr__(self, name: str) -> Any:
        return getattr(self.books, name)


def batch(books: Reluctant, name: str) -> list[Any]:
    caller = Caller(name, "records", ("system/*.cruds",), "a test")
    entries = [
        Entry("POST", "Patient", resource={"resourceType": "Patient"}, place=f"Bundle.entry[{i}]") for i in (0, 1)
    ]
    return transact(House(books, NoCatalogues()), caller, entries, bundle_type="batch")


@pytest.mark.parametrize("times", [0, 1, TRIES - 1])
def test_a_batch_does_an_entry_again_while_the_store_is_busy(module_books: SqlBooks, name: str, times: int) -> None:
    books = Reluctant(module_books, times)
    assert [one.status for one in batch(books, name)] == [201, 201]
    assert books.asked == times + 2
    with module_books.view(name) as view:
        assert len(view.history("Patient").matches) == 2


def test_not_for_ever(module_books: SqlBooks, name: str) -> None:
    books = Reluctant(module_books, TRIES)
    first, second = batch(books, name)
    assert isinstance(first.refusal, Busy)
    assert first.refusal.retry_after == 1
    assert second.status == 201


def test_and_not_when_it_may_have_been_stored(module_books: SqlBooks, name: str) -> None:
    books = Reluctant(module_books, 1, known=False)
    first, second = batch(books, name)
    assert isinstance(first.refusal, Busy)
    assert second.status == 201
    assert books.asked == 2
