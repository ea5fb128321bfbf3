"""The Tasks and the Communication of an urgent finding into its record."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.exam import urgent_state
from service.exam.entries import RETRACTED
from service.exam.survey import Entry
from service.exam.urgent_record import Attempt, UrgentRecord
from service.exam.urgent_state import FINDING_TASK, MESSAGE_TASK
from service.fhir import uris
from service.fhir.reading.task import entries, read_basis

Json = dict[str, Any]
ON_EXAM = "urgent:"  # how an entry of the exam's Task begins that names an urgent finding


def kind(task: Json) -> str:
    """FINDING_TASK or MESSAGE_TASK for the Tasks of an urgent finding, "" for any other."""
    codes = {c.get("code") for c in _codings(task) if c.get("system") == uris.TASK_CODE}
    return next((one for one in (FINDING_TASK, MESSAGE_TASK) if one in codes), "")


def found_on(task: Json) -> dict[str, str]:
    """What an exam's Task names as urgent: key -> id of the finding's Task."""
    held = (e for e in entries(task) if e.item.startswith(ON_EXAM))
    return {e.item.removeprefix(ON_EXAM): e.source.partition("/")[2] for e in held}


def species(task: Json) -> str:
    """The species of the animal of an exam's Task."""
    return read_basis(task)[0].species


def code(task: Json) -> str:
    """The code of the urgent finding."""
    return next((str(c["code"]) for c in _codings(task) if c.get("system") == uris.URGENT), "")


def tier(task: Json) -> int:
    """How urgent it is, 1 to 3."""
    return int(_extension(task, uris.X_TIER).get("valuePositiveInt", 1))


def identified(task: Json) -> str:
    """The instant at which its clock began."""
    return str(task.get("restriction", {}).get("period", {}).get("start", ""))


def escalates(task: Json) -> str:
    """The instant at which somebody else is to be tried."""
    return str(_extension(task, uris.X_ESCALATE).get("valueInstant", ""))


def due(task: Json) -> str:
    """The instant by which it must be received."""
    return str(task.get("restriction", {}).get("period", {}).get("end", ""))


def messages_of(finding: Json) -> list[str]:
    """The ids of the Tasks of telling somebody, the last one last."""
    return [e.source.partition("/")[2] for e in urgent_state.live(entries(finding), urgent_state.MESSAGE)]


def message_of(finding: Json) -> str:
    """The id of the Task of telling somebody that counts, the last one; "" when there is none."""
    return next(reversed(messages_of(finding)), "")


def record(finding: Json, message: Json | None = None, communication: Json | None = None) -> UrgentRecord:
    """The whole record of one urgent finding."""
    held = entries(finding)
    said = urgent_state.decision(held)
    told = entries(message) if message else ()
    spoken = next(iter(urgent_state.live(told, urgent_state.ACKNOWLEDGED)), None)
    receipt = next(iter(urgent_state.live(told, "received:")), None)
    leading = message or finding
    return UrgentRecord(
        finding=f"Task/{finding['id']}",
        code=code(finding),
        title=str(finding.get("description", "")),
        tier=tier(leading),
        state=_state(finding),
        identified_at=identified(finding),
        escalates_at=escalates(leading),
        due=due(leading),
        because=tuple(e.value for e in urgent_state.live(held, urgent_state.BECAUSE)),
        decided_by=said.by if said else "",
        decided_at=said.at if said else "",
        reason=said.note if said else "",
        message=f"Task/{message['id']}" if message else "",
        message_state=_state(message) if message else "",
        communication=f"Communication/{communication['id']}" if communication else "",
        responsible=_name(message.get("owner", {})) if message else "",
        attempts=tuple(_attempt(e) for e in urgent_state.live(told, urgent_state.ATTEMPT)),
        passed_on_to=tuple(e.value for e in urgent_state.live(told, urgent_state.PASSED_ON)),
        communicated_by=spoken.by if spoken else "",
        communicated_to=spoken.value if spoken else "",
        method=spoken.item.partition(":")[2] if spoken else "",
        communicated_at=spoken.at if spoken else "",
        received_at=receipt.at if receipt else "",
        read_back=receipt.item == "received:read-back" if receipt else None,
        remark=spoken.note if spoken else "",
        included_in=tuple(f"{e.source}, version {e.value}" for e in urgent_state.live(held, urgent_state.INCLUDED)),
    )


def history(finding: Json) -> Sequence[Entry]:
    """The decisions that were taken back, in their order."""
    return [e for e in entries(finding) if e.item.startswith(f"{RETRACTED}decision:")]


def _attempt(entry: Entry) -> Attempt:
    return Attempt(entry.at, entry.by, entry.value, entry.item.partition(":")[2], entry.note)


def _state(task: Json) -> str:
    codings: Iterable[Json] = task.get("businessStatus", {}).get("coding", [])
    return next((str(c["code"]) for c in codings if c.get("system") == uris.URGENT_STATE), "")


def _codings(task: Json) -> list[Json]:
    found: list[Json] = task.get("code", {}).get("coding", [])
    return found


def _name(reference: Json) -> str:
    return str(reference.get("display") or reference.get("reference") or "")


def _extension(element: Json, url: str) -> Json:
    found: Json = next((e for e in element.get("extension", []) if e.get("url") == url), {})
    return found
