"""Sending again what was made since an instant: in order, by someone named, nothing that happened rewritten."""

from collections.abc import Callable, Iterator
from datetime import timedelta

import httpx
import pytest
import typer

from service.commands import deliveries
from service.store import SqlBooks, open_books
from tests.courier.carrying import PERFORMED, URL, answering, carry
from tests.courier.test_outbox import SLUG, later, promise, states

SINCE = "2020-01-01"


@pytest.fixture
def books(engine: str, database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    """Books with a practice and two destinations."""
    opened = open_books(database_url(engine))
    opened.add_organization(SLUG, "Hill Practice (invented)")
    for name in ("records", "archive"):
        opened.add_destination(SLUG, name, url=URL)
    yield opened
    opened.close()


def replay(books: SqlBooks, **how: object) -> None:
    deliveries.replay_since(books, organization=SLUG, **{"since": SINCE, "by": "R. Operator", **how})  # type: ignore[arg-type]


def history(books: SqlBooks, post: str) -> list[tuple[str, str]]:
    return [(one.outcome, one.by) for one in books.attempts(SLUG, post)]


def test_all_dead_posts_go_out_again_and_what_happened_stays_as_it_was(
    books: SqlBooks, capsys: pytest.CaptureFixture[str]
) -> None:
    posts = promise(books, "exam-1", "exam-2", "exam-1")
    clock, router = later(), answering(httpx.Response(422), httpx.Response(422), PERFORMED)
    carry(books, clock=clock, router=router)
    before = {post: books.attempts(SLUG, post) for post in posts}
    assert [states(books)[post] for post in posts] == ["dead", "dead", "waiting"]
    replay(books)
    assert "2 posts" in capsys.readouterr().out
    carry(books, clock=clock, router=router)
    assert set(states(books).values()) == {"delivered"}
    for post, was in before.items():
        assert books.attempts(SLUG, post)[: len(was)] == was
    assert history(books, posts[0])[1:] == [("replayed", "R. Operator"), ("delivered", "courier-a")]
    sent = [call.request.headers["Idempotency-Key"] for call in router.calls][2:]
    assert sent.index("exam-1:0") < sent.index("exam-1:2")


def test_what_had_arrived_goes_out_again_in_its_order_when_the_other_side_lost_it(books: SqlBooks) -> None:
    posts = promise(books, *["exam-1"] * 5, "exam-2")
    clock, router = later(), answering(PERFORMED)
    carry(books, clock=clock, router=router)
    first = [(call.request.headers["Idempotency-Key"], call.request.content) for call in router.calls]
    replay(books, delivered=True)
    carry(books, clock=clock, router=router)
    again = [(call.request.headers["Idempotency-Key"], call.request.content) for call in router.calls][len(first) :]
    assert sorted(again) == sorted(first), "the same keys and bytes"
    of_one = [key for key, _ in again if key.startswith("exam-1")]
    assert of_one == [f"exam-1:{n}" for n in range(5)]
    assert all(history(books, post)[1][0] == "replayed" for post in posts)


def test_only_what_was_made_since_then_and_for_whom_it_was_asked(
    books: SqlBooks, capsys: pytest.CaptureFixture[str]
) -> None:
    (there,), (elsewhere,) = promise(books, "exam-1"), promise(books, "exam-2", destination="archive")
    carry(books, clock=later(), router=answering(httpx.Response(422)))
    replay(books, since=(later()() + timedelta(days=1)).isoformat())
    assert "0 posts" in capsys.readouterr().out
    replay(books, destination="archive")
    assert states(books) == {there: "dead", elsewhere: "waiting"}


def test_older_content_never_goes_out_after_newer(books: SqlBooks, capsys: pytest.CaptureFixture[str]) -> None:
    dead, after = promise(books, "exam-1", "exam-1")
    carry(books, clock=later(), router=answering(httpx.Response(422)))
    books.skip(SLUG, dead, by="R. Operator")
    carry(books, clock=later(), router=answering(PERFORMED))
    assert states(books) == {dead: "skipped", after: "delivered"}
    replay(books, delivered=True)
    assert states(books) == {dead: "skipped", after: "waiting"}, "what a person let pass stays passed"


@pytest.mark.parametrize(("how", "words"), [({"since": "yesterday"}, "since is a day"), ({"by": " "}, "by whom")])
def test_it_is_asked_by_someone_named_with_a_time_that_can_be_read(
    books: SqlBooks, how: dict[str, str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(typer.Exit):
        replay(books, **how)
    assert words in capsys.readouterr().err


def test_a_destination_that_is_off_is_told_where_deliveries_are_listed(
    books: SqlBooks, capsys: pytest.CaptureFixture[str]
) -> None:
    promise(books, "exam-1")
    carry(books, clock=later(), router=answering(httpx.Response(410)))
    deliveries.list_(books, organization=SLUG)
    shown = capsys.readouterr().out
    assert "records is off (answered 410" in shown
    assert "destination enable" in shown
