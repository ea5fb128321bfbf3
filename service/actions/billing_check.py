"""What changed since the last look into the exceptions of billing, as Tasks that somebody settles."""

import threading
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from service.actions import tracing
from service.actions.exam_money import exam_charged, exam_shown, exceptions_of, late_before, stray_charge
from service.actions.exam_twins import twins
from service.actions.gathering import all_of
from service.actions.ports import Caller, House, View, Work
from service.actions.writing import decoded, rewrite
from service.basics.errors import Refusal
from service.basics.ids import new_id
from service.billing.exceptions import Found
from service.fhir import exact, uris
from service.fhir.reading.billing_exception import exam_of, identity
from service.fhir.reading.referral import there
from service.fhir.writing import billing_exception as writing

Json = dict[str, Any]
SERIES = "billing-check"
OVERLAP = timedelta(seconds=60)  # what was stamped before the last look and committed after it is seen by the next
WATCHED = ("Procedure", "ChargeItem", "DiagnosticReport")
PASSING = ("refused", "unacknowledged", "estimate-exceeded", "claim-incomplete")  # end by what is not WATCHED
CLOCK = "clock"  # who looks, in the audit
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
Seen = set[tuple[str, int]]


@dataclass(slots=True)
class Changed:
    """What a look has to judge: ids of exams' Tasks and of charges.

    until: the last change seen, in microseconds; window: the versions that the next look may see again."""

    exams: dict[str, None] = field(default_factory=dict)
    charges: dict[str, None] = field(default_factory=dict)
    until: int = 0
    window: Seen = field(default_factory=set)


def check(house: House, organization: str, *, by: Caller | None = None, now: str = "", seen: Seen | None = None) -> int:
    """Bring the exceptions of an organisation up to date; how many were found, came back or are no longer so.

    Any number of processes may do this at once. now: an instant, else the time as it is; seen: versions that this
    process has judged before."""
    who = by or Caller(organization, "practice", (), CLOCK)
    at = now or exact.instant(datetime.now(UTC))
    judged = seen if seen is not None else set()
    with house.books.view(organization) as view:
        before = view.seen_until(SERIES)
        changed = _changed(house, view, before, now=at, seen=judged)
        wrong = [e for e in changed.exams if _differs(house, view, e, now=at)]
        astray = [c for c in changed.charges if _charge_differs(house, view, c)]
    count = sum(_exam(house, who, one, now=at) for one in wrong) + sum(_charge(house, who, one) for one in astray)
    if changed.until > before:
        with house.books.begin(organization) as work:
            work.see(SERIES, max(changed.until, work.seen_until(SERIES)))
    judged.clear()
    judged |= changed.window
    return count


def watch(house: House, organizations: Callable[[], Iterable[str]], *, stop: threading.Event, pause: float) -> None:
    """Look in all organisations, again and again until told to stop; a busy store is asked again next time."""
    seen: dict[str, Seen] = {}
    while not stop.wait(pause):
        with suppress(Refusal):
            for organization in organizations():
                check(house, organization, seen=seen.setdefault(organization, set()))


def _changed(house: House, view: View, before: int, *, now: str, seen: Seen) -> Changed:
    since = exact.instant(max(_EPOCH, _EPOCH + timedelta(microseconds=before) - OVERLAP))
    found = Changed(until=before)
    for type_ in WATCHED:
        for stored in view.since(type_, _micros(since)):
            version = (f"{type_}/{stored.id}", stored.version)
            found.until = max(found.until, _micros(stored.updated))
            found.window.add(version)
            if version not in seen and not stored.deleted:
                _note(house, view, found, decoded(stored))
    late = late_before(house, now)
    gap = datetime.fromisoformat(now) - datetime.fromisoformat(late)
    for post in view.late_posts(exact.instant(max(_EPOCH, datetime.fromisoformat(since) - gap)), late):
        found.exams[post.thread] = None
    kinds = ",".join(f"{uris.BILLING_EXCEPTION}|{kind}" for kind in PASSING)
    for task in all_of(house, view, "Task", code=kinds, status="requested"):
        found.exams[exam_of(task)] = None
    return found


def _note(house: House, view: View, found: Changed, resource: Json) -> None:
    charge = resource["resourceType"] == "ChargeItem"
    exam = exam_charged(house, view, resource) if charge else exam_shown(view, resource)
    if exam is not None:
        found.exams |= dict.fromkeys([exam.id, *(one.id for one in twins(house, view, exam))])
    if charge:
        found.charges[resource["id"]] = None


def _micros(instant: str) -> int:
    return (datetime.fromisoformat(instant) - _EPOCH) // timedelta(microseconds=1)


def _differs(house: House, view: View, id_: str, *, now: str) -> bool:
    exam = view.exam(id_)
    found = exceptions_of(house, view, exam, now=now) if exam else ()
    return bool(_difference(found, _of_exam(house, view, id_)))


def _charge_differs(house: House, view: View, id_: str) -> bool:
    return bool(_difference(_stray(house, view, id_), _of_charge(house, view, id_)))


def _exam(house: House, caller: Caller, id_: str, *, now: str) -> int:
    with house.books.begin(caller.organization) as work:
        exam = work.lock_exam(id_)
        if exam is None:
            return 0
        found = exceptions_of(house, work, exam, now=now)
        return _keep(house, work, caller, found, _of_exam(house, work, id_), exam=exam.id, animal=exam.animal)


def _charge(house: House, caller: Caller, id_: str) -> int:
    with house.books.begin(caller.organization) as work:
        work.hold_invoice_numbers(work.now.year)  # two looks at once: one after the other
        return _keep(house, work, caller, _stray(house, work, id_), _of_charge(house, work, id_))


def _stray(house: House, view: View, id_: str) -> tuple[Found, ...]:
    stored = view.get("ChargeItem", id_)
    if stored is None or stored.deleted or there(decoded(stored)) not in {"", id_}:
        return ()  # gone, or another practice charges it and told us
    found = stray_charge(house, view, decoded(stored))
    return (found,) if found is not None else ()


def _of_exam(house: House, view: View, id_: str) -> list[Json]:
    return all_of(house, view, "Task", code=f"{uris.TASK_CODE}|{writing.TASK}", part_of=f"Task/{id_}")


def _of_charge(house: House, view: View, id_: str) -> list[Json]:
    found = all_of(house, view, "Task", code=f"{uris.TASK_CODE}|{writing.TASK}", focus=f"ChargeItem/{id_}")
    return [task for task in found if not exam_of(task)]


def _difference(found: Iterable[Found], known: Iterable[Json]) -> list[tuple[Found | None, Json | None]]:
    """What is new, (exception, None), what came back, (exception, its Task), and what is gone, (None, its Task)."""
    so = {one.identity: one for one in found}
    tasks = {identity(task): task for task in known}
    new: list[tuple[Found | None, Json | None]] = [(one, None) for key, one in so.items() if key not in tasks]
    back = [(so[key], task) for key, task in tasks.items() if key in so and task["status"] == "cancelled"]
    gone = [(None, task) for key, task in tasks.items() if key not in so and task["status"] == "requested"]
    return [*new, *back, *gone]


def _keep(
    house: House,
    work: Work,
    caller: Caller,
    found: Iterable[Found],
    known: Iterable[Json],
    *,
    exam: str = "",
    animal: str = "",
) -> int:
    rules, at = house.catalogues.current.exceptions, exact.instant(work.now)
    changed = []
    for one, task in _difference(found, known):
        if one is None:
            changed.append(writing.gone(task or {}, now=at))
        elif task is not None:
            changed.append(writing.returned(task, one, now=at))
        else:
            rule = rules[one.kind]
            changed.append(writing.exception_task(new_id(), one, rule, exam=exam, animal=animal, now=at))
    if changed:
        touched = [f"Task/{s.id}" for s in rewrite(work, changed)]
        work.trace(tracing.operation(work, caller, "billing-check", task=exam, entities=touched))
    return len(changed)
