"""Pages of a search while transactions overlap it, and while clocks are wrong: all is as it was at the first page."""

import json
import random
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace

import pytest

from service.basics.errors import Busy, Conflict
from service.basics.ids import new_id
from service.basics.query import NEWEST, OLDEST, Exact, Query, Sort
from service.basics.stored import Keys, Record
from service.store import SqlBooks, open_books
from tests.builders.records import changed, keys, new, removed, version

ORG, KEY, DATE = "overlaps", 1, 2
SORTS = {"newest": NEWEST, "oldest": OLDEST, "date": (Sort("low", DATE),)}
EARLIER, NOW, LATER = (f"2026-03-04T05:06:{second}.000Z" for second in ("06", "07", "08"))


def _keys(at: int) -> Keys:
    return keys(KEY, (DATE, at, at))


def _index(body: bytes) -> Keys:
    return _keys(json.loads(body)["at"])


def _first(at: int, *, updated: str = NOW) -> Record:
    return new(version(id_=new_id(), updated=updated, at=at), _keys(at))


def _next(record: Record, at: int, *, updated: str) -> Record:
    after = changed(record, _keys(at), at=at)
    return replace(after, new=replace(after.new, updated=updated))


def _gone(record: Record, *, updated: str) -> Record:
    after = removed(record)
    return replace(after, new=replace(after.new, updated=updated))


@pytest.fixture
def books(engine: str, database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    opened = open_books(database_url(engine))
    yield opened
    opened.close()


@pytest.fixture
def records(books: SqlBooks) -> list[Record]:
    """Forty Observations that match, one moment's work."""
    made = [_first(n) for n in range(40)]
    with books.begin(ORG) as work:
        work.put(made)
    return made


def _query(sort: str, **more: object) -> Query:
    asked = Query("Observation", (Exact((KEY,)),), count=7, sort=SORTS[sort], total="accurate", index=_index)
    return replace(asked, **more)  # type: ignore[arg-type]


def _pages(books: SqlBooks, query: Query, meanwhile: Callable[[], object]) -> list[tuple[str, int]]:
    """(id, version) of all pages, with `meanwhile` after each."""
    found: list[tuple[str, int]] = []
    while True:
        with books.view(ORG) as view:
            page = view.search(query)
        found += [(one.id, one.version) for one in page.matches]
        if not page.after:
            return found
        meanwhile()
        query = replace(query, after=page.after)


def _all(books: SqlBooks, sort: str) -> list[tuple[str, int]]:
    with books.view(ORG) as view:
        return [(one.id, one.version) for one in view.search(_query(sort, count=1000)).matches]


@pytest.mark.parametrize("sort", SORTS)
@pytest.mark.parametrize("updated", [EARLIER, NOW, LATER])
def test_what_is_written_between_pages_moves_nothing_whatever_its_clock_says(
    books: SqlBooks, records: list[Record], sort: str, updated: str
) -> None:
    """The clock of the next writer may be behind, or show the same millisecond still."""
    expected, turn = _all(books, sort), iter(range(40))

    def write() -> None:
        n = next(turn)
        seen, unseen = records[n], records[39 - n]
        more = [_next(r, 500 - n, updated=updated) for r in (seen, unseen)]
        with books.begin(ORG) as work:
            work.put([*more, _gone(records[20 - n], updated=updated), _first(n, updated=updated)])
        with books.begin(ORG) as work:
            work.put([_next(more[1], 3, updated=updated)])

    assert _pages(books, _query(sort), write) == expected


@pytest.mark.parametrize("sort", SORTS)
def test_what_was_under_way_at_the_first_page_is_not_there(engine: str, books: SqlBooks, sort: str) -> None:
    """Transactions that began before the first page and are committed after it: on PostgreSQL there can be such."""
    if engine == "sqlite":
        pytest.skip("SQLite has one writer at a time: nothing overlaps a first page but what began after it")
    made = [_first(n) for n in range(40)]
    with books.begin(ORG) as work:
        work.put(made)
    with ExitStack() as early:
        overlapping = early.enter_context(books.begin(ORG))
        moved = [_next(r, 500 - n, updated=EARLIER) for n, r in enumerate(made[:30:3])]
        overlapping.put([*moved, *(_gone(r, updated=NOW) for r in made[1:30:3]), _first(7, updated=EARLIER)])
        began = early.enter_context(books.begin(ORG))  # has its time, but wrote nothing yet
        with books.begin(ORG) as work:  # what came last is committed first
            work.put([_next(made[2], 600, updated=LATER)])
        expected, turn = _all(books, sort), iter(range(10))
        assert len(expected) == 40

        def commit() -> None:
            n = next(turn)
            if n == 0:
                began.put([_next(r, 700, updated=EARLIER) for r in made[5:30:3]])
                early.close()
            else:
                with books.begin(ORG) as work:
                    work.put([_next(moved[n], 800 + n, updated=LATER)])

        assert _pages(books, _query(sort), commit) == expected


def test_a_page_inside_a_transaction_goes_on_with_what_that_wrote(books: SqlBooks, records: list[Record]) -> None:
    with books.begin(ORG) as work:
        work.put([_next(r, 100 + n, updated=NOW) for n, r in enumerate(records[:20])])
        first = work.search(_query("newest"))
        expected = [one.id for one in work.search(_query("newest", count=1000)).matches]
        after = _query("newest", after=first.after, count=1000)
    with books.view(ORG) as view:
        assert [one.id for one in (*first.matches, *view.search(after).matches)] == expected


@pytest.mark.parametrize("sort", SORTS)
def test_pages_while_others_write_without_pause(books: SqlBooks, records: list[Record], sort: str) -> None:
    """Eight writers with clocks of their own; every walk through the pages gives what one large page gave."""
    stop = threading.Event()
    writers = [threading.Thread(target=_write_on, args=(books, records, n, stop)) for n in range(8)]
    for writer in writers:
        writer.start()
    try:
        for _ in range(6):
            with books.view(ORG) as view:  # one look: the same first page, and the whole
                first = view.search(_query(sort))
                expected = [(one.id, one.version) for one in view.search(_query(sort, count=1000)).matches]
            found = [(one.id, one.version) for one in first.matches]
            rest = _pages(books, _query(sort, after=first.after), lambda: None) if first.after else []
            assert found + rest == expected
    finally:
        stop.set()
        for writer in writers:
            writer.join()


def _write_on(books: SqlBooks, records: list[Record], n: int, stop: threading.Event) -> None:
    dice = random.Random(n)
    while not stop.wait(0.002):
        updated = dice.choice([EARLIER, NOW, LATER])
        try:
            with books.begin(ORG) as work:
                current = work.get_many(("Observation", r.new.id) for r in dice.sample(records, 2))
                held = [new(one, _index(one.body)) for one in current.values() if one.version < 40]
                work.put([_next(r, dice.randrange(1000), updated=updated) for r in held])
                if stop.wait(dice.random() / 100):
                    return
        except (Busy, Conflict):
            continue
