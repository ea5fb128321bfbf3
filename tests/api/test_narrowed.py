"""Scopes with search parameters (SMART App Launch 2): what they leave out is not there, by whichever way one looks."""

from typing import Any

import httpx
import pytest

from service.access import granting, scopes
from service.basics.errors import Invalid
from tests.builders.audited import Audited, Open

Json = dict[str, Any]
CANARY = "canary-7261"
CATEGORIES = "http://terminology.hl7.org/CodeSystem/observation-category"
SCOPES = ("system/Observation.rs?category=laboratory", "system/Patient.rs", "system/DiagnosticReport.rs")


SEARCHES = [
    "Observation",
    "Observation?_total=accurate",
    "Observation?_sort=-_lastUpdated&_count=1",
    f"Observation?code=urn:x|seen,urn:x|{CANARY}",
    "Observation?category=imaging,laboratory",
    "Observation?status=final",
    "Observation?code:not=none",
    "Observation?code:text=seen",
    "{animal}/Observation",
    "?_type=Observation",
    "Observation/$lastn?patient={animal}",
]


def observation(animal: str, category: str, text: str, **more: Any) -> Json:
    return {
        "resourceType": "Observation",
        "status": "final",
        "category": [{"coding": [{"system": CATEGORIES, "code": category}]}],
        "code": {"coding": [{"system": "urn:x", "code": text}], "text": text},
        "subject": {"reference": animal},
        "valueString": text,
        **more,
    }


class Case:
    """One animal with two Observations: one that the narrow token sees, and one that it doesn't."""

    def __init__(self, whole: httpx.Client) -> None:
        self.whole = whole
        self.animal = self.post({"resourceType": "Patient"})
        self.hidden = self.post(observation(self.animal, "imaging", CANARY))
        self.seen = self.post(observation(self.animal, "laboratory", "seen"))
        results = [{"reference": self.hidden}, {"reference": self.seen}]
        report = {"resourceType": "DiagnosticReport", "status": "final", "code": {"text": "x"}, "result": results}
        self.report = self.post(report | {"subject": {"reference": self.animal}})

    def post(self, resource: Json) -> str:
        answer = self.whole.post(f"/fhir/{resource['resourceType']}", json=resource)
        assert answer.status_code == 201, answer.text
        return f"{resource['resourceType']}/{answer.json()['id']}"


@pytest.fixture
def case(enter: Open) -> tuple[Case, httpx.Client]:
    whole = enter()
    narrow: Audited = enter("records", *SCOPES, name=whole.organization)
    return Case(whole.http), narrow.http


def ids(answer: httpx.Response, mode: str = "match") -> set[str]:
    assert answer.status_code == 200, answer.text
    entries = answer.json().get("entry", [])
    found = [one["resource"] for one in entries if one.get("search", {}).get("mode", mode) == mode]
    return {f"{one['resourceType']}/{one['id']}" for one in found}


def test_what_is_left_out_looks_like_what_never_was(case: tuple[Case, httpx.Client]) -> None:
    at, http = case
    for path in ("", "/_history", "/_history/1", "/$meta"):
        foreign, unknown = (http.get(f"/fhir/{one}{path}") for one in (at.hidden, "Observation/none"))
        assert foreign.status_code == unknown.status_code == 404
        assert foreign.text.replace(at.hidden.split("/")[1], "none") == unknown.text
        assert http.get(f"/fhir/{at.seen}{path}").status_code == 200
    assert http.head(f"/fhir/{at.hidden}").status_code == 404


def test_searches_find_the_rest_alone(case: tuple[Case, httpx.Client]) -> None:
    at, http = case
    for asked in SEARCHES:
        answer = http.get(f"/fhir/{asked.format(animal=at.animal)}")
        assert ids(answer) == {at.seen}, asked
        assert answer.json().get("total", 1) == 1, asked
        assert CANARY not in answer.text.replace(f"urn:x|{CANARY}", "").replace(f"urn:x%7C{CANARY}", ""), asked


def test_counting_counts_what_is_seen(case: tuple[Case, httpx.Client]) -> None:
    at, http = case
    assert http.get("/fhir/Observation?_summary=count").json()["total"] == 1
    assert at.whole.get("/fhir/Observation?_summary=count").json()["total"] == 2


def test_nothing_comes_along_or_leads_through_it(case: tuple[Case, httpx.Client]) -> None:
    at, http = case
    included = http.get("/fhir/DiagnosticReport?_include=DiagnosticReport:result")
    assert ids(included, "include") == {at.seen}
    assert ids(http.get("/fhir/Patient?_revinclude=Observation:subject"), "include") == {at.seen}
    for asked, found in (("seen", True), (CANARY, False)):
        assert bool(ids(http.get(f"/fhir/Patient?_has:Observation:subject:code=urn:x|{asked}"))) is found
        assert bool(ids(http.get(f"/fhir/DiagnosticReport?result.code=urn:x|{asked}"))) is found
        assert bool(ids(at.whole.get(f"/fhir/DiagnosticReport?result.code=urn:x|{asked}"))) is True
    everything = http.get(f"/fhir/{at.animal}/$everything")
    assert at.seen in ids(everything)
    assert CANARY not in everything.text


def test_nor_in_bundles(case: tuple[Case, httpx.Client]) -> None:
    at, http = case
    urls = [at.hidden, at.seen, f"Observation?_id={at.hidden.split('/')[1]}", f"{at.hidden}/_history/1"]
    entries = [{"request": {"method": "GET", "url": url}} for url in urls]
    batch = http.post("/fhir", json={"resourceType": "Bundle", "type": "batch", "entry": entries})
    assert [one["response"]["status"][:3] for one in batch.json()["entry"]] == ["404", "200", "200", "404"]
    assert CANARY not in batch.text
    whole = http.post("/fhir", json={"resourceType": "Bundle", "type": "transaction", "entry": entries[:1]})
    assert whole.status_code == 404
    whole = http.post("/fhir", json={"resourceType": "Bundle", "type": "transaction", "entry": entries[1:3]})
    assert whole.status_code == 200
    assert CANARY not in whole.text


def test_a_version_is_judged_by_what_it_said(case: tuple[Case, httpx.Client]) -> None:
    at, http = case
    moved = at.post(observation(at.animal, "imaging", CANARY))
    resource = observation(at.animal, "laboratory", "moved", id=moved.split("/")[1])
    changed = at.whole.put(f"/fhir/{moved}", json=resource, headers={"If-Match": 'W/"1"'})
    assert changed.status_code == 200, changed.text
    assert http.get(f"/fhir/{moved}/_history/1").status_code == 404
    assert http.get(f"/fhir/{moved}/_history/2").status_code == 200
    history = http.get(f"/fhir/{moved}/_history")
    assert len(history.json()["entry"]) == 1
    assert "total" not in history.json()
    assert CANARY not in history.text
    back = observation(at.animal, "imaging", CANARY, id=moved.split("/")[1])
    assert at.whole.put(f"/fhir/{moved}", json=back, headers={"If-Match": 'W/"2"'}).status_code == 200
    assert http.get(f"/fhir/{moved}/_history/2").status_code == 404  # it is out of sight with all that it was


def test_pages_go_on_without_it(case: tuple[Case, httpx.Client]) -> None:
    at, http = case
    seen = {at.seen}
    for n in range(5):
        at.post(observation(at.animal, "imaging", CANARY))
        seen.add(at.post(observation(at.animal, "laboratory", f"seen {n}")))
    answer, found = http.get("/fhir/Observation?_count=2"), set[str]()
    while True:
        assert CANARY not in answer.text
        found |= ids(answer)
        after = [one["url"] for one in answer.json()["link"] if one["relation"] == "next"]
        if not after:
            break
        answer = http.get(f"/fhir{after[0].partition('/fhir')[2]}")
    assert found == seen


def test_histories_and_writes_are_not_for_it(case: tuple[Case, httpx.Client], enter: Open) -> None:
    at, http = case
    for path in ("/fhir/Observation/_history", "/fhir/_history"):
        assert http.get(path).status_code == 403
    assert http.get("/fhir/Patient/_history").status_code == 200
    mixed = enter("records", "system/Observation.r?category=laboratory", "system/*.cud", name="narrow-and-writing").http
    for method, path in (("POST", "Patient"), ("PUT", "Patient/x"), ("PATCH", "Patient/x"), ("DELETE", "Patient/x")):
        assert mixed.request(method, f"/fhir/{path}", json={"resourceType": "Patient"}).status_code == 403
    assert at.whole.get(f"/fhir/{at.hidden}").status_code == 200


def test_limits_add_up_and_all_parameters_of_one_hold(enter: Open) -> None:
    whole = enter()
    made = Case(whole.http)
    other = made.post(observation(made.animal, "laboratory", "early", status="preliminary"))
    two = ("system/Observation.r?category=laboratory&status=preliminary", "system/Observation.r?category=imaging")
    http = enter("records", *two, name=whole.organization).http
    read = {one: http.get(f"/fhir/{one}").status_code for one in (made.hidden, made.seen, other)}
    assert read == {made.hidden: 200, made.seen: 404, other: 200}
    assert http.get("/fhir/Observation").status_code == 403  # r is no s
    both = enter("records", "system/Observation.rs?status=final", "system/Observation.rs", name=whole.organization).http
    assert len(ids(both.get("/fhir/Observation"))) == 3


def test_a_search_does_not_lead_through_a_type_that_the_token_may_not_read(enter: Open) -> None:
    whole = enter()
    made = Case(whole.http)
    http = enter("records", "system/Patient.rs", name=whole.organization).http
    assert ids(whole.http.get(f"/fhir/Patient?_has:Observation:subject:code=urn:x|{CANARY}")) == {made.animal}
    answer = http.get(f"/fhir/Patient?_has:Observation:subject:code=urn:x|{CANARY}")
    assert ids(answer) == set()
    assert "may not read Observation" in answer.text


# SMART App Launch 2, "Finer-grained resource constraints using search parameters": what is experimental is refused
@pytest.mark.parametrize(
    "scope",
    [
        "system/*.rs?category=laboratory",
        "system/Observation.cruds?category=laboratory",
        "system/Observation.rs?category:in=http://valueset.example",
        "system/Observation.rs?subject.name=x",
        "system/Observation.rs?_has:DiagnosticReport:result:code=x",
        "system/Observation.rs?_count=5",
        "system/Observation.rs?_filter=x",
        "system/Observation.rs?colour=red",
        "system/Observation.rs?date=yesterday",
        "system/Observation.read?category=laboratory",  # version 1 knows no parameters
        "system/CodeSystem.rs?name=x",
        "system/AuditEvent.rs?action=R",
    ],
)
def test_limits_that_can_not_be_held_are_not_granted(scope: str) -> None:
    with pytest.raises(Invalid):
        granting.granted("x", [scope], role="", party="")


def test_what_is_within_a_registration() -> None:
    held = ("system/Observation.rs?category=laboratory", "system/Patient.read", "system/Task.cruds")
    for scope, inside in {
        "system/Observation.rs?category=laboratory": True,
        "system/Observation.r?category=laboratory": True,
        "system/Observation.rs": False,
        "system/Observation.rs?category=imaging": False,
        "system/Patient.rs": True,
        "system/Patient.r?gender=male": True,  # less than what is held
        "system/Patient.write": False,
        "system/Task.*": True,
        "system/*.r": False,
        "system/Task.x": False,
    }.items():
        assert scopes.covers(held, scope) is inside, scope
