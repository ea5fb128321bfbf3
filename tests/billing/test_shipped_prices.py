"""The price list that is shipped, over HTTP on both engines: each of its rows is found by what an exam shows."""

from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest

from service.actions.billing_check import check
from service.fhir import exact, uris
from service.store import SqlBooks
from tests.api.running import client, register
from tests.builders.bills import house
from tests.builders.counter import Counter, lines, note
from tests.builders.orders import concept, patient

Made = Callable[..., Counter]
NIGHT = "2026-11-25T19:00:00Z"


@pytest.fixture
def at(books: SqlBooks, base: str, practice: Callable[..., str]) -> Iterator[Made]:
    opened: list[httpx.Client] = []

    def made(**settings: Any) -> Counter:
        slug = practice(**settings)
        opened.append(client(base, register(books, slug)))
        opened[-1].headers["Content-Type"] = "application/fhir+json"
        return Counter(books, slug, opened[-1])

    yield made
    for http in opened:
        http.close()


def test_what_an_exam_shows_is_charged_by_the_shipped_list(at: Made) -> None:
    counter = at()
    grade = [{"code": concept(uris.GRADE, "specialist")}]
    reader = counter.post({"resourceType": "Practitioner", "name": [{"text": "Dr S. Pecial"}], "qualification": grade})
    signer = {"reference": f"Practitioner/{reader['id']}"}
    done = [note("clipping"), note("image-export"), note("call-out")]
    _, said = counter.finished(*done, priority="stat", interpreter=signer)
    assert "unbilled" not in said
    assert lines(counter.get(said["invoice"][0])) == {
        "fluid-check": ("1", "46.00"),
        "clipping": ("1", "8.00"),
        "export": ("1", "12.00"),
        "call-out": ("1", "65.00"),
        "urgent-fee": ("1", "38.00"),
        "specialist": ("1", "75.00"),
    }


@pytest.mark.full
@pytest.mark.parametrize(("priority", "when"), [("urgent", {}), ("asap", {}), ("stat", {"at": NIGHT})])
def test_the_slot_is_charged_for_stat_only_and_gives_way_at_night(at: Made, priority: str, when: Any) -> None:
    _, said = (counter := at()).finished(priority=priority, **when)
    assert "unbilled" not in said
    assert "urgent-fee" not in lines(counter.get(said["invoice"][0]))


def test_who_does_not_come_is_charged_the_shipped_fee(at: Made) -> None:
    counter = at(noShowHours=24)
    request, _, _ = counter.order(occurrenceDateTime="2026-11-25T20:00:00Z")
    order = counter.get(f"ServiceRequest/{request}")
    tag = counter.http.get(f"/fhir/ServiceRequest/{request}").headers["etag"]
    revoked = exact.encode({**order, "status": "revoked"})
    assert counter.http.put(f"/fhir/ServiceRequest/{request}", content=revoked, headers={"If-Match": tag}).is_success
    (found,) = exact.decode(counter.http.get("/fhir/Invoice").content)["entry"]
    assert lines(found["resource"]) == {"no-show": ("1", "30.00")}


@pytest.mark.full
def test_b32_a_fluid_check_that_was_billed_before_the_full_survey_of_its_day_is_listed(at: Made) -> None:
    counter = at(fluidCheckApart=False)
    animal = patient("B32-before")
    check_, said = counter.finished(animal=animal)
    assert "invoice" in said
    _, exam, _ = counter.order(animal=animal, owners=0, service="full")
    left = {"remaining": "time-limited", "detail": "Unstable"}
    assert counter.operate(exam, "finish", interpreter="Dr I. Reader", conclusion="Stopped.", **left).is_success
    check(house(counter.books), counter.slug, now="2026-11-25T10:00:10.000Z")
    (found,) = counter.http.get("/fhir/Task?code=billing-exception&status=requested").json()["entry"]
    assert found["resource"]["description"] == f"The full survey of the same day covers this fluid check: Task/{exam}."
    assert found["resource"]["focus"]["reference"] == f"Task/{check_}"


@pytest.mark.full
def test_b32_a_fluid_check_on_the_day_of_a_full_survey_and_a_recheck_that_comes_late(at: Made) -> None:
    counter = at(fluidCheckApart=False, recheckDays=10)
    animal = patient("B32-chip")
    _, exam, _ = counter.order(animal=animal, service="full")
    left = {"remaining": "time-limited", "detail": "Unstable"}
    assert counter.operate(exam, "finish", interpreter="Dr I. Reader", conclusion="Stopped.", **left).is_success
    _, check = counter.finished(animal=animal, owners=0)
    assert "invoice" not in check
    organs = [concept(uris.STRUCTURE, "spleen")]
    days = ("2026-12-04T10:00:00Z", "2026-12-07T10:00:00Z")  # nine days later, and twelve
    shown = [counter.finished(animal=animal, owners=0, service="recheck", bodySite=organs, at=one) for one in days]
    assert [list(lines(counter.get(said["invoice"][0]))) for _, said in shown] == [["recheck"], ["limited"]]
    assert "No full survey in the 10 days before" in counter.charges(shown[1][0])[-1]["note"][-1]["text"]
