"""What an operator types about destinations and deliveries, and what comes back."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest
import typer

from service.basics.ids import new_id
from service.basics.stored import Post
from service.commands import deliveries, destination
from service.store import SqlBooks, open_books
from tests.courier.carrying import PERFORMED, URL, answering, carry
from tests.courier.test_outbox import SLUG, later, promise
from tests.courier.twin import BUNDLE

SECRET = "plainly-invented"


@pytest.fixture
def books(database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    """Books with a practice and no destination."""
    opened = open_books(database_url("sqlite"))
    opened.add_organization(SLUG, "Hill Practice (invented)")
    yield opened
    opened.close()


@pytest.fixture
def credential(tmp_path: Path) -> Path:
    """A file with the value of an Authorization header."""
    file = tmp_path / "authorization"
    file.write_text(f"Bearer {SECRET}\n")
    return file


def add(books: SqlBooks, *, name: str = "records", url: str = URL, authorization: Path | None = None) -> None:
    destination.add(books, organization=SLUG, name=name, url=url, authorization=authorization)


def said(capsys: pytest.CaptureFixture[str]) -> str:
    came = capsys.readouterr()
    return came.out + came.err


def test_a_destination_is_added_listed_and_never_shows_its_credentials(
    books: SqlBooks, credential: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add(books, url="https://records.test/fhir/", authorization=credential)
    destination.list_(books)
    shown = said(capsys)
    assert "https://records.test/fhir  report, charges, status, images by transaction  yes          active" in shown
    assert SECRET not in shown
    row = books.destination(SLUG, "records")
    assert row is not None
    assert (row.authorization, row.url) == (f"Bearer {SECRET}", "https://records.test/fhir")


def test_no_destination_at_all_is_said_in_words(books: SqlBooks, capsys: pytest.CaptureFixture[str]) -> None:
    destination.list_(books, organization=SLUG)
    assert "sent nowhere" in said(capsys)


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("records.test/fhir", "starts with https://"),
        ("ftp://records.test", "starts with https://"),
        ("https://", "a host"),
        ("https://me:pw@records.test/fhir", "credentials do not belong"),
        ("https://records.test/fhir?a=b", "without ? or #"),
        ("https://records.test/fhir#a", "without ? or #"),
        ("https://records.test/my fhir", "spaces"),
        ("https://records.test/f\u00fcr", "%-encoded"),
        ("https://records.test:99999/fhir", "cannot be read"),
        ("https://records.test:0/fhir", "port"),
        ("https://[::1/fhir", "cannot be read"),
    ],
)
def test_an_address_that_cannot_be_used_is_refused(
    books: SqlBooks, url: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(typer.Exit) as ended:
        add(books, url=url)
    assert ended.value.exit_code == 1
    assert words in said(capsys)
    assert books.destinations(SLUG) == ()


def test_all_that_is_wrong_is_said_at_once(books: SqlBooks, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "authorization"
    file.write_text("only-a-token")
    with pytest.raises(typer.Exit):
        destination.add(books, organization="nobody", name="No Good", url="x", authorization=file)
    lines = said(capsys).splitlines()
    assert len(lines) == 4
    assert "only-a-token" not in "".join(lines)


def test_the_same_name_twice_is_refused(books: SqlBooks, capsys: pytest.CaptureFixture[str]) -> None:
    add(books)
    with pytest.raises(typer.Exit):
        add(books)
    assert "already" in said(capsys)


def test_plain_http_to_another_machine_is_a_caution_and_on_this_one_is_not(
    books: SqlBooks, capsys: pytest.CaptureFixture[str]
) -> None:
    add(books, name="near", url="http://127.0.0.1:8090/fhir")
    assert "caution" not in said(capsys)
    add(books, name="far", url="http://records.test/fhir")
    assert "caution: plain http" in said(capsys)


def test_deliveries_are_listed_shown_and_replayed(books: SqlBooks, capsys: pytest.CaptureFixture[str]) -> None:
    add(books)
    dead, waiting = promise(books, "exam-1", "exam-1")
    clock, router = later(), answering(httpx.Response(422, text="no such\x1b[2J animal\nsecond line"), PERFORMED)
    carry(books, clock=clock, router=router)
    said(capsys)
    deliveries.list_(books, organization=SLUG)
    listed = said(capsys)
    assert [line.split()[0] for line in listed.splitlines()] == ["post", waiting, dead]
    deliveries.list_(books, organization=SLUG, state="dead", as_json=True)
    assert [(each["id"], each["state"]) for each in json.loads(said(capsys))] == [(dead, "dead")]
    deliveries.show(books, organization=SLUG, post=dead, body=True)
    shown = said(capsys)
    for part in ("dead", "422", "refused", "    no such\\x1b[2J animal\n    second line", "courier-a", BUNDLE.decode()):
        assert part in shown
    assert "\x1b" not in shown, "nothing from outside may steer the terminal"
    deliveries.replay(books, organization=SLUG, post=dead, by="R. Operator")
    assert "replayed by R. Operator" in said(capsys)
    carry(books, clock=clock, router=router)
    deliveries.show(books, organization=SLUG, post=dead)
    history = said(capsys)
    assert history.index("422") < history.index("replayed") < history.index("2 entries performed")
    assert "by R. Operator" in history


def test_a_dead_post_can_be_skipped(books: SqlBooks, capsys: pytest.CaptureFixture[str]) -> None:
    add(books)
    dead, after = promise(books, "exam-1", "exam-1")
    router = answering(httpx.Response(422), PERFORMED)
    carry(books, clock=later(), router=router)
    deliveries.skip(books, organization=SLUG, post=dead, by="R. Operator")
    carry(books, clock=later(), router=router)
    deliveries.list_(books, organization=SLUG, state="delivered")
    shown = said(capsys)
    assert "it was not delivered" in shown
    assert after in shown


@pytest.mark.parametrize("act", [deliveries.replay, deliveries.skip])
def test_what_cannot_be_replayed_or_skipped_says_why(
    books: SqlBooks, act: Callable[..., None], capsys: pytest.CaptureFixture[str]
) -> None:
    add(books)
    (waiting,) = promise(books, "exam-1")
    for post, by, words in (
        (waiting, "R.", "waiting|dead"),
        ("nobody", "R.", "no such post"),
        (waiting, " ", "by whom"),
    ):
        with pytest.raises(typer.Exit):
            act(books, organization=SLUG, post=post, by=by)
        shown = said(capsys)
        assert any(word in shown for word in words.split("|"))


def test_another_organisations_posts_are_unknown(books: SqlBooks, capsys: pytest.CaptureFixture[str]) -> None:
    add(books)
    (post,) = promise(books, "exam-1")
    books.add_organization("lake-practice", "Lake Practice (invented)")
    deliveries.list_(books, organization="lake-practice")
    assert post not in said(capsys)
    for act in (
        lambda: deliveries.show(books, organization="lake-practice", post=post),
        lambda: deliveries.replay(books, organization="lake-practice", post=post, by="R."),
        lambda: deliveries.list_(books, organization="nobody"),
        lambda: deliveries.list_(books, organization=SLUG, state="lost"),
    ):
        with pytest.raises(typer.Exit):
            act()


def test_a_long_answer_is_shortened_unless_all_is_asked_for(
    books: SqlBooks, capsys: pytest.CaptureFixture[str]
) -> None:
    add(books)
    with books.begin(SLUG) as work:
        work.post([Post(new_id(), "records", "k", "exam-1", "finished", BUNDLE)])
    carry(books, clock=later(), router=answering(httpx.Response(400, text="x" * 3_000)))
    (post,) = books.deliveries(SLUG)
    deliveries.show(books, organization=SLUG, post=post.id)
    assert "(3000 characters in all)" in said(capsys)
    deliveries.show(books, organization=SLUG, post=post.id, whole=True)
    assert "x" * 3_000 in said(capsys)
