"""The hospital's own record system learns of a referral when it is accepted, so that the report finds its animal."""

from pathlib import Path

from service.commands import destination
from tests.api.running import client, register
from tests.referral.conftest import Meet
from tests.referral.test_referral import accepted
from tests.whole.telling import found, only


def test_a_record_system_that_never_heard_of_the_animal_gets_order_and_report(meet: Meet, tmp_path: Path) -> None:
    sides = meet()
    bearer = register(sides.books, f"records-of-{sides.hospital.slug}")
    secret = tmp_path / "authorization"
    secret.write_text(f"Bearer {bearer}")
    there = {"organization": sides.hospital.slug, "name": "records", "url": f"{sides.base}/fhir"}
    destination.add(sides.books, **there, authorization=secret)
    exam = accepted(sides)
    sides.hospital.survey(exam)
    sides.hospital.finish(exam)
    sides.carry()
    assert sides.dead() == []
    with client(f"{sides.base}/fhir/", bearer) as records:
        report = only(found(records, "DiagnosticReport"))
        animal = only(found(records, "Patient"))
        assert report["subject"]["reference"] == f"Patient/{animal['id']}"
        assert only(found(records, "ServiceRequest"))["subject"]["reference"] == f"Patient/{animal['id']}"
        assert only(found(records, "RelatedPerson"))["patient"]["reference"] == f"Patient/{animal['id']}"
