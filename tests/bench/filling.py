"""Many invented exams, straight into the store: ten resources each, as a practice's years leave them behind."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from service.basics.stored import Record, Stored
from service.fhir import exact, search, uris
from service.store import SqlBooks

Json = dict[str, Any]
EACH = 10  # resources of an exam
VISITS = 4  # exams of one animal
MEASURES = ("length", "width", "height", "thickness", "diameter")
NAMES = ("Quill", "Feather", "Bramble", "Thistle", "Pebble", "Juniper", "Sorrel", "Tansy")
_BEGAN = datetime(2020, 1, 1, 8, tzinfo=UTC)
_STEP = timedelta(seconds=600)
_PART = 200  # exams in one commit


def name_of(animal: int) -> str:
    """What an animal is called: one of few words, and a number that no other has."""
    return f"{NAMES[animal % len(NAMES)]} {animal // len(NAMES):06d}"


def day_of(n: int) -> str:
    """The date of an exam."""
    return _at(n)[:10]


def fill(books: SqlBooks, organization: str, *, first: int, end: int) -> None:
    """Store the exams from one number up to another, in the order of their time."""
    for start in range(first, end, _PART):
        with books.begin(organization) as work:
            numbers = range(start, min(start + _PART, end))
            work.put([_record(organization, one, at=_at(n)) for n in numbers for one in resources(n)])


def _at(n: int) -> str:
    return exact.instant(_BEGAN + n * _STEP)


def _record(organization: str, resource: Json, *, at: str) -> Record:
    meta = {"versionId": "1", "lastUpdated": at}
    whole = {"resourceType": resource["resourceType"], "id": resource["id"], "meta": meta} | resource
    stored = Stored(whole["resourceType"], whole["id"], 1, at, exact.encode(whole))
    return Record(stored, search.keys(organization, whole))


def resources(n: int) -> Iterator[Json]:
    """The resources of one exam; its animal comes with its first visit."""
    animal, at = n // VISITS, _at(n)
    whose = {"reference": f"Patient/animal-{animal}"}
    asked = {"reference": f"ServiceRequest/order-{n}"}
    if n % VISITS == 0:
        yield {
            "resourceType": "Patient", "id": f"animal-{animal}", "active": True,
            "identifier": [{"system": "https://records.example/animal", "value": f"A-{animal}"}],
            "name": [{"text": name_of(animal)}], "gender": "female", "birthDate": "2017-03-09",
        }  # fmt: skip
    yield {
        "resourceType": "ServiceRequest", "id": f"order-{n}", "status": "active", "intent": "order", "subject": whose,
        "identifier": [{"system": "https://records.example/order", "value": f"O-{n}"}], "authoredOn": at,
        "code": _concept(uris.SERVICE, "full"),
    }  # fmt: skip
    yield {
        "resourceType": "Task", "id": f"exam-{n}", "status": "completed" if n % 50 else "ready", "intent": "order",
        "focus": asked, "for": whose, "authoredOn": at, "code": _concept(uris.TASK_CODE, "fulfill"),
    }  # fmt: skip
    for k, measure in enumerate(MEASURES):
        yield _measured(n, k, measure, asked=asked, whose=whose)
    yield {
        "resourceType": "DiagnosticReport", "id": f"report-{n}", "status": "final", "basedOn": [asked],
        "subject": whose, "issued": at, "effectiveDateTime": at, "code": _concept(uris.SERVICE, "full"),
        "result": [{"reference": f"Observation/seen-{n}-{k}"} for k in range(len(MEASURES))],
    }  # fmt: skip
    yield {
        "resourceType": "ChargeItem", "id": f"charge-{n}", "status": "billed" if n % 40 else "billable",
        "subject": whose, "service": [{"reference": f"DiagnosticReport/report-{n}"}],
        "code": _concept(uris.CHARGE, "full"), "occurrenceDateTime": at,
    }  # fmt: skip


def _measured(n: int, k: int, measure: str, *, asked: Json, whose: Json) -> Json:
    value = exact.decode(f"{5 + (n * 7 + k) % 90}.{n % 10}".encode())
    return {
        "resourceType": "Observation", "id": f"seen-{n}-{k}", "status": "final", "basedOn": [asked], "subject": whose,
        "identifier": [{"system": "https://scanner.example/item", "value": f"{n}-{k}"}],
        "category": [_concept(uris.CATEGORY, "imaging")], "code": _concept(uris.MEASURE, measure),
        "bodySite": _concept(uris.STRUCTURE, "kidney_left"), "effectiveDateTime": _at(n),
        "valueQuantity": {"value": value, "unit": "mm", "system": uris.UCUM, "code": "mm"},
    }  # fmt: skip


def _concept(system: str, code: str) -> Json:
    return {"coding": [{"system": system, "code": code}]}
