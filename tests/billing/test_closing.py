"""A month whose books are closed: what it came to is kept, and nothing is dated into it any more."""

import json
import threading
from collections.abc import Callable

import pytest
import typer

from service.actions.close_month import close
from service.actions.invoice_issue import numbered
from service.actions.writing import write
from service.basics.errors import Conflict, Refusal
from service.billing.practice import Practice
from service.commands import billing, billing_report
from service.joined import application
from service.store import SqlBooks
from tests.api.running import client, register, served
from tests.builders.bills import EUR, Clock, bill, house, keep
from tests.builders.survey import mappings


def closed(books: SqlBooks, slug: str, month: str, by: str = "B. Keeper") -> None:
    close(house(books), slug, month=month, by=by, told=billing_report.totals)


def refused(books: SqlBooks, slug: str, month: str, by: str = "B. Keeper") -> str:
    with pytest.raises(Refusal) as told:
        closed(books, slug, month, by)
    return str(told.value)


def test_what_a_closed_month_came_to_is_kept_with_who_and_when(
    books: SqlBooks, slug: str, capsys: pytest.CaptureFixture[str]
) -> None:
    keep(books, slug, [bill("2026-10-02T10:00:00Z", "2026-000001", ("20", 1000, 200))])
    keep(books, slug, [bill("2026-10-03T10:00:00Z", "2026-000002", ("20", -400, -80), credits="2026-000001")])
    billing.close_month(books, mappings(), slug, month="2026-10", by="B. Keeper")
    assert "1 invoices, 1 credits: net 6.00, tax 1.20, gross 7.20 EUR" in capsys.readouterr().out
    with books.view(slug) as view:
        (kept,) = view.closed_months()
    assert (kept.month, kept.by, kept.closed) == ("2026-10", "B. Keeper", "2026-11-25T10:00:00.000Z")
    (totals,) = json.loads(kept.totals)
    assert (totals["net"], totals["tax"], totals["gross"]) == ("6.00", "1.20", "7.20")
    billing_report.report(house(books), slug, stretch="2026-10")
    assert "closed 2026-11-25" in capsys.readouterr().out


def test_a_month_is_closed_once_and_only_when_it_is_over(books: SqlBooks, slug: str, clock: Clock) -> None:
    assert "is not over" in refused(books, slug, "2026-11")
    assert "is not over" in refused(books, slug, "2027-01")
    clock.set("2026-12-01T00:00:00Z")
    closed(books, slug, "2026-11")
    assert "closed by B. Keeper" in refused(books, slug, "2026-11", "Another")


def test_a_month_is_over_when_it_is_over_there(books: SqlBooks, practice: Callable[..., str], clock: Clock) -> None:
    west = practice(zone="America/Lima")
    clock.set("2026-12-01T04:59:59Z")
    assert "is not over" in refused(books, west, "2026-11")
    clock.set("2026-12-01T05:00:00Z")
    closed(books, west, "2026-11")


@pytest.mark.parametrize(("month", "by"), [("2026-10-01", "B."), ("2026", "B."), ("2026-10", " ")])
def test_a_day_a_year_or_nobody_closes_nothing(books: SqlBooks, slug: str, month: str, by: str) -> None:
    assert refused(books, slug, month, by)


@pytest.mark.parametrize("month", ["2026-13", "october", "2026-10-01", "2026", "", "9999-99-99"])
def test_what_is_no_month_is_told_that_books_are_closed_by_the_month(books: SqlBooks, slug: str, month: str) -> None:
    assert refused(books, slug, month) == "Books are closed month by month: name one such as 2026-11."


def test_an_invoice_that_does_not_add_up_keeps_its_month_open(books: SqlBooks, slug: str) -> None:
    keep(books, slug, [bill("2026-10-02T10:00:00Z", "2026-000007", ("20", 100, 20), gross=121)])
    assert "2026-000007" in refused(books, slug, "2026-10")
    with books.view(slug) as view:
        assert view.closed_months() == ()


def test_another_practice_closes_its_own_books(books: SqlBooks, practice: Callable[..., str]) -> None:
    mine, other = practice(), practice()
    closed(books, mine, "2026-10")
    with books.view(other) as view:
        assert not view.is_closed("2026-10")


def test_closing_waits_for_whoever_has_drawn_a_number(books: SqlBooks, slug: str) -> None:
    """An invoice that is being issued is either in what the month came to, or refused: never in neither."""
    drawn, go = threading.Event(), threading.Event()

    def issue() -> None:
        with books.begin(slug) as work:
            work.next_invoice_number(2026)
            drawn.set()
            go.wait(5)
            write(work, [bill("2026-10-31T23:59:59Z", "2026-000001", ("20", 100, 20))])

    issuing = threading.Thread(target=issue)
    issuing.start()
    assert drawn.wait(5)
    closing = threading.Thread(target=closed, args=(books, slug, "2026-10"))
    closing.start()
    closing.join(0.2)
    assert closing.is_alive()
    go.set()
    issuing.join()
    closing.join()
    with books.view(slug) as view:
        (kept,) = view.closed_months()
    assert json.loads(kept.totals)[0]["invoices"] == 1


def test_no_number_is_kept_for_an_invoice_of_a_closed_month(books: SqlBooks, slug: str, clock: Clock) -> None:
    closed(books, slug, "2026-10")
    clock.set("2026-10-31T23:59:59Z")  # a clock that is behind
    row: Practice = mappings().practices["*"]
    with pytest.raises(Conflict, match=r"books of 2026-10 are closed"), books.begin(slug) as work:
        numbered(work, row)
    clock.set("2026-11-01T00:00:00Z")
    with books.begin(slug) as work:
        assert numbered(work, row)[0] == "2026-000001"


def test_the_command_says_why_it_does_not_close(books: SqlBooks, slug: str, capsys: pytest.CaptureFixture[str]) -> None:
    for organization, month, words in ((slug, "2026-12", "is not over"), ("nobody", "2026-10", "no organisation")):
        with pytest.raises(typer.Exit):
            billing.close_month(books, mappings(), organization, month=month, by="B. Keeper")
        assert words in capsys.readouterr().err


def test_over_http_an_invoice_written_by_hand_is_not_dated_into_it(books: SqlBooks, slug: str) -> None:
    closed(books, slug, "2026-10")
    app = application(books, mappings(), base="http://127.0.0.1/fhir")
    with served(app) as url, client(url, register(books, slug)) as http:
        dated = {"resourceType": "Invoice", "status": "issued", "date": "2026-10-31"}
        refused_ = http.post("/fhir/Invoice", json=dated)
        assert refused_.status_code == 409
        (issue,) = refused_.json()["issue"]
        assert "The books of 2026-10 are closed" in issue["details"]["text"]
        assert issue["expression"] == ["Invoice.date"]
        made = http.post("/fhir/Invoice", json={"resourceType": "Invoice", "status": "draft", "date": "2026-11-01"})
        assert made.status_code == 201
        back = {**made.json(), "date": "2026-10-01T00:00:00Z"}
        where, etag = f"/fhir/Invoice/{back['id']}", {"If-Match": made.headers["etag"]}
        assert http.put(where, json=back, headers=etag).status_code == 409


def test_who_waited_for_his_number_is_dated_after_the_wait(
    books: SqlBooks, practice: Callable[..., str], clock: Clock
) -> None:
    vienna = practice(zone="Europe/Vienna")
    row = Practice(vienna, "Europe/Vienna", (None,) * 7, EUR)
    clock.set("2026-12-31T22:59:59Z")  # a second before the year ends there
    with books.begin(vienna) as work:
        first = numbered(work, row)
    with books.begin(vienna) as work:
        clock.set("2026-12-31T23:00:01Z")
        later = numbered(work, row)
    assert first == ("2026-000001", "2026-12-31T23:59:59.000+01:00")
    assert later == ("2027-000001", "2027-01-01T00:00:01.000+01:00")
    clock.set("2026-12-31T22:59:58Z")  # a clock that was set back does not go below the beginning of a unit of work
    with books.begin(vienna) as work:
        clock.set("2026-12-31T22:00:00Z")
        assert numbered(work, row)[1] == "2026-12-31T23:59:58.000+01:00"
