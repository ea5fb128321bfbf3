"""A clinic whose records stand elsewhere refers by its own token and is told over HTTP; orders that are refused."""

from pathlib import Path

import pytest

from service.access import tokens
from service.basics.agreement import Agreement
from service.commands import agreement
from service.fhir import exact, uris
from tests.api.running import client, register
from tests.builders import orders
from tests.builders.survey import mappings
from tests.referral.conftest import Meet
from tests.referral.test_referral import accepted_of, refer, referral, standing
from tests.whole.telling import found, only, taken


@pytest.mark.full
def test_a_clinic_elsewhere_sends_its_order_and_gets_its_report_over_http(meet: Meet, tmp_path: Path) -> None:
    sides = meet(terms=None)
    slug, label = sides.hospital.slug, f"clinic of {sides.hospital.slug}"
    bearer = register(sides.books, f"records-of-{slug}")  # the clinic's own record system, an instance by itself
    secret = tmp_path / "authorization"
    secret.write_text(f"Bearer {bearer}")
    given = Agreement(id="elsewhere", hospital=slug, client=label, by="Somebody")
    there = {"url": f"{sides.base}/fhir", "authorization": secret}
    agreement.add(sides.books, given, services=mappings().services, **there)
    token = tokens.new_token()
    sides.books.add_token(tokens.fingerprint(token), slug, scopes=("system/*.cruds",), label=label)
    whole = orders.bundle(service="fluid-check")
    with client(f"{sides.base}/fhir/", token) as clinic, client(f"{sides.base}/fhir/", bearer) as records:
        for http in (clinic, records):
            http.headers["Content-Type"] = "application/fhir+json"
            taken(http.post("", content=exact.encode(whole)))
        sides.carry()
        assert sides.dead() == []
        assert sides.hospital.search("Task", code=f"{uris.TASK_FULFIL}|fulfill") == []
        exam = accepted_of(sides)
        sides.hospital.survey(exam)
        sides.hospital.finish(exam)
        sides.carry()
        assert sides.dead() == []
        report = only(found(records, "DiagnosticReport"))
        assert report["subject"]["reference"] == f"Patient/{only(found(records, 'Patient'))['id']}"
        assert only(found(records, "Task"))["status"] == "completed"


def test_what_the_hospital_can_not_take_is_rejected_on_the_clinics_task_in_its_words(meet: Meet) -> None:
    sides = meet()
    number = orders.placer("taken")
    clash = orders.bundle(service="fluid-check")
    clash["entry"][-1]["resource"]["identifier"] = [number]
    taken(sides.hospital.send(clash))  # the same placer number is that of another order there
    refer(sides, identifier=[number])
    sides.carry()
    assert "placer number" in sides.dead()[0] or "is that of" in sides.dead()[0]
    assert standing(sides.clinic) == ("rejected", "rejected")
    assert "is that of" in referral(sides.clinic)["statusReason"]["text"]
