"""Searches of every shape, compared with the same search worked out in memory."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.basics import judging
from service.basics.errors import Gone, Invalid
from service.basics.query import (
    NEWEST,
    OLDEST,
    Absent,
    AnyPeriod,
    Backward,
    Both,
    Criterion,
    Either,
    Exact,
    Forward,
    Ids,
    Not,
    Period,
    Query,
    Reads,
    Sort,
    Starts,
    Updated,
)
from service.basics.stored import NO_DATE, Keys, Record
from service.store import SqlBooks, open_books, snapshot
from service.store.instants import micros_of
from tests.builders import oracle
from tests.builders.records import changed, keys, new, removed, version

COMMON, RARE, GONE, DATE, NAME, OTHER = 1, 2, 3, 100, 200, 201
WORDS = ("ana", "anabel", "änne", "anna", "an", "bob", "\U0001f415", "an\uffff", "100% _!x")
ORG = "search"
KNOWN: dict[bytes, Keys] = {}


def _record(n: int) -> Record:
    own = n * 10 if n % 2 else NO_DATE
    marks = [(key, own, own) for key in (COMMON, 10 + n % 7, 20 + n % 3, *([RARE] if n % 400 == 5 else []))]
    marks += [(DATE, own, own + n % 5)] if n % 2 else []
    marks += [(30, own, n % 4)]
    updated = f"2026-03-04T05:{n // 60 % 60:02}:{n % 60:02}.{n % 3:03}Z"
    stored = version(id_=f"id-{n:05}", updated=updated, number=1, code=f"c{n % 11}", seen=n % 13 == 0)
    found = keys(*marks, texts=[(NAME, WORDS[n % len(WORDS)])] if n % 3 else [], present=n % 8)
    return new(stored, found)


def _noted(records: list[Record]) -> list[Record]:
    KNOWN.update({record.new.body: record.keys for record in records})
    return records


class Records(list[Record]):
    """Many, told briefly when a test fails."""

    def __repr__(self) -> str:
        return f"<{len(self)} records>"


def _words(body: bytes) -> list[str]:
    value = json.loads(body)
    return [value["code"]] if "code" in value else []


def _seen(body: bytes) -> bool:
    return bool(json.loads(body).get("seen"))


@pytest.fixture(scope="module")
def current(engine: str) -> Records:
    """The records as they are after some were changed and some deleted, for each engine anew."""
    assert engine
    return Records(_noted([_record(n) for n in range(1300)]))


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
    again = _noted([replace(changed(w), keys=r.keys) for w, r in zip(was, first[:50], strict=True)])
    with opened.begin(ORG) as work:
        work.put(again)
    current[:50] = again
    with opened.begin("stranger") as work:
        work.put([new(version(), keys(COMMON, RARE, texts=[(NAME, "ana")])) for _ in range(3)])
    yield opened
    opened.close()


def _query(*criteria: Criterion, **rest: object) -> Query:
    return replace(Query("Observation", criteria, index=KNOWN.__getitem__), **rest)  # type: ignore[arg-type]


def _all_pages(books: SqlBooks, query: Query, between: Callable[[], object] = lambda: None) -> list[str]:
    """The ids of all pages; what is told of the total is held against them."""
    found: list[str] = []
    totals: set[int | None] = set()
    while True:
        with books.view(ORG) as view:
            page = view.search(query)
        assert len(page.matches) <= query.count
        found += [m.id for m in page.matches]
        totals.add(page.total)
        if not page.after:
            break
        query = replace(query, after=page.after)
        between()
    assert len(totals) == 1
    assert totals <= ({len(found)} if query.total == "accurate" else {None, len(found)})
    return found


def _expected(current: list[Record], query: Query) -> list[str]:
    fit = {one.id for one in oracle.matches(current, query)}
    return oracle.in_order([(n, r) for n, r in enumerate(current) if r.new.id in fit], query.sort)


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
    "not": (Exact((COMMON,)), Not(Exact((11, 12)))),
    "only not": (Not(Exact((11, 12, RARE))),),
    "ids": (Ids(("id-00005", "id-00006", "unknown", "gone-1")), Exact((RARE,))),
    "no ids": (Ids(()),),
    "from": (Period(DATE, low_from=12_900),),
    "within": (Exact((COMMON,)), Period(DATE, low_from=100, high_to=500)),
    "either period": (AnyPeriod((Period(DATE, high_to=50), Period(DATE, low_from=12_950))), Exact((COMMON,))),
    "no period": (AnyPeriod(()),),
    "starts": (Starts(NAME, ("an",)),),
    "starts with one or another": (Starts(NAME, ("anab", "b")), Exact((COMMON,))),
    "is": (Starts(NAME, ("an", "\U0001f415"), exact=True),),
    "contains": (Starts(NAME, ("nab", "% _!"), within=True),),
    "updated": (Updated(low=micros_of("2026-03-04T05:10:00Z"), high=micros_of("2026-03-04T05:11:00Z")),),
    "absent": (Absent(4), Not(Absent(2))),
    "one of two kinds": (Either((Exact((RARE,)), Starts(NAME, ("bob",)))),),
    "one or a pair": (Either((Exact((RARE,)), Both((Exact((11,)), Period(DATE, low_from=6000))))),),
    "a pair": (Both((Exact((COMMON,)), Exact((RARE,)))),),
    "read": (Reads(_seen), Exact((11,))),
    "read or not": (Either((Not(Reads(_seen)), Exact((RARE,)))), Exact((12,))),
}
SORTS: dict[str, tuple[Sort, ...]] = {
    "newest": NEWEST,
    "oldest": OLDEST,
    "id": (Sort("id", descending=True),),
    "own date": (Sort("low", DATE, descending=True, own=True),),
    "date": (Sort("low", DATE),),
    "text": (Sort("text", NAME, descending=True), Sort("low", DATE)),
    "unknown": (Sort("text", OTHER), Sort("id")),
    "word": (Sort("word", words=_words), Sort("low", DATE, descending=True)),
}


@pytest.mark.parametrize(
    ("name", "sort"), [(name, "newest") for name in CASES] + [(n, s) for n in ("common", "starts") for s in SORTS]
)
def test_pages_hold_exactly_what_fits_in_order(filled: SqlBooks, current: list[Record], name: str, sort: str) -> None:
    query = _query(*CASES[name], count=190, sort=SORTS[sort], total="accurate")
    assert _all_pages(filled, query) == _expected(current, query)


@pytest.mark.full
@pytest.mark.parametrize(
    "pinned", [Exact((30,)), AnyPeriod((Period(30, high_from=1, high_to=1),))], ids=["key", "pinned"]
)
def test_the_own_date_is_walked_in_the_order_of_the_index(
    filled: SqlBooks, current: list[Record], pinned: Criterion
) -> None:
    query = _query(pinned, Not(Exact((11,))), count=7, sort=(Sort("low", DATE, descending=True, own=True),))
    assert _all_pages(filled, query) == _expected(current, query)


@pytest.mark.parametrize(
    "criteria", [(), (Not(Exact((11,))),), (Period(DATE, low_from=200),)], ids=["all", "not", "since"]
)
def test_many_matches_are_found_among_the_newest(
    filled: SqlBooks, current: list[Record], criteria: tuple[Criterion, ...]
) -> None:
    query = _query(*criteria, count=190, sort=(Sort("low", DATE, descending=True, own=True),))
    assert _all_pages(filled, query) == _expected(current, query)


_keyed = st.one_of(
    st.builds(Exact, st.lists(st.integers(1, 25), max_size=3).map(tuple)),
    st.builds(Period, st.just(DATE), *[st.none() | st.integers(0, 13_500)] * 4),
    st.builds(Starts, st.just(NAME), st.lists(st.sampled_from(WORDS), max_size=2).map(tuple), st.booleans()),
    st.builds(Starts, st.just(NAME), st.lists(st.sampled_from("an%_!b"), max_size=2).map(tuple), within=st.just(True)),
    st.builds(Ids, st.lists(st.integers(0, 1400).map("id-{:05}".format), max_size=4).map(tuple)),
    st.builds(Updated, st.none() | st.just(micros_of("2026-03-04T05:08:00Z")), st.none()),
    st.builds(Absent, st.integers(0, 15)),
    st.builds(Reads, st.just(_seen)),
)
_criteria = st.recursive(
    _keyed,
    lambda inner: st.one_of(
        st.builds(Not, inner),
        st.builds(Either, st.lists(inner, max_size=3).map(tuple)),
        st.builds(Both, st.lists(inner, max_size=3).map(tuple)),
    ),
    max_leaves=4,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(criteria=st.lists(_criteria, max_size=4).map(tuple), sort=st.sampled_from(list(SORTS.values())))
def test_any_search_agrees_with_memory(
    filled: SqlBooks, current: list[Record], criteria: tuple[Criterion, ...], sort: tuple[Sort, ...]
) -> None:
    query = _query(*criteria, count=500, sort=sort, total="accurate")
    assert _all_pages(filled, query) == _expected(current, query)


@settings(max_examples=200, deadline=None)
@given(criteria=st.lists(_criteria, max_size=4).map(tuple), n=st.integers(0, 1300))
def test_a_version_in_memory_is_judged_like_a_stored_one(criteria: tuple[Criterion, ...], n: int) -> None:
    record = _record(n)
    version_ = judging.Version(record.new.id, micros_of(record.new.updated), record.keys, record.new.body)
    assert judging.fits_all(version_, criteria) == oracle.fits_all(record, criteria)


def test_what_leads_through_another_resource(filled: SqlBooks, current: list[Record]) -> None:
    """Observations that refer to one of Observations 5, 405 ... and what those refer to, the way fhir/search asks."""
    first = Forward("Observation", (Exact((RARE,)),), lambda id_: (10 + int(id_[3:]) % 7,))
    assert _all_pages(filled, _query(first, count=500)) == _expected(current, _query(Exact((15, 16, 10, 11))))
    back = Backward("Observation", (Exact((RARE,)),), lambda body: [f"id-{int(json.loads(body)['id'][3:]) + 1:05}"])
    assert sorted(_all_pages(filled, _query(back))) == ["id-00006", "id-00406", "id-00806", "id-01206"]
    both = Backward("Observation", (first, Exact((20,))), lambda body: [json.loads(body)["id"]])
    found = _all_pages(filled, _query(Not(both), Either((Exact((13,)), back)), count=500))
    plain = Not(Both((Exact((15, 16, 10, 11)), Exact((20,)))))
    either = Either((Exact((13,)), Ids(("id-00006", "id-00406", "id-00806", "id-01206"))))
    assert found == _expected(current, _query(plain, either))
    with filled.view(ORG) as view:
        assert view.search(_query(Forward("Media", (Exact((RARE,)),), lambda _: (COMMON,)))).matches == ()


def test_a_count_alone_brings_no_resources(filled: SqlBooks) -> None:
    with filled.view(ORG) as view:
        counted = view.search(_query(Exact((COMMON,)), summary="count"))
        bare = view.search(_query(Exact((COMMON,)), count=0))
        unasked = view.search(_query(Exact((RARE,)), count=2, total="none"))
        cheap = view.search(_query(Exact((RARE,)), count=2))
    assert (counted.matches, counted.total, counted.after) == ((), 1300, "")
    assert (bare.matches, bare.total, bare.after) == ((), 1300, "")
    assert (len(unasked.matches), unasked.total) == (2, None)
    assert (len(cheap.matches), cheap.total) == (2, 4)


def test_types_are_searched_together(filled: SqlBooks) -> None:
    media = Query("Media", (Exact((COMMON,)),), index=KNOWN.__getitem__)
    query = _query(Exact((RARE,)), count=3, also=(media,), total="accurate")
    with filled.view(ORG) as view:
        page = view.search(query)
        rest = view.search(replace(query, after=page.after))
    assert page.total == rest.total == 7
    assert len({one.id for one in (*page.matches, *rest.matches)}) == 6
    assert {one.type for one in (*page.matches, *rest.matches)} == {"Observation", "Media"}


@pytest.mark.parametrize(
    "after", ["x", "1", "1.2.3", "WzFd", "WzEsMiwibiIsNF0", "WzEsMixudWxsLDRd", "'; DROP mark; --"]
)
def test_a_position_of_someone_elses_making_is_refused(filled: SqlBooks, after: str) -> None:
    with filled.view(ORG) as view, pytest.raises(Invalid):
        view.search(_query(after=after))


@pytest.fixture
def written(engine: str, database_url: Callable[[str], str]) -> Iterator[tuple[SqlBooks, list[Record]]]:
    """Books of their own with sixty Observations, to be written to while they are paged through."""
    opened = open_books(database_url(engine))
    records = _noted([_record(n) for n in range(60)])
    with opened.begin(ORG) as work:
        work.put(records)
    yield opened, records
    opened.close()


@pytest.mark.parametrize("sort", SORTS)
def test_each_match_comes_once_as_it_was_at_the_first_page(written: tuple[SqlBooks, list[Record]], sort: str) -> None:
    """Between any two pages some rows are changed (so that they match no more, or only now), removed and added."""
    books, records = written
    query = _query(Not(Exact((11,))), count=7, sort=SORTS[sort])
    expected = _expected(records, query)
    now, turn = dict(enumerate(records)), iter(range(1000))

    def meanwhile() -> None:
        n = next(turn)
        stamp = f"2027-01-01T00:00:{n:02}.000Z"
        picked = [now[(n * 17 + k * 13) % 60] for k in range(4)]
        after = []
        for k, record in enumerate({r.new.id: r for r in picked if not r.new.deleted}.values()):
            if k == 0:
                after.append(removed(record))
            else:
                found = keys((11 if k == 1 else 12, n, n), (DATE, n, n), texts=[(NAME, "moved")])
                after.append(changed(record, found, code=f"moved {n} {k}"))
        after = [replace(r, new=replace(r.new, updated=stamp)) for r in after]
        fresh = _record(2000 + n)
        fresh = replace(fresh, new=replace(fresh.new, updated=stamp))
        _noted([*after, fresh])
        with books.begin(ORG) as work:
            work.put([*after, fresh])
        now.update({int(r.new.id[3:]): r for r in after})

    assert _all_pages(books, query, meanwhile) == expected


def test_a_link_expires_when_too_much_has_changed(written: tuple[SqlBooks, list[Record]]) -> None:
    books, records = written
    query = _query(count=5)
    with books.view(ORG) as view:
        query = replace(query, after=view.search(query).after)
    many = [new(version(updated="2026-03-04T06:00:00.000Z"), keys(COMMON)) for _ in range(snapshot.MOST)]
    with books.begin(ORG) as work:
        work.put(many)
    with books.view(ORG) as view:
        first = view.search(_query(count=5))
    with books.begin(ORG) as work:
        work.put(
            [
                replace(r, new=replace(r.new, updated="2027-01-01T00:00:00.000Z"))
                for r in map(changed, [*many, records[9]])
            ]
        )
    with books.view(ORG) as view, pytest.raises(Gone):
        view.search(_query(count=5, after=first.after))
