"""One exam's money from acceptance to credit, on both engines."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date

import pytest

from service.actions import bill_exam, credit_invoice
from service.actions.gathering import all_of
from service.actions.writing import write
from service.basics.errors import Conflict
from service.exam.animal import Animal
from service.exam.order import Order
from tests.builders.money import PRACTICE, faults
from tests.builders.priced_house import CAUTION, PRICES, accepted, caller, house, performed, price, service, shown
from tests.builders.survey import mappings


@pytest.fixture
def at(books):
    return house(books)


def charges(at, work, exam) -> dict[str, dict]:
    """The stored ChargeItems of an exam: identity without order and organisation -> resource."""
    found = all_of(at, work, "ChargeItem", service=f"Procedure/{exam.procedure}")
    return {"{1}|{3}".format(*c["identifier"][0]["value"].split("|")): c for c in found}


def states(at, work, exam) -> dict[str, str]:
    return {key: c["status"] for key, c in charges(at, work, exam).items()}


def only(made) -> dict:
    """The one invoice or credit that was made."""
    (invoice,) = made.invoices
    return invoice


def totals(invoice) -> tuple[str, str]:
    return str(invoice["totalNet"]["value"]), str(invoice["totalGross"]["value"])


def test_acceptance_plans_the_exam_line_once(at, books, organization):
    with books.begin(organization) as work:
        exam = accepted(at, work)
        assert states(at, work, exam) == {"full|0": "planned"}
        item = charges(at, work, exam)["full|0"]
        assert faults(item) == []
        assert item["requestingOrganization"] == {"reference": "Organization/clinic"}
        order = Order(exam.order, Animal(exam.animal, "dog"), service("full"))
        with pytest.raises(Conflict, match="charged twice"):
            bill_exam.plan(
                at, work, caller=caller(organization), exam=exam, order=order, catalogue=at.catalogues.current
            )


def test_b02_cancelling_aborts_what_was_planned(at, books, organization):  # B02
    with books.begin(organization) as work:
        exam = accepted(at, work)
        write(work, [], bill_exam.abort(at, work, exam=exam, reason="The order was revoked."))
        assert states(at, work, exam) == {"full|0": "aborted"}
        assert charges(at, work, exam)["full|0"]["note"][0]["text"] == "The order was revoked."


def test_a_finished_exam_is_invoiced_with_what_it_showed(at, books, organization):
    with books.begin(organization) as work:
        exam = accepted(at, work)
        billed = performed(at, work, exam, shown=shown("doppler", "sedation"), started="2026-11-25T19:00:00Z")
        assert states(at, work, exam) == dict.fromkeys(
            ["full|0", "doppler|0", "sedation|0", "out-of-hours|0"], "billed"
        )
        assert billed.unpriced == ()
        assert billed.invoices
        assert faults(only(billed)) == []
        assert totals(only(billed)) == ("372.00", "446.40")  # 185 + 35 + 62 + 90, and 20 %
        assert [i["sequence"] for i in only(billed)["lineItem"]] == [1, 2, 3, 4]
        assert only(billed)["lineItem"][0]["chargeItemReference"]["display"] == "Price of full"
        assert only(billed)["note"][0]["text"] == CAUTION.text
        late = charges(at, work, exam)["out-of-hours|0"]
        assert late["note"][0]["text"] == "The exam began outside opening hours, 2026-11-25 19:00 (UTC)."
        assert late["performer"][0]["actor"]["reference"] == "Practitioner/p"
        assert all(faults(c) == [] for c in billed.charges)


def test_numbers_have_no_gap_when_a_transaction_fails(at, books, organization):
    numbers = []
    for fails in (False, True, False):
        try:
            with books.begin(organization) as work:
                billed = performed(at, work, accepted(at, work))
                number = only(billed)["identifier"][0]["value"]
                if fails:
                    raise RuntimeError("the door fell shut")
                numbers.append((number, work.now.year))
        except RuntimeError:
            assert fails
    assert [n for n, _ in numbers] == [f"{numbers[0][1]}-000001", f"{numbers[1][1]}-000002"]


def test_eight_at_once_draw_eight_numbers_without_gap(at, books, organization):
    def finish(_: int) -> str:
        with books.begin(organization) as work:
            return performed(at, work, accepted(at, work)).invoices[0]["identifier"][0]["value"]

    with ThreadPoolExecutor(8) as pool:
        numbers = sorted(pool.map(finish, range(8)))
    assert [n.partition("-")[2] for n in numbers] == [f"{n:06d}" for n in range(1, 9)]


def test_b01_b07_finishing_again_charges_nothing_again(at, books, organization):  # B01, B07
    with books.begin(organization) as work:
        exam = accepted(at, work)
        performed(at, work, exam, shown=shown("doppler"))
        before = charges(at, work, exam)
        again = performed(at, work, exam, shown=shown("doppler"))
        assert (again.new, again.changed, again.invoices, again.unpriced) == ((), (), (), ())
        stopped = performed(at, work, exam, price_effect="limited")
        assert (stopped.new, stopped.invoices) == ((), ())
        assert charges(at, work, exam) == before


def test_b03_a_full_survey_stopped_for_safety_is_charged_as_limited(at, books, organization):  # B03
    with books.begin(organization) as work:
        exam = accepted(at, work)
        billed = performed(at, work, exam, price_effect="limited", reason="stopped for the animal's safety")
        assert states(at, work, exam) == {"full|0": "aborted", "limited|0": "billed"}
        assert totals(only(billed)) == ("98.00", "117.60")
        assert "stopped for the animal's safety" in charges(at, work, exam)["full|0"]["note"][0]["text"]
        recheck = accepted(at, work, service_key="recheck")
        performed(at, work, recheck, price_effect="limited")
        assert set(states(at, work, recheck)) == {"recheck|0"}


def test_b03_an_equipment_fault_bills_nothing(at, books, organization):  # B03
    with books.begin(organization) as work:
        exam = accepted(at, work)
        billed = performed(at, work, exam, price_effect="none", shown=shown("sedation"))
        assert states(at, work, exam) == {"full|0": "not-billable", "sedation|0": "not-billable"}
        assert not billed.invoices
        assert billed.unpriced == ()


def test_a_price_list_without_the_service_leaves_it_billable_and_told(books, organization):
    for missing, left in (("full", ["full|0", "doppler|0"]), ("doppler", ["doppler|0"])):
        at = house(books, tuple(p for p in PRICES if p.code != missing))
        with books.begin(organization) as work:
            exam = accepted(at, work)
            billed = performed(at, work, exam, shown=shown("doppler"))
            assert [k for k, s in states(at, work, exam).items() if s == "billable"] == left
            assert len(billed.unpriced) == len(left)
            assert (not billed.invoices) == (missing == "full")
            assert f"no price for {missing}" in " ".join(billed.unpriced)
            assert "Not invoiced. " in charges(at, work, exam)[f"{missing}|0"]["note"][-1]["text"]


@pytest.mark.parametrize(
    ("practice", "facts", "words"),
    [
        (replace(PRACTICE, profile=None), {}, "no billing profile"),
        (PRACTICE, {"owner": ""}, "not exactly one owner on record, that is an active RelatedPerson"),
        (PRACTICE, {"owner": "Practitioner/p"}, "not clear who pays"),
        (PRACTICE, {"started": ""}, "is not known"),
    ],
)
def test_without_profile_payer_or_day_the_charge_waits(at, books, organization, practice, facts, words):
    with books.begin(organization) as work:
        exam = accepted(at, work)
        billed = performed(at, work, exam, practice=practice, **facts)
        assert not billed.invoices
        assert states(at, work, exam) == {"full|0": "billable"}
        assert words in " ".join(billed.unpriced)
        assert words in charges(at, work, exam)["full|0"]["note"][0]["text"]
        assert work.next_invoice_number(2026) == 1  # no number was drawn for it


def test_a_start_without_time_of_day_is_priced_but_not_judged_for_hours(at, books, organization):
    with books.begin(organization) as work:
        exam = accepted(at, work)
        billed = performed(at, work, exam, started="2026-11-28")
        assert states(at, work, exam) == {"full|0": "billed"}
        assert billed.unpriced[0].startswith("Out of hours: not judged")


def test_b10_the_price_is_that_of_the_start(books, organization):  # B10
    old = price("full", 100, valid_to=date(2026, 11, 25))
    at = house(books, (old, price("full", 200, valid_from=date(2026, 11, 26))))
    vienna = replace(PRACTICE, zone="Europe/Vienna")
    with books.begin(organization) as work:
        for started, net in (("2026-11-25T22:59:00Z", "1.00"), ("2026-11-25T23:00:00Z", "2.00")):  # midnight there
            exam = accepted(at, work)
            billed = performed(at, work, exam, practice=vienna, started=started)
            assert billed.invoices
            assert str(only(billed)["lineItem"][0]["priceComponent"][0]["amount"]["value"]) == net


def test_b08_b09_a_withdrawn_exam_nets_to_zero_once(at, books, organization):  # B08, B09
    with books.begin(organization) as work:
        exam = accepted(at, work)
        first = performed(at, work, exam, shown=shown("doppler")).invoices[0]
        exam = work.exam(exam.id)
        done = credit_invoice.credit(at, work, exam=exam, practice=PRACTICE, reason="Wrong animal.")
        write(work, done.invoices, done.changed)
        assert faults(only(done)) == []
        assert set(states(at, work, exam).values()) == {"entered-in-error"}
        assert totals(first) == ("220.00", "264.00")
        assert totals(only(done)) == ("-220.00", "-264.00")
        kept = all_of(at, work, "Invoice", charge_item=first["lineItem"][0]["chargeItemReference"]["reference"])
        assert [(i["id"], i["status"]) for i in kept] == [(first["id"], "issued"), (only(done)["id"], "issued")]
        assert kept[0]["totalGross"] == first["totalGross"]
        again = credit_invoice.credit(at, work, exam=exam, practice=PRACTICE, reason="Wrong animal.")
        assert (again.invoices, again.changed) == ((), ())


def test_withdrawing_before_an_invoice_only_ends_the_charges(at, books, organization):
    with books.begin(organization) as work:
        exam = accepted(at, work)
        performed(at, work, exam, owner="")
        done = credit_invoice.credit(at, work, exam=exam, practice=PRACTICE, reason="Wrong animal.")
        write(work, [], done.changed)
        assert done.invoices == ()
        assert states(at, work, exam) == {"full|0": "entered-in-error"}


def test_after_a_credit_the_next_correction_may_be_billed(at, books, organization):
    with books.begin(organization) as work:
        exam = accepted(at, work)
        performed(at, work, exam)
        done = credit_invoice.credit(at, work, exam=work.exam(exam.id), practice=PRACTICE, reason="Wrong owner.")
        write(work, done.invoices, done.changed)
        assert performed(at, work, exam).invoices == ()  # nobody asked for it
        billed = performed(at, work, exam, again=True)
        assert states(at, work, exam) == {"full|0": "entered-in-error", "full|1": "billed"}
        assert only(billed)["identifier"][0]["value"].endswith("-000003")


def test_b06_a_limited_exam_that_documented_the_whole_is_charged_as_such_and_logged(at, books, organization):
    with books.begin(organization) as work:
        exam = accepted(at, work, service_key="limited")
        billed = performed(at, work, exam, documented="full")
        assert states(at, work, exam) == {"limited|0": "aborted", "full|0": "billed"}
        assert totals(only(billed)) == ("185.00", "222.00")
        for code in ("limited|0", "full|0"):
            words = charges(at, work, exam)[code]["note"][0]["text"]
            assert words == "All that a full survey requires was recorded; charged as such."
        cut = accepted(at, work, service_key="limited")
        performed(at, work, cut, documented="full", price_effect="limited")  # and what was stopped is not enlarged
        assert states(at, work, cut) == {"limited|0": "billed"}


def test_b27_several_payers_are_several_invoices_and_one_who_is_not_known_holds_up_only_his_own(books, organization):
    at = house(
        books, (*PRICES[:2], price("doppler", 3500, payer="requester"), price("sedation", 6200, payer="insurer"))
    )
    with books.begin(organization) as work:
        known = {"requester": "Organization/clinic", "requester_name": "A clinic", "insurer": "Organization/i"}
        seen = shown("doppler", "sedation")
        billed = performed(at, work, accepted(at, work), shown=seen, **known)
        assert [i["recipient"]["reference"] for i in billed.invoices] == [
            "RelatedPerson/owner", "Organization/clinic", "Organization/i",
        ]  # fmt: skip
        exam = accepted(at, work)
        billed = performed(at, work, exam, shown=seen)  # no cover: the client pays; no organisation asked
        assert totals(only(billed)) == ("247.00", "296.40")
        assert states(at, work, exam) == {"full|0": "billed", "doppler|0": "billable", "sedation|0": "billed"}
        assert "names no organisation that asked" in billed.unpriced[0]


def test_b05_an_absence_after_surgery_keeps_the_exam_full():
    reason = mappings().reasons["absent-surgical"]
    assert not reason.remaining  # it ends one step and leaves the rest, and the price, as they are
    facts = bill_exam.ExamFacts(started="2026-11-25T10:00:00Z", price_effect=reason.price_effect)
    assert bill_exam.cut_of(facts, mappings().services["full"], mappings(), practice=PRACTICE, day=None).code == "full"
