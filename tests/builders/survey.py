"""A house with the real mappings, an invented animal, an order, and evidence in the service's own codes."""

from collections.abc import Iterable
from decimal import Decimal
from functools import cache
from typing import Any

from service.actions.ports import Caller, House
from service.actions.settle_step import settle
from service.actions.transact import transact
from service.basics.entries import Entry
from service.catalogue.catalogue import Catalogue
from service.catalogue.files import read_folder
from service.catalogue.load import Catalogues, load
from service.fhir import exact, uris

Json = dict[str, Any]
SPECIES = {"dog": "448771007", "cat": "448169003"}  # SNOMED CT, DICOM PS3.16 CID 7454
ALL = ("system/*.cruds",)


@cache
def mappings() -> Catalogue:
    """The catalogue of the repository's own mappings."""
    return load(read_folder())


class Practice:
    """One practice with one animal and one order, spoken to through the actions."""

    def __init__(self, books: Any, organization: str, *, catalogue: Catalogue | None = None) -> None:
        rows = catalogue or mappings()
        self.shelf = Catalogues(rows, lambda hash_: None)
        self.house = House(books, self.shelf)
        self.caller = Caller(organization, "practice", ALL, "scanner-room")
        self.books = books
        self.organization = organization
        self.order = self.exam = self.animal = ""

    def place(self, *, species: str = "dog", sex: str = "female", neutered: str = "neutered", **order: Any) -> None:
        """Order an exam of an invented animal; sex or neutered "" leaves them unsaid."""
        parts = [{"url": "species", "valueCodeableConcept": coded(uris.SCT, SPECIES[species])}]
        if neutered:
            parts.append({"url": "genderStatus", "valueCodeableConcept": coded(uris.NEUTER, neutered)})
        patient: Json = {"resourceType": "Patient", "extension": [{"url": uris.ANIMAL, "extension": parts}]}
        if sex:
            patient["gender"] = sex
        patient["name"] = [{"text": "Quillfeather"}]
        request: Json = {
            "resourceType": "ServiceRequest",
            "status": "active",
            "intent": "order",
            "code": coded(uris.SERVICE, "full"),
            "subject": {"reference": "urn:uuid:11111111-1111-4111-8111-111111111111"},
            **order,
        }
        done = transact(
            self.house,
            self.caller,
            [
                entry(patient, 0, "urn:uuid:11111111-1111-4111-8111-111111111111"),
                entry(request, 1),
            ],
        )
        self.animal, self.order = (r.stored.id for r in done if r.stored)
        with self.books.view(self.organization) as view:
            self.exam = view.exam_of_order(self.order).id

    def send(self, *resources: Json) -> list[str]:
        """Post evidence in one transaction; returns the references it was stored under."""
        entries = [entry(self.about(r), i) for i, r in enumerate(resources)]
        return [f"{r.stored.type}/{r.stored.id}" for r in transact(self.house, self.caller, entries) if r.stored]

    def send_as_is(self, *resources: Json) -> list[str]:
        """Post resources that are evidence of nothing; returns the references they were stored under."""
        entries = [entry(r, i) for i, r in enumerate(resources)]
        return [f"{r.stored.type}/{r.stored.id}" for r in transact(self.house, self.caller, entries) if r.stored]

    def order_again(self) -> None:
        """A second order for the same animal, whose exam is the one spoken of from now on."""
        order = self.get(f"ServiceRequest/{self.order}")
        fresh = {k: v for k, v in order.items() if k not in {"id", "meta", "identifier"}}
        (reference,) = self.send_as_is(fresh)
        self.order = reference.partition("/")[2]
        with self.books.view(self.organization) as view:
            self.exam = view.exam_of_order(self.order).id

    def change(self, reference: str, **elements: Any) -> None:
        """Put the resource again with these elements changed."""
        resource = {k: v for k, v in {**self.get(reference), **elements}.items() if v is not None}
        version = int(resource["meta"]["versionId"])
        type_, _, id_ = reference.partition("/")
        transact(self.house, self.caller, [Entry("PUT", type_, id_, resource=resource, if_match=version)])

    def settle(self, code: str, **parameters: Any) -> Json:
        """$settle the step of a code ("" for the exam itself)."""
        task = self.task(code)["id"] if code else self.exam
        return settle(self.house, self.caller, task, parameters_of(parameters))

    def about(self, resource: Json) -> Json:
        """The resource as evidence of the order."""
        on: Any = [{"reference": f"ServiceRequest/{self.order}"}]
        return {**resource, "basedOn": on, "subject": {"reference": f"Patient/{self.animal}"}}

    def get(self, reference: str) -> Json:
        """The resource as it stands."""
        type_, _, id_ = reference.partition("/")
        with self.books.view(self.organization) as view:
            found: Json = exact.decode(view.get(type_, id_).body)
        return found

    def tasks(self) -> dict[str, Json]:
        """The Tasks of the steps by step code."""
        with self.books.view(self.organization) as view:
            found = [exact.decode(s.body) for s in view.steps(self.exam)]
        return {t["code"]["coding"][0]["code"]: t for t in found}

    def task(self, code: str) -> Json:
        """The Task of one step."""
        return self.tasks()[code]

    def whole(self) -> Json:
        """The exam's own Task."""
        return self.get(f"Task/{self.exam}")

    def row(self) -> Any:
        """The exam's row."""
        with self.books.view(self.organization) as view:
            return view.exam(self.exam)


def entry(resource: Json, index: int, full_url: str = "") -> Entry:
    return Entry("POST", resource["resourceType"], resource=resource, full_url=full_url, place=f"Bundle.entry[{index}]")


def owed(task: Json) -> list[str]:
    """The items a step's Task says are owed."""
    return [i["type"]["coding"][0]["code"] for i in task.get("input", [])]


def entered(task: Json) -> list[str]:
    """The items entered on a Task, in order."""
    return [o["type"]["coding"][0]["code"] for o in task.get("output", [])]


def business(task: Json) -> tuple[str, str]:
    """(status, business status)."""
    return task["status"], task["businessStatus"]["coding"][0]["code"]


def coded(system: str, code: str) -> Json:
    return {"coding": [{"system": system, "code": code}]}


def measurement(structure: str, key: str, value: str, *, unit: str = "mm", plane: str = "", **more: Any) -> Json:
    """A measured length in our own codes."""
    extension = [{"url": uris.X_PLANE, "valueCodeableConcept": coded(uris.PLANE, plane)}] if plane else []
    extension += more.pop("extension", [])
    return {
        "resourceType": "Observation",
        **({"extension": extension} if extension else {}),
        "status": "preliminary",
        "code": coded(uris.MEASURE, key),
        "effectiveDateTime": more.pop("at", "2026-11-25T10:00:00Z"),
        "valueQuantity": {"value": Decimal(value), "unit": unit, "system": uris.UCUM, "code": unit},
        "bodySite": coded(uris.STRUCTURE, structure),
        **more,
    }


def finding(structure: str, word: str, *, at: str = "2026-11-25T10:00:00Z", **more: Any) -> Json:
    """A finding by its word "<vocabulary>.<attribute>.<value>"."""
    return {
        "resourceType": "Observation",
        "status": "preliminary",
        "code": coded(uris.ATTRIBUTE, word.split(".")[1]),
        "effectiveDateTime": at,
        "valueCodeableConcept": coded(uris.FINDING, word),
        "bodySite": coded(uris.STRUCTURE, structure),
        **more,
    }


def image(structure: str, plane: str, *, clip: bool = False, at: str = "2026-11-25T10:00:00Z", **more: Any) -> Json:
    """A still or clip in a plane."""
    kind = "video/mp4" if clip else "image/png"
    return {
        "resourceType": "Media",
        "status": "completed",
        "content": {"contentType": kind, "title": "kept at the scanner"},
        "createdDateTime": at,
        "bodySite": coded(uris.STRUCTURE, structure),
        **({"view": coded(uris.PLANE, plane)} if plane else {}),
        **more,
    }


def parameters_of(values: dict[str, Any]) -> Json:
    """Parameters of plain values; a list gives a parameter several times."""
    kinds = {"station": "valuePositiveInt", "retract": "valueBoolean", "plane": "valueCode", "neutered": "valueBoolean"}
    given = [
        (n, v)
        for n, many in values.items()
        for v in (many if isinstance(many, Iterable) and not isinstance(many, str) else [many])
    ]
    return {"resourceType": "Parameters", "parameter": [{"name": n, kinds.get(n, "valueString"): v} for n, v in given]}
