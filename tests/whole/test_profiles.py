"""All that a practice has after an exam, its invoice and their withdrawal keeps to our profiles and to R4."""

from collections import Counter

import pytest

from service.fhir import exact, profiles, uris, validate
from tests.builders.orders import parameters
from tests.whole.telling import OURS, Desk, taken

pytestmark = pytest.mark.sqlite_first


def test_what_the_service_writes_keeps_to_its_profiles(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    taken(desk.note(exam.scanner.measured("urinary_bladder", "wall-thickness", "1.4", plane="long")))
    taken(desk.note(exam.scanner.lesion("urinary_bladder")))
    step = next(code for code in desk.steps(exam, status="ready") if code != "urinary_bladder")
    taken(desk.settle(exam, step, disposition="not-seen", reason="gas", performer="Dr R. Ferrer"))
    taken(desk.operate(exam.id, "urgent", finding="free-gas", by="Examiner"))
    desk.survey(exam)
    desk.finish(exam)
    taken(
        desk.http.post(
            f"Task/{exam.id}/$withdraw",
            content=exact.encode(parameters({"reason": "wrong animal", "by": "Dr I. Reader"})),
        )
    )
    kept: Counter[str] = Counter()
    for type_ in (*OURS, "BodyStructure", "Communication", "Patient", "ServiceRequest"):
        for resource in desk.search(type_):
            assert validate.check(resource) == []
            for url in profiles.known_by_sign(resource) or [f"{uris.BASE}/StructureDefinition/order"] * (
                type_ == "ServiceRequest"
            ):
                assert profiles.against(resource, url) == [], resource
                kept[profiles.PROFILES[url].name] += 1
    sent = {"pre-authorisation"}  # what record systems alone write
    assert set(kept) == {profile.name for profile in profiles.PROFILES.values()} - sent
    assert kept["invoice"] == 2
