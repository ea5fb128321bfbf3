"""What the service defines is read and searched over HTTP: catalogue, profiles, parameters, operations, itself."""

import re
import uuid
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from service.catalogue.files import pack, read_folder
from service.catalogue.load import load
from service.fhir import uris, validate
from service.fhir.types import DEFINITIONS
from service.joined import application
from service.store import SqlBooks
from tests.api import running
from tests.api.conftest import JSON
from tests.builders.tariff_rows import row

BASE = "http://sonoledger.example/fhir"
OTHER_PRICE = row("claim-admin", text="Somebody's secret", organization="somebody-else", amount="1.00")
Json = dict[str, Any]


@pytest.fixture(scope="module")
def mine() -> str:
    return f"practice-{uuid.uuid4().hex[:12]}"


@pytest.fixture(scope="module")
def files(mine: str) -> dict[str, str]:
    found = read_folder()
    own = row("full", text="Our own survey", organization=mine, amount="200.00", valid_from="2021-01-01", kind="exam")
    return found | {"tariff.csv": found["tariff.csv"] + own + OTHER_PRICE}


@pytest.fixture(scope="module")
def url(module_books: SqlBooks, files: dict[str, str]) -> Iterator[str]:
    with running.served(application(module_books, load(files), base=BASE)) as address:
        yield address


@pytest.fixture
def rest(url: str, module_books: SqlBooks, mine: str) -> Iterator[httpx.Client]:
    with running.client(url, running.register(module_books, mine, kind="practice")) as client:
        yield client


def every(rest: httpx.Client, type_: str, **params: str) -> list[Json]:
    """All matches of a search, page after page."""
    found: list[Json] = []
    answer = rest.get(f"/fhir/{type_}", params=params).json()
    while True:
        found += [one["resource"] for one in answer.get("entry", []) if one["search"]["mode"] == "match"]
        following = [one["url"] for one in answer["link"] if one["relation"] == "next"]
        if not following:
            assert len(found) == answer["total"]
            return found
        answer = rest.get(following[0].replace(BASE, "/fhir")).json()


@pytest.mark.parametrize("type_", sorted(DEFINITIONS))
def test_each_is_sound_and_comes_by_id_and_by_url(rest: httpx.Client, type_: str) -> None:
    found = every(rest, type_, _count="7")
    assert found
    assert [one["id"] for one in found] == sorted({one["id"] for one in found})
    for one in found:
        assert validate.check(one, type_=type_) == []
        assert re.fullmatch(r"[A-Za-z0-9\-.]{1,64}", one["id"])
        assert re.fullmatch(r"[A-Z][A-Za-z0-9_]{0,254}", one.get("name", "A")) or type_ == "SearchParameter"
    for one in found[:5]:
        read = rest.get(f"/fhir/{type_}/{one['id']}")
        assert read.json() == one
        again = rest.get(f"/fhir/{type_}/{one['id']}", headers={"If-None-Match": read.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")
        assert [hit["id"] for hit in every(rest, type_, url=one["url"])] == [one["id"]]
        assert [hit["id"] for hit in every(rest, type_, _id=one["id"])] == [one["id"]]
    assert rest.get(f"/fhir/{type_}/no-such").status_code == 404


@pytest.mark.parametrize("type_", sorted(DEFINITIONS))
def test_nobody_writes_them(rest: httpx.Client, type_: str) -> None:
    for method, path in (("POST", ""), ("PUT", "/x"), ("DELETE", "/x"), ("GET", "/_history"), ("GET", "/x/_history")):
        answer = rest.request(method, f"/fhir/{type_}{path}", json={"resourceType": type_}, headers=JSON)
        assert answer.status_code == 405, (method, path)


def test_they_are_searched_by_what_is_declared(rest: httpx.Client) -> None:
    assert {one["id"] for one in every(rest, "CodeSystem", name="find")} == {"finding"}
    assert [one["id"] for one in every(rest, "CodeSystem", **{"title:exact": "Findings"})] == ["finding"]
    assert [one["id"] for one in every(rest, "CodeSystem", **{"title:contains": "STRUCT"})] == ["structure"]
    assert {one["id"] for one in every(rest, "CodeSystem", _id="finding,plane,x")} == {"finding", "plane"}
    assert [one["id"] for one in every(rest, "SearchParameter", code="status", base="ChargeItem")] == [
        "ChargeItem-status"
    ]
    assert every(rest, "CodeSystem", status="http://hl7.org/fhir/publication-status|draft") == []
    assert rest.get("/fhir/CodeSystem?_summary=count").json().keys() == {"resourceType", "type", "total", "link"}
    assert rest.get("/fhir/CodeSystem?_count=0").json()["total"] > 10
    assert rest.post("/fhir/CodeSystem/_search", data={"_id": "plane"}).json()["total"] == 1


def test_a_part_of_them_is_given_and_marked(rest: httpx.Client) -> None:
    whole = rest.get("/fhir/CodeSystem/plane").json()
    assert "tag" not in whole.get("meta", {})
    for query, lacks in (("_summary=true", "concept"), ("_elements=url,status", "title"), ("_summary=text", "title")):
        found = rest.get(f"/fhir/CodeSystem?_id=plane&{query}").json()
        assert query in found["link"][0]["url"].replace("%2C", ",")
        alone = rest.get(f"/fhir/CodeSystem/plane?{query}")
        assert alone.json() == found["entry"][0]["resource"]
        assert alone.headers["etag"] != rest.get("/fhir/CodeSystem/plane").headers["etag"]
        assert {tag["code"] for tag in alone.json()["meta"]["tag"]} == {"SUBSETTED"}
        assert lacks in whole
        assert lacks not in alone.json()
        assert validate.check(alone.json()) == []
    assert rest.get("/fhir/CodeSystem/plane?_elements=colour").status_code == 400
    assert rest.get("/fhir/CodeSystem?_summary=count").json()["total"] > 10


def test_what_is_not_understood_is_told(rest: httpx.Client) -> None:
    for query in (
        "name:below=x",
        "_count=x",
        "_summary=x",
        "_elements=colour",
        "_total=x",
        "url:missing=true",
        "_count:exact=1",
    ):
        assert rest.get(f"/fhir/CodeSystem?{query}").status_code == 400, query
    ignored = rest.get("/fhir/CodeSystem?nonsense=1&_id=plane").json()
    assert "nonsense" not in ignored["link"][0]["url"]
    assert ignored["entry"][-1]["resource"]["issue"][0]["severity"] == "warning"
    strict = {"Prefer": "handling=strict"}
    assert rest.get("/fhir/CodeSystem?nonsense=1", headers=strict).status_code == 400


def test_every_parameter_profile_and_operation_that_is_declared_is_defined(rest: httpx.Client) -> None:
    types = rest.get("/fhir/metadata").json()["rest"][0]["resource"]
    parameters = {p["definition"]: (one["type"], p) for one in types for p in one["searchParam"]}
    defined = {one["url"]: one for one in every(rest, "SearchParameter", _count="500")}
    assert defined.keys() == parameters.keys()
    for url, (type_, declared) in parameters.items():
        assert (defined[url]["code"], defined[url]["type"]) == (declared["name"], declared["type"])
        assert {type_, "Resource", "DomainResource"} & set(defined[url]["base"])
    operations = {o["definition"]: o["name"] for one in types for o in one["operation"]}
    assert {one["url"]: one["code"] for one in every(rest, "OperationDefinition")} == operations
    profiles = {url for one in types for url in one.get("supportedProfile", [])}
    ours = {url for url in profiles if url.startswith(uris.BASE)}
    assert ours
    assert ours <= {one["url"] for one in every(rest, "StructureDefinition")}
    assert profiles - ours == {uris.BACKPORT_SUBSCRIPTION}, "defined by HL7"


def test_the_statement_is_its_own_instance(rest: httpx.Client) -> None:
    assert rest.get("/fhir/CapabilityStatement/sonoledger").json() == rest.get("/fhir/metadata").json()


def test_a_price_list_is_its_own_organisations(rest: httpx.Client, mine: str) -> None:
    found = {one["code"]["coding"][0]["code"]: one for one in every(rest, "ChargeItemDefinition")}
    assert found["full"]["id"] == f"full-2021-01-01-{mine}"
    prices = found["full"]["propertyGroup"][0]["priceComponent"]
    assert prices[0]["amount"] == {"value": 200, "currency": "EUR"}
    assert rest.get(f"/fhir/ChargeItemDefinition/{found['full']['id']}").text.count('"value":200.00') == 1
    assert "full-2020-01-01" not in {one["id"] for one in found.values()}
    assert found["limited"]["id"] == "limited-2020-01-01"
    for type_ in ("ChargeItemDefinition", "CodeSystem", "ValueSet"):
        assert "secret" not in rest.get(f"/fhir/{type_}?_count=500").text


def test_a_protocol_is_what_an_exam_names(rest: httpx.Client, files: dict[str, str]) -> None:
    catalogue = load(files)
    plan = every(rest, "PlanDefinition", url=f"{uris.PROTOCOL}/dog", version=catalogue.hash)[0]
    steps = [step for station in plan["action"] for step in station["action"]]
    codes = [step["code"][0]["coding"][0]["code"] for step in steps]
    assert codes == [rule.code for rule in catalogue.protocols["dog"].steps]
    musts = {c for c, step in zip(codes, steps, strict=True) if step["requiredBehavior"] == "must-unless-documented"}
    assert musts == {rule.code for rule in catalogue.protocols["dog"].steps if rule.owed_from_start}
    assert every(rest, "PlanDefinition", version="no-such") == []


def test_a_protocol_of_an_earlier_catalogue_is_found_by_its_version(
    rest: httpx.Client, module_books: SqlBooks, mine: str, files: dict[str, str]
) -> None:
    earlier = files | {"stations.csv": files["stations.csv"].replace("Spleen", "The spleen")}
    old = load(earlier)
    with module_books.begin(mine) as work:
        work.keep_catalogue(old.hash, pack(earlier))
    found = every(rest, "PlanDefinition", url=f"{uris.PROTOCOL}/cat", version=old.hash)
    assert [station["title"] for station in found[0]["action"] if "pleen" in station["title"]] == ["The spleen"]


def test_maps_say_what_a_senders_code_leads_to_and_claim_no_more(rest: httpx.Client, files: dict[str, str]) -> None:
    sites = rest.get("/fhir/ConceptMap/sites").json()
    targets = [
        (group.get("target"), target)
        for group in sites["group"]
        for element in group["element"]
        for target in element["target"]
    ]
    assert {target["equivalence"] for _, target in targets} == {"relatedto", "unmatched"}
    grouped = rest.get("/fhir/CodeSystem/structure").json()["concept"]
    structures = {one["code"] for group in grouped for one in (group, *group.get("concept", ()))}
    for system, target in targets:
        assert (system is None) is (target["equivalence"] == "unmatched")
        assert system is None or target["code"] in structures
    graded_c = [line.split(",")[1] for line in files["sites.csv"].splitlines() if ",C," in line]
    assert graded_c
    shown = {element["code"] for group in sites["group"] for element in group["element"]}
    assert not shown & set(graded_c)
    assert "SNOMED International" in sites["copyright"]


def test_every_code_of_a_set_stands_in_its_code_system(rest: httpx.Client) -> None:
    systems = {one["url"]: {c["code"] for c in one["concept"]} for one in every(rest, "CodeSystem")}
    for one in every(rest, "ValueSet", _count="500"):
        for part in one["compose"]["include"]:
            if part["system"] in systems:
                assert {c["code"] for c in part.get("concept", [])} <= systems[part["system"]]
