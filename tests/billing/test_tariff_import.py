"""An organisation's own prices: what an import changes is shown first, kept with who and when, and priced by."""

import csv
import io
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import typer

from service.actions import import_tariff
from service.basics.errors import Conflict
from service.catalogue.rows_trade import PriceRow
from service.catalogue.tariff import imported, own_rows, written
from service.commands import catalogue as rows_fit
from service.commands import tariff
from service.store import SqlBooks
from tests.builders.bills import Clock, house
from tests.builders.counter_desk import Desk
from tests.builders.survey import mappings

GENERAL = mappings().files["tariff.csv"]
COLUMNS = PriceRow.columns()


def model(charge: str) -> dict[str, str]:
    """The repository's own row of a charge."""
    return dict(next(row for row in csv.DictReader(io.StringIO(GENERAL)) if row["charge"] == charge))


def priced(charge: str, amount: str, begins: str, ends: str = "", **cells: str) -> dict[str, str]:
    """A row of a file to import: a price in major units of EUR."""
    money = {"amount": amount} if "amount" in COLUMNS else {"net_minor": str(int(Decimal(amount) * 100))}
    return {**model(charge), **money, "valid_from": begins, "valid_to": ends, "organization": "", "note": "", **cells}


@pytest.fixture
def bring(books: SqlBooks, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    """Import rows for a practice and return what was printed; `text` is the file itself."""

    def import_(slug: str, *rows: dict[str, str], dry_run: bool = False, text: str = "", by: str = "M. Anager") -> str:
        file = tmp_path / "prices.csv"
        file.write_text(text or written(rows), encoding="utf-8")
        capsys.readouterr()
        tariff.import_(books, mappings(), slug, file=file, by=by, dry_run=dry_run)
        return capsys.readouterr().out

    return import_


@pytest.fixture
def refused(bring: Callable[..., str], capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    def import_(slug: str, *rows: dict[str, str], **how: Any) -> str:
        with pytest.raises(typer.Exit) as ended:
            bring(slug, *rows, **how)
        assert ended.value.exit_code == 1
        return capsys.readouterr().err

    return import_


def net(desk: Desk, exam: str) -> Decimal:
    with desk.books.view(desk.slug) as view:
        found = view.exam(exam)
        assert found is not None
    return Decimal(str(desk.http.get(f"/fhir/Invoice/{found.invoice}").json()["totalNet"]["value"]))


def test_b10_an_exam_is_priced_by_the_practices_own_row_of_the_day_it_began(
    desk: Desk, bring: Callable[..., str]
) -> None:
    told = bring(desk.slug, priced("fluid-check", "51.30", "2026-11-25"))
    assert 'valid_to "" -> "2026-11-24"' not in told  # everybody's row was no row of its own until now
    assert "fluid-check 2026-11-25: new" in told
    assert "fluid-check 2020-01-01: new" in told
    assert net(desk, desk.finished(at="2026-11-25T09:30:00Z")) == Decimal("51.30")
    assert net(desk, desk.finished(at="2026-11-24T09:30:00Z")) == Decimal("46.00")
    found = desk.http.get("/fhir/ChargeItemDefinition").json()["entry"]
    amounts = [
        str(part["amount"]["value"])
        for e in found
        if e["resource"]["code"]["coding"][0]["code"] == "fluid-check"
        for group in e["resource"]["propertyGroup"]
        for part in group["priceComponent"]
        if part["type"] == "base"
    ]
    assert sorted(amounts) == ["46.0", "51.3"]


def test_another_practice_keeps_everybodys_price(desk: Desk, practice: Callable[..., str], bring: Any) -> None:
    bring(practice(), priced("fluid-check", "51.30", "2026-01-01"))
    assert net(desk, desk.finished()) == Decimal("46.00")


def test_a_dry_run_shows_the_difference_and_writes_nothing(slug: str, books: SqlBooks, bring: Any) -> None:
    rows = [priced("fluid-check", "51.30", "2027-01-01")]
    shown = bring(slug, *rows, dry_run=True)
    assert "fluid-check 2027-01-01: new" in shown
    assert "nothing was written" in shown
    assert books.overlays(slug, "tariff") == ()
    bring(slug, *rows)
    assert bring(slug, *rows).splitlines()[0] == "nothing changes"
    assert len(books.overlays(slug, "tariff")) == 1


def test_who_changed_which_price_and_when_is_kept(
    slug: str, books: SqlBooks, bring: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    bring(slug, priced("fluid-check", "51.30", "2027-01-01"))
    bring(slug, priced("fluid-check", "52.00", "2027-01-01"), by="B. Other")
    tariff.log(books, slug)
    shown = capsys.readouterr().out
    assert "by M. Anager" in shown
    assert "by B. Other" in shown
    column = "amount" if "amount" in COLUMNS else "net_minor"
    assert f"fluid-check 2027-01-01: {column} " in shown
    assert '"2026-12-31"' in shown or "valid_to 2026-12-31" in shown
    with pytest.raises(typer.Exit):
        tariff.log(books, "nobody")


def test_a_price_that_was_charged_stays_on_its_day(desk: Desk, bring: Any, refused: Any, clock: Clock) -> None:
    bring(desk.slug, priced("fluid-check", "51.30", "2026-11-01"))
    desk.finished(at="2026-11-20T10:00:00Z")
    for rows in (
        [priced("fluid-check", "52.00", "2026-11-01")],  # the row itself
        [priced("fluid-check", "52.00", "2026-11-20")],  # a row that ends it on the day before
        [priced("fluid-check", "51.30", "2026-11-01", "2026-11-19")],  # no price any more on that day
        [priced("fluid-check", "51.30", "2026-11-01", tax_rate="10")],
    ):
        told = refused(desk.slug, *rows)
        assert "fluid-check 2026-11-01: this price was charged for an exam on 2026-11-20" in told
        assert len(desk.books.overlays(desk.slug, "tariff")) == 1
    bring(desk.slug, priced("fluid-check", "52.00", "2026-11-21"))
    assert net(desk, desk.finished(at="2026-11-20T11:00:00Z")) == Decimal("51.30")
    assert net(desk, desk.finished(at="2026-11-23T10:00:00Z")) == Decimal("52.00")


def test_everybodys_price_that_was_charged_stays_as_well(desk: Desk, refused: Any, bring: Any) -> None:
    desk.finished(at="2026-11-20T10:00:00Z")
    assert "this price was charged" in refused(desk.slug, priced("fluid-check", "52.00", "2026-11-20"))
    bring(desk.slug, priced("fluid-check", "52.00", "2026-11-21"))
    bring(desk.slug, priced("limited", "90.00", "2020-01-01"))  # nobody was charged by that one


def test_what_was_credited_was_charged_too_and_what_was_never_invoiced_was_not(
    desk: Desk, refused: Any, bring: Any
) -> None:
    exam = desk.finished(at="2026-11-20T10:00:00Z", owners=0)
    assert desk.operate(exam, "withdraw", reason="Wrong animal", by="B. Keeper").is_success
    bring(desk.slug, priced("fluid-check", "50.00", "2020-01-01"))
    exam = desk.finished(at="2026-11-20T10:00:00Z")
    assert desk.operate(exam, "withdraw", reason="Wrong animal", by="B. Keeper").is_success
    assert "this price was charged" in refused(desk.slug, priced("fluid-check", "51.00", "2020-01-01"))


def test_every_fault_is_named_by_file_and_line(slug: str, refused: Any) -> None:
    told = refused(
        slug,
        priced("fluid-check", "51.30", "2027-01-01", organization="somebody-else"),
        priced("fluid-check", "51.30", "2027-02-30"),
        priced("limited", "90.00", "2027-01-01", currency="XXX"),
    )
    assert f'prices.csv:2: organization "somebody-else" must be empty or {slug}' in told
    told = refused(
        slug,
        priced("limited", "90.00", "2027-01-01", currency="XXX"),
        priced("fluid-check", "51.30", "2027-02-30"),
        priced("recheck", "51.30", "2027-01-01", "2026-01-01"),
        priced("full", "-1", "2027-01-01"),
        priced("doppler", "30.00", "2027-01-01", tax_rate="twenty"),
    )
    for line, words in (
        (2, "XXX"),
        (3, "such as 2026-01-31"),
        (4, "valid_to is before valid_from"),
        (5, ""),
        (6, "tax"),
    ):
        assert any(t.startswith(f"sonoledger: prices.csv:{line}:") and words in t for t in told.splitlines()), (
            line,
            told,
        )


def test_a_charge_that_nothing_leads_to_is_refused_with_those_there_are(slug: str, refused: Any) -> None:
    told = refused(slug, {**priced("full", "190.00", "2027-01-01"), "charge": "fulll", "payer": "bank"})
    assert 'prices.csv:2: charge "fulll" can be call-out, claim-admin, ' in told
    assert 'prices.csv:2: payer "bank"' in told
    assert len(told.splitlines()) == 2


def test_rows_that_overlap_are_refused(slug: str, refused: Any) -> None:
    told = refused(
        slug,
        priced("fluid-check", "51.30", "2027-01-01", "2027-06-30"),
        priced("fluid-check", "52.30", "2027-06-30", "2027-12-31"),
    )
    assert "prices.csv:3:" in told
    assert "price already" in told


def test_two_prices_for_one_day_in_one_file_are_refused(slug: str, refused: Any) -> None:
    told = refused(slug, priced("recheck", "70.00", "2027-01-01"), priced("recheck", "7.00", "2027-01-01"))
    assert told == "sonoledger: prices.csv:3: recheck 2027-01-01 has its price in line 2 already\n"


def test_what_is_no_price_list_is_refused(
    slug: str, books: SqlBooks, refused: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "prices.csv:1: the columns must be charge," in refused(slug, text="a,b\n1,2\n")
    assert "prices.csv:2: has 2 cells" in refused(slug, text=",".join(COLUMNS) + "\nfull,x\n")
    assert "who changes the prices" in refused(slug, priced("limited", "90.00", "2027-01-01"), by=" ")
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"charge\n\xff\n")
    for file in (binary, tmp_path / "none.csv"):
        with pytest.raises(typer.Exit):
            tariff.import_(books, mappings(), slug, file=file, by="M.")
        assert file.name in capsys.readouterr().err


def test_two_imports_at_once_do_not_lose_one(slug: str, books: SqlBooks) -> None:
    plans = [
        import_tariff.plan(house(books), slug, name="x", given=written([priced(charge, "90.00", "2027-01-01")]))
        for charge in ("limited", "full")
    ]
    import_tariff.keep(house(books), slug, plans[0], by="One")
    with pytest.raises(Conflict, match="meanwhile"):
        import_tariff.keep(house(books), slug, plans[1], by="Another")


def test_prices_that_no_longer_fit_keep_the_service_from_starting(slug: str, books: SqlBooks, bring: Any) -> None:
    bring(slug, priced("limited", "90.00", "2027-01-01"))
    rows_fit.all_fit(books, mappings())
    with books.begin(slug) as work:
        work.lay_over("tariff", by="x", files="charge,old\nlimited,1\n", difference="")
    with pytest.raises(typer.Exit):
        rows_fit.all_fit(books, mappings())
    with books.begin(slug) as work:
        work.lay_over("tariff", by="x", files="", difference="")


def test_an_import_ends_the_open_row_before_it_and_keeps_the_rest() -> None:
    first = imported(GENERAL, "", written([priced("full", "190.00", "2027-01-01")]), organization="x")
    begun = {cells["valid_from"]: cells["valid_to"] for cells in first.rows.values()}
    assert begun == {"2020-01-01": "2026-12-31", "2027-01-01": ""}
    second = imported(GENERAL, first.text, written([priced("full", "195.00", "2028-01-01")]), organization="x")
    begun = {cells["valid_from"]: cells["valid_to"] for cells in second.rows.values()}
    assert begun == {"2020-01-01": "2026-12-31", "2027-01-01": "2027-12-31", "2028-01-01": ""}
    assert {cells["organization"] for cells in second.rows.values()} == {"x"}
    assert own_rows(second.text) == dict(second.rows)
