"""Parts and all of an invoice taken back: never more than there was, and together exactly that."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.basics.money import Currency, Money
from service.billing.amounts import NET_FIRST, TAX_FIRST, cash, gross_priced, net_priced
from service.billing.credit import Paper, credit, left
from service.billing.invoice import Invoice, Line, add, tax_groups, tax_on
from service.billing.partial_credit import Wanted, faults, partial
from service.fhir import exact
from service.fhir.reading.invoice import read_invoice
from service.fhir.writing.invoice import invoice as write
from tests.builders.money import CURRENCIES, EUR, invoice, taxed

PAPER = Paper("p1", "2026-000002", "2026-11-26T10:00:00.000Z")


def taken(one: Invoice, *wanted: Wanted, earlier: tuple[Invoice, ...] = ()) -> Invoice:
    assert faults(one, earlier, wanted) == []
    found = partial(one, earlier, wanted, replace(PAPER, id=f"p{len(earlier) + 1}"))
    assert found is not None
    return found


def test_b08_a_part_names_its_line_and_the_last_credit_is_the_rest():
    one = invoice(10000, 5000)
    first = taken(one, Wanted(1, amount=Money(2500, EUR)))
    assert [(x.credits, x.quantity, x.net.minor) for x in first.lines] == [(1, 0, -2500)]
    assert (first.net.minor, first.tax.minor, first.credits) == (-2500, -500, "invoice-1")
    last = credit(one, [first], id_="c", number="n", issued=PAPER.issued)
    assert last is not None
    assert [(x.credits, x.quantity, x.net.minor) for x in last.lines] == [(1, -1, -7500), (2, -1, -5000)]
    assert add([one.gross, first.gross, last.gross]).minor == 0
    assert credit(one, [first, last], id_="d", number="n", issued=PAPER.issued) is None


def test_the_whole_of_what_is_left_by_parts_is_the_last_credit():
    one = invoice(1003, 1003, 1003)
    parts = [taken(one, Wanted(1, quantity=Decimal(1)))]
    parts.append(taken(one, Wanted(2, amount=Money(1003, EUR)), earlier=tuple(parts)))
    parts.append(taken(one, Wanted(3, quantity=Decimal(1)), earlier=tuple(parts)))
    assert [p.tax.minor for p in parts] == [-201, -201, -200]  # 6.02 of the group, not 6.03
    assert all(not x.quantity and not x.net.minor for x in left(one, parts))


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ([Wanted(9, quantity=Decimal(1))], "no line 9"),
        ([Wanted(1)], "either a quantity or an amount"),
        ([Wanted(1, quantity=Decimal(1), amount=Money(1, EUR))], "either a quantity or an amount"),
        ([Wanted(1, quantity=Decimal(2))], "1 is left; 2 cannot"),
        ([Wanted(1, quantity=Decimal(0))], "cannot be taken back"),
        ([Wanted(1, amount=Money(10001, EUR))], "100.00 EUR is left; 100.01"),
        ([Wanted(1, amount=Money(-1, EUR))], "cannot be taken back"),
        ([Wanted(1, amount=Money(1, Currency("JPY", 0)))], "is in EUR, not in JPY"),
        ([Wanted(1, quantity=Decimal(1)), Wanted(1, amount=Money(1, EUR))], "named twice"),
    ],
)
def test_more_than_is_left_is_refused_in_words(wanted, words):
    told = faults(invoice(10000), [], wanted)
    assert [words in f.text for f in told] == [True]


ROWS = st.lists(
    st.tuples(
        st.integers(0, 10**7),
        st.decimals("0.001", "999", places=3),
        st.decimals("0", "100", places=1),
        st.decimals("0", "27", places=1),
        st.booleans(),
    ),
    min_size=1,
    max_size=6,
)
SETTINGS = st.tuples(
    st.sampled_from([EUR, Currency("JPY", 0), Currency("BHD", 3)]),
    st.sampled_from(["group", "line"]),
    st.sampled_from([NET_FIRST, TAX_FIRST]),
    st.sampled_from([0, 5]),
)


def drawn(rows, chosen) -> Invoice:
    currency, rounding, how, step = chosen
    lines = []
    for number, (price, quantity, off, rate, gross) in enumerate(rows, start=1):
        unit = Money(price, currency)
        if gross:
            found = gross_priced(unit, quantity, rate=rate, how=how, off=off)
            assert (found.net + (found.tax or unit)).minor >= 0
        else:
            found = net_priced(unit, quantity, off=off)
        tax = tax_on(found.net, rate) if found.tax is None and rounding == "line" else found.tax
        lines.append(
            Line(number, f"c{number}", "full", "Survey", quantity, found.net, taxed(rate), tax,
                 found.discount if off else None, "Agreed" if off else "", "gross" if gross else "net")
        )  # fmt: skip
    one = replace(
        invoice(1, currency=currency), lines=tuple(lines), groups=tax_groups(lines, rounding), rounding=rounding,
        gross_rounding=how,
    )  # fmt: skip
    return replace(one, cash=cash(one.gross, step)) if step else one


def components(one: Invoice) -> list[int]:
    return [one.net.minor, one.tax.minor, one.gross.minor, one.due.minor]


def holds(rows, chosen, random) -> None:
    one = drawn(rows, chosen)
    assert one.gross.minor == sum(x.net.minor for x in one.lines) + sum(g.tax.minor for g in one.groups)
    assert (
        one.net.minor
        == sum(g.base.minor for g in one.groups)
        == sum(x.base.minor for x in one.lines) + sum(x.discount.minor for x in one.lines if x.discount is not None)
    )
    shuffled = random.sample(one.lines, k=len(one.lines))
    assert tax_groups(shuffled, one.rounding) == one.groups
    text = exact.encode(write(one, organization="blue"))
    assert read_invoice(exact.decode(text), CURRENCIES) == one
    papers: list[Invoice] = []
    for _ in range(random.randint(0, 3)):
        rest = [x for x in left(one, papers) if x.shown.minor > 1]
        if rest:
            line = random.choice(rest)
            amount = Money(random.randint(1, line.shown.minor - 1), line.net.currency)
            part = random.choice([Wanted(line.sequence, amount=amount), Wanted(line.sequence, quantity=line.quantity)])
            if not faults(one, papers, [part]):
                made = partial(one, papers, [part], Paper(f"p{len(papers)}", "n", PAPER.issued, chosen[3]))
                papers += [made] if made else []
    for x in left(one, papers):
        assert min(x.net.minor, x.shown.minor, (x.tax or x.net).minor) >= 0
    last = credit(one, papers, id_="last", number="n", issued=PAPER.issued)
    papers += [last] if last else []
    assert [sum(c) for c in zip(*(components(p) for p in [one, *papers]), strict=True)] == [0, 0, 0, 0]
    assert all(not x.net.minor and not x.quantity and not (x.discount or x.net).minor for x in left(one, papers))
    for paper in papers:
        assert read_invoice(exact.decode(exact.encode(write(paper, organization="blue"))), CURRENCIES) == paper


@settings(max_examples=300, deadline=None)
@given(ROWS, SETTINGS, st.randoms(use_true_random=False))
def test_b12_b14_b19_lines_and_tax_are_the_total_and_credits_bring_every_component_to_zero(rows, chosen, random):
    holds(rows, chosen, random)


@pytest.mark.full
@settings(max_examples=10_000, deadline=None)
@given(ROWS, SETTINGS, st.randoms(use_true_random=False))
def test_the_same_of_ten_thousand_invoices(rows, chosen, random):
    holds(rows, chosen, random)
