"""A bill that passes what its payer was told: B24, by the practice's own share."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from service.basics.money import Money
from service.billing.estimate import Billed, Told, key, surprises
from tests.builders.money import CURRENCIES, EUR

BILL = Billed("RelatedPerson/o", "R. Ownwell", "i-1", Money(22200, EUR))
SHARE = Decimal(20)
CLIENT = key(BILL.payer)


def words(told: dict[str, Told], *, share: Decimal | None = SHARE, **changes: Any) -> list[str]:
    return [one.words for one in surprises([replace(BILL, **changes)], told, share)]


@pytest.mark.parametrize(
    ("estimated", "share", "told"),
    [
        (18500, "20", False),  # 222.00 is 20 % more than 185.00: the share itself does not pass
        (18499, "20", True),
        (22200, "0", False),
        (22199, "0", True),
        (30000, "20", False),
        (18500, "19.99", True),
    ],
)
def test_b24_it_is_told_when_the_bill_passes_the_estimate_by_more_than_the_share(
    estimated: int, share: str, told: bool
) -> None:
    found = words({CLIENT: Told(Money(estimated, EUR))}, share=Decimal(share))
    assert bool(found) is told


def test_b24_the_words_have_both_amounts_and_how_much_more() -> None:
    told = {CLIENT: Told(Money(14800, EUR))}
    assert words(told) == [
        "R. Ownwell is billed 222.00 EUR, and 148.00 EUR were estimated: 50.0 % more, where 20 % may pass."
    ]
    assert "148.00 EUR were agreed to" in words({CLIENT: Told(Money(14800, EUR), agreed=True)})[0]


def test_b24_who_was_told_nothing_is_surprised_by_everything() -> None:
    insurer = {"Organization/i": Told(Money(22200, EUR))}
    assert words(insurer) == ["R. Ownwell is billed 222.00 EUR, and nothing was estimated for this payer."]
    assert "all of it beyond" in words({CLIENT: Told(Money(0, EUR))})[0]
    assert "in another currency" in words({CLIENT: Told(Money(99999, CURRENCIES["JPY"]))})[0]


@pytest.mark.parametrize("client", ["RelatedPerson/o", "RelatedPerson/another", "Patient/p"])
def test_what_a_client_was_told_holds_for_whoever_turns_out_to_be_the_client(client: str) -> None:
    assert words({key(""): Told(Money(22200, EUR))}, payer=client) == []
    assert words({key("Organization/i"): Told(Money(22200, EUR))}, payer=client)


def test_without_an_estimate_or_a_share_nobody_is_told() -> None:
    assert words({}) == []
    assert words({CLIENT: Told(Money(1, EUR))}, share=None) == []
    assert words({CLIENT: Told(Money(1, EUR))}, gross=Money(0, EUR)) == []  # credited in full


def test_other_amounts_are_another_exception() -> None:
    (one,) = surprises([BILL], {CLIENT: Told(Money(1, EUR))}, SHARE)
    (same,) = surprises([BILL], {CLIENT: Told(Money(1, EUR))}, SHARE)
    (other,) = surprises([replace(BILL, gross=Money(22300, EUR))], {CLIENT: Told(Money(1, EUR))}, SHARE)
    assert one.identity == same.identity != other.identity
    assert (one.kind, one.subject) == ("estimate-exceeded", "Invoice/i-1")
