"""Who pays each line, and why an insurer does not: exactly one payer a line, nothing beyond what was authorised."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from service.basics.money import Money
from service.billing.authorisation import Authorisation, Insurance
from service.billing.exam_facts import ExamFacts
from service.billing.invoice import Line, add, tax_groups
from service.billing.payers import Bill, bills
from service.billing.pricing import Owed
from service.billing.tariff import Tax
from tests.builders.money import CURRENCIES, EUR

DAY = date(2026, 11, 25)
FACTS = ExamFacts("2026-11-25T10:00:00Z", owner="RelatedPerson/o", insurer="Organization/i", requester="Organization/r")


def owed(code: str, minor: int, payer: str = "client") -> Owed:
    return Owed(payer, Line(0, f"c-{code}", code, code.title(), Decimal(1), Money(minor, EUR), Tax(Decimal(20))))


EXAM, DOPPLER = owed("full", 10000), owed("doppler", 3000)  # 120.00 and 36.00 with tax


def shared(*lines: Owed, held: tuple[Authorisation, ...] = (), day: date | None = DAY, **facts: Any) -> list[Bill]:
    insurance = Insurance("Coverage/c", held, expected=bool(held), hindrance=facts.pop("hindrance", ""))
    return bills(lines, replace(FACTS, insurance=insurance, **facts), day=day, rounding="group")


def told(found: list[Bill]) -> dict[str, list[tuple[str, str]]]:
    """(charge, why) of each line by the kind of its payer."""
    return {one.kind: [(line.code, line.payer_reason) for line in one.lines] for one in found}


def test_b25_what_is_authorised_the_insurer_pays_under_its_number() -> None:
    (bill,) = shared(EXAM, DOPPLER, held=(Authorisation("PA-1", held=Money(15600, EUR)),))
    assert (bill.kind, bill.payer.reference, bill.cover) == ("insurer", "Organization/i", "Coverage/c")
    assert {line.authorisation for line in bill.lines} == {"PA-1"}


def test_b25_one_that_has_ended_or_not_begun_leaves_it_to_the_client_and_says_so() -> None:
    for bounds, words in (
        ({"last": date(2026, 11, 24)}, "Pre-authorisation PA-1 ended on 2026-11-24."),
        ({"first": date(2026, 11, 26)}, "Pre-authorisation PA-1 begins on 2026-11-26."),
        ({"fault": "its amount can't be read"}, "Pre-authorisation PA-1: its amount can't be read."),
    ):
        assert told(shared(EXAM, held=(Authorisation("PA-1", **bounds),))) == {"client": [("full", words)]}
    for whole in ({"last": DAY}, {"first": DAY}):
        assert list(told(shared(EXAM, held=(Authorisation("PA-1", **whole),)))) == ["insurer"]


def test_b25_beyond_the_amount_held_the_client_pays_line_by_line() -> None:
    held = Authorisation("PA-1", held=Money(15599, EUR))  # a cent short of both
    why = "Pre-authorisation PA-1 holds 155.99 EUR, of which 155.99 EUR were left; with this it would pay 156.00 EUR."
    assert told(shared(EXAM, DOPPLER, held=(held,))) == {"insurer": [("full", "")], "client": [("doppler", why)]}
    spent = replace(held, spent=Money(4000, EUR))
    assert list(told(shared(EXAM, DOPPLER, held=(spent,)))) == ["client", "insurer"]  # the smaller one still fits


def test_b25_it_is_for_the_charges_that_it_names() -> None:
    found = told(shared(EXAM, DOPPLER, held=(Authorisation("PA-1", scope=("full",)),)))
    assert found == {
        "insurer": [("full", "")],
        "client": [("doppler", "Pre-authorisation PA-1 does not name doppler.")],
    }
    second = Authorisation("PA-2", scope=("doppler",))
    (bill,) = shared(EXAM, DOPPLER, held=(Authorisation("PA-1", scope=("full",)), second))
    assert [line.authorisation for line in bill.lines] == ["PA-1", "PA-2"]


def test_nobody_hopes_that_the_insurer_pays_for_being_asked() -> None:
    found = told(shared(EXAM, owed("claim-admin", 1000), held=(Authorisation("PA-1"),)))
    assert found == {"insurer": [("full", "")], "client": [("claim-admin", "")]}


def test_which_of_two_is_meant_is_never_guessed() -> None:
    found = told(shared(EXAM, held=(Authorisation("PA-1"), Authorisation("PA-2"))))
    assert found == {
        "client": [("full", "Pre-authorisations PA-1, PA-2 all hold for full; which is meant is not said.")]
    }


def test_another_currency_pays_nothing() -> None:
    yen = Authorisation("PA-1", held=Money(99999, CURRENCIES["JPY"]))
    assert told(shared(EXAM, held=(yen,))) == {"client": [("full", "Pre-authorisation PA-1 is in JPY.")]}


def test_b27_without_an_authorisation_the_price_list_says_who_pays() -> None:
    lines = (EXAM, owed("sedation", 500, "insurer"), owed("export", 100, "requester"))
    assert list(told(shared(*lines))) == ["client", "insurer", "requester"]
    assert told(shared(*lines, insurer="", hindrance="No cover."))["client"] == [("full", ""), ("sedation", "")]


def test_a_cover_that_the_order_names_and_that_does_not_hold_is_told() -> None:
    unheld = Insurance(expected=True, hindrance="The cover does not hold.")
    found = bills([EXAM], replace(FACTS, insurer="", insurance=unheld), day=DAY, rounding="group")
    assert told(found) == {"client": [("full", "The cover does not hold.")]}


@given(st.lists(st.integers(0, 50_000), max_size=8), st.integers(0, 100_000), st.sampled_from(["group", "line"]))
def test_every_line_has_one_payer_and_no_more_is_claimed_than_is_held(
    minors: list[int], held: int, rounding: str
) -> None:
    lines = [owed(f"c{n}", minor) for n, minor in enumerate(minors)]
    insurance = Insurance("Coverage/c", (Authorisation("PA-1", held=Money(held, EUR)),), expected=True)
    found = bills(lines, replace(FACTS, insurance=insurance), day=DAY, rounding=rounding)
    assert sorted(line.code for one in found for line in one.lines) == sorted(one.line.code for one in lines)
    for one in found:
        gross = add([part for group in tax_groups(one.lines, rounding) for part in (group.base, group.tax)])
        assert one.kind == "client" or gross.minor <= held
        assert all(bool(line.payer_reason) is (one.kind == "client") for line in one.lines)
