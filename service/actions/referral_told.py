"""What happens in the exam of a referral, told to the clinic that referred, and to whoever else had a report of it."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.actions import receive_referral, refer_order, referral_sending
from service.actions.case import Case, open_case
from service.actions.gathering import all_of
from service.actions.lookup import Lookup
from service.actions.ports import Caller, House, View, Work
from service.actions.writing import rewrite
from service.basics.agreement import PREFIX, REFERRAL, Agreement
from service.basics.errors import Conflict, Fault
from service.basics.stored import Exam, Post
from service.fhir import exact, uris
from service.fhir.reading import referral as reading
from service.fhir.writing import referral as writing

Json = dict[str, Any]
STATE = {"finished": "reported", "amended": "reported", "withdrawn": "withdrawn", "cancelled": "cancelled"}
ALWAYS = frozenset({"Communication", "Task"})  # of what is urgent
OF = {
    "report": frozenset({"DiagnosticReport", "Observation", "BodyStructure"}),
    "images": frozenset({"Media", "ImagingStudy"}),
    "charges": frozenset({"ChargeItem", "Invoice"}),
}
MISSING = "Not sent: the agreement asks for the owner's consent, and none is here. Once it is: $referral with send."


def of_exam(house: House, view: View, exam: Exam) -> Json | None:
    """The Task of the referral that an exam came of; None where nobody referred, for the price of one look."""
    if not any(name.startswith(PREFIX) for name, _ in view.routes()):
        return None
    found = all_of(
        house, view, "Task", code=f"{uris.TASK_CODE}|{REFERRAL}", focus=f"ServiceRequest/{exam.order}"
    )
    return found[0] if found else None


def posts(
    house: House, work: Work, case: Case, event: str, resources: Sequence[Json], *, key: str, urgent: bool
) -> list[Post]:
    """What an event of an exam promises the clinic that referred it; its Task there and here says how it stands."""
    task = of_exam(house, work, case.exam)
    agreed = referral_sending.agreement(work, reading.agreement_of(task)) if task else None
    if task is None or agreed is None:
        return []
    now, lookup = exact.instant(work.now), Lookup(work)
    held = _withheld(house, work, case, agreed, now=now)
    state = "withheld" if held and event in {"finished", "amended"} else STATE.get(event, "")
    if state and not urgent:
        task = writing.moved(task, state, now=now, reason=MISSING if state == "withheld" else "")
        rewrite(work, [task])
    shared = [] if held and event != "withdrawn" else _shared(resources, agreed, lookup, urgent=urgent)
    if not shared and not state:
        return []
    name = referral_sending.way(work, agreed.id)
    names = referral_sending.names_there(lookup, task, case.request, in_house=bool(agreed.clinic))
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
    task = of_exam(house, work, exam)
    agreed = referral_sending.agreement(work, reading.agreement_of(task)) if task else None
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
    agreed = referral_sending.agreement(work, reading.agreement_of(task))
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


def _shared(resources: Sequence[Json], agreed: Agreement, lookup: Lookup, *, urgent: bool) -> list[Json]:
    """What the agreement lets the clinic have: of money only what the clinic itself is billed."""
    if urgent:
        return list(resources)
    types = frozenset[str]().union(*(OF[share] for share in agreed.shares))
    own = _own_charges(resources, agreed, lookup)
    return [
        one
        for one in resources
        if one["resourceType"] in types and (one["resourceType"] not in OF["charges"] or one["id"] in own)
    ]


def _own_charges(resources: Sequence[Json], agreed: Agreement, lookup: Lookup) -> set[str]:
    found: set[str] = set()
    for one in resources:
        if one["resourceType"] != "Invoice":
            continue
        recipient = lookup.find(str(one.get("recipient", {}).get("reference", ""))) or {}
        numbers = {
            str(i.get("value", "")) for i in recipient.get("identifier", []) if i.get("system") == uris.ORGANIZATION
        }
        if agreed.clinic in numbers:
            lines = (str(line.get("chargeItemReference", {}).get("reference", "")) for line in one.get("lineItem", []))
            found |= {one["id"], *(line.partition("/")[2] for line in lines)}
    return found


def _of_exam(papers: Iterable[Json], exam: Exam) -> list[Json]:
    return [one for one in papers if f"Task/{exam.id}" in str(one)]
