"""What a transaction of a practice means: new orders open exams, evidence settles steps, a revoked order cancels."""

from collections.abc import Iterable, Sequence
from operator import itemgetter
from typing import Any

from service.actions import (
    accept_order,
    cancel_order,
    note_evidence,
    operations_on_record,
    receive_referral,
    refer_order,
    referral_news,
)
from service.actions.gathering import all_of
from service.actions.guards import EVIDENCE, named, orders_of
from service.actions.lookup import Lookup
from service.actions.pending import Pending
from service.actions.performed import is_performed
from service.actions.ports import Caller, House, Work
from service.actions.writing import decoded
from service.basics.errors import Fault, Invalid, Refusal, RuleBroken
from service.basics.stored import Exam
from service.catalogue.catalogue import Catalogue
from service.fhir import uris

Json = dict[str, Any]
Placed = list[tuple[Json, str]]  # resources, each with its place in the Bundle or ""


def admit(
    house: House, work: Work, caller: Caller, waiting: Sequence[Pending], *, ours: Sequence[Fault] = ()
) -> list[Json]:
    """Open exams for new orders, and return what the entries change beside themselves; raises all refusals together.

    ours: what breaks our own rules in the entries; told with what is wrong with the orders, each place once."""
    refusals: list[Refusal] = []
    derived: list[Json] = []
    lookup = Lookup(work, waiting)
    if not caller.agreement:
        referral_news.tell(house, work, waiting, lookup)
    for one in waiting:
        if one.writes and one.entry.type == "ServiceRequest":
            try:
                derived += _order(house, work, caller, one, lookup)
            except Refusal as refusal:
                refusals.append(refusal if one.before is None else _placed(refusal, one))
    told = {f.where for refusal in refusals for f in refusal.faults}
    _raise([*refusals, *(Invalid(f) for f in ours if f.where not in told)])
    reborn = _reborn(waiting)
    exams, faults = _evidence(house, work, waiting, opened=_open_exams(house, work, reborn))
    if faults:
        raise RuleBroken(*faults)
    for exam, found in _with_operations(house, work, exams, waiting):
        resources, places = [r for r, _ in found], [place for _, place in found]
        derived += note_evidence.note(house, work, caller, exam, resources, places=places, patients=reborn)
    return derived


def _order(house: House, work: Work, caller: Caller, one: Pending, lookup: Lookup) -> list[Json]:
    resource = one.resource or {}
    if one.before is None:
        _hold_animal(work, resource, house.base, lookup)
        return _placed_order(house, work, caller, resource, lookup=lookup)
    if resource.get("status") == "revoked" and decoded(one.before).get("status") != "revoked":
        if caller.agreement and work.exam_of_order(one.id) is None:
            receive_referral.revoked(house, work, resource, lookup=lookup)
            return []
        return cancel_order.cancel(house, work, caller, resource)
    return []


def _placed_order(house: House, work: Work, caller: Caller, order: Json, *, lookup: Lookup) -> list[Json]:
    """An order to another organisation or from one is a referral; any other one opens its exam."""
    if caller.agreement:
        return receive_referral.receive(house, work, caller, order, lookup=lookup)
    hospital = refer_order.addressee(work, order, lookup)
    if hospital:
        refer_order.refer(house, work, order, hospital=hospital, lookup=lookup)
    else:
        accept_order.accept(house, work, caller, order, lookup=lookup)
    return []


def _hold_animal(work: Work, order: Json, base: str, lookup: Lookup) -> None:
    """Nobody deletes the animal while its exam is opened."""
    type_, id_ = named(order.get("subject", {}), base)
    if type_ == "Patient" and f"Patient/{id_}" not in lookup.written:
        work.hold(type_, id_)


def _reborn(waiting: Sequence[Pending]) -> dict[str, Json]:
    """The animals whose day of birth becomes another: what was measured of them is judged anew."""
    changed = {p.id: p for p in waiting if p.writes and p.entry.type == "Patient" and p.before and p.resource}
    return {
        id_: p.resource
        for id_, p in changed.items()
        if p.resource and p.before and p.resource.get("birthDate") != decoded(p.before).get("birthDate")
    }


def _open_exams(house: House, work: Work, animals: Iterable[str]) -> list[str]:
    """The Tasks of the exams of these animals that still take evidence."""
    criteria = {"code": f"{uris.TASK_FULFIL}|fulfill", "status": "in-progress"}
    return [t["id"] for one in animals for t in all_of(house, work, "Task", patient=f"Patient/{one}", **criteria)]


def _with_operations(
    house: House, work: Work, exams: Iterable[tuple[Exam, Placed]], waiting: Sequence[Pending]
) -> list[tuple[Exam, Placed]]:
    """The exams with the operations on their animals' records that this transaction brings."""
    found = {exam.id: (exam, placed) for exam, placed in exams}
    for task, resource, place in sorted(operations_on_record.noted(house, work, waiting), key=itemgetter(0)):
        exam = found[task][0] if task in found else work.lock_exam(task)
        if exam is not None:
            found.setdefault(task, (exam, []))[1].append((resource, place))
    return list(found.values())


def _evident(resource: Json, rules: Catalogue) -> bool:
    return resource["resourceType"] in EVIDENCE or is_performed(resource, rules)


def _evidence(
    house: House, work: Work, waiting: Sequence[Pending], *, opened: Iterable[str] = ()
) -> tuple[list[tuple[Exam, Placed]], list[Fault]]:
    """The evidence among the entries by exam (locked, in one order), and what hangs on no order that we know.

    opened: exams that are looked at in any case."""
    base, rules = house.base, house.catalogues.current
    known: dict[str, Exam | None] = {}
    exams: dict[str, Placed] = {task: [] for task in opened}
    faults: list[Fault] = []
    for one in waiting:
        if not one.writes or one.resource is None or not _evident(one.resource, rules):
            continue
        for order in sorted(orders_of(one.resource, base)):
            if order not in known:
                known[order] = work.exam_of_order(order)
            exam = known[order]
            place = f"{one.entry.place}.resource" if one.entry.place else one.entry.type
            if exam is None and one.entry.type not in EVIDENCE:
                continue  # what was done for another order is none of ours
            if exam is None:
                faults.append(
                    Fault("not-found", f"There is no order ServiceRequest/{order} with an exam.", f"{place}.basedOn")
                )
            elif named(one.resource.get("subject", {}), base) != ("Patient", exam.animal):
                text = f"The order is for Patient/{exam.animal}; this is about another animal or none."
                faults.append(Fault("business-rule", text, f"{place}.subject"))
            else:
                exams.setdefault(exam.id, []).append((one.resource, place if one.entry.place else ""))
    locked = [(work.lock_exam(task), found) for task, found in sorted(exams.items())]
    return [(exam, found) for exam, found in locked if exam is not None], faults


def _placed(refusal: Refusal, one: Pending) -> Refusal:
    return refusal.inside(f"{one.entry.place}.resource") if one.entry.place else refusal


def _raise(refusals: Sequence[Refusal]) -> None:
    if refusals:
        raise type(refusals[0])(*(f for r in refusals for f in r.faults))
