"""What happens in the exam of a referral, told to the clinic that referred, and to whoever else had a report of it."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.actions import receive_referral, refer_order, referral_sending
from service.actions.case import Case, open_case
from service.actions.gathering import all_of
from service.actions.lookup import Lookup
from service.actions.ports import Caller, House, View, Work
from service.actions.referral_of import agreed_on, clinic_of, referral_of
from service.actions.writing import rewrite
from service.basics.agreement import Agreement
from service.basics.errors import Conflict, Fault
from service.basics.stored import Exam, Post
from service.fhir import exact
from service.fhir.reading import referral as reading
from service.fhir.writing import referral as writing
from service.fhir.writing.delivery import reference_of

Json = dict[str, Any]
STATE = {"finished": "reported", "amended": "reported", "withdrawn": "withdrawn", "cancelled": "cancelled"}
OF = {
    "report": frozenset({"DiagnosticReport", "Observation", "BodyStructure"}),
    "images": frozenset({"Media", "ImagingStudy"}),
    "charges": frozenset({"ChargeItem", "Invoice"}),
}
MISSING = "Not sent: the agreement asks for the owner's consent, and none is here. Once it is: $referral with send."


def posts(
    house: House, work: Work, case: Case, event: str, resources: Sequence[Json], *, key: str, urgent: bool
) -> list[Post]:
    """What an event of an exam promises the clinic that referred it; its Task there and here says how it stands."""
    task = referral_of(house, work, case.exam.order)
    agreed = agreed_on(work, task)
    if task is None or agreed is None:
        return []
    now, lookup = exact.instant(work.now), Lookup(work)
    held = _withheld(house, work, case, agreed, now=now)
    state = "withheld" if held and event in {"finished", "amended"} else STATE.get(event, "")
    if state and not urgent:
        task = writing.moved(task, state, now=now, reason=MISSING if state == "withheld" else "")
        rewrite(work, [task])
    clinic = clinic_of(house, work, agreed, _asked(lookup, case))
    shared = [] if held and event != "withdrawn" else _shared(resources, agreed, clinic, urgent=urgent)
    if not shared and not state:
        return []
    name = referral_sending.way(work, agreed.id)
    names = referral_sending.names_there(lookup, task, case.request, in_house=bool(agreed.clinic))
    names |= {reference_of(clinic): called} if clinic and (called := _called(clinic, agreed)) else {}
    told = [*([case.organization] if case.organization else []), *shared, *([] if urgent else [task])]
    number = reading.number(task)
    return (
        [referral_sending.made(house, work, name, told, names=names, event=event, number=number, key=key)]
        if name
        else []
    )


def begun(house: House, work: Work, exam: Exam) -> None:
    """Tell the clinic that the exam it referred has begun; exam: as it was before what is being done."""
    by_now = work.exam(exam.id) if exam.state == "accepted" else None
    if by_now is None or by_now.state != "in-progress":
        return
    task = referral_of(house, work, exam.order)
    agreed = agreed_on(work, task)
    if task is None or agreed is None or reading.state(task) not in {"accepted", "scheduled"}:
        return
    lookup = Lookup(work)
    task = writing.moved(task, "in-progress", now=exact.instant(work.now))
    rewrite(work, [task])
    request = lookup.find(f"ServiceRequest/{exam.order}") or {}
    receive_referral.tell(house, work, task, request, agreed=agreed, lookup=lookup, event="in-progress")


def send_again(house: House, work: Work, caller: Caller, task: Json, *, by: str) -> Json:
    """Send the report as it stands by now, with what goes with it; raises Conflict while consent is missing still."""
    exam = work.exam_of_order(str(task["focus"]["reference"]).partition("/")[2])
    if exam is None or not exam.report:
        raise Conflict(Fault("business-rule", "There is no report that could be sent.", "Task.businessStatus"))
    case, now = open_case(house, work, caller, exam), exact.instant(work.now)
    agreed = agreed_on(work, task)
    if agreed is not None and _withheld(house, work, case, agreed, now=now):
        raise Conflict(Fault("business-rule", MISSING, "Task.businessStatus"))
    report = Lookup(work).find(f"DiagnosticReport/{exam.report}")
    charges = all_of(house, work, "Invoice", subject=f"Patient/{exam.animal}")
    rewrite(work, [writing.moved(task, reading.state(task), now=now, by=by, reason="sent again")])
    told = [*([report] if report else []), *case.observations, *case.images, *_of_exam(charges, exam)]
    key = f"{reading.number(task)}:sent:{int(task['meta']['versionId']) + 1}"
    work.post(posts(house, work, case, "finished", told, key=key, urgent=False))
    return Lookup(work).find(f"Task/{task['id']}") or task


def _withheld(house: House, work: View, case: Case, agreed: Agreement, *, now: str) -> bool:
    if not agreed.consent:
        return False
    lookup = Lookup(work)
    animals = {f"Patient/{case.exam.animal}", *_told_as(case)}
    given = [one for animal in animals for one in refer_order.consents_of(house, work, animal, lookup)]
    return not reading.consents(given, day=now[:10])


def _told_as(case: Case) -> Iterable[str]:
    links = (one for one in case.patient.get("link", []) if one.get("type") == "replaces")
    return [str(one.get("other", {}).get("reference", "")) for one in links]


def _called(clinic: Json, agreed: Agreement) -> str:
    return referral_sending.called(clinic, in_house=bool(agreed.clinic))


def _asked(lookup: Lookup, case: Case) -> Json | None:
    found = referral_sending.asking(lookup, case.request)
    return next((one for one in found if one["resourceType"] == "Organization"), None)


def _shared(resources: Sequence[Json], agreed: Agreement, clinic: Json | None, *, urgent: bool) -> list[Json]:
    """What the agreement lets the clinic have: of money only what the clinic itself is billed."""
    if urgent:
        return list(resources)
    types = frozenset[str]().union(*(OF[share] for share in agreed.shares))
    own = _own_charges(resources, clinic)
    return [
        one
        for one in resources
        if one["resourceType"] in types and (one["resourceType"] not in OF["charges"] or one["id"] in own)
    ]


def _own_charges(resources: Sequence[Json], clinic: Json | None) -> set[str]:
    """Ids of the invoices that the clinic itself is billed, and of the charges on them."""
    found: set[str] = set()
    for one in resources:
        recipient = str(one.get("recipient", {}).get("reference", ""))
        if one["resourceType"] == "Invoice" and clinic and recipient == reference_of(clinic):
            lines = (str(line.get("chargeItemReference", {}).get("reference", "")) for line in one.get("lineItem", []))
            found |= {one["id"], *(line.partition("/")[2] for line in lines)}
    return found


def _of_exam(papers: Iterable[Json], exam: Exam) -> list[Json]:
    return [one for one in papers if f"Task/{exam.id}" in str(one)]
