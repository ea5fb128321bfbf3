"""A price list that would charge something wrong is refused with file, line and reason, all faults at once."""

import pytest

from service.catalogue.check import faults
from service.catalogue.files import read_folder
from tests.builders.tariff_rows import row, tariff

EXAM = row("full", kind="exam", amount="185.00")
WRONG = [
    ({"tax_category": ""}, "a tax category needs its rate"),
    ({"tax_rate": ""}, "a tax category needs its rate"),
    ({"tax_category": "", "tax_rate": ""}, "are missing"),
    ({"tax_category": "Z"}, "every other category the rate 0"),
    ({"tax_rate": "0"}, "category S has a rate above zero"),
    # EN 16931: BR-E-10, BR-AE-10, BR-IC-10, BR-G-10, BR-O-10 ask for a reason; BR-S-10, BR-Z-10 forbid one;
    # BR-AE-05, BR-IC-05, BR-G-05 (rate 0), as the validation artefacts of the standard word them
    *(({"tax_category": c, "tax_rate": "0"}, "tax_reason says why") for c in ("E", "O", "AE", "K", "G")),
    *(({"tax_category": c, "tax_reason": "So"}, "every other category the rate 0") for c in ("AE", "K", "G")),
    ({"tax_reason": "So"}, "tax_reason says why"),
    ({"tax_category": "L", "tax_rate": "0"}, "tax_category"),
    ({"tax_rate": "100.1"}, "is not a share of a hundred"),
    ({"amount": ""}, "either an amount or a surcharge"),
    ({"amount": "1", "surcharge": "50", "surcharge_on": "exam"}, "either an amount or a surcharge"),
    ({"amount": "", "surcharge": "50"}, "states its base"),
    ({"amount": "", "surcharge": "50", "surcharge_on": "exam", "basis": "gross"}, "a surcharge is net"),
    ({"discount": "10"}, "a discount needs a reason"),
    ({"discount_reason": "Agreed"}, "a discount needs a reason"),
    ({"discount": "100.5", "discount_reason": "Agreed"}, "is no percentage"),
    ({"amount": "10.5", "currency": "JPY"}, "more digits than JPY has (0)"),
    ({"amount": "10.0005", "currency": "BHD"}, "more digits than BHD has (3)"),
    ({"amount": "-1"}, "is negative"),
    ({"amount": "9" * 40}, "must be below 1,000,000,000"),
    ({"currency": "XXX"}, 'currency "XXX"'),
    ({"scope": "half"}, 'scope "half"'),
    ({"priority": "soon"}, 'priority "soon"'),
    ({"grade": "wizard"}, 'grade "wizard"'),
    ({"exclusive_with": "nothing"}, 'exclusive_with "nothing"'),
    ({"weight_from": "10", "weight_below": "10"}, "weight_from must be less"),
    ({"valid_to": "2019-12-31"}, "valid_to is before valid_from"),
    ({"cap": "3"}, "a cap needs the quantity"),
    ({"part_of": "full"}, "do not come to its one price"),
]


def told(*rows: str) -> list[str]:
    return faults({**read_folder(), "tariff.csv": tariff(EXAM, *rows)})


@pytest.mark.parametrize(("cells", "words"), WRONG)
def test_a_row_that_cannot_be_right_is_told_by_its_line(cells: dict[str, str], words: str) -> None:
    found = told(row("doppler", **cells))
    assert found
    assert all(one.startswith("tariff.csv:3: ") for one in found)
    assert any(words in one for one in found), found


def test_all_faults_of_a_row_come_at_once() -> None:
    assert len(told(row("doppler", tax_rate="", discount="10", scope="half"))) == 3


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [
        ({"species": "dog"}, {"species": "cat"}, True),
        ({"species": "dog"}, {}, False),
        ({"weight_below": "10"}, {"weight_from": "10"}, True),
        ({"weight_below": "10"}, {"weight_from": "9.5"}, False),
        ({"hours": "in"}, {"hours": "out"}, True),
        ({"priority": "urgent"}, {"priority": "stat asap"}, True),
        ({"priority": "urgent"}, {"priority": "stat urgent"}, False),
        ({"valid_to": "2026-06-30"}, {"valid_from": "2026-07-01"}, True),
        ({"valid_to": "2026-07-01"}, {"valid_from": "2026-07-01"}, False),
        ({"organization": "blue"}, {"organization": "red"}, True),
    ],
)
def test_no_exam_finds_two_prices(one: dict[str, str], other: dict[str, str], apart: bool) -> None:
    found = told(row("sedation", variant="a", **one), row("sedation", variant="b", **other))
    assert (found == []) is apart
    assert apart or "has a price already" in found[0]


def test_a_bundle_comes_to_its_price() -> None:
    parts = [row("doppler", part_of="full", amount=a, variant=v) for a, v in (("100.00", "a"), ("85.00", "b"))]
    assert "has a price already" in told(*parts)[0]  # the same part twice
    named = [row(c, part_of="full", amount=a) for c, a in (("doppler", "100.00"), ("sample", "85.00"))]
    assert told(*named) == []
    assert "do not come to its one price on 2020-01-01" in told(*named, row("drainage", part_of="full"))[0]


def test_a_charge_that_nothing_leads_to_is_no_price_unless_it_is_a_part_of_one() -> None:
    (found,) = told(row("fulll"))
    assert found.startswith('tariff.csv:3: charge "fulll" can be call-out, claim-admin, clipping, ')
    assert found.endswith("urgent-fee")
    parts = [
        row(charge, part_of="full", amount=amount) for charge, amount in (("images", "100.00"), ("words", "85.00"))
    ]
    assert told(*parts) == []


def test_all_that_is_wrong_with_a_row_is_told_at_once() -> None:
    found = told(row("doppler", amount="-5", currency="ZZZ", payer="bank"))
    assert len(found) == 3
    assert all(text.startswith("tariff.csv:3: ") for text in found)
    for words in ("amount -5 is negative", 'currency "ZZZ" is not in currencies.csv', 'payer "bank": '):
        assert any(words in text for text in found), found


def test_what_hangs_on_a_cell_that_cannot_be_read_is_not_told_besides() -> None:
    (found,) = told(row("doppler", tax_rate="twenty"))
    assert "plain decimal number" in found
    (found,) = told(row("doppler", part_of="Not A Name", amount="10.00"))
    assert "part_of" in found
