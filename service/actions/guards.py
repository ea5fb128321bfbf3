"""What a plain write may not do because an action does it: the business rules of practices and clinics."""

from collections.abc import Iterator, Sequence
from typing import Any

from service.actions.pending import Pending
from service.actions.performed import is_performed
from service.actions.periods import dated_back
from service.actions.ports import House, View, Work
from service.actions.writing import decoded
from service.basics.errors import Conflict, Fault
from service.fhir import uris
from service.fhir.reading.computed import formula

Json = dict[str, Any]
EVIDENCE = frozenset({"Observation", "Media", "ImagingStudy"})
WAY_OUT = {
    "Task": "it follows the survey: use $settle, $finish or $withdraw on it, $urgent on that of an urgent finding, "
    "$billing-settle on that of an exception of billing, or $referral on that of a referral",
    "Consent": "it is a consent to an estimate: use $consent on the exam's Task",
    "Communication": "it tells an urgent finding: use $urgent, $urgent-attempt or $urgent-acknowledge on its Task",
    "DiagnosticReport": "use $finish, $amend or $withdraw on the exam's Task",
    "Procedure": "it follows the exam: use $finish or $withdraw on the exam's Task; beside it a sample, a "
    "cystocentesis or a drainage is taken, by a code that the mappings know",
    "BodyStructure": "it is the identity of a focal lesion, told by the Observations that record it: send those",
    "ChargeItem": "charges follow the exam: use $finish or $withdraw on its Task",
    "Invoice": "use $bill, $credit or $withdraw on its Task; only a payment is written here: issued becomes balanced",
}


def check(house: House, work: Work, waiting: Sequence[Pending]) -> None:
    """Raise Conflict with every entry that would do by a plain write what only an action may do."""
    exams = _Exams(house, work, {p.id for p in waiting if p.writes and p.entry.type == "ServiceRequest"})
    faults = [
        fault.inside(f"{p.entry.place}.resource") if p.entry.place else fault
        for p in waiting
        if p.writes and p.resource is not None
        for fault in _faults(exams, p, p.resource)
    ]
    if faults:
        raise Conflict(*faults)


class _Exams:
    """Whether a resource belongs to an exam that is there or that this transaction is about to open.

    base: our own base URL, for references that name it; placed: ids of the orders in this transaction."""

    def __init__(self, house: House, work: Work, placed: set[str]) -> None:
        self.house, self.work, self.base, self.placed = house, work, house.base, placed

    def own(self, resource: Json) -> bool:
        """Whether it is one that this service makes: bears our identifier, or hangs on an exam."""
        if resource["resourceType"] == "Consent" and not _to_estimate(resource):
            return False
        systems = {str(i.get("system", "")) for i in resource.get("identifier", []) if isinstance(i, dict)}
        if any(s in {uris.CHARGE_ID, uris.ID, uris.REFERRAL} or s.startswith(uris.INVOICE_NUMBER) for s in systems):
            return True
        return resource["resourceType"] in {"Task", "DiagnosticReport", "Procedure"} and self._hang(resource)

    def done(self, resource: Json) -> bool:
        """Whether it tells of something done in an exam besides it, and is none of ours."""
        ours = any(i.get("system") == uris.ID for i in resource.get("identifier", []) if isinstance(i, dict))
        return not ours and is_performed(resource, self.house.catalogues.current)

    def _hang(self, resource: Json) -> bool:
        references = [*_listed(resource.get("basedOn")), *_listed(resource.get("partOf")), resource.get("focus", {})]
        return any(self._exam(*named(reference, self.base)) for reference in references)

    def _exam(self, type_: str, id_: str) -> bool:
        if type_ == "ServiceRequest":
            return id_ in self.placed or self.work.exam_of_order(id_) is not None
        return type_ == "Task" and self.work.exam(id_) is not None

    def charged(self, resource: Json) -> bool:
        """Whether it charges for what an exam consists of, or bills a charge of an exam."""
        if resource["resourceType"] not in {"ChargeItem", "Invoice"}:
            return False
        found = [
            *resource.get("service", []),
            *(i.get("chargeItemReference", {}) for i in resource.get("lineItem", [])),
        ]
        stored = self.work.get_many(named(one, self.base) for one in found)
        parts = [decoded(one) for one in stored.values() if not one.deleted]
        return any(self.own(part) or (part["resourceType"] in EVIDENCE and self._hang(part)) for part in parts)


def _faults(exams: _Exams, one: Pending, resource: Json) -> Iterator[Fault]:
    kind = one.entry.type
    before = decoded(one.before) if one.before else None
    if before and kind == "Invoice" and _paid(before, resource):
        return
    if kind in WAY_OUT and any(exams.own(r) or exams.charged(r) for r in (resource, before) if r and not exams.done(r)):
        yield Fault("business-rule", f"This {kind} belongs to an exam here; {WAY_OUT[kind]}.", kind)
    if kind == "Invoice":
        yield from dated_back(exams.house, exams.work, resource, before or {})
    if kind == "ServiceRequest" and before:
        yield from _order_changes(exams.work, one.id, before, resource)
    if kind == "Observation" and (key := formula(before or {}) or formula(resource)):
        text = f"This was computed ({key}) and is never typed: correct or withdraw what it is derived from."
        yield Fault("business-rule", text, kind)
    if (
        (kind in EVIDENCE or (before and exams.done(before)))
        and before
        and orders_of(before, exams.base) != orders_of(resource, exams.base)
    ):
        text = "Evidence does not move to another order: set this one to entered-in-error and post it anew."
        yield Fault("business-rule", text, f"{kind}.basedOn")


def _to_estimate(consent: Json) -> bool:
    codings = (c for one in _listed(consent.get("category")) for c in one.get("coding", []))
    return any(c.get("system") == uris.ESTIMATE for c in codings)


def _paid(before: Json, after: Json) -> bool:
    """Whether an issued invoice is told to be paid, and nothing else of it is touched."""
    kept = [{k: v for k, v in one.items() if k not in {"status", "meta"}} for one in (before, after)]
    return kept[0] == kept[1] and (before.get("status"), after.get("status")) == ("issued", "balanced")


def orders_of(resource: Json, base: str) -> frozenset[str]:
    """The ids of the orders that a resource is based on. base: our own base URL, for references that name it."""
    found = (named(r, base) for r in _listed(resource.get("basedOn")))
    return frozenset(id_ for type_, id_ in found if type_ == "ServiceRequest" and id_)


def named(reference: Json, base: str) -> tuple[str, str]:
    """(type, id) that a Reference leads to here, whatever version it names; of one that leads elsewhere neither."""
    link = str(reference.get("reference", "")).removeprefix(f"{base}/").partition("/_history/")[0]
    type_, _, id_ = link.partition("/")
    return (type_, id_) if id_ and "/" not in id_ else ("", "")


def _listed(value: Any) -> list[Json]:
    return value if isinstance(value, list) else [value] if value else []


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
