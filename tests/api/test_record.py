"""Patient/$everything, Composition/$document, Observation/$lastn and $meta over the whole service (rows O2, O3)."""

import re
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest

from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.fhir import validate
from service.joined import application
from service.store import SqlBooks
from tests.api import running
from tests.api.conftest import JSON

BASE = "http://sonoledger.example/fhir"
Json = dict[str, Any]
Post = Callable[..., str]


@pytest.fixture(scope="module")
def url(module_books: SqlBooks) -> Iterator[str]:
    with running.served(application(module_books, load(read_folder()), base=BASE)) as address:
        yield address


@pytest.fixture
def name() -> str:
    return f"records-{uuid.uuid4().hex[:12]}"


@pytest.fixture
def rest(url: str, module_books: SqlBooks, name: str) -> Iterator[httpx.Client]:
    with running.client(url, running.register(module_books, name)) as client:
        yield client


@pytest.fixture
def post(rest: httpx.Client) -> Post:
    """Posts a resource and gives its reference."""

    def one(type_: str, **elements: object) -> str:
        answer = rest.post(f"/fhir/{type_}", json={"resourceType": type_, **elements}, headers=JSON)
        assert answer.status_code == 201, answer.text
        return f"{type_}/{answer.json()['id']}"

    return one


def ref(to: str) -> Json:
    return {"reference": to}


def observation(post: Post, animal: str, code: str, day: str = "2026-03-01", **more: object) -> str:
    said = {"coding": [{"system": "urn:invented", "code": code}]}
    when = {"effectiveDateTime": f"{day}T10:00:00Z"} if day else {}
    return post("Observation", **{"status": "final", "code": said, "subject": ref(animal), **when, **more})


def references(bundle: Json, mode: str = "match") -> list[str]:
    found = [one["resource"] for one in bundle.get("entry", []) if one["search"]["mode"] == mode]
    return [f"{one['resourceType']}/{one['id']}" for one in found]


def pages(rest: httpx.Client, address: str, **params: str) -> Iterator[Json]:
    answer = rest.get(address, params=params)
    while True:
        assert answer.status_code == 200, answer.text
        yield answer.json()
        following = [one["url"] for one in answer.json()["link"] if one["relation"] == "next"]
        if not following:
            return
        answer = rest.get(following[0].replace(BASE, "/fhir"))


@pytest.fixture
def record(post: Post) -> dict[str, str]:
    """An animal with a small record, a second one, and who is named."""
    surgery = post("Organization", name="Invented surgery")
    vet = post("Practitioner", name=[{"family": "Invented"}])
    role = post("PractitionerRole", practitioner=ref(vet), organization=ref(surgery))
    animal, other = post("Patient", managingOrganization=ref(surgery)), post("Patient")
    found = {"animal": animal, "other": other, "surgery": surgery, "vet": vet, "role": role}
    found["owner"] = post("RelatedPerson", patient=ref(animal))
    found["order"] = post("ServiceRequest", status="active", intent="order", subject=ref(animal), requester=ref(role))
    found["march"] = observation(post, animal, "a")
    found["june"] = observation(post, animal, "a", "2026-06-01")
    found["undated"] = observation(post, animal, "b", "")
    found["own"] = observation(post, animal, "c", performer=[ref(animal)])  # in the compartment by two parameters
    found["of-other"] = observation(post, other, "a")
    found["task"] = post("Task", status="ready", intent="order", **{"for": ref(animal)})
    return found


ABOUT = ("animal", "owner", "order", "march", "june", "undated", "own", "task")


def test_everything_is_the_compartment_and_whom_it_names(rest: httpx.Client, record: dict[str, str]) -> None:
    answer = rest.get(f"/fhir/{record['animal']}/$everything")
    assert answer.status_code == 200
    bundle = answer.json()
    assert sorted(references(bundle)) == sorted(record[one] for one in ABOUT)
    assert references(bundle)[0] == record["animal"]
    assert sorted(references(bundle, "include")) == sorted(record[one] for one in ("role", "vet", "surgery"))
    assert bundle["type"] == "searchset"
    assert [one["relation"] for one in bundle["link"]] == ["self", "first"]
    posted = rest.post(
        f"/fhir/{record['animal']}/$everything",
        json={"resourceType": "Parameters", "parameter": [{"name": "_count", "valueInteger": 3}]},
        headers=JSON,
    ).json()
    assert len(references(posted)) == 3


@pytest.mark.parametrize("count", ["1", "3", "8"])
def test_each_match_stands_on_one_page(rest: httpx.Client, record: dict[str, str], count: str) -> None:
    found = list(pages(rest, f"/fhir/{record['animal']}/$everything", _count=count))
    matches = [one for page in found for one in references(page)]
    assert sorted(matches) == sorted(record[one] for one in ABOUT)
    assert all(len(references(page)) <= int(count) for page in found)
    assert len(found) == -(-len(ABOUT) // int(count))


def test_what_comes_while_it_is_read_moves_nothing(rest: httpx.Client, post: Post, record: dict[str, str]) -> None:
    matches: list[str] = []
    for page in pages(rest, f"/fhir/{record['animal']}/$everything", _count="2"):
        matches += references(page)
        observation(post, record["other"], "z")
    assert sorted(matches) == sorted(record[one] for one in ABOUT)


def test_start_and_end_bound_care_and_what_has_no_date_stays(rest: httpx.Client, record: dict[str, str]) -> None:
    def found(**params: str) -> set[str]:
        return {
            one for page in pages(rest, f"/fhir/{record['animal']}/$everything", **params) for one in references(page)
        }

    always = {record[one] for one in ("animal", "owner", "order", "undated", "task")}
    march, june = {record["march"], record["own"]}, {record["june"]}
    assert found(start="2026-05") == always | june
    assert found(end="2026-03-01") == always | march
    assert found(start="2026-03-01", end="2026-06-01", _count="2") == always | march | june
    assert found(start="2027") == always
    assert found(_since="2999-01-01T00:00:00Z") == set()
    assert found(_since="2020-01-01T00:00:00Z") == always | march | june
    assert found(_type="Observation,Task") == march | june | {record["undated"], record["task"]}


def test_bad_questions_are_refused(rest: httpx.Client, record: dict[str, str]) -> None:
    address = f"/fhir/{record['animal']}/$everything"
    bad = (
        "start=May",
        "start=2026-06&end=2026-05",
        "_since=2026",
        "_type=Dragon",
        "_count=0",
        "_count=x",
        "_page=99.x",
    )
    for query in (*bad, "start=2026&start=2027"):
        assert rest.get(f"{address}?{query}").status_code == 400, query
    ignored = rest.get(f"{address}?nonsense=1").json()
    assert [one["resource"]["issue"][0]["severity"] for one in ignored["entry"][-1:]] == ["warning"]
    assert "nonsense" not in ignored["link"][0]["url"]
    assert rest.get(f"{address}?nonsense=1", headers={"Prefer": "handling=strict"}).status_code == 400
    assert rest.get("/fhir/Patient/no-such/$everything").status_code == 404
    assert rest.get("/fhir/Observation/x/$everything").status_code == 404


def test_walls_and_scopes_hold(
    url: str, module_books: SqlBooks, name: str, rest: httpx.Client, record: dict[str, str]
) -> None:
    address = f"/fhir/{record['animal']}/$everything"
    with running.client(url, running.register(module_books, f"{name}-other")) as other:
        assert other.get(address).status_code == 404
    narrow = running.register(module_books, name, "system/Patient.rs", "system/Observation.rs")
    with running.client(url, narrow) as some:
        bundle = some.get(address).json()
        assert {one.partition("/")[0] for one in references(bundle)} == {"Patient", "Observation"}
        assert references(bundle, "include") == []
        told = [one["resource"] for one in bundle["entry"] if one["search"]["mode"] == "outcome"]
        assert "RelatedPerson" in told[0]["issue"][0]["details"]["text"]
        assert some.get(f"{address}?_type=Task").status_code == 403
    with running.client(url, running.register(module_books, name, "system/Observation.rs")) as none:
        assert none.get(address).status_code == 403


def test_a_document_is_the_composition_and_all_it_reaches(
    rest: httpx.Client, post: Post, record: dict[str, str]
) -> None:
    elements = {
        "status": "final",
        "type": {"text": "Invented report"},
        "date": "2026-06-01",
        "title": "Invented",
        "subject": ref(record["animal"]),
        "author": [ref(record["role"])],
    }
    whole = post("Composition", **elements, section=[{"title": "Findings", "entry": [ref(record["june"])]}])
    bundle = rest.get(f"/fhir/{whole}/$document").json()
    assert validate.check(bundle) == []
    assert bundle["type"] == "document"
    assert bundle["entry"][0]["resource"]["resourceType"] == "Composition"
    inside = {one["fullUrl"].removeprefix(f"{BASE}/") for one in bundle["entry"]}
    assert inside == {whole, *(record[one] for one in ("animal", "role", "june", "surgery", "vet"))}
    assert re.fullmatch(r"urn:uuid:[0-9a-f\-]{36}", bundle["identifier"]["value"])
    again = rest.post(f"/fhir/{whole}/$document", headers=JSON, json={"resourceType": "Parameters"}).json()
    assert again["identifier"] != bundle["identifier"]
    assert rest.get("/fhir/Composition?_summary=count").json()["total"] == 1
    for query in ("persist=true", "graph=urn:x"):
        assert rest.get(f"/fhir/{whole}/$document?{query}").status_code == 400
    broken = post("Composition", **elements, section=[{"title": "x", "entry": [ref("Observation/no-such")]}])
    refused = rest.get(f"/fhir/{broken}/$document")
    assert refused.status_code == 422
    assert refused.json()["issue"][0]["expression"] == ["Composition.section[0].entry[0].reference"]


def test_a_document_keeps_the_version_that_is_named(rest: httpx.Client, post: Post) -> None:
    animal = post("Patient", active=True)
    changed = {"resourceType": "Patient", "id": animal.partition("/")[2], "active": False}
    assert rest.put(f"/fhir/{animal}", json=changed, headers=JSON).status_code == 200
    composition = post(
        "Composition",
        status="final",
        type={"text": "x"},
        date="2026",
        title="x",
        author=[{"display": "Somebody"}],
        subject=ref(f"{animal}/_history/1"),
    )
    bundle = rest.get(f"/fhir/{composition}/$document").json()
    assert bundle["entry"][1]["resource"]["active"] is True


def test_lastn_is_the_latest_of_each_code(rest: httpx.Client, post: Post, record: dict[str, str]) -> None:
    animal = record["animal"]
    wrong = observation(post, animal, "a", "2026-09-01", status="entered-in-error")
    also = post(
        "Observation",
        status="final",
        code={"coding": [{"system": "urn:invented", "code": "a"}, {"system": "urn:other", "code": "A"}]},
        subject=ref(animal),
        effectivePeriod={"start": "2026-01-01", "end": "2026-02-01"},
    )
    only = post(
        "Observation",
        status="final",
        code={"coding": [{"system": "urn:other", "code": "A"}]},
        subject=ref(animal),
        effectiveDateTime="2026-05-01",
    )
    codes = "urn:invented|a,urn:invented|b,urn:other|A"

    def found(**params: str) -> list[str]:
        answer = rest.get("/fhir/Observation/$lastn", params={"patient": animal, **params})
        assert answer.status_code == 200, answer.text
        assert answer.json()["total"] == len(references(answer.json()))
        return references(answer.json())

    assert found(code=codes) == [record["june"], record["undated"]]
    assert found(code=codes, max="2") == [record["june"], only, record["undated"]]
    assert found(code=codes, max="9") == [record["june"], only, record["march"], also, record["undated"]]
    assert wrong not in found(code=codes, max="9")
    twin = observation(post, animal, "a", "2026-06-01")
    assert set(found(code="urn:invented|a")) == {record["june"], twin}
    parameters = [{"name": "subject", "valueString": animal}, {"name": "code", "valueString": "c"}]
    posted = rest.post(
        "/fhir/Observation/$lastn", json={"resourceType": "Parameters", "parameter": parameters}, headers=JSON
    )
    assert references(posted.json()) == [record["own"]]


def test_lastn_says_what_it_needs(rest: httpx.Client) -> None:
    for query in ("", "code=x", "patient=x&code=x&max=0", "patient=x&code=x&max=1&max=2"):
        assert rest.get(f"/fhir/Observation/$lastn?{query}").status_code == 400, query
    assert rest.get("/fhir/Observation/$lastn?patient=x&code=x").json()["total"] == 0


def test_meta_is_the_meta_of_a_resource(rest: httpx.Client, post: Post) -> None:
    tag = {"system": "urn:invented", "code": "t"}
    animal = post("Patient", meta={"tag": [tag]})
    answer = rest.get(f"/fhir/{animal}/$meta")
    held = answer.json()["parameter"]
    assert [one["name"] for one in held] == ["return"]
    assert held[0]["valueMeta"] == rest.get(f"/fhir/{animal}").json()["meta"]
    assert held[0]["valueMeta"]["tag"] == [tag]
    assert answer.headers["etag"] == 'W/"1"'
    assert rest.get("/fhir/Patient/no-such/$meta").status_code == 404
    assert rest.get("/fhir/CodeSystem/plane/$meta").status_code == 405


def test_labels_come_and_go(rest: httpx.Client, post: Post) -> None:
    mine, other = ({"system": "urn:invented", "code": code} for code in ("mine", "other"))
    animal = post("Patient", meta={"tag": [mine]}, active=True)

    def ask(name: str, meta: Json, **headers: str) -> httpx.Response:
        body = {"resourceType": "Parameters", "parameter": [{"name": "meta", "valueMeta": meta}]}
        return rest.post(f"/fhir/{animal}/$meta-{name}", json=body, headers=JSON | headers)

    more = ask("add", {"tag": [mine | {"display": "Mine"}, other], "security": [mine], "profile": ["urn:p"]})
    held = more.json()["parameter"][0]["valueMeta"]
    assert (held["tag"], held["security"], held["profile"]) == ([mine, other], [mine], ["urn:p"])
    assert held["versionId"] == "2"
    assert more.headers["etag"] == 'W/"2"'
    assert ask("add", {"tag": [other]}).headers["etag"] == 'W/"2"'  # there already: no version more
    assert ask("delete", {"tag": [other]}, **{"If-Match": 'W/"1"'}).status_code == 412
    fewer = ask("delete", {"tag": [mine, other], "security": [mine]}, **{"If-Match": 'W/"2"'}).json()
    assert fewer["parameter"][0]["valueMeta"].keys() == {"versionId", "lastUpdated", "profile"}
    assert rest.get(f"/fhir/{animal}").json()["active"] is True
    for body in ({"resourceType": "Parameters"}, {"resourceType": "Patient"}):
        assert rest.post(f"/fhir/{animal}/$meta-add", json=body, headers=JSON).status_code == 400
    gone = {"resourceType": "Parameters", "parameter": [{"name": "meta", "valueMeta": {"tag": [mine]}}]}
    assert rest.post("/fhir/Patient/no-such/$meta-add", json=gone, headers=JSON).status_code == 404


def test_labels_added_at_once_are_all_there(rest: httpx.Client, post: Post) -> None:
    animal = post("Patient")

    def label(number: int) -> int:
        meta = {"tag": [{"system": "urn:invented", "code": str(number)}]}
        body = {"resourceType": "Parameters", "parameter": [{"name": "meta", "valueMeta": meta}]}
        return rest.post(f"/fhir/{animal}/$meta-add", json=body, headers=JSON).status_code

    with ThreadPoolExecutor(3) as callers:
        done = list(callers.map(label, range(3)))
    held = rest.get(f"/fhir/{animal}/$meta").json()["parameter"][0]["valueMeta"]
    assert done == [200, 200, 200]
    assert {one["code"] for one in held["tag"]} == {"0", "1", "2"}


def test_validate_honours_mode_and_profile(rest: httpx.Client) -> None:
    good = {"resourceType": "Patient", "active": True}

    def said(path: str, *parameters: Json, body: Json | None = None) -> list[tuple[str, str]]:
        given = body or {"resourceType": "Parameters", "parameter": list(parameters)}
        answer = rest.post(f"/fhir/{path}", json=given, headers=JSON)
        assert answer.status_code == 200, answer.text
        return [(one["severity"], one["code"]) for one in answer.json()["issue"]]

    resource = {"name": "resource", "resource": good}
    assert said("Patient/$validate", resource)[0] == ("information", "informational")
    assert said("Patient/$validate", resource, {"name": "mode", "valueCode": "nonsense"})[0][0] == "error"
    assert said("Patient/x/$validate", resource, {"name": "mode", "valueCode": "update"})[0][0] == "error"
    assert said("Patient/x/$validate", {"name": "mode", "valueCode": "delete"})[0][0] == "information"
    unknown = {"name": "profile", "valueUri": "urn:no-such"}
    assert ("error", "not-found") in said("Patient/$validate", resource, unknown)
    assert ("error", "not-found") in said("Patient/$validate?profile=urn:no-such", body=good)
    assert said("Patient/x/$validate?mode=update", body=good)[0][0] == "error"
    many = [resource, resource]
    two = rest.post("/fhir/Patient/$validate", json={"resourceType": "Parameters", "parameter": many}, headers=JSON)
    assert two.status_code == 400
