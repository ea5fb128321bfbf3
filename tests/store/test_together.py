"""Units of work that share a commit: each is undone alone, none is seen before the end, all fall with the commit."""

from contextlib import suppress
from threading import Thread

import pytest

from service.basics.errors import Busy
from service.store import SqlBooks
from tests.builders.records import new, version


def test_one_that_raises_is_undone_alone(books: SqlBooks, organization: str) -> None:
    first, second, third = version(), version(), version()
    with books.together():
        with books.begin(organization) as work:
            work.put([new(first)])
        with suppress(ZeroDivisionError), books.begin(organization) as work:
            work.put([new(second)])
            _ = 1 // 0
        with books.begin(organization) as work:
            work.put([new(third)])
    with books.view(organization) as view:
        assert [view.get("Observation", one.id) is not None for one in (first, second, third)] == [True, False, True]


def test_later_units_see_earlier_ones_and_nobody_else_does(books: SqlBooks, organization: str) -> None:
    if not books.one_writer:
        pytest.skip("this engine commits each unit by itself")
    stored, others = version(), []

    def look() -> None:
        with books.view(organization) as view:
            others.append(view.get("Observation", stored.id))

    with books.together():
        with books.begin(organization) as work:
            work.put([new(stored)])
        with books.view(organization) as view:
            assert view.get("Observation", stored.id) == stored
        other = Thread(target=look)
        other.start()
        other.join()
    assert others == [None]
    look()
    assert others[1] == stored


def test_a_transaction_that_the_engine_gave_up_stores_nothing(books: SqlBooks, organization: str) -> None:
    """As SQLite does by itself when the disk is full: what was told to be stored before falls as well."""
    if not books.one_writer:
        pytest.skip("this engine commits each unit by itself")
    stored = version()

    def given_up() -> None:
        with books.together():
            with books.begin(organization) as work:
                work.put([new(stored)])
            with suppress(Busy), books.begin(organization) as work:
                work._session.connection.execute("ROLLBACK")
            with pytest.raises(Busy), books.begin(organization):
                raise AssertionError("nothing can be begun in it any more")

    with pytest.raises(Busy) as refused:
        given_up()
    assert refused.value.retry_after is not None
    with books.view(organization) as view:
        assert view.get("Observation", stored.id) is None
    with books.begin(organization) as work:
        work.put([new(stored)])
