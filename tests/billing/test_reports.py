"""A day's and a month's report: every invoice of the practice's own calendar, sums to the last unit, safe to open."""

import csv
import io
import json
import tracemalloc
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
import typer

from service.basics.money import Currency
from service.commands.billing_group import billing_report_
from service.commands.billing_report import COLUMNS, report
from service.commands.cells import safe
from service.store import SqlBooks
from tests.builders.bills import bill, house, keep, many
from tests.builders.counter_desk import Desk


def written(books: SqlBooks, slug: str, stretch: str, format_: str) -> str:
    out = io.StringIO(newline="")
    report(house(books), slug, stretch=stretch, format_=format_, out=out)
    return out.getvalue()


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_totals_are_the_sum_of_the_invoices_to_the_cent(books: SqlBooks, slug: str) -> None:
    keep(books, slug, many(1234, "2026-10"))
    found = rows(written(books, slug, "2026-10", "csv"))
    lines = [r for r in found if r["row"] == "invoice"]
    (total,) = (r for r in found if r["row"] == "total")
    assert len(lines) == 1234
    for name in ("net", "tax", "gross"):
        assert Decimal(total[name]) == sum(Decimal(r[name]) for r in lines)
    assert Decimal(total["net"]) + Decimal(total["tax"]) == Decimal(total["gross"])
    rated = {r["tax_rate"]: (Decimal(r["net"]), Decimal(r["tax"])) for r in found if r["row"] == "rate"}
    assert set(rated) == {"20", "7.5"}
    assert sum(base for base, _ in rated.values()) == Decimal(total["net"])
    assert sum(tax for _, tax in rated.values()) == Decimal(total["tax"])
    assert (total["invoices"], total["credits"]) == ("1111", "123")
    told = json.loads(written(books, slug, "2026-10", "json"))
    assert len(told["invoices"]) == 1234
    assert [(t["net"], t["tax"], t["gross"]) for t in told["totals"]] == [(total["net"], total["tax"], total["gross"])]
    assert [r["date"] for r in lines] == sorted(r["date"] for r in lines)
    days = [written(books, slug, f"2026-10-{day:02d}", "json") for day in range(1, 32)]
    by_day = [Decimal(t["gross"]) for text in days for t in json.loads(text)["totals"]]
    assert sum(by_day) == Decimal(total["gross"])


def test_a_day_is_the_practices_own(books: SqlBooks, practice: Callable[..., str]) -> None:
    slug = practice(zone="Europe/Vienna")
    for number, at in enumerate(
        (
            "2026-10-24T23:59:59.999+02:00",
            "2026-10-25T00:00:00.000+02:00",
            "2026-10-25T23:59:59.999+01:00",  # the day of the change has 25 hours
            "2026-10-26T00:00:00.000+01:00",
            "2026-10-31T23:30:00Z",  # November there
        ),
        start=1,
    ):
        keep(books, slug, [bill(at, f"2026-{number:06d}", ("20", 100, 20))])
    numbers = [r["number"][-1] for r in rows(written(books, slug, "2026-10-25", "csv")) if r["row"] == "invoice"]
    assert numbers == ["2", "3"]
    assert [r["number"][-1] for r in rows(written(books, slug, "2026-11", "csv")) if r["number"]] == ["5"]


def test_drafts_and_what_was_entered_in_error_are_listed_and_not_counted(books: SqlBooks, slug: str) -> None:
    for status in ("draft", "issued", "balanced", "cancelled", "entered-in-error"):
        keep(books, slug, [bill("2026-10-02T10:00:00Z", status, ("20", 100, 20), status=status)])
    found = rows(written(books, slug, "2026-10", "csv"))
    assert {r["status"] for r in found if r["row"] == "invoice"} == {"issued", "balanced"}
    assert [r["net"] for r in found if r["row"] == "total"] == ["2.00"]
    assert len([r for r in found if r["row"] == "not counted"]) == 3


def test_currencies_are_never_added_up(books: SqlBooks, slug: str) -> None:
    keep(books, slug, [bill("2026-10-02T10:00:00Z", "1", ("20", 100, 20))])
    keep(books, slug, [bill("2026-10-02T10:00:00Z", "2", ("10", 100, 10), currency=Currency("JPY", 0))])
    told = json.loads(written(books, slug, "2026-10", "json"))
    assert [(t["currency"], t["gross"]) for t in told["totals"]] == [("EUR", "1.20"), ("JPY", "110")]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "\uff1d1", "\n=1"])
def test_no_cell_is_a_formula(books: SqlBooks, slug: str, text: str) -> None:
    keep(books, slug, [bill("2026-10-02T10:00:00Z", "1", ("20", -100, -20), payer=text)])
    (line,) = (r for r in rows(written(books, slug, "2026-10", "csv")) if r["row"] == "invoice")
    assert line["payer"].startswith("'")
    assert line["net"] == "-1.00"  # a number stays a number


def test_a_harmless_cell_stays_as_it_is() -> None:
    for text in ("R. Ownwell", "1 - 2", "a=b", "", 'say "so", then'):
        assert safe(text) == text


def test_an_invoice_that_does_not_add_up_ends_the_report_badly(
    books: SqlBooks, slug: str, capsys: pytest.CaptureFixture[str]
) -> None:
    keep(books, slug, [bill("2026-10-02T10:00:00Z", "2026-000007", ("20", 100, 20), gross=121)])
    with pytest.raises(typer.Exit):
        written(books, slug, "2026-10", "csv")
    assert "2026-000007" in capsys.readouterr().err


def test_coins_and_what_is_due_are_columns_of_their_own(books: SqlBooks, slug: str) -> None:
    """EN 16931 BT-114 and BT-115: rounding is neither net nor tax."""
    keep(books, slug, [bill("2026-10-02T10:00:00Z", "2026-000001", ("20", 1003, 201), cash=1)])
    keep(books, slug, [bill("2026-10-03T10:00:00Z", "2026-000002", ("20", 1000, 202), cash=-2)])
    keep(books, slug, [bill("2026-10-04T10:00:00Z", "2026-000003", ("20", 500, 100))])
    found = rows(written(books, slug, "2026-10", "csv"))
    lines = [(r["gross"], r["cash_rounding"], r["due"]) for r in found if r["row"] == "invoice"]
    assert lines == [("12.04", "0.01", "12.05"), ("12.02", "-0.02", "12.00"), ("6.00", "0.00", "6.00")]
    (total,) = (r for r in found if r["row"] == "total")
    assert (total["gross"], total["cash_rounding"], total["due"]) == ("30.06", "-0.01", "30.05")
    (told,) = json.loads(written(books, slug, "2026-10", "json"))["totals"]
    assert (told["cash_rounding"], told["due"]) == ("-0.01", "30.05")
    assert "rounding to coins -0.01, due 30.05" in written(books, slug, "2026-10", "text")


@pytest.mark.parametrize(("how", "words"), [({"due": 1204}, "amount due"), ({"mixed": True}, "several currencies")])
def test_an_amount_due_that_can_not_be_right_ends_the_report(
    books: SqlBooks, slug: str, how: dict[str, Any], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = bill("2026-10-02T10:00:00Z", "2026-000007", ("20", 1003, 201), cash=1, due=how.get("due"))
    if "mixed" in how:
        wrong["extension"][-1]["valueMoney"]["currency"] = "USD"
    keep(books, slug, [wrong])
    with pytest.raises(typer.Exit):
        written(books, slug, "2026-10", "csv")
    assert words in capsys.readouterr().err


def test_money_that_can_not_be_read_ends_the_report(
    books: SqlBooks, slug: str, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = bill("2026-10-02T10:00:00Z", "1", ("20", 100, 20))
    broken["totalNet"] = {"value": Decimal("1.001"), "currency": "EUR"}
    keep(books, slug, [broken])
    with pytest.raises(typer.Exit):
        written(books, slug, "2026-10", "json")
    assert broken["id"] in capsys.readouterr().err


@pytest.mark.parametrize(
    "stretch", ["2026-13", "2026", "20261101", "2026-02-30", "2026-W01", "9999-12-31", "9999-12", "", "x"]
)
def test_what_is_no_day_and_no_month_is_refused(
    books: SqlBooks, slug: str, stretch: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(typer.Exit):
        written(books, slug, stretch, "csv")
    assert "such as 2026-11-25" in capsys.readouterr().err


@pytest.mark.parametrize(("day", "month"), [("2026-11", ""), ("", "2026-11-25")])
def test_a_day_is_not_taken_for_a_month(day: str, month: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(typer.Exit):
        billing_report_("anybody", day=day, month=month, format_="csv")
    assert capsys.readouterr().err.startswith("sonoledger: --day takes a day such as")


def test_an_empty_month_is_said_in_words(books: SqlBooks, slug: str) -> None:
    assert "no invoice" in written(books, slug, "2026-09", "text")
    assert json.loads(written(books, slug, "2026-09", "json"))["totals"] == []
    assert written(books, slug, "2026-09", "csv") == ",".join(COLUMNS) + "\r\n"


def test_another_practice_is_not_in_it(books: SqlBooks, practice: Callable[..., str]) -> None:
    mine, other = practice(), practice()
    keep(books, other, [bill("2026-10-02T10:00:00Z", "1", ("20", 100, 20))])
    assert "no invoice" in written(books, mine, "2026-10", "text")


class _Nowhere(io.StringIO):
    def write(self, text: str) -> int:
        return len(text)


@pytest.mark.full
def test_memory_does_not_grow_with_the_month(books: SqlBooks, practice: Callable[..., str]) -> None:
    def peak(count: int) -> int:
        slug = practice()
        keep(books, slug, many(count, "2026-08"))
        report(house(books), slug, stretch="2026-08", format_="csv", out=_Nowhere())  # what is kept at hand is there
        tracemalloc.start()
        report(house(books), slug, stretch="2026-08", format_="csv", out=_Nowhere())
        found: Any = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return int(found)

    few, more = peak(1000), peak(4000)
    assert more < 1.2 * few


def test_what_was_issued_and_credited_is_reported_to_the_cent(desk: Desk) -> None:
    exam = desk.finished(notes={"sedation": {"valueBoolean": True}})
    found = rows(written(desk.books, desk.slug, "2026-11-25", "csv"))
    (line,) = (r for r in found if r["row"] == "invoice")
    assert (line["net"], line["tax"], line["gross"], line["exam"]) == ("108.00", "21.60", "129.60", exam)
    assert [(r["tax_category"], r["tax_rate"], r["net"], r["tax"]) for r in found if r["row"] == "rate"] == [
        ("S", "20", "108.00", "21.60")
    ]
    assert desk.operate(exam, "withdraw", reason="Wrong animal", by="B. Keeper").is_success
    found = rows(written(desk.books, desk.slug, "2026-11-25", "csv"))
    (credit,) = (r for r in found if r["kind"] == "credit")
    assert (credit["gross"], credit["credited"]) == ("-129.60", line["number"])
    (total,) = (r for r in found if r["row"] == "total")
    assert (total["net"], total["tax"], total["gross"]) == ("0.00", "0.00", "0.00")
    assert (total["invoices"], total["credits"]) == ("1", "1")
