"""`billing numbers` on both engines: gap-free by how numbers are drawn, and told when somebody meddled."""

import json
import threading
from collections.abc import Callable

import pytest
import typer

from service.commands.billing_numbers import numbers
from service.store import SqlBooks
from tests.builders.bills import Clock, bill, house, keep
from tests.builders.counter_desk import Desk


def test_what_was_issued_and_credited_is_one_series(
    desk: Desk, clock: Clock, capsys: pytest.CaptureFixture[str]
) -> None:
    first = desk.finished()
    assert desk.operate(first, "withdraw", reason="Wrong animal", by="B. Keeper").is_success
    clock.set("2027-01-01T00:30:00Z")
    desk.finished()
    numbers(house(desk.books), desk.slug)
    assert [line.split() for line in capsys.readouterr().out.splitlines()[1:]] == [
        ["2026", "2", "2026-000001", "2026-000002", "2", "none"],
        ["2027", "1", "2027-000001", "2027-000001", "1", "none"],
    ]


def test_a_number_whose_work_was_abandoned_is_given_out_again(books: SqlBooks, slug: str) -> None:
    """Also when many draw at once and every other one gives up."""

    def draw(gives_up: bool) -> None:
        try:
            with books.begin(slug) as work:
                drawn = work.next_invoice_number(2026)
                if gives_up:
                    raise InterruptedError
                work.put([])
                kept.append(drawn)
        except InterruptedError:
            return

    kept: list[int] = []
    threads = [threading.Thread(target=draw, args=(n % 2 == 0,)) for n in range(12)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(kept) == [1, 2, 3, 4, 5, 6]
    with books.view(slug) as view:
        assert view.invoice_counters() == {2026: 6}


def test_what_is_missing_twice_or_never_given_out_ends_badly(
    books: SqlBooks, practice: Callable[..., str], capsys: pytest.CaptureFixture[str]
) -> None:
    slug, other = practice(), practice()
    keep(books, slug, [bill("2026-10-02T10:00:00Z", f"2026-{n:06d}", ("20", 100, 20)) for n in (1, 3, 3, 7)])
    keep(books, other, [bill("2026-10-02T10:00:00Z", "2026-000002", ("20", 100, 20))])
    with books.begin(slug) as work:
        for _ in range(5):
            work.next_invoice_number(2026)
    with pytest.raises(typer.Exit) as ended:
        numbers(house(books), slug, as_json=True)
    assert ended.value.exit_code == 1
    told = capsys.readouterr()
    (one,) = json.loads(told.out)
    assert (one["gaps"], one["twice"], one["beyond"], one["sound"]) == ([[2, 2], [4, 6]], [3], [7], False)
    assert told.err.splitlines() == [
        "sonoledger: no invoice has the number 2026-000002",
        "sonoledger: no invoice has the number 2026-000004 to 2026-000006",
        "sonoledger: several invoices have the number 2026-000003",
        "sonoledger: the number 2026-000007 was never given out here",
    ]


def test_without_an_invoice_there_is_no_series(books: SqlBooks, slug: str, capsys: pytest.CaptureFixture[str]) -> None:
    numbers(house(books), slug)
    assert capsys.readouterr().out == "no invoice has a number\n"
