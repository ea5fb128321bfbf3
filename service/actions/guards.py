"""What a plain write may not do because an action does it: the business rules of practices and clinics."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from service.actions.pending import Pending
from service.actions.ports import View
from service.actions.writing import decoded
from service.basics.errors import Conflict, Fault
from service.fhir import uris

Json = dict[str, Any]
EVIDENCE = frozenset({"Observation", "Media", "ImagingStudy"})
WAY_OUT = {
    "Task": "it follows the survey: use $settle, $finish or $withdraw on it",
    "DiagnosticReport": "use $finish, $amend or $withdraw on the exam's Task",
    "Procedure": "it follows the exam: use $finish or $withdraw on the exam's Task",
    "ChargeItem": "charges follow the exam: use $finish or $withdraw on its Task",
    "Invoice": "its charges are invoiced once by $finish and credited by $withdraw on its Task, and never edited",
}


def check(work: View, waiting: Sequence[Pending]) -> None:
    """Raise Conflict with every entry that would do by a plain write what only an action may do."""
    faults = [
        fault.inside(f"{p.entry.place}.resource") if p.entry.place else fault
        for p in waiting
        if p.writes and p.resource is not None
        for fault in _faults(work, p, p.resource)
    ]
    if faults:
        raise Conflict(*faults)


def _faults(work: View, one: Pending, resource: Json) -> Iterator[Fault]:
    kind = one.entry.type
    before = decoded(one.before) if one.before else None
    if kind in WAY_OUT and (owned(work, resource) or (before and owned(work, before))):
        yield Fault("business-rule", f"This {kind} belongs to an exam here; {WAY_OUT[kind]}.", kind)
    if kind == "ServiceRequest" and before:
        yield from _order_changes(work, one.id, before, resource)
    if kind in EVIDENCE and before and orders_of(before) != orders_of(resource):
        text = "Evidence does not move to another order: set this one to entered-in-error and post it anew."
        yield Fault("business-rule", text, f"{kind}.basedOn")


def owned(work: View, resource: Json) -> bool:
    """Whether the resource is one that this service makes: bears our identifier, or hangs on an exam."""
    systems = {str(i.get("system", "")) for i in resource.get("identifier", []) if isinstance(i, dict)}
    if any(s in {uris.CHARGE_ID, uris.ID} or s.startswith(uris.INVOICE_NUMBER) for s in systems):
        return True
    return any(_of_exam(work, reference) for reference in _hangs_on(resource))


def _hangs_on(resource: Json) -> Iterator[Json]:
    """The references by which a resource would be part of an exam."""
    kind = resource["resourceType"]
    if kind in {"Task", "DiagnosticReport", "Procedure"}:
        yield from (*resource.get("basedOn", []), *resource.get("partOf", []), resource.get("focus", {}))
    if kind == "ChargeItem":
        yield from resource.get("service", [])
    if kind == "Invoice":  # one charge on two invoices would be paid twice
        yield from (line.get("chargeItemReference", {}) for line in resource.get("lineItem", []))


def _of_exam(work: View, reference: Json) -> bool:
    type_, _, id_ = str(reference.get("reference", "")).partition("/")
    if type_ in {"ServiceRequest", "Task"}:
        return (work.exam_of_order if type_ == "ServiceRequest" else work.exam)(id_) is not None
    stored = work.get(type_, id_) if type_ in {"Procedure", "ChargeItem"} else None
    return stored is not None and not stored.deleted and owned(work, decoded(stored))


def orders_of(resource: Json) -> frozenset[str]:
    """The ids of the orders that a resource is based on."""
    given = resource.get("basedOn", [])
    references: Iterable[Json] = given if isinstance(given, list) else [given]
    found = (str(r.get("reference", "")).partition("/") for r in references)
    return frozenset(id_ for type_, _, id_ in found if type_ == "ServiceRequest" and id_)


def _order_changes(work: View, id_: str, before: Json, resource: Json) -> Iterator[Fault]:
    if work.exam_of_order(id_) is None:
        return
    for element in ("subject", "code", "bodySite"):
        if before.get(element) != resource.get(element):
            text = f"The exam was opened with this {element}; revoke the order and place a new one."
            yield Fault("business-rule", text, f"ServiceRequest.{element}")
    if resource.get("status") not in {before.get("status"), "revoked", "active", "on-hold"}:
        text = f"An order with an exam stays active or is revoked; {resource.get('status')} is not taken."
        yield Fault("business-rule", text, "ServiceRequest.status")
    if before.get("status") == "revoked" != resource.get("status"):
        yield Fault("business-rule", "A revoked order is not taken up again; place a new one.", "ServiceRequest.status")
