"""Searches of every shape, compared with the same search worked out in memory."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.basics.errors import Invalid
from service.basics.query import AnyPeriod, Criterion, Exact, Ids, Period, Query, Starts, Updated
from service.basics.stored import Record
from service.store import SqlBooks, open_books
from service.store.instants import micros_of
from tests.builders import oracle
from tests.builders.records import changed, keys, new, removed, version

COMMON, RARE, GONE, DATE, NAME = 1, 2, 3, 100, 200
WORDS = ("ana", "anabel", "änne", "anna", "an", "bob", "\U0001f415", "an\uffff")
ORG = "search"


def _record(n: int) -> Record:
    marks: list[int | tuple[int, int, int]] = [COMMON, 10 + n % 7, 20 + n % 3]
    marks += [RARE] if n % 400 == 5 else []
    marks += [(DATE, n * 10, n * 10 + n % 5)] if n % 2 else []
    stored = version(id_=f"id-{n:05}", updated=f"2026-03-04T05:{n // 60 % 60:02}:{n % 60:02}.{n % 3:03}Z", number=1)
    return new(stored, keys(*marks, texts=[(NAME, WORDS[n % len(WORDS)])] if n % 3 else []))


@pytest.fixture(scope="module")
def current(engine: str) -> list[Record]:
    """The records as they are after some were changed and some deleted, for each engine anew."""
    assert engine
    return [_record(n) for n in range(1300)]


@pytest.fixture(scope="module")
def filled(engine: str, database_url: Callable[[str], str], current: list[Record]) -> Iterator[SqlBooks]:
    """Books with 1,300 Observations, of which some were changed and some deleted, and a stranger's."""
    opened = open_books(database_url(engine))
    first = [*current, *(new(version("Media"), keys(COMMON)) for _ in range(3))]
    gone = [new(version(id_=f"gone-{n}"), keys(COMMON, GONE, texts=[(NAME, "ana")])) for n in range(4)]
    was = [replace(r, keys=keys(GONE, *(m.key for m in r.keys.marks))) for r in first[:50]]
    with opened.begin(ORG) as work:
        work.put([*was, *first[50:], *gone])
        work.put([*(removed(g) for g in gone)])
    again = [replace(changed(w), keys=r.keys) for w, r in zip(was, first[:50], strict=True)]
    with opened.begin(ORG) as work:
        work.put(again)
    current[:50] = again
    with opened.begin("stranger") as work:
        work.put([new(version(), keys(COMMON, RARE, texts=[(NAME, "ana")])) for _ in range(3)])
    yield opened
    opened.close()


def _all_pages(books: SqlBooks, query: Query) -> tuple[list[str], set[int | None]]:
    found: list[str] = []
    totals: set[int | None] = set()
    while True:
        with books.view(ORG) as view:
            page = view.search(query)
        assert len(page.matches) <= query.count
        found += [m.id for m in page.matches]
        totals.add(page.total)
        if not page.after:
            return found, totals
        query = replace(query, after=page.after)


def _expected(current: list[Record], query: Query) -> list[str]:
    rows = {r.new.id: n for n, r in enumerate(current)}
    fit = oracle.matches(current, query)
    fit.sort(key=lambda s: (micros_of(s.updated), rows[s.id]), reverse=not query.oldest_first)
    return [s.id for s in fit]


CASES: dict[str, tuple[Criterion, ...]] = {
    "all": (),
    "common": (Exact((COMMON,)),),
    "rare": (Exact((RARE,)),),
    "no longer borne": (Exact((GONE,)),),
    "unknown": (Exact((999,)),),
    "nothing asked": (Exact(()),),
    "either": (Exact((RARE, 12, 12)),),
    "rare and common": (Exact((COMMON,)), Exact((RARE,)), Exact((20, 21, 22))),
    "two large ones": (Exact((COMMON,)), Exact((11,))),
    "not": (Exact((COMMON,)), Exact((11, 12), negated=True)),
    "only not": (Exact((11, 12, RARE), negated=True),),
    "ids": (Ids(("id-00005", "id-00006", "unknown", "gone-1")), Exact((RARE,))),
    "no ids": (Ids(()),),
    "from": (Period(DATE, low_from=12_900),),
    "within": (Exact((COMMON,)), Period(DATE, low_from=100, high_to=500)),
    "either period": (AnyPeriod((Period(DATE, high_to=50), Period(DATE, low_from=12_950))), Exact((COMMON,))),
    "no period": (AnyPeriod(()),),
    "starts": (Starts(NAME, ("an",)),),
    "starts with one or another": (Starts(NAME, ("anab", "b")), Exact((COMMON,))),
    "is": (Starts(NAME, ("an", "\U0001f415"), exact=True),),
    "updated": (Updated(low=micros_of("2026-03-04T05:10:00Z"), high=micros_of("2026-03-04T05:11:00Z")),),
}


@pytest.mark.parametrize("oldest_first", [False, True], ids=["newest", "oldest"])
@pytest.mark.parametrize("name", CASES)
def test_pages_hold_exactly_what_fits_in_order(
    filled: SqlBooks, current: list[Record], name: str, oldest_first: bool
) -> None:
    query = Query("Observation", CASES[name], count=190, oldest_first=oldest_first)
    found, totals = _all_pages(filled, query)
    assert found == _expected(current, query)
    assert totals == {len(found)}


_criteria = st.one_of(
    st.builds(Exact, st.lists(st.integers(1, 25), max_size=3).map(tuple), st.booleans()),
    st.builds(Period, st.just(DATE), *[st.none() | st.integers(0, 13_500)] * 4),
    st.builds(Starts, st.just(NAME), st.lists(st.sampled_from(WORDS), max_size=2).map(tuple), st.booleans()),
    st.builds(Ids, st.lists(st.integers(0, 1400).map("id-{:05}".format), max_size=4).map(tuple)),
    st.builds(Updated, st.none() | st.just(micros_of("2026-03-04T05:08:00Z")), st.none()),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(criteria=st.lists(_criteria, max_size=4).map(tuple), oldest_first=st.booleans())
def test_any_search_agrees_with_memory(
    filled: SqlBooks, current: list[Record], criteria: tuple[Criterion, ...], oldest_first: bool
) -> None:
    query = Query("Observation", criteria, count=1000, oldest_first=oldest_first)
    found, totals = _all_pages(filled, query)
    assert found == _expected(current, query)
    assert totals == {len(found)}


def test_a_count_alone_brings_no_resources(filled: SqlBooks) -> None:
    with filled.view(ORG) as view:
        counted = view.search(Query("Observation", (Exact((COMMON,)),), summary="count"))
        bare = view.search(Query("Observation", (Exact((COMMON,)),), count=0))
        unasked = view.search(Query("Observation", (Exact((COMMON,)),), count=5, total=False))
    assert (counted.matches, counted.total, counted.after) == ((), 1300, "")
    assert (bare.matches, bare.total, bare.after) == ((), 1300, "")
    assert (len(unasked.matches), unasked.total) == (5, None)


@pytest.mark.parametrize("after", ["x", "1", "1.2.3", "1.g", f"{1 << 70:x}.1", "1.-", "'; DROP TABLE mark; --"])
def test_a_position_of_someone_elses_making_is_refused(filled: SqlBooks, after: str) -> None:
    with filled.view(ORG) as view, pytest.raises(Invalid):
        view.search(Query("Observation", (), after=after))
