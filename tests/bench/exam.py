"""An invented exam as a record system and a scanner would send it: the order, and seventy resources of evidence."""

import itertools
from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from typing import Any

from service.catalogue.catalogue import Catalogue
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.exam.rules import StepRule
from service.fhir import exact, uris
from tests.builders import healthy

Json = dict[str, Any]
AT = "2026-11-25T10:{:02d}:{:02d}+01:00"
DOG = "448771007"  # SNOMED CT, DICOM PS3.16 CID 7454
RECORDS = "https://records.example"

MEASURED, STATED, SHOWN = 36, 25, 8  # with one ImagingStudy: 70 resources
_numbers = itertools.count(1)


@cache
def mappings() -> Catalogue:
    """The catalogue of the repository's own mappings."""
    return load(read_folder())


def order() -> bytes:
    """An order of a full exam for a new animal: a transaction of Patient, RelatedPerson and ServiceRequest."""
    number = next(_numbers)
    dog, owner, request = (f"urn:uuid:{n:08d}-1111-4111-8111-{number:012d}" for n in (1, 2, 3))
    parts = [
        {"url": "species", "valueCodeableConcept": _concept((uris.SCT, DOG, "Dog"))},
        {"url": "genderStatus", "valueCodeableConcept": _concept((uris.NEUTER, "neutered", ""))},
    ]
    patient: Json = {
        "resourceType": "Patient",
        "extension": [{"url": uris.ANIMAL, "extension": parts}],
        "identifier": [{"system": f"{RECORDS}/animal", "value": f"A-{number}"}],
        "name": [{"text": "Quillfeather"}],
        "gender": "female",
        "birthDate": "2019-04-01",
    }
    person: Json = {
        "resourceType": "RelatedPerson",
        "identifier": [{"system": f"{RECORDS}/person", "value": f"P-{number}"}],
        "patient": {"reference": dog},
        "relationship": [_concept((uris.ROLE, "OWN", ""))],
        "name": [{"text": "R. Ownwell"}],
    }
    placer = {
        "type": _concept((uris.IDENTIFIER_TYPE, "PLAC", "")),
        "system": f"{RECORDS}/order",
        "value": f"O-{number}",
    }
    asked: Json = {
        "resourceType": "ServiceRequest",
        "identifier": [placer],
        "status": "active",
        "intent": "order",
        "priority": "urgent",
        "code": _concept((uris.SERVICE, "full", "")),
        "subject": {"reference": dog},
        "authoredOn": "2026-11-25T08:30:00+01:00",
        "reasonCode": [{"text": "Vomiting for three days"}],
    }
    return _transaction([(dog, patient), (owner, person), (request, asked)])


def evidence(order_id: str, animal: str) -> bytes:
    """The evidence of one exam as a transaction: measurements, findings, images and their study."""
    found = [*_taken(_measurements(), MEASURED), *_taken(_findings(), STATED), *_taken(_images(), SHOWN), _study()]
    number = next(_numbers)
    based = {"basedOn": [{"reference": f"ServiceRequest/{order_id}"}], "subject": {"reference": f"Patient/{animal}"}}
    entries = [
        (f"urn:uuid:{n:08d}-2222-4222-8222-{number:012d}", {**one, **based, "identifier": [_own(number, n)]})
        for n, one in enumerate(found)
    ]
    return _transaction(entries)


def observations(order_id: str, animal: str) -> list[bytes]:
    """The measurements and findings of one exam, each by itself."""
    entries = exact.decode(evidence(order_id, animal))["entry"]
    return [exact.encode(e["resource"]) for e in entries if e["resource"]["resourceType"] == "Observation"]


def rest(order_id: str, animal: str, tasks: list[Json]) -> bytes:
    """A transaction of all that these Tasks of steps still owe."""
    owed = healthy.Sonographer(order_id, animal).all_of(t for t in tasks if t["status"] == "ready")
    return _transaction([(f"urn:uuid:{n:08d}-3333-4333-8333-333333333333", one) for n, one in enumerate(owed)])


def finish() -> Json:
    """Parameters of $finish of an exam that owes nothing."""
    given = {"interpreter": "Dr M. Reader", "conclusion": "As expected."}
    return {"resourceType": "Parameters", "parameter": [{"name": k, "valueString": v} for k, v in given.items()]}


def _transaction(entries: list[tuple[str, Json]]) -> bytes:
    return exact.encode(
        {
            "resourceType": "Bundle",
            "type": "transaction",
            "entry": [
                {"fullUrl": url, "resource": one, "request": {"method": "POST", "url": one["resourceType"]}}
                for url, one in entries
            ],
        }
    )


def _taken(found: Iterator[Json], count: int) -> list[Json]:
    taken = list(itertools.islice(found, count))
    assert len(taken) == count, "the protocol asks for fewer"
    return taken


def _steps() -> list[StepRule]:
    return [s for s in mappings().protocols["dog"].steps if s.owed_from_start and not s.sex and not s.settles]


def _measurements() -> Iterator[Json]:
    computed = {(row.structure, row.measure) for row in mappings().computations["dog"]}
    for index, (step, key) in enumerate((s, key) for s in _steps() for key in (*s.measures, *s.may_measure)):
        rule = mappings().measures.get(("dog", step.structure, key))
        if rule is None or (step.structure, key) in computed:
            continue
        usual = rule.low + (rule.high - rule.low) / 50  # nothing that would have to be told at once
        value = Decimal(healthy.DOG.get((step.structure, key)) or usual.quantize(Decimal("0.01")))
        quantity = {"value": value, "unit": rule.unit, "system": uris.UCUM, "code": rule.unit}
        outside = [(c.system, c.code, c.display) for c in rule.codes if c.system != uris.MEASURE]
        code = _concept((uris.MEASURE, key, rule.title), *outside, text=rule.title)
        plane = {"url": uris.X_PLANE, "valueCodeableConcept": _concept((uris.PLANE, "long", "Long axis"))}
        yield _observation(step, index, {"extension": [plane], "code": code, "valueQuantity": quantity})


def _findings() -> Iterator[Json]:
    # one question of each structure before the next: a scanner sends a little of everything
    asked = [(s, a) for s in _steps() for a in mappings().vocabularies[_vocabulary(s)][:1]]
    for index, (step, attribute) in enumerate(asked):
        value = attribute.default or attribute.values[0]
        code = _concept((uris.ATTRIBUTE, attribute.key, attribute.title), text=attribute.title)
        word = f"{_vocabulary(step)}.{attribute.key}.{value.code.rpartition('.')[2]}"
        said = _concept((uris.FINDING, word, value.display), text=value.display)
        yield _observation(step, index, {"code": code, "valueCodeableConcept": said})


def _vocabulary(step: StepRule) -> str:
    return mappings().structures[step.structure].vocabulary


def _observation(step: StepRule, index: int, part: Json) -> Json:
    return {
        "resourceType": "Observation",
        **part,
        "status": "preliminary",
        "category": [_concept((uris.CATEGORY, "imaging", "Imaging"))],
        "effectiveDateTime": AT.format(index // 60 % 60, index % 60),
        "performer": [{"display": "S. Scanwell, invented examiner"}],
        "bodySite": _site(step),
        "device": {"display": "Invented ultrasound unit, convex probe"},
    }


def _images() -> Iterator[Json]:
    for index, step in enumerate(_steps()):
        yield {
            "resourceType": "Media",
            "status": "completed",
            "type": _concept(("http://terminology.hl7.org/CodeSystem/media-type", "image", "Image")),
            "view": _concept((uris.PLANE, "short", "Short axis")),
            "createdDateTime": AT.format(index // 60, index % 60),
            "operator": {"display": "S. Scanwell, invented examiner"},
            "bodySite": _site(step),
            "height": 768,
            "width": 1024,
            "content": {"contentType": "image/png", "url": f"https://images.example/{index}.png", "title": step.title},
        }


def _study() -> Json:
    series = [{"uid": f"2.25.{n}", "modality": {"system": uris.DCM, "code": "US"}, "number": n} for n in range(1, 4)]
    return {"resourceType": "ImagingStudy", "status": "available", "started": AT.format(0, 0), "series": series}


def _site(step: StepRule) -> Json:
    structure = mappings().structures[step.structure]
    return _concept(*((c.system, c.code, c.display) for c in structure.site), text=structure.title)


def _own(number: int, place: int) -> Json:
    return {"system": "https://scanner.example/item", "value": f"{number}-{place}"}


def _concept(*codings: tuple[str, str, str], text: str = "") -> Json:
    found = [{"system": s, "code": c, **({"display": d} if d else {})} for s, c, d in codings]
    return {"coding": found, **({"text": text} if text else {})}
