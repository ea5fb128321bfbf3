"""The outbox: what is leased, in which order, and what a late or repeated settlement can change."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest

from service.basics.errors import Conflict, Missing
from service.basics.ids import new_id
from service.basics.stored import Post
from service.store import Leased, SqlBooks

NOW = datetime(2100, 1, 1, tzinfo=UTC)  # later than every post of these tests was made
MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class Settled:
    """What became of one attempt."""

    state: str
    started: datetime = NOW
    milliseconds: int = 12
    status: int | None = 200
    reason: str = ""
    answer: str = ""
    due: datetime | None = None
    disable: bool = False


DONE, DEAD, AGAIN = Settled("delivered"), Settled("dead", status=422, reason="refused"), Settled("waiting", due=NOW)


@pytest.fixture(autouse=True)
def no_leftovers(books: SqlBooks, organization: str) -> Iterator[None]:
    """The outbox is shared by all organisations: what a test leaves is switched off."""
    for name in ("records", "archive"):
        books.add_destination(organization, name, url=f"https://{name}.example/fhir", authorization="Bearer s3cret")
    yield
    for name in ("records", "archive"):
        books.switch_destination(organization, name, active=False, why="test is over")


def _post(books: SqlBooks, organization: str, *, thread: str = "exam", destination: str = "records") -> Post:
    post = Post(new_id(), destination, key=new_id(), thread=thread, event="finished", body=b"\x00{bytes}")
    with books.begin(organization) as work:
        work.post([post])
    return post


def _lease(books: SqlBooks, *, now: datetime = NOW, limit: int = 10, seconds: int = 60) -> list[Leased]:
    return books.lease("courier-1", limit=limit, seconds=seconds, now=now)


def test_a_leased_post_says_all_that_sending_needs(books: SqlBooks, organization: str) -> None:
    post = _post(books, organization)
    (leased,) = _lease(books)
    assert (leased.organization, leased.destination, leased.url) == (
        organization,
        "records",
        "https://records.example/fhir",
    )
    assert (leased.id, leased.key, leased.thread, leased.event, leased.body) == (
        post.id,
        post.key,
        "exam",
        "finished",
        post.body,
    )
    assert (leased.authorization, leased.tries, leased.until) == ("Bearer s3cret", 0, NOW + MINUTE)
    assert "s3cret" not in repr(leased)
    assert _lease(books) == []
    assert books.settle(leased, DONE, now=NOW)
    assert _lease(books, now=NOW + 2 * MINUTE) == []


def test_a_lease_ends_and_its_late_holder_changes_nothing(books: SqlBooks, organization: str) -> None:
    post = _post(books, organization)
    (first,) = _lease(books)
    assert _lease(books, now=NOW + MINUTE - timedelta(microseconds=1)) == []
    (second,) = _lease(books, now=NOW + MINUTE)
    assert (second.id, second.token != first.token) == (post.id, True)
    assert not books.settle(first, DONE, now=NOW)
    assert not books.extend(first, seconds=60, now=NOW)
    books.release(first)
    assert books.attempts(organization, post.id) == ()
    assert books.extend(second, seconds=600, now=NOW + MINUTE)
    assert _lease(books, now=NOW + 3 * MINUTE) == []
    assert books.settle(second, DEAD, now=NOW)
    assert not books.settle(second, DONE, now=NOW)
    found = books.delivery(organization, post.id)
    assert found is not None
    assert (found.state, found.tries) == ("dead", 1)


def test_a_released_post_is_free_at_once_and_was_not_tried(books: SqlBooks, organization: str) -> None:
    post = _post(books, organization)
    (leased,) = _lease(books)
    books.release(leased)
    (again,) = _lease(books)
    assert (again.id, again.tries) == (post.id, 0)
    assert books.attempts(organization, post.id) == ()


def test_posts_of_an_exam_keep_their_order_and_others_do_not_wait(books: SqlBooks, organization: str) -> None:
    first, second = _post(books, organization), _post(books, organization)
    other, elsewhere = _post(books, organization, thread="2"), _post(books, organization, destination="archive")
    leased = {p.id: p for p in _lease(books)}
    assert set(leased) == {first.id, other.id, elsewhere.id}
    assert books.settle(leased[first.id], Settled("waiting", due=NOW + MINUTE), now=NOW)
    assert _lease(books) == []  # the second waits behind the first, which is not due
    assert books.settle(leased[other.id], DONE, now=NOW)
    assert books.settle(leased[elsewhere.id], DONE, now=NOW)
    (again,) = _lease(books, now=NOW + MINUTE)
    assert (again.id, again.tries) == (first.id, 1)
    assert books.settle(again, DONE, now=NOW)
    assert [p.id for p in _lease(books, now=NOW)] == [second.id]


def test_a_dead_post_holds_its_exam_until_it_is_skipped_or_replayed(books: SqlBooks, organization: str) -> None:
    first, second = _post(books, organization), _post(books, organization)
    books.settle(_lease(books)[0], DEAD, now=NOW)
    assert _lease(books) == []
    books.replay(organization, first.id, by="operator", now=NOW)
    (leased,) = _lease(books)
    assert (leased.id, leased.tries) == (first.id, 0)
    books.settle(leased, DEAD, now=NOW)
    books.skip(organization, first.id, by="operator", now=NOW)
    (passed,) = _lease(books)
    assert passed.id == second.id
    with pytest.raises(Conflict):
        books.replay(organization, first.id, by="operator")  # it would undo what is on its way
    books.settle(passed, DONE, now=NOW)
    with pytest.raises(Conflict):
        books.replay(organization, first.id, by="operator")
    books.replay(organization, second.id, by="operator", now=NOW)
    assert [p.id for p in _lease(books)] == [second.id]
    happened = [(a.outcome, a.status, a.by) for a in books.attempts(organization, first.id)]
    assert happened == [
        ("dead", 422, "courier-1"),
        ("replayed", None, "operator"),
        ("dead", 422, "courier-1"),
        ("skipped", None, "operator"),
    ]


def test_what_cannot_be_replayed_or_skipped(books: SqlBooks, organization: str) -> None:
    post = _post(books, organization)
    with pytest.raises(Conflict):
        books.replay(organization, post.id, by="operator")
    with pytest.raises(Conflict):
        books.skip(organization, post.id, by="operator")
    for change in (books.replay, books.skip):
        with pytest.raises(Missing):
            change(organization, "unknown", by="operator")
        with pytest.raises(Missing):
            change("another", post.id, by="operator")


def test_a_destination_that_is_gone_is_switched_off_and_its_posts_wait(books: SqlBooks, organization: str) -> None:
    gone = Settled("dead", status=410, reason="gone for good", answer="a\0b", disable=True)
    post, other = _post(books, organization), _post(books, organization, thread="2")
    leased = {p.id: p for p in _lease(books)}
    assert books.settle(leased[post.id], gone, now=NOW)
    books.release(leased[other.id])
    assert _lease(books) == []
    found = books.destination(organization, "records")
    assert found is not None
    assert (found.active, found.disabled) == (False, "gone for good")
    with books.view(organization) as view:
        assert [name for name, _ in view.routes()] == ["archive"]
    assert books.attempts(organization, post.id)[0].answer == "a\ufffdb"
    books.switch_destination(organization, "records", active=True)
    assert [p.id for p in _lease(books)] == [other.id]


def test_a_busy_destination_leaves_room_for_another(books: SqlBooks, organization: str) -> None:
    for n in range(20):
        _post(books, organization, thread=f"{n}")
    late = _post(books, organization, destination="archive")
    leased = _lease(books, limit=4)
    assert len(leased) == 4
    assert late.id in {p.id for p in leased}


def test_a_key_is_promised_once_and_only_to_known_destinations(books: SqlBooks, organization: str) -> None:
    post = _post(books, organization)
    with pytest.raises(Conflict), books.begin(organization) as work:
        work.post([Post(new_id(), "records", key=post.key, thread="x", event="finished", body=b"")])
    with pytest.raises(Conflict), books.begin(organization) as work:
        work.post([Post(new_id(), "nowhere", key=new_id(), thread="x", event="finished", body=b"")])
    with books.view(organization) as view:
        assert view.posted("exam") == (("records", "finished"),)
        assert view.posted("x") == ()


def test_an_operator_sees_only_the_own_deliveries(books: SqlBooks, organization: str) -> None:
    first, second = _post(books, organization), _post(books, organization)
    books.settle(_lease(books)[0], DONE, now=NOW)
    assert [d.id for d in books.deliveries(organization)] == [second.id, first.id]
    assert [d.id for d in books.deliveries(organization, state="delivered")] == [first.id]
    assert books.deliveries("another") == ()
    assert books.delivery("another", first.id) is None
    assert books.post_body(organization, first.id) == first.body
    assert books.post_body("another", first.id) is None
    assert books.attempts("another", first.id) == ()
    assert [(o, d, s, n) for o, d, s, n, _ in books.backlog() if o == organization] == [
        (organization, "records", "waiting", 1)
    ]


def test_a_settlement_of_no_known_state_is_a_fault_of_the_program(books: SqlBooks, organization: str) -> None:
    _post(books, organization)
    (leased,) = _lease(books)
    with pytest.raises(ValueError, match="settled as one of"):
        books.settle(leased, Settled("lost"), now=NOW)


def test_couriers_never_hold_the_same_post(books: SqlBooks, organization: str) -> None:
    made = {_post(books, organization, thread=f"{n % 25}").id for n in range(50)}

    def drain(worker: int) -> list[str]:
        sent = []
        for _ in range(60):
            for leased in books.lease(f"courier-{worker}", limit=3, seconds=60, now=NOW):
                assert books.settle(leased, DONE, now=NOW)
                sent.append(leased.id)
        return sent

    with ThreadPoolExecutor(6) as pool:
        sent = [id_ for part in pool.map(drain, range(6)) for id_ in part]
    assert len(sent) == len(set(sent))
    assert set(sent) == made
    assert {len(books.attempts(organization, id_)) for id_ in made} == {1}
