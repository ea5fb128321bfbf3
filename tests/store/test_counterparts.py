"""What destinations call resources of ours, and the latches, on both engines."""

import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest

from service.store import SqlBooks, open_books

NOW = datetime(2026, 11, 25, 13, 4, 29, tzinfo=UTC)
LATER = NOW + timedelta(seconds=120)


@dataclass(frozen=True)
class Bound:
    """A post of somebody, held by some courier."""

    organization: str = "hill"
    destination: str = "records"
    token: str = "one"


@pytest.fixture
def books(engine: str, database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    opened = open_books(database_url(engine))
    yield opened
    opened.close()


def test_names_are_kept_for_each_destination_of_each_organisation(books: SqlBooks) -> None:
    mine = Bound()
    books.learn(mine, {"a?b": "A/1", "c?d": "C/1"})
    books.learn(Bound(destination="archive"), {"a?b": "A/2"})
    books.learn(Bound(organization="lake"), {"a?b": "A/3"})
    many = [f"x{n}" for n in range(1_200)]
    assert books.counterparts(mine, [*many, "a?b", "c?d", "a?b"]) == {"a?b": "A/1", "c?d": "C/1"}
    books.learn(mine, {"a?b": "A/9", "c?d": ""})
    assert books.counterparts(mine, ["a?b", "c?d"]) == {"a?b": "A/9"}
    assert books.counterparts(Bound(destination="archive"), ["a?b"]) == {"a?b": "A/2"}


def test_one_holds_a_latch_until_it_is_given_back_or_runs_out(books: SqlBooks) -> None:
    one, two = Bound(), Bound(token="two")
    assert books.latch(one, "a", until=LATER, now=NOW)
    assert books.latch(one, "a", until=LATER, now=NOW), "again, by the same"
    assert not books.latch(two, "a", until=LATER, now=NOW)
    assert books.latch(two, "b", until=LATER, now=NOW)
    assert books.latch(Bound(destination="archive", token="two"), "a", until=LATER, now=NOW)
    books.unlatch(two, "a")
    assert not books.latch(two, "a", until=LATER, now=NOW), "nobody gives back what another holds"
    books.unlatch(one, "a")
    assert books.latch(two, "a", until=LATER, now=NOW)
    assert books.latch(one, "a", until=LATER + timedelta(seconds=9), now=LATER), "its time had come"


def test_of_many_at_once_one_gets_it(books: SqlBooks) -> None:
    got: list[bool] = []
    ready = threading.Barrier(8)

    def reach(n: int) -> None:
        ready.wait()
        got.append(books.latch(Bound(token=f"t{n}"), "a", until=LATER, now=NOW))

    hands = [threading.Thread(target=reach, args=(n,)) for n in range(8)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    assert sorted(got) == [False] * 7 + [True]
