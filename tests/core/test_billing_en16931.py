"""EN 16931's calculation rules as named checks on the figures of our invoices as they are on the wire.

Rule texts: the validation artefacts of EN 16931-1 (BR-CO-10 to BR-CO-17); read second-hand, the standard is not free.
A row of VAT breakdown is what we write as a base and a tax component of the total."""

from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import iso4217
import pytest

from service.billing.amounts import NET_FIRST, TAX_FIRST, gross_priced
from service.billing.credit import credit
from service.billing.invoice import Invoice, Line, tax_groups
from service.fhir import uris
from service.fhir.writing.invoice import invoice as write
from tests.builders.money import invoice, taxed
from tests.builders.survey import mappings

Json = dict[str, Any]
TOLERANCE = Decimal(1)  # BR-CO-17 in the validation artefacts: one unit of the currency


def inclusive(how: str) -> Invoice:
    """Four lines of 2.99 that include 4 % of tax."""
    rate = Decimal(4)
    parts = [gross_priced(EUR_299, Decimal(1), rate=rate, how=how) for _ in range(4)]
    lines = [
        Line(n, f"c{n}", "full", "Survey", Decimal(1), p.net, taxed(rate), p.tax, basis="gross")
        for n, p in enumerate(parts, 1)
    ]
    one = invoice(299)
    return Invoice(**{**{f: getattr(one, f) for f in one.__slots__}, "lines": tuple(lines),
                      "groups": tax_groups(lines, "group"), "gross_rounding": how})  # fmt: skip


EUR_299 = invoice(299).lines[0].net
WORKED = {
    "three lines of 10.03 at 20 %, by group": (invoice(1003, 1003, 1003), "30.09", "6.02", "36.11"),
    "the same, by line": (invoice(1003, 1003, 1003, rounding="line"), "30.09", "6.03", "36.12"),
    "two rates": (invoice(18500, 999, rates=("20", "5.5")), "194.99", "37.55", "232.54"),
    "four of 2.99 with 4 % of tax, net first": (inclusive(NET_FIRST), "11.52", "0.44", "11.96"),
    "four of 2.99 with 4 % of tax, tax first": (inclusive(TAX_FIRST), "11.48", "0.48", "11.96"),
}


def value(amount: Json) -> Decimal:
    return Decimal(amount["value"])


def net_of(item: Json) -> Decimal:
    """BT-131: the line's amount less its allowance, without tax."""
    return sum((value(c["amount"]) for c in item["priceComponent"] if c["type"] != "tax"), start=Decimal(0))


def breakdown(resource: Json) -> list[tuple[str, Decimal, Decimal, Decimal]]:
    """BG-23: category, rate, BT-116 and BT-117 of each tax."""
    parts = resource["totalPriceComponent"]
    bases, taxes = ([p for p in parts if p["type"] == kind] for kind in ("base", "tax"))
    found = []
    for b, t in zip(bases, taxes, strict=True):
        rate = Decimal(b["extension"][0]["valueDecimal"])
        found.append((b["code"]["coding"][0]["code"], rate, value(b["amount"]), value(t["amount"])))
    return found


@pytest.mark.parametrize("name", WORKED)
def test_b12_b13_b14_the_calculation_rules_hold(name: str) -> None:
    one, net, tax, gross = WORKED[name]
    back = credit(one, [], id_="c", number="n", issued=one.issued)
    assert back is not None
    assert (str(one.net.decimal()), str(one.tax.decimal()), str(one.gross.decimal())) == (net, tax, gross)
    for paper in (one, back):
        resource = write(paper, organization="blue")
        lines, groups = [net_of(i) for i in resource["lineItem"]], breakdown(resource)
        allowances, charges = Decimal(0), Decimal(0)  # of the whole document there are none: BR-CO-11, BR-CO-12
        total, with_tax = value(resource["totalNet"]), value(resource["totalGross"])
        assert sum(lines) == total, "BR-CO-10"
        assert total == sum(lines) - allowances + charges, "BR-CO-13"
        assert sum(g[3] for g in groups) == paper.tax.decimal(), "BR-CO-14"
        assert with_tax == total + sum(g[3] for g in groups), "BR-CO-15"
        assert paper.due.decimal() == with_tax - 0 + (paper.cash.decimal() if paper.cash else 0), "BR-CO-16"
        for _, rate, base, amount in groups:
            assert abs(amount - base * rate / 100) <= TOLERANCE, "BR-CO-17"
        assert sum(g[2] for g in groups) == total
        assert all(-amount.as_tuple().exponent == 2 for amount in (*lines, total, with_tax)), "BR-DEC"


def test_br_co_17_by_group_is_exact_to_the_cent() -> None:
    for name in ("three lines of 10.03 at 20 %, by group", "two rates"):
        for _, rate, base, amount in breakdown(write(WORKED[name][0], organization="blue")):
            assert amount == (base * rate / 100).quantize(Decimal("0.01"), ROUND_HALF_UP)


def test_b11_each_line_and_each_group_names_its_category_and_rate() -> None:
    resource = write(invoice(1000, 500, 7, rates=("20", "0", "20")), organization="blue")
    assert [(c, r) for c, r, _, _ in breakdown(resource)] == [("Z", 0), ("S", 20)]
    taxes = [next(c for c in i["priceComponent"] if c["type"] == "tax") for i in resource["lineItem"]]
    assert [t["code"]["coding"][0]["code"] for t in taxes] == ["S", "Z", "S"]
    assert all(t["code"]["coding"][0]["system"] == uris.TAX_CATEGORY for t in taxes)


def test_b16_the_method_of_rounding_is_stored() -> None:
    for method in ("group", "line"):
        extensions = write(invoice(1003, rounding=method), organization="blue")["extension"]
        assert {"url": uris.X_ROUNDING, "valueCode": method} in extensions


def test_b18_exponents_are_those_of_iso_4217() -> None:
    """Against the package iso4217, which carries the maintenance agency's own list."""
    ours = mappings().currencies
    listed = {c.code: c.exponent for c in iso4217.Currency}
    assert {code: one.exponent for code, one in ours.items()} == {code: listed[code] for code in ours}
    assert {one.exponent for one in ours.values()} == {0, 2, 3}
