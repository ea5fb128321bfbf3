"""Prices that depend on the exam, quantities, shares, discounts, bundles, taxes: what a line comes to."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from service.basics.money import Currency, Money
from service.billing.amounts import NET_FIRST, TAX_FIRST, cash, gross_priced, split
from service.billing.charge import Charge, Identity
from service.billing.hours import out_of_hours, start
from service.billing.invoice import tax_groups
from service.billing.pricing import Priced, priced
from service.billing.situation import Conditions, Situation
from service.billing.tariff import Discount, Price, Surcharge, Tax, price_in_force
from tests.builders.money import EUR, PRACTICE

DAY = date(2026, 11, 25)
JPY, BHD = Currency("JPY", 0), Currency("BHD", 3)


def row(code: str, minor: int = 1000, **more) -> Price:
    kind = "exam" if code == "full" else "service"
    given = {"unit": Money(minor, EUR), "tax": Tax(Decimal(20)), "valid_from": date(2026, 1, 1), "kind": kind, **more}
    return Price(code=code, text=code.title(), **given)


def bill(*rows: Price, at: Situation | None = None, practice=PRACTICE, **times: int) -> Priced:
    """What an exam of these charges, each so many times, comes to."""
    charges = [Charge(f"id-{c}", Identity("o", c, "blue"), c, "billable", n) for c, n in {"full": 1, **times}.items()]
    began = start(practice, "2026-11-25T10:00:00Z")
    return priced(charges, rows, practice=practice, began=began, exam_code="full", at=at or Situation("full"))


def nets(found: Priced) -> dict[str, int]:
    return {owed.line.code: owed.line.net.minor for owed in found.lines}


BANDS = (
    row("sedation", 5500, variant="small", when=Conditions(weight_below=Decimal(10))),
    row("sedation", 7000, variant="middle", when=Conditions(weight_from=Decimal(10), weight_below=Decimal("25.5"))),
    row("sedation", 8500, variant="large", when=Conditions(weight_from=Decimal("25.5"))),
)


@pytest.mark.parametrize(
    ("weight", "minor"), [("0.5", 5500), ("9.999", 5500), ("10", 7000), ("25.49", 7000), ("25.5", 8500), ("90", 8500)]
)
def test_sedation_is_priced_by_weight_band(weight, minor):
    found = bill(row("full"), *BANDS, at=Situation("full", weight_kg=Decimal(weight)), sedation=1)
    assert nets(found)["sedation"] == minor


def test_b10_a_price_that_depends_on_what_is_not_known_is_told_and_never_guessed():
    found = bill(row("full"), *BANDS, sedation=1)
    assert found.unpriced == {"id-sedation": "The price of sedation depends on what is not known: the animal's weight."}
    by_hours = [row("full", variant=h, when=Conditions(hours=h)) for h in ("in", "out")]
    assert "the time of day" in str(price_in_force(by_hours, "full", organization="blue", on=DAY, at=Situation()))


@pytest.mark.parametrize(
    ("conditions", "fits"),
    [
        (Conditions(scopes=("full", "limited")), {"scope": "limited"}),
        (Conditions(species="cat"), {"species": "cat"}),
        (Conditions(priorities=("urgent", "stat")), {"priority": "stat"}),
        (Conditions(hours="out"), {"closed": True}),
        (Conditions(grades=("specialist",)), {"grade": "specialist"}),
        (Conditions(requesters=("urn:x|7",)), {"requesters": ("Organization/1", "urn:x|7")}),
    ],
)
def test_a_condition_holds_for_what_it_names_and_for_nothing_else(conditions, fits):
    assert conditions.hold(Situation(**fits))
    assert not conditions.hold(Situation())
    assert not conditions.apart(conditions)


def test_rows_are_apart_when_no_exam_can_find_both():
    dog, cat = Conditions(species="dog"), Conditions(species="cat")
    assert dog.apart(cat)
    assert not dog.apart(Conditions(priorities=("stat",)))
    light, heavy = Conditions(weight_below=Decimal(10)), Conditions(weight_from=Decimal(10))
    assert light.apart(heavy)
    assert heavy.apart(light)
    assert not light.apart(Conditions(weight_from=Decimal("9.9")))


def test_samples_are_charged_per_site_up_to_the_cap():
    sample = row("sample", 4500, quantity="site", cap=3)
    assert [nets(bill(row("full"), sample, sample=n))["sample"] for n in (1, 2, 3, 4)] == [4500, 9000, 13500, 13500]
    assert "4 were performed" in bill(row("full"), sample, sample=4).remarks["id-sample"]
    assert nets(bill(row("full"), row("sample", 4500), sample=4))["sample"] == 4500  # once per exam


def test_b21_a_surcharge_states_its_base_and_leaves_out_drugs_and_outside_fees():
    share = row("night", 0, surcharge=Surcharge(Decimal("50"), ("exam", "service")))
    others = (row("full", 18001), row("doppler", 3500), row("drug", 900, kind="drug"), row("lab", 4000, kind="outside"))
    found = bill(*others, share, doppler=1, drug=1, lab=1, night=1)
    line = next(owed.line for owed in found.lines if owed.line.code == "night")
    assert (line.surcharge_base, line.net, line.surcharge) == (Money(21501, EUR), Money(10751, EUR), Decimal(50))
    every = replace(share, surcharge=Surcharge(Decimal(50), ("exam", "service", "drug", "outside")))
    assert nets(bill(*others, every, doppler=1, drug=1, lab=1, night=1))["night"] == 13201  # 26401 / 2, half up


def test_a_surcharge_waits_for_all_that_it_may_be_a_share_of():
    share = row("night", 0, surcharge=Surcharge(Decimal(50), ("exam", "service")))
    found = bill(row("full"), share, doppler=1, night=1)
    assert list(nets(found)) == ["full"]
    assert found.unpriced["id-night"] == "It waits for the price of doppler."


def test_b22_an_outside_fee_is_a_line_of_its_own():
    found = bill(row("full"), row("lab", 4000, kind="outside"), lab=1)
    assert [(owed.line.code, owed.line.outside) for owed in found.lines] == [("full", False), ("lab", True)]


def test_b20_a_discount_is_its_own_amount_with_its_reason_and_the_tax_of_what_it_reduces():
    found = bill(row("full", 9999, discount=Discount(Decimal("12.5"), "Agreed with the clinic")))
    (owed,) = found.lines
    line = owed.line
    assert (line.base.minor, line.discount, line.net.minor) == (9999, Money(-1250, EUR), 8749)  # 1249.875, half up
    assert (line.discount_reason, line.rate) == ("Agreed with the clinic", Tax(Decimal(20)))


def test_b23_a_bundle_of_three_is_three_lines():
    parts = [row(c, m, part_of="full") for c, m in (("survey", 12000), ("images", 5000), ("report", 1500))]
    found = bill(row("full", 18500), *parts)
    assert nets(found) == {"survey": 12000, "images": 5000, "report": 1500}
    assert {owed.line.charge for owed in found.lines} == {"id-full"}


def test_what_is_exclusive_gives_way_and_says_to_what():
    slot = row("slot", 3000, exclusive_with=("night",))
    found = bill(row("full"), slot, row("night", 9000), slot=1, night=1)
    assert set(nets(found)) == {"full", "night"}
    assert found.waived == {"id-slot": "Not charged together with night."}
    assert set(nets(bill(row("full"), slot, slot=1))) == {"full", "slot"}


def test_b27_each_line_has_exactly_one_payer():
    found = bill(row("full"), row("export", payer="requester"), export=1)
    assert [(owed.line.code, owed.payer) for owed in found.lines] == [("full", "client"), ("export", "requester")]


def test_b17_a_price_that_includes_tax_is_kept_and_its_net_derived_once():
    # trade's notes: 120.00 -> 100.00 + 20.00; and 2.99 including 4 %: 0.11 of tax net first, 0.12 tax first
    for how in (NET_FIRST, TAX_FIRST):
        found = gross_priced(Money(12000, EUR), Decimal(1), rate=Decimal(20), how=how)
        assert (found.net.minor, found.tax) == (10000, Money(2000, EUR))
    taxes = [split(Money(299, EUR), rate=Decimal(4), how=how)[1].minor for how in (NET_FIRST, TAX_FIRST)]
    assert taxes == [11, 12]
    listed = row("full", 299, basis="gross", tax=Tax(Decimal(4)))
    for how, tax in ((NET_FIRST, 11), (TAX_FIRST, 12)):
        (owed,) = bill(listed, practice=replace(PRACTICE, gross_rounding=how)).lines
        assert (owed.line.shown.minor, owed.line.tax) == (299, Money(tax, EUR))


def test_b17_many_lines_with_tax_in_their_price_keep_each_shown_price():
    rows = [row(f"c{n}", 299, basis="gross", tax=Tax(Decimal(4))) for n in range(7)]
    found = bill(row("full", 299, basis="gross", tax=Tax(Decimal(4))), *rows, **{f"c{n}": 1 for n in range(7)})
    lines = [owed.line for owed in found.lines]
    (group,) = tax_groups(lines, "group")
    assert (group.base + group.tax).minor == 8 * 299


@pytest.mark.parametrize(
    ("gross", "step", "rounding"), [(10003, 5, 2), (10002, 5, -2), (10000, 5, 0), (10050, 100, 50)]
)
def test_b15_rounding_to_coins_is_an_amount_of_its_own(gross, step, rounding):
    assert cash(Money(gross, EUR), step).minor == rounding


def test_b18_minor_units_are_those_of_the_currency():
    for currency, shown in ((JPY, "1500"), (EUR, "15.00"), (BHD, "1.500")):
        assert str(Money(1500, currency).decimal()) == shown


def test_b28_a_holiday_is_out_of_hours_and_named():
    practice = replace(PRACTICE, zone="Europe/Vienna", holidays={date(2026, 12, 8): "A feast"})
    began = start(practice, "2026-12-08T09:00:00Z")
    assert out_of_hours(practice, began) is True
    assert began.words == "2026-12-08 10:00 (Europe/Vienna), A feast"
    assert out_of_hours(practice, start(practice, "2026-12-08")) is True  # closed all day: no time of day is needed
    assert out_of_hours(practice, start(practice, "2026-12-07T23:30:00Z")) is True  # 00:30 of the 8th there


@pytest.mark.parametrize(
    ("text", "closed"),
    [
        ("2026-03-29T00:59:59Z", False),  # 01:59:59, the last second of winter time
        ("2026-03-29T01:00:00Z", True),  # 03:00: there is no 02:30 in this night
        ("2026-10-25T00:30:00Z", False),  # 02:30 for the first time
        ("2026-10-25T01:30:00Z", False),  # 02:30 for the second time
        ("2026-10-25T02:00:00Z", True),  # 03:00
    ],
)
def test_b28_the_nights_on_which_the_clocks_change(text, closed):
    nightly = replace(PRACTICE, zone="Europe/Vienna", opening=((0, 180),) * 7)  # open from 00:00 to 03:00
    assert out_of_hours(nightly, start(nightly, text)) is closed
