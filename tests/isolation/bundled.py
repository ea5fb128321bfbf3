"""Bundles, page links and operations on one's own exam that name what is another organisation's."""

from collections.abc import Iterator
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from service.api.links import bound
from tests.isolation import operated
from tests.isolation.cases import Case, plain, text
from tests.isolation.world import BASE, House

Json = dict[str, Any]
MATCHED = ("Patient", "Observation", "Task", "ServiceRequest", "Invoice", "Binary", "DiagnosticReport", "Organization")


def bundles(about: House) -> Iterator[Case]:
    """Every kind of entry, alone in a batch and in a transaction, and ours that refer to what is the other's."""
    for type_ in MATCHED:
        for resource in about.resources.get(type_, [])[:2]:
            for entry in _entries(type_, resource):
                for kind in ("batch", "transaction"):
                    yield _sent(kind, [entry])
    for animal in about.resources["Patient"][:2]:
        for entries in _referring(animal):
            yield _sent("transaction", entries)
            yield _sent("batch", entries)
    yield _sent("collection", [{"fullUrl": f"{BASE}/Patient/{about.resources['Patient'][0]['id']}"}])


def _sent(kind: str, entries: list[Json]) -> Case:
    covers = ("POST /fhir", f"Bundle.{kind}")
    return Case("POST", "/fhir", covers, text({"resourceType": "Bundle", "type": kind, "entry": entries}))


def _entries(type_: str, resource: Json) -> Iterator[Json]:
    id_, version = resource["id"], f'W/"{resource["meta"]["versionId"]}"'
    for url in (f"{type_}/{id_}", f"{type_}/{id_}/_history", f"{type_}/{id_}/_history/1", f"{type_}?_id={id_}"):
        yield {"request": {"method": "GET", "url": url}}
    yield {"request": {"method": "GET", "url": f"{type_}?_id={id_}&_include=*&_revinclude=Observation:subject"}}
    yield {"request": {"method": "GET", "url": f"Patient/{id_}/Observation"}}
    yield {"request": {"method": "HEAD", "url": f"{type_}/{id_}"}}
    for wish in ({}, {"ifMatch": version}, {"ifNoneMatch": "*"}):
        yield {"request": {"method": "PUT", "url": f"{type_}/{id_}", **wish}, "resource": resource}
        yield {"request": {"method": "DELETE", "url": f"{type_}/{id_}", **wish}}
    yield {"request": {"method": "POST", "url": type_, "ifNoneExist": f"_id={id_}"}, "resource": resource}
    yield {"request": {"method": "PUT", "url": f"{type_}?_id={id_}"}, "resource": resource}
    yield {"request": {"method": "DELETE", "url": f"{type_}?_id={id_}"}}
    yield {"fullUrl": f"{BASE}/{type_}/{id_}", "request": {"method": "POST", "url": type_}, "resource": resource}
    patch = {"resourceType": "Binary", "contentType": "application/json-patch+json", "data": "W10="}
    yield {"request": {"method": "PATCH", "url": f"{type_}/{id_}", "ifMatch": version}, "resource": patch}


def _referring(animal: Json) -> Iterator[list[Json]]:
    """Flags and orders of one's own about an animal that is the other's, named in every way there is."""
    id_, identifier = animal["id"], animal["identifier"][0]
    known = f"identifier={identifier.get('system', '')}|{identifier['value']}"
    for said in (f"Patient/{id_}", f"{BASE}/Patient/{id_}", f"Patient/{id_}/_history/1", f"Patient?{known}"):
        yield [_posted(_flag(said))]
        yield [_posted(_order(said))]
        yield [{"request": {"method": "GET", "url": f"Patient/{id_}"}}, _posted(_flag(said))]
    yield [_posted(_flag(f"urn:uuid:{id_}")), {"fullUrl": f"urn:uuid:{id_}", **_posted(_flag("Patient/x"))}]


def _posted(resource: Json) -> Json:
    return {"request": {"method": "POST", "url": resource["resourceType"]}, "resource": resource}


def _flag(animal: str) -> Json:
    return {"resourceType": "Flag", "status": "active", "code": {"text": "x"}, "subject": {"reference": animal}}


def _order(animal: str) -> Json:
    code = {"coding": [{"system": "http://loinc.org", "code": "24558-9"}]}
    asked = {"status": "active", "intent": "order", "code": code, "subject": {"reference": animal}}
    return {"resourceType": "ServiceRequest", **asked}


def pages(about: House, by: House) -> Iterator[Case]:
    """The other's page links as they are, and with a seal that is the asker's own: a seal is no secret."""
    for link in about.pages:
        yield Case("GET", link, ("_page",), moves=True)
        split = urlsplit(link)
        used = parse_qsl(split.query)
        page = dict(used)["_page"].split(".", 2)[2]
        used = [pair for pair in used if pair[0] != "_page"]
        for path in (split.path, split.path.removeprefix("/fhir/")):
            sealed = bound(page, by.slug, path, used)
            query = "&".join(f"{name}={value}" for name, value in (*used, ("_page", sealed)))
            yield Case("GET", f"{split.path}?{query}", ("_page",), moves=True)


def own_exams(definitions: dict[str, Json], about: House, by: House) -> Iterator[Case]:
    """Each operation on an exam of one's own, its body full of what is the other's; the twin is on the other exam."""
    if not by.exams:
        return
    first, second = by.exams
    resource = about.resources["Task"][0]
    for name in definitions:
        if "Task" in definitions[name].get("resource", []) and definitions[name]["instance"]:
            for case in operated.cases(
                definitions, about, f"/fhir/Task/{first}/${name}", method="POST", resource=resource
            ):
                yield Case("POST", case.path, (), case.body, twin_path=case.path.replace(first, second))


__all__ = ["bundles", "own_exams", "pages", "plain"]
