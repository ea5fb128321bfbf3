"""What a Coverage says, as R4 means it and never guessed: the ends of a Period are included (R4, datatypes, Period)."""

from decimal import Decimal
from typing import Any

import pytest

from service.basics.money import Money
from service.fhir import uris
from service.fhir.reading.coverage import authorisations, insurance, within
from tests.builders.money import CURRENCIES, EUR

Json = dict[str, Any]
DAY = "2026-11-25"


@pytest.mark.parametrize(
    ("period", "inside"),
    [
        ({}, True),
        ({"start": "2026-11-25", "end": "2026-11-25"}, True),
        ({"start": "2026-11-26"}, False),
        ({"end": "2026-11-24"}, False),
        ({"end": "2026-11-24T23:59:00Z"}, False),
        ({"end": "2026-11"}, True),  # the whole month
        ({"end": "2026"}, True),
        ({"end": "2026-10"}, False),
        ({"start": "2026-11", "end": "2027"}, True),
    ],
)
def test_a_period_includes_its_ends(period: Json, inside: bool) -> None:
    assert within(period, DAY) is inside


def cover(id_: str = "c", *parts: Json, **more: Any) -> Json:
    held = [{"url": uris.X_AUTHORISATION, "extension": list(parts)}] if parts else []
    payor = [{"reference": "Organization/i", "display": "Invented Mutual"}]
    return {"resourceType": "Coverage", "id": id_, "status": "active", "payor": payor, "extension": held, **more}


NUMBER = {"url": "number", "valueString": "PA-1"}


def test_what_was_authorised_is_read_to_the_minor_unit() -> None:
    amount = {"url": "amount", "valueMoney": {"value": Decimal("150.50"), "currency": "EUR"}}
    scope = [{"url": "scope", "valueCode": code} for code in ("full", "doppler")]
    (one,) = authorisations(cover("c", NUMBER, amount, *scope), CURRENCIES)
    assert (one.number, one.scope, one.held, one.fault) == ("PA-1", ("full", "doppler"), Money(15050, EUR), "")


@pytest.mark.parametrize(
    ("part", "fault"),
    [
        ({"url": "amount", "valueMoney": {"value": Decimal("1.505"), "currency": "EUR"}}, "amount"),
        ({"url": "amount", "valueMoney": {"value": Decimal(1), "currency": "USD"}}, "amount"),  # not in the table here
        ({"url": "amount", "valueMoney": {"value": Decimal(1)}}, "amount"),
        ({"url": "period", "valuePeriod": {"end": "2026-11"}}, "period"),  # an authorisation is for days
    ],
)
def test_what_cannot_be_read_authorises_nothing_and_says_so(part: Json, fault: str) -> None:
    (one,) = authorisations(cover("c", NUMBER, part), CURRENCIES)
    assert fault in one.fault


@pytest.mark.parametrize(
    ("covers", "named", "found"),
    [
        ([cover()], [], "Coverage/c"),
        ([cover(), cover("d")], [], ""),
        ([cover(), cover("d")], ["Coverage/d"], "Coverage/d"),
        ([cover(status="cancelled")], [], ""),
        ([cover(), cover("d", status="draft")], [], "Coverage/c"),
        ([cover(payor=[{"reference": "RelatedPerson/o"}])], [], ""),
        ([cover(payor=[{"display": "Somebody"}])], [], ""),
        ([cover()], ["Coverage/x"], ""),
        ([], [], ""),
    ],
)
def test_the_one_cover_of_the_day(covers: list[Json], named: list[str], found: str) -> None:
    payor, held = insurance(covers, named, day=DAY, currencies=CURRENCIES)
    assert held.cover == found
    assert bool(payor) is bool(found)
    assert held.expected is bool(named)
    assert bool(held.hindrance) is not bool(found)
