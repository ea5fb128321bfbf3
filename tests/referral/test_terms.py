"""What an agreement says is held: consent, whom the hospital bills, what is shared, and how long it holds."""

from typing import Any

import pytest

from service.actions.billing_report import invoices, stretch
from service.actions.ports import House
from service.catalogue.load import Catalogues
from service.commands import agreement
from service.fhir import exact, uris
from tests.builders import orders
from tests.builders.orders import concept
from tests.builders.survey import mappings
from tests.referral.conftest import Meet, Sides
from tests.referral.test_referral import accepted, accepted_of, refer, referral, standing
from tests.whole.telling import Desk, Exam, Json, only, refusal, taken

PRIVACY = "http://terminology.hl7.org/CodeSystem/consentscope"


def consent(animal: str, **more: Any) -> Json:
    """An owner's consent to sharing."""
    return {
        "resourceType": "Consent",
        "status": "active",
        "scope": concept(PRIVACY, "patient-privacy"),
        "category": [concept(uris.LOINC, "59284-0")],
        "patient": {"reference": animal},
        "policyRule": concept("http://terminology.hl7.org/CodeSystem/v3-ActCode", "OPTIN"),
        "provision": {"type": "permit"},
        **more,
    }


def ordered(sides: Sides, *, agreed: bool) -> Json:
    """An order to the hospital as a Bundle, with the owner's consent in it or without."""
    to = [{"identifier": {"system": uris.ORGANIZATION, "value": sides.hospital.slug}}]
    whole = orders.bundle(service="fluid-check", performer=to)
    if agreed:
        dog = next(e["fullUrl"] for e in whole["entry"] if e["resource"]["resourceType"] == "Patient")
        whole["entry"].append(orders.entry(consent(dog)))
    return whole


def finished(sides: Sides, exam: Exam) -> None:
    sides.hospital.survey(exam)
    sides.hospital.finish(exam)
    sides.carry()
    assert sides.dead() == []


def test_without_the_consent_that_was_agreed_on_nothing_is_referred(meet: Meet) -> None:
    sides = meet({"consent": True})
    issues = refusal(sides.clinic.send(ordered(sides, agreed=False)), 422)
    assert "consent" in issues[0][1]
    taken(sides.clinic.send(ordered(sides, agreed=True)))
    sides.carry()
    assert sides.dead() == []
    assert standing(sides.hospital) == ("received", "received")


def test_a_consent_taken_back_holds_the_report_until_there_is_one_again(meet: Meet) -> None:
    sides = meet({"consent": True})
    taken(sides.clinic.send(ordered(sides, agreed=True)))
    sides.carry()
    exam = accepted_of(sides)
    given = only(sides.clinic.search("Consent"))
    change(sides.clinic, {**given, "status": "inactive"})
    sides.carry()
    assert only(sides.hospital.search("Consent"))["status"] == "inactive"
    finished(sides, exam)
    assert standing(sides.clinic) == ("on-hold", "withheld")
    assert sides.clinic.search("DiagnosticReport") == []
    task = referral(sides.hospital)["id"]
    assert [
        t["id"] for t in sides.hospital.search("Task", **{"business-status": f"{uris.REFERRAL_STATE}|withheld"})
    ] == [task]
    assert refusal(sides.hospital.operate(task, "referral", decision="send", by="Front desk"), 409)
    change(sides.clinic, {**only(sides.clinic.search("Consent")), "status": "active"})
    sides.carry()
    taken(sides.hospital.operate(task, "referral", decision="send", by="Front desk"))
    sides.carry()
    assert sides.dead() == []
    assert standing(sides.clinic) == ("completed", "reported")
    assert only(sides.clinic.search("DiagnosticReport"))["status"] == "final"


def change(desk: Desk, resource: Json) -> None:
    """PUT the resource over the version that it was read from."""
    headers = {"If-Match": f'W/"{resource["meta"]["versionId"]}"'}
    taken(
        desk.http.put(f"{resource['resourceType']}/{resource['id']}", content=exact.encode(resource), headers=headers)
    )


@pytest.mark.parametrize("bills", ["client", "clinic"])
def test_charges_go_to_whoever_is_billed_and_the_clinic_gets_its_own_alone(meet: Meet, bills: str) -> None:
    sides = meet({"bills": bills, "shares": ("report", "charges")})
    exam = accepted(sides)
    finished(sides, exam)
    here = only(sides.hospital.search("Invoice"))
    there = sides.clinic.search("Invoice")
    if bills == "client":
        assert here["recipient"]["reference"].startswith("RelatedPerson/")
        assert there == sides.clinic.search("ChargeItem") == []
        return
    assert here["recipient"]["display"].startswith("Invented clinic")
    own = only(sides.clinic.search("Organization", identifier=f"{uris.ORGANIZATION}|{sides.clinic.slug}"))
    assert only(there)["recipient"]["reference"] == f"Organization/{own['id']}"
    assert only(there)["totalGross"] == here["totalGross"]
    assert only(there)["subject"]["reference"] == referral(sides.clinic)["for"]["reference"]
    assert only(sides.clinic.search("ChargeItem"))["status"] == "billed"
    house = House(sides.books, Catalogues(mappings(), sides.books.catalogue_text))
    month = stretch(here["date"][:7])
    with sides.books.view(sides.clinic.slug) as view:
        assert list(invoices(house, view, month)) == []  # it is no turnover of the clinic's
    with sides.books.view(sides.hospital.slug) as view:
        assert [one.gross.minor for one in invoices(house, view, month)] == [5520]


def test_only_what_the_agreement_covers_and_while_it_holds(meet: Meet) -> None:
    sides = meet({"services": ("full",)})
    to = [{"identifier": {"system": uris.ORGANIZATION, "value": sides.hospital.slug}}]
    assert "full" in refusal(sides.clinic.send(orders.bundle(service="fluid-check", performer=to)), 422)[0][1]
    agreement.end(sides.books, sides.hospital.slug, sides.agreement, day="2026-01-01", by="Somebody")
    assert refusal(sides.clinic.send(orders.bundle(service="full", performer=to)), 422)


@pytest.mark.full
def test_an_order_taken_back_ends_its_referral_before_and_after_it_was_accepted(meet: Meet) -> None:
    for begin in (refer, accepted):
        sides = meet()
        begin(sides)
        sides.carry()
        mine = sides.clinic.get(referral(sides.clinic)["focus"]["reference"])
        change(sides.clinic, {**mine, "status": "revoked"})
        sides.carry()
        assert sides.dead() == []
        assert standing(sides.hospital) == ("cancelled", "cancelled")
        assert standing(sides.clinic) == ("cancelled", "cancelled")


@pytest.mark.full
def test_an_order_whose_exam_has_begun_is_not_given_back_and_the_clinic_is_told_why(meet: Meet) -> None:
    sides = meet()
    exam = accepted(sides)
    sides.hospital.survey(exam)
    sides.carry()
    mine = sides.clinic.get(referral(sides.clinic)["focus"]["reference"])
    change(sides.clinic, {**mine, "status": "revoked"})
    sides.carry()
    assert "begun" in sides.dead()[0]
    assert standing(sides.clinic) == ("in-progress", "in-progress")
    assert "begun" in referral(sides.clinic)["statusReason"]["text"]


@pytest.mark.full
def test_a_merge_and_another_owner_at_the_clinic_are_told_and_the_report_stays_as_it_was(meet: Meet) -> None:
    sides = meet()
    exam = accepted(sides)
    finished(sides, exam)
    before = only(sides.hospital.search("DiagnosticReport"))
    owner = only(sides.clinic.search("RelatedPerson"))
    change(sides.clinic, {**owner, "name": [{"text": "N. Newown"}]})
    kept = taken(sides.clinic.send(orders.patient())).headers["Location"].split("/fhir/")[-1].split("/_history")[0]
    animal = sides.clinic.get(referral(sides.clinic)["for"]["reference"])
    change(sides.clinic, {**animal, "link": [{"other": {"reference": kept}, "type": "replaced-by"}]})
    sides.carry()
    assert sides.dead() == []
    assert only(sides.hospital.search("RelatedPerson"))["name"] == [{"text": "N. Newown"}]
    told = sides.hospital.get(f"Patient/{exam.animal}")
    assert told["link"][0]["type"] == "replaced-by"
    assert (
        sides.hospital.get(told["link"][0]["other"]["reference"])["identifier"][-1]["value"] == kept.partition("/")[2]
    )
    assert only(sides.hospital.search("DiagnosticReport")) == before
