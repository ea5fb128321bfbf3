"""The arithmetic of an invoice against published worked figures, and that its parts always add up."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.actions.payers import unnumbered
from service.basics.money import Currency, Money
from service.billing.amounts import times
from service.billing.credit import credit
from service.billing.invoice import Invoice, Line, Payer, Performed, add, tax_groups, tax_on
from service.billing.practice import BillingProfile
from service.billing.tariff import Tax
from tests.builders.money import taxed

EUR, JPY, BHD = Currency("EUR", 2), Currency("JPY", 0), Currency("BHD", 3)
TWENTY = Decimal(20)


def line(minor: int, *, rate: Decimal = TWENTY, currency: Currency = EUR, sequence: int = 1, by_line=False) -> Line:
    net = Money(minor, currency)
    tax = tax_on(net, rate) if by_line else None
    return Line(sequence, f"c{sequence}", "full", "Survey", Decimal(1), net, taxed(rate), tax)


def invoice(lines: list[Line], rounding: str = "group") -> Invoice:
    return Invoice(
        id="i1",
        number="2026-000001",
        issued="2026-11-25T10:00:00.000Z",
        seller=BillingProfile("Invented Practice", "1 Example Way", "X-1", "14 days"),
        payer=Payer("RelatedPerson/o1", "An Owner"),
        performed=Performed("t1", "a1", "Pixel", "2026-11-25"),
        rounding=rounding,
        lines=tuple(lines),
        groups=tax_groups(lines, rounding),
    )


def figures(one: Invoice) -> tuple[str, str, str]:
    return tuple(str(amount.decimal()) for amount in (one.net, one.tax, one.gross))  # type: ignore[return-value]


def test_three_lines_of_ten_and_three_cents():
    # EN 16931 BR-CO-10, -14, -15, -17: tax of the group's base; worked in the trade's notes as 6.02 against 6.03
    lines = [line(1003, sequence=n) for n in (1, 2, 3)]
    assert figures(invoice(lines)) == ("30.09", "6.02", "36.11")
    by_line = [line(1003, sequence=n, by_line=True) for n in (1, 2, 3)]
    assert figures(invoice(by_line, "line")) == ("30.09", "6.03", "36.12")


@pytest.mark.parametrize(
    ("minor", "currency", "rate", "tax"),
    [
        (1234, JPY, "10", "123"),  # 123.4 yen; ISO 4217: no minor unit
        (1235, JPY, "10", "124"),  # 123.5 rounds up
        (1234, BHD, "10", "0.123"),  # 0.1234 dinar; ISO 4217: three digits
        (10005, BHD, "10", "1.001"),  # 1.0005 rounds up
        (250, EUR, "5", "0.13"),  # 0.125 rounds up, not to even
        (999, EUR, "0", "0.00"),
    ],
)
def test_tax_is_rounded_half_up_to_the_minor_unit(minor, currency, rate, tax):
    assert str(tax_on(Money(minor, currency), Decimal(rate)).decimal()) == tax


def test_a_negative_amount_is_rounded_as_its_positive():
    assert tax_on(Money(-250, EUR), Decimal(5)) == Money(-13, EUR)
    assert times(Money(333, EUR), Decimal("-1.5")) == Money(-500, EUR)


def test_b11_mixed_rates_make_one_group_each():  # B11
    groups = invoice([line(1000), line(500, rate=Decimal("5.5")), line(1, rate=Decimal("20.0"))]).groups
    assert [(str(g.rate.rate), g.base.minor, g.tax.minor) for g in groups] == [("5.5", 500, 28), ("20", 1001, 200)]


def test_b33_currencies_do_not_mix():  # B33
    with pytest.raises(ValueError, match="do not add up"):
        invoice([line(1000), line(1000, currency=JPY)])


LINES = st.lists(
    st.tuples(
        st.integers(0, 10**7),
        st.decimals("0.001", "999", places=3),
        st.decimals("0", "27", places=1),
    ),
    min_size=1,
    max_size=12,
)


def drawn(rows, currency: Currency, rounding: str) -> list[Line]:
    lines = []
    for number, (price, quantity, rate) in enumerate(rows, start=1):
        net = times(Money(price, currency), quantity)
        tax = tax_on(net, rate) if rounding == "line" else None
        lines.append(Line(number, f"c{number}", "full", "Survey", quantity, net, taxed(rate), tax))
    return lines


@settings(max_examples=400, deadline=None)
@given(LINES, st.sampled_from([EUR, JPY, BHD]), st.sampled_from(["group", "line"]), st.randoms())
def test_totals_are_exact_in_any_order_and_a_credit_brings_them_to_zero(rows, currency, rounding, random):
    lines = drawn(rows, currency, rounding)
    one = invoice(lines, rounding)
    assert one.net.minor == sum(x.net.minor for x in lines) == sum(g.base.minor for g in one.groups)
    assert one.gross.minor == one.net.minor + sum(g.tax.minor for g in one.groups)
    shuffled = random.sample(lines, k=len(lines))
    assert sorted(invoice(shuffled, rounding).groups, key=repr) == sorted(one.groups, key=repr)
    back = credit(one, [], id_="i2", number="2026-000002", issued=one.issued)
    assert back is not None
    assert [a.net + b.net for a, b in zip(one.lines, back.lines, strict=True)] == [Money(0, currency)] * len(lines)
    assert [a.quantity + b.quantity for a, b in zip(one.lines, back.lines, strict=True)] == [0] * len(lines)
    assert (one.net + back.net, one.tax + back.tax, one.gross + back.gross) == (Money(0, currency),) * 3
    assert all(
        (a.base + b.base).minor == (a.tax + b.tax).minor == 0 for a, b in zip(one.groups, back.groups, strict=True)
    )
    assert credit(one, [back], id_="i3", number="2026-000003", issued=one.issued) is None


@settings(max_examples=200, deadline=None)
@given(LINES, st.sampled_from([EUR, JPY, BHD]), st.sampled_from(["group", "line"]), st.data())
def test_the_last_credit_is_the_invoice_less_its_earlier_ones(rows, currency, rounding, data):
    one = invoice(drawn(rows, currency, rounding), rounding)
    first = credit(invoice(list(one.lines), rounding), [], id_="i2", number="2026-000002", issued=one.issued)
    assert first is not None
    kept = data.draw(st.integers(0, len(one.lines) - 1))  # an earlier credit of some lines only
    part_lines = first.lines[:kept]
    earlier = []
    if part_lines:
        part = invoice(list(part_lines), rounding)
        earlier = [Invoice(**{**{f: getattr(part, f) for f in part.__slots__}, "id": "p", "credits": "i1"})]
    last = credit(one, earlier, id_="i3", number="2026-000003", issued=one.issued)
    assert last is not None
    everything = [one, *earlier, last]
    assert add(x.net for x in everything).minor == add(x.tax for x in everything).minor == 0
    assert add(x.gross for x in everything).minor == 0


def test_b11_whoever_owes_the_tax_is_billed_only_under_a_tax_number() -> None:
    """EN 16931 BR-AE-02 and BR-IC-02; no other category asks for the buyer's number."""
    nameless, named = Payer("Organization/x"), Payer("Organization/x", tax_number="ATU00000000")
    for category in ("S", "Z", "E", "O", "AE", "K", "G"):
        lines = [replace(line(100), rate=Tax(Decimal(0), category))]
        assert bool(unnumbered(nameless, lines)) == (category in {"AE", "K"})
        assert unnumbered(named, lines) == ""
