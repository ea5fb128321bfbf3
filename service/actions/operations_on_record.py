"""Procedures and Conditions of an animal that say an operation took a structure, from the store and the transaction."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from service.actions.gathering import all_of
from service.actions.guards import named
from service.actions.lookup import Lookup
from service.actions.pending import Pending
from service.actions.ports import House, Work
from service.catalogue.catalogue import Catalogue
from service.exam.evidence import Evidence
from service.exam.matching import match
from service.fhir import uris
from service.fhir.reading.evidence import sightings
from service.fhir.reading.surgery import OPERATIONS

Json = dict[str, Any]


def known(house: House, work: Work, animal: str, lookup: Lookup) -> list[Evidence]:
    """What the record of an animal says has been taken, the entries of this transaction in the place of what they
    replace. An animal that comes with the transaction has no other record."""
    written = {ref: r for ref, r in lookup.written.items() if _of(r, animal, house.base)}
    rules = house.catalogues.current
    stored: list[Json] = []
    if work.get("Patient", animal) is not None:
        for type_ in sorted(OPERATIONS):
            stored += all_of(house, work, type_, subject=f"Patient/{animal}")
    kept = [r for r in stored if f"{r['resourceType']}/{r['id']}" not in written]
    return [e for r in (*kept, *written.values()) for e in said(r, rules)]


def said(resource: Json, rules: Catalogue) -> list[Evidence]:
    """What a Procedure or Condition says was taken; nothing for any other, and for what is no longer so."""
    return [e for s in sightings(resource) for e in match(s, rules, "") if isinstance(e, Evidence) and e.structure]


def noted(house: House, work: Work, waiting: Sequence[Pending]) -> Iterator[tuple[str, Json, str]]:
    """(exam's Task, resource, its place) of each operation among the entries, for every exam of its animal that takes
    evidence."""
    rules = house.catalogues.current
    codes = {(system, code) for system, code, _ in rules.operations}
    for one in waiting:
        resource = one.resource
        if not one.writes or one.entry.type not in OPERATIONS or resource is None or not _coded(resource, codes):
            continue
        type_, animal = named(resource.get("subject", {}), house.base)
        for task in _open_exams(house, work, animal) if type_ == "Patient" else ():
            yield task, resource, f"{one.entry.place}.resource" if one.entry.place else ""


def _open_exams(house: House, work: Work, animal: str) -> list[str]:
    criteria = {"code": f"{uris.TASK_FULFIL}|fulfill", "status": "accepted,in-progress"}
    return [t["id"] for t in all_of(house, work, "Task", patient=f"Patient/{animal}", **criteria)]


def _of(resource: Json, animal: str, base: str) -> bool:
    return resource["resourceType"] in OPERATIONS and named(resource.get("subject", {}), base) == ("Patient", animal)


def _coded(resource: Json, codes: Iterable[tuple[str, str]]) -> bool:
    given = {(c.get("system"), c.get("code")) for c in resource.get("code", {}).get("coding", [])}
    return not given.isdisjoint(codes)
