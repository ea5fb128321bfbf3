"""Charges, prices and hours: which line, in which state, at which price."""

from datetime import date
from decimal import Decimal

import pytest

from service.basics.errors import Conflict
from service.basics.money import Currency, Money
from service.billing.charge import MOVES, Charge, Cut, Identity, exam_line, move, next_correction
from service.billing.exam_facts import Shown
from service.billing.hours import out_of_hours, start
from service.billing.practice import Practice
from service.billing.pricing import priced
from service.billing.tariff import Price, Tax, price_in_force
from service.billing.triggers import Trigger, charged

EUR = Currency("EUR", 2)
DAY = (8 * 60, 18 * 60)
VIENNA = Practice("blue", "Europe/Vienna", (DAY,) * 5 + (None, None), EUR)
STATES = {"planned", "billable", "not-billable", "aborted", "billed", "entered-in-error"}  # R4 chargeitem-status


def price(code="full", minor=18000, valid_from=date(2026, 1, 1), valid_to=None, organization="*", **more) -> Price:
    tax = Tax(Decimal(20))
    return Price(code, code.title(), Money(minor, EUR), tax, valid_from, valid_to, organization, **more)


def told(*prices: Price, on: date) -> str:
    """Why there is no price."""
    found = price_in_force(prices, "full", organization="blue", on=on)
    assert isinstance(found, str)
    return found


def charge(code="full", status="billable", correction=0) -> Charge:
    return Charge(f"id-{code}-{correction}", Identity("o1", code, "blue", correction), code, status)


def test_the_price_is_the_one_in_force_on_the_day():  # B10
    old, new = price(minor=1, valid_to=date(2026, 6, 30)), price(minor=2, valid_from=date(2026, 7, 1))
    found = [price_in_force([old, new], "full", organization="blue", on=date(2026, m, d)) for m, d in ((6, 30), (7, 1))]
    assert found == [old, new]
    assert "no price for full on 2025-12-31" in told(old, new, on=date(2025, 12, 31))


def test_an_own_row_beats_the_general_one_also_when_it_has_expired():
    general, own = price(), price(minor=5, organization="blue", valid_to=date(2026, 6, 30))
    assert price_in_force([general, own], "full", organization="blue", on=date(2026, 6, 30)) == own
    assert "no price for full on 2026-07-01" in told(general, own, on=date(2026, 7, 1))
    assert price_in_force([general, own], "full", organization="red", on=date(2026, 7, 1)) == general


def test_two_prices_at_once_are_no_price():
    assert "2 prices for full" in told(price(), price(minor=2), on=date(2026, 7, 1))


def test_what_is_performed_is_charged_also_without_a_price_and_a_circumstance_only_with_one():
    rows = [Trigger("colour", "Colour", "doppler", True), Trigger("slot", "Slot", "priority", False)]
    shown = [Shown("priority"), Shown("doppler", 2), Shown("unheard-of")]
    found = charged(rows, shown, [], organization="blue")
    assert [(t.charge, s.times) for t, s in found] == [("colour", 2)]
    expired = price("slot", valid_to=date(2026, 1, 2))  # known, though its price has run out: told, not forgotten
    assert [t.charge for t, _ in charged(rows, shown, [expired], organization="blue")] == ["colour", "slot"]


@pytest.mark.parametrize(
    ("text", "closed"),
    [
        ("2026-11-25T07:00:00Z", False),  # Wednesday 08:00 in Vienna: the minute of opening
        ("2026-11-25T06:59:59Z", True),
        ("2026-11-25T17:00:00Z", True),  # 18:00: the minute of closing
        ("2026-11-25T16:59:59.999Z", False),
        ("2026-07-22T06:00:00Z", False),  # summer time: 08:00
        ("2026-07-22T16:00:00Z", True),
        ("2026-11-28T10:00:00Z", True),  # Saturday
        ("2026-11-29T23:30:00-01:00", True),  # Monday 01:30 in Vienna
        ("2026-10-25T00:30:00Z", True),  # the night the clocks go back
        ("2026-11-25T10:00:60Z", False),  # a leap second is a second
        ("2026-11-25", None),  # no time of day: nobody guesses
        ("2026-11", None),
        ("", None),
        ("2026-11-25T10:00:00", None),  # without zone it is not an instant
    ],
)
def test_out_of_hours_is_judged_in_the_practices_zone(text, closed):  # B28
    assert out_of_hours(VIENNA, start(VIENNA, text)) is closed


def test_the_day_of_an_exam_is_the_practices_day():
    assert start(VIENNA, "2026-12-31T23:30:00Z").day == date(2027, 1, 1)
    assert start(VIENNA, "2026-12-31").day == date(2026, 12, 31)
    assert start(VIENNA, "2026-12").day is None


def test_what_a_stopped_exam_is_charged():  # B03, B06
    def cut(ordered, effect):
        return exam_line(ordered, effect=effect, full="full", limited="limited", reason="for the animal's safety").code

    assert [cut("full", e) for e in ("full", "limited", "none")] == ["full", "limited", ""]
    assert [cut("recheck", e) for e in ("full", "limited", "none")] == ["recheck", "recheck", ""]
    assert exam_line("full", effect="full", full="full", limited="limited") == Cut("full")


def test_states_move_only_as_the_table_says():
    assert {s for s, _ in MOVES} | set(MOVES.values()) == STATES
    refused = [("billed", "withdraw"), ("billed", "waive"), ("aborted", "perform"), ("entered-in-error", "bill")]
    for state, verb in refused:
        with pytest.raises(Conflict):
            move(state, verb)
    assert move(move("planned", "perform"), "bill") == "billed"


def test_the_correction_number_rises_with_what_is_known():
    assert next_correction([], "full") == 0
    assert next_correction([charge(correction=0), charge("doppler", correction=4)], "full") == 1


def test_charges_become_lines_in_their_order():
    bill = priced(
        [charge(), charge("doppler")],
        [price(), price("doppler", 2500)],
        practice=VIENNA,
        began=start(VIENNA, "2026-11-25"),
        exam_code="full",
    )
    assert [(x.payer, x.line.code, x.line.net.minor, x.line.tax) for x in bill.lines] == [
        ("client", "full", 18000, None),
        ("client", "doppler", 2500, None),
    ]
    assert bill.unpriced == {}


def test_what_has_no_price_is_named_and_add_ons_wait_for_their_exam():
    began = start(VIENNA, "2026-11-25")
    both = [charge(), charge("doppler")]
    only_exam = priced(both, [price()], practice=VIENNA, began=began, exam_code="full")
    assert [x.line.code for x in only_exam.lines] == ["full"]
    assert only_exam.unpriced == {"id-doppler-0": "The price list has no price for doppler on 2026-11-25."}
    only_add_on = priced(both, [price("doppler")], practice=VIENNA, began=began, exam_code="full")
    assert only_add_on.lines == ()
    assert set(only_add_on.unpriced) == {"id-full-0", "id-doppler-0"}


def test_a_price_in_another_currency_or_without_a_day_is_no_price():
    yen = Price("full", "Full", Money(20000, Currency("JPY", 0)), Tax(Decimal(10)), date(2026, 1, 1))
    mixed = priced([charge()], [yen], practice=VIENNA, began=start(VIENNA, "2026-11-25"), exam_code="full")
    assert mixed.unpriced == {"id-full-0": "The price of full is in JPY, the practice bills in EUR."}
    undated = priced([charge()], [price()], practice=VIENNA, began=start(VIENNA, ""), exam_code="full")
    assert undated.lines == ()
    assert "is not known" in undated.unpriced["id-full-0"]
