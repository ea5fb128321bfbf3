"""What a bookkeeper must look at, from what is known of an exam's money."""

from dataclasses import replace

import pytest

from service.basics.stored import Late
from service.billing.exceptions import BECAUSE, KINDS, ChargeSeen, ExamMoney, exceptions, stray, unlike
from tests.builders.survey import mappings

FULL = ChargeSeen("c-1", "full", "Full survey", "billed")
SOUND = ExamMoney("e-1", "finished", "a-1", invoice="i-1", charges=(FULL,))
DEAD = Late("p-1", "records", "e-1", "finished", "dead", "2026-11-25T10:00:00.000Z", "2026-11-25T10:01:00.000Z")


def kinds(money: ExamMoney) -> list[str]:
    return [one.kind for one in exceptions(money)]


def charges(status: str, why: str = "") -> tuple[ChargeSeen, ...]:
    return (replace(FULL, status=status, why=why),)


def test_an_exam_that_is_charged_invoiced_and_delivered_is_none() -> None:
    assert exceptions(SOUND) == ()
    assert exceptions(replace(SOUND, invoice="", charges=charges("not-billable"))) == ()  # with its reason on it
    assert exceptions(ExamMoney("e-1", "in-progress", charges=charges("planned"))) == ()
    assert exceptions(ExamMoney("e-1", "cancelled", charges=charges("aborted"))) == ()
    assert exceptions(ExamMoney("e-1", "withdrawn", charges=charges("entered-in-error"))) == ()


@pytest.mark.parametrize("standing", [(), charges("aborted"), charges("entered-in-error")])
def test_a_finished_exam_that_charges_nothing(standing: tuple[ChargeSeen, ...]) -> None:
    assert kinds(replace(SOUND, invoice="", charges=standing)) == ["exam-without-charge"]


@pytest.mark.parametrize("state", ["cancelled", "withdrawn"])
@pytest.mark.parametrize("status", ["planned", "billable", "billed"])
def test_a_charge_that_outlives_its_exam(state: str, status: str) -> None:
    assert kinds(replace(SOUND, state=state, charges=charges(status))) == ["charge-without-exam"]


def test_a_charge_that_never_had_an_exam() -> None:
    for status in ("planned", "billable", "billed"):
        found = stray(replace(FULL, status=status))
        assert found is not None
        assert (found.kind, found.subject) == ("charge-without-exam", "ChargeItem/c-1")
    for status in ("aborted", "not-billable", "entered-in-error", "unknown"):
        assert stray(replace(FULL, status=status)) is None


@pytest.mark.parametrize(
    ("why", "kind"),
    [
        ("Not invoiced. The price list has no price for full on 2026-11-25.", "price-missing"),
        ("", "price-missing"),
        ("Not invoiced. It is not clear who pays: the animal has two owners.", "payer-unclear"),
        ("Not invoiced. The practice has no billing profile yet.", "profile-missing"),
    ],
)
def test_why_a_charge_is_on_no_invoice(why: str, kind: str) -> None:
    assert kinds(replace(SOUND, invoice="", charges=charges("billable", why))) == [kind]


def test_charges_that_wait_for_the_same_payer_are_one_exception_and_prices_one_each() -> None:
    two = tuple(replace(FULL, id=f"c-{n}", status="billable", why="It is not clear who pays") for n in (1, 2))
    assert kinds(replace(SOUND, invoice="", charges=two)) == ["payer-unclear"]
    unpriced = tuple(replace(one, why="no price") for one in two)
    assert kinds(replace(SOUND, invoice="", charges=unpriced)) == ["price-missing"] * 2


def test_b32_a_second_exam_of_the_day_is_suspected_while_it_is_charged() -> None:
    assert kinds(replace(SOUND, twins=("e-0",))) == ["duplicate-suspected"]
    assert kinds(replace(SOUND, twins=("e-0",), invoice="", charges=charges("not-billable"))) == []


def test_what_is_billable_beyond_the_invoice_or_shown_otherwise_was_changed_after_it() -> None:
    more = replace(FULL, id="c-2", status="billable", text="Doppler")
    (found,) = exceptions(replace(SOUND, charges=(FULL, more), unlike=("sedation was taken back",)))
    assert (found.kind, found.subject) == ("changed-after-invoicing", "Invoice/i-1")
    assert found.words == "Doppler is billable and not on the invoice; sedation was taken back."


@pytest.mark.parametrize("state", ["finished", "withdrawn", "in-progress"])
def test_what_did_not_arrive_is_one_whatever_became_of_the_exam(state: str) -> None:
    money = replace(SOUND, state=state, charges=(), late=(DEAD, replace(DEAD, id="p-2", state="waiting")))
    assert [k for k in kinds(money) if k != "exam-without-charge"] == ["refused", "unacknowledged"]


def test_the_same_facts_are_the_same_exception_and_others_another() -> None:
    (one,), (same,) = (exceptions(replace(SOUND, late=(DEAD,))) for _ in range(2))
    assert one.identity == same.identity
    (again,) = exceptions(replace(SOUND, late=(replace(DEAD, since="2026-11-25T11:00:00.000Z"),)))  # replayed, refused
    assert again.identity != one.identity
    assert again.subject == one.subject


def test_every_kind_has_its_row_and_what_is_read_from_words_leads_to_one() -> None:
    rules = mappings().exceptions
    assert set(rules) == set(KINDS)
    assert set(BECAUSE.values()) < set(KINDS)
    assert rules["unacknowledged"].minutes == 60
    assert all(rule.advice.endswith(".") for rule in rules.values())


def test_a_charge_that_waits_beside_an_invoice_is_not_a_change_after_it() -> None:
    waits = replace(FULL, id="c-2", status="billable", why="Not invoiced. The price list has no price for doppler.")
    assert kinds(replace(SOUND, charges=(FULL, waits))) == ["price-missing"]


def test_what_the_records_show_otherwise_than_was_charged_is_told_charge_by_charge() -> None:
    sample = replace(FULL, id="c-2", code="sample", text="Needle sample", quantity=2)
    known = ("doppler", "sample", "sedation")
    assert unlike((FULL, sample), {"sample": ("Needle sample", 2)}, known) == []
    assert unlike((FULL, sample), {"sample": ("Needle sample", 1)}, known) == [
        "Needle sample was charged 2 times and is recorded 1 times"
    ]
    assert unlike((FULL, sample), {}, known) == ["Needle sample was charged and is no longer recorded"]
    told = unlike((FULL, sample), {"sample": ("Needle sample", 2), "doppler": ("Doppler", 1)}, known)
    assert told == ["Doppler is recorded and was not charged"]
    waived = replace(sample, status="not-billable")  # somebody decided that it is not charged
    assert unlike((FULL, waived), {"sample": ("Needle sample", 2)}, known) == []
    assert unlike((FULL, waived), {}, known) == []
