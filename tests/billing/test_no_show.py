"""The fee of an order revoked too late: no exception by itself, credited like any invoice, billed anew once."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from service.fhir import exact, uris
from tests.builders.counter_desk import Desk

Json = dict[str, Any]
SOON = "2026-11-25T20:00:00Z"  # the clock stands at 10:00
CREDITED = {"reason": "The animal had died", "by": "B. Keeper"}


def revoked(desk: Desk, **order: Any) -> str:
    """The exam of an order that was revoked before it began."""
    request, exam = desk.order(priority="routine", occurrenceDateTime=SOON, **order)
    path = f"/fhir/ServiceRequest/{request}"
    answer = desk.http.get(path)
    body = exact.encode({**exact.decode(answer.content), "status": "revoked"})
    assert desk.http.put(path, content=body, headers={"If-Match": answer.headers["etag"]}).is_success
    return exam


def fees(desk: Desk) -> list[tuple[str, str]]:
    """(correction, state) of each fee."""
    found = desk.http.get("/fhir/ChargeItem", params={"code": f"{uris.CHARGE}|no-show"}).json().get("entry", [])
    items = [e["resource"] for e in found]
    return sorted((i["identifier"][0]["value"].rpartition("|")[2], i["status"]) for i in items)


def total(desk: Desk) -> Decimal:
    found = exact.decode(desk.http.get("/fhir/Invoice").content).get("entry", [])
    return sum((e["resource"]["totalGross"]["value"] for e in found), start=Decimal(0))


def test_a_fee_can_be_taken_back_and_charged_anew_once(
    desk_of: Callable[[str], Desk], practice: Callable[..., str]
) -> None:
    desk = desk_of(practice(noShowHours=24))
    exam = revoked(desk)
    assert fees(desk) == [("0", "billed")]
    assert total(desk) > 0
    assert desk.check() == 0
    assert desk.open() == []
    first = desk.operate(exam, "credit", **CREDITED)
    assert first.is_success, first.text
    assert desk.operate(exam, "credit", **CREDITED).content == first.content
    assert (total(desk), fees(desk)) == (0, [("0", "entered-in-error")])
    assert desk.operate(exam, "bill", by="B. Keeper").is_success
    assert total(desk) == 0  # nobody asked for it again
    for _ in range(2):
        assert desk.operate(exam, "bill", by="B. Keeper", again=True).is_success
        assert fees(desk) == [("0", "entered-in-error"), ("1", "billed")]
    assert desk.check() == 0
    assert desk.operate(exam, "credit", reason="Again", by="B. Keeper").is_success
    assert total(desk) == 0


def test_a_fee_whose_payer_is_not_clear_is_listed_until_it_is_billed(
    desk_of: Callable[[str], Desk], practice: Callable[..., str]
) -> None:
    desk = desk_of(practice(noShowHours=24))
    exam = revoked(desk, owners=2)
    assert fees(desk) == [("0", "billable")]
    assert desk.check() == 1
    assert desk.open() == [("payer-unclear", f"Task/{exam}")]
    owners = exact.decode(desk.http.get("/fhir/RelatedPerson").content)["entry"]
    gone = owners[0]["resource"]
    path = f"/fhir/RelatedPerson/{gone['id']}"
    assert desk.http.put(path, content=exact.encode({**gone, "active": False})).is_success
    assert desk.operate(exam, "bill", by="B. Keeper").is_success
    assert fees(desk) == [("0", "billed")]
    assert desk.check() == 1
    assert desk.open() == []


@pytest.mark.parametrize("name", ["credit", "bill"])
def test_an_order_revoked_in_time_has_nothing_to_credit_or_bill(desk: Desk, name: str) -> None:
    exam = revoked(desk)  # the practice charges nobody for not coming
    answer = desk.operate(exam, name, **(CREDITED if name == "credit" else {"by": "B. Keeper"}))
    assert answer.status_code == (409 if name == "credit" else 200)
    assert (fees(desk), total(desk), desk.check()) == ([], 0, 0)
