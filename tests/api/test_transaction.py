"""The rules of transactions and batches against the whole service: rows T1-T14, both engines."""

import random
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from tests.api.conftest import JSON
from tests.builders.audited import Open

Json = dict[str, Any]
HOME = "http://elsewhere.example/fhir"


@pytest.fixture
def rest(enter: Open) -> httpx.Client:
    return enter("records").http


def entry(method: str, url: str, resource: Json | None = None, *, full: str = "", **conditions: str) -> Json:
    found: Json = {"request": {"method": method, "url": url, **conditions}}
    return found | ({"resource": resource} if resource else {}) | ({"fullUrl": full} if full else {})


def bundle(*entries: Json, kind: str = "transaction") -> Json:
    return {"resourceType": "Bundle", "type": kind, "entry": list(entries)}


def send(rest: httpx.Client, *entries: Json, kind: str = "transaction", **headers: str) -> httpx.Response:
    return rest.post("/fhir", json=bundle(*entries, kind=kind), headers=JSON | headers)


def made(rest: httpx.Client, type_: str = "Patient", **more: Any) -> Json:
    answer = rest.post(f"/fhir/{type_}", json={"resourceType": type_, **more}, headers=JSON)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def known(value: str) -> Json:
    return {"identifier": [{"system": "urn:invented", "value": value}]}


def statuses(answer: httpx.Response) -> list[str]:
    assert answer.status_code == 200, answer.text
    return [e["response"]["status"].split()[0] for e in answer.json()["entry"]]


def where(answer: httpx.Response, index: int) -> str:
    """Type/id of what an entry left."""
    parts = answer.json()["entry"][index]["response"]["location"].split("/")
    return f"{parts[-4]}/{parts[-3]}"


def urn(number: int) -> str:
    return f"urn:uuid:0190a1f0-0000-4000-8000-{number:012d}"


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_entries_never_matters(rest: httpx.Client, seed: int) -> None:
    kept, left = made(rest, **known("kept")), made(rest, **known("left"))
    owner = {"resourceType": "RelatedPerson", "patient": {"reference": urn(1)}, **known("owner")}
    entries = [
        entry("GET", "Patient?identifier=urn:invented|kept&active=true"),
        entry("POST", "Patient", {"resourceType": "Patient", **known("new")}, full=urn(1)),
        entry("PUT", f"Patient/{kept['id']}", kept | {"active": True}),
        entry("POST", "RelatedPerson", owner, full=urn(2)),
        entry("DELETE", f"Patient/{left['id']}"),
        entry("POST", "Flag", {"resourceType": "Flag", "status": "active", "code": {"text": "Bites"},
                               "subject": {"reference": "Patient?identifier=urn:invented|new"}}),
        entry("GET", f"Patient/{kept['id']}"),
    ]  # fmt: skip
    order = list(range(len(entries)))
    random.Random(seed).shuffle(order)
    answer = send(rest, *(entries[i] for i in order))
    told = dict(zip(order, answer.json().get("entry", []), strict=True)) if answer.status_code == 200 else {}
    assert told, answer.text
    assert [told[i]["response"]["status"][:3] for i in range(7)] == ["200", "201", "200", "201", "204", "201", "200"]
    assert told[0]["resource"]["total"] == 1
    assert told[6]["resource"]["active"] is True
    new = rest.get("/fhir/Patient?identifier=new").json()["entry"][0]["resource"]["id"]
    for type_, element in (("RelatedPerson", "patient"), ("Flag", "subject")):
        (only,) = rest.get(f"/fhir/{type_}").json()["entry"]
        assert only["resource"][element]["reference"] == f"Patient/{new}"


def test_one_resource_is_spoken_of_once(rest: httpx.Client) -> None:
    dog = made(rest, **known("a"))
    other = {"resourceType": "Patient", **known("a")}
    at = f"Patient/{dog['id']}"
    for first, second in [
        (entry("PUT", at, dog), entry("PUT", at, dog)),
        (entry("PUT", at, dog), entry("DELETE", at)),
        (entry("PUT", at, dog), entry("PUT", "Patient?identifier=urn:invented|a", other)),
        (entry("DELETE", at), entry("DELETE", "Patient?identifier=urn:invented|a")),
        (entry("PUT", "Patient?identifier=b", other), entry("PUT", "Patient?identifier=b", other)),
        (
            entry("POST", "Patient", other | known("new"), ifNoneExist="identifier=urn:invented|new"),
            entry("POST", "Patient", other | known("new"), ifNoneExist="identifier=urn:invented|new"),
        ),
        (
            entry("POST", "Patient", other | known("new")),
            entry("POST", "Patient", other | known("new"), ifNoneExist="identifier=urn:invented|new"),
        ),
    ]:
        for pair in ((first, second), (second, first)):
            answer = send(rest, *pair)
            assert answer.status_code == 400, answer.text
            assert answer.json()["issue"][0]["expression"][0].startswith("Bundle.entry[")
    assert rest.get("/fhir/Patient").json()["total"] == 1
    assert rest.get(f"/fhir/{at}").json()["meta"]["versionId"] == "1"


def test_an_identifier_that_is_no_list(enter: Open) -> None:
    """Composition has one at most (R4, Composition.identifier: 0..1)."""
    one = {"identifier": {"system": "urn:invented", "value": "1"}, "title": "x", "date": "2026-11-25"}
    whole = {
        "resourceType": "Composition",
        "status": "final",
        "type": {"text": "x"},
        "author": [{"display": "x"}],
    } | one
    rest = enter("practice").http
    assert rest.post("/fhir/Composition", json=whole, headers=JSON).status_code == 201
    flag = {"resourceType": "Flag", "status": "active", "code": {"text": "x"}, "subject": {"display": "x"}}
    sent = send(rest, entry("POST", "Composition", whole), entry("POST", "Flag", flag, ifNoneExist="identifier=|1"))
    assert statuses(sent) == ["201", "201"]


def test_every_kind_of_link_leads_to_what_was_made(rest: httpx.Client) -> None:
    div = f'<div xmlns="http://www.w3.org/1999/xhtml"><a href="{urn(1)}">dog</a> {urn(1)}</div>'
    note = {
        "resourceType": "Communication", "status": "completed", "subject": {"reference": urn(1)},
        "instantiatesUri": [urn(1), "urn:other"], "instantiatesCanonical": [urn(1)],
        "about": [{"reference": f"{urn(1)}/_history/7"}, {"reference": "Patient/unknown"}],
        "payload": [{"contentAttachment": {"url": urn(1)}}],
        "extension": [{"url": "urn:invented", "valueUri": urn(1)}, {"url": "urn:invented", "valueString": urn(1)}],
        "text": {"status": "generated", "div": div},
        "contained": [
            {"resourceType": "Patient", "id": "c", "link": [{"type": "seealso", "other": {"reference": urn(1)}}]}
        ],
        "sender": {"reference": "#c"},
    }  # fmt: skip
    answer = send(
        rest,
        entry("POST", "Communication", note, full=urn(2)),
        entry("POST", "Patient", {"resourceType": "Patient"}, full=urn(1)),
    )
    assert statuses(answer) == ["201", "201"]
    dog = where(answer, 1)
    left = rest.get(f"/fhir/{where(answer, 0)}").json()
    assert left["subject"]["reference"] == dog
    assert left["instantiatesUri"] == [dog, "urn:other"]
    assert left["instantiatesCanonical"] == [urn(1)]  # R4: canonical is not rewritten
    assert [one["reference"] for one in left["about"]] == [f"{dog}/_history/1", "Patient/unknown"]
    assert left["payload"][0]["contentAttachment"]["url"] == dog
    assert left["extension"][0]["valueUri"] == dog
    assert left["extension"][1]["valueString"] == urn(1)
    assert left["text"]["div"] == div.replace(f'"{urn(1)}"', f'"{dog}"')
    assert left["contained"][0]["link"][0]["other"]["reference"] == dog


def test_circles_and_other_servers_own_addresses(rest: httpx.Client) -> None:
    one = {"resourceType": "Patient", "link": [{"type": "seealso", "other": {"reference": "Patient/b"}}]}
    two = {"resourceType": "Patient", "link": [{"type": "seealso", "other": {"reference": f"{HOME}/Patient/a"}}]}
    answer = send(
        rest,
        entry("POST", "Patient", one, full=f"{HOME}/Patient/a"),
        entry("POST", "Patient", two, full=f"{HOME}/Patient/b"),
    )
    assert statuses(answer) == ["201", "201"]
    links = [rest.get(f"/fhir/{where(answer, i)}").json()["link"][0]["other"]["reference"] for i in (0, 1)]
    assert links == [where(answer, 1), where(answer, 0)]


def test_links_lead_to_what_a_condition_found(rest: httpx.Client) -> None:
    dog = made(rest, **known("a"))
    cat = made(rest, **known("b"))
    both = [{"reference": urn(1)}, {"reference": f"{urn(2)}/_history/1"}]
    note = {"resourceType": "Communication", "status": "completed", "about": both}
    answer = send(
        rest,
        entry("POST", "Patient", {"resourceType": "Patient"}, full=urn(1), ifNoneExist="identifier=urn:invented|a"),
        entry("PUT", "Patient?identifier=urn:invented|b", {"resourceType": "Patient", **known("b")}, full=urn(2)),
        entry("POST", "Communication", note),
    )
    assert statuses(answer) == ["200", "200", "201"]
    about = rest.get(f"/fhir/{where(answer, 2)}").json()["about"]
    assert [a["reference"] for a in about] == [f"Patient/{dog['id']}", f"Patient/{cat['id']}/_history/2"]


@pytest.mark.parametrize(
    ("criteria", "status"),
    [("identifier=urn:invented|a", 200), ("identifier=urn:invented|none", 412), ("identifier=urn:invented|two", 412),
     ("colour=blue", 400), ("_count=1", 400)],
)  # fmt: skip
def test_a_conditional_reference_finds_exactly_one(rest: httpx.Client, criteria: str, status: int) -> None:
    dog = made(rest, **known("a"))
    for _ in range(2):
        made(rest, **known("two"))
    owner = {"resourceType": "RelatedPerson", "patient": {"reference": f"Patient?{criteria}"}}
    answer = send(rest, entry("POST", "RelatedPerson", owner))
    assert answer.status_code == status, answer.text
    if status == 200:
        assert rest.get(f"/fhir/{where(answer, 0)}").json()["patient"]["reference"] == f"Patient/{dog['id']}"
    else:
        assert answer.json()["issue"][0]["expression"][0].startswith("Bundle.entry[0].resource")
        assert rest.get("/fhir/RelatedPerson").json()["total"] == 0


def test_only_in_transactions(rest: httpx.Client) -> None:
    made(rest, **known("a"))
    owner = {"resourceType": "RelatedPerson", "patient": {"reference": "Patient?identifier=urn:invented|a"}}
    assert rest.post("/fhir/RelatedPerson", json=owner, headers=JSON).status_code == 400
    assert statuses(send(rest, entry("POST", "RelatedPerson", owner), kind="batch")) == ["400"]


def test_it_sees_what_the_transaction_leaves(rest: httpx.Client) -> None:
    old = made(rest, **known("a"))
    owner = {"resourceType": "RelatedPerson", "patient": {"reference": "Patient?identifier=urn:invented|a"}}
    renamed = {**old, **known("b")}
    lost = send(rest, entry("POST", "RelatedPerson", owner), entry("PUT", f"Patient/{old['id']}", renamed))
    assert lost.status_code == 412
    moved = send(
        rest,
        entry("POST", "RelatedPerson", owner),
        entry("PUT", f"Patient/{old['id']}", renamed),
        entry("POST", "Patient", {"resourceType": "Patient", **known("a")}),
    )
    assert statuses(moved) == ["201", "200", "201"]
    assert rest.get(f"/fhir/{where(moved, 0)}").json()["patient"]["reference"] == where(moved, 2)


@pytest.mark.parametrize("kind", ["transaction", "batch"])
def test_reads_heed_their_conditions(rest: httpx.Client, kind: str) -> None:
    dog = made(rest)
    at, meta = f"Patient/{dog['id']}", dog["meta"]
    answer = send(
        rest,
        entry("GET", at, ifNoneMatch='W/"1"'),
        entry("GET", at, ifNoneMatch='W/"2"'),
        entry("GET", at, ifModifiedSince=meta["lastUpdated"]),
        entry("GET", at, ifModifiedSince="2020-01-01T00:00:00Z"),
        entry("HEAD", at),
        entry("GET", f"{at}/_history/1"),
        entry("GET", f"{at}/_history"),
        entry("GET", "Patient?_id=" + dog["id"]),
        entry("GET", "_history?_count=1"),
        kind=kind,
    )
    assert statuses(answer) == ["304", "200", "304", "200", "200", "200", "200", "200", "200"]
    bodies = [e.get("resource") for e in answer.json()["entry"]]
    assert bodies[:6] == [None, dog, None, dog, None, dog]
    assert [b["type"] for b in bodies[6:]] == ["history", "searchset", "history"]
    assert bodies[7]["entry"][0]["resource"] == dog


def test_a_read_that_fails_takes_a_transaction_with_it_but_not_a_batch(rest: httpx.Client) -> None:
    write = entry("POST", "Patient", {"resourceType": "Patient"})
    for url, status in (("Patient/nobody", 404), ("Patient?birthdate=soon", 400), ("Foo/x", 404), ("metadata", 405)):
        whole = send(rest, write, entry("GET", url))
        assert whole.status_code == status, whole.text
        assert whole.json()["issue"][0]["expression"][0].startswith("Bundle.entry[1]")
        assert rest.get("/fhir/Patient").json()["total"] == 0
    assert statuses(send(rest, write, entry("GET", "Patient/nobody"), kind="batch")) == ["201", "404"]


def test_conditions_of_writes(rest: httpx.Client) -> None:
    dog = made(rest)
    at = f"Patient/{dog['id']}"
    for conditions, status in (
        ({"ifMatch": 'W/"2"'}, 412),
        ({"ifMatch": "two"}, 400),
        ({"ifNoneMatch": "*"}, 412),
        ({"ifNoneMatch": 'W/"1"'}, 412),
        ({"ifNoneExist": "identifier=a"}, 400),
        ({"ifModifiedSince": "2020-01-01T00:00:00Z"}, 400),
    ):
        assert send(rest, entry("PUT", at, dog, **conditions)).status_code == status, conditions
    assert rest.put(f"/fhir/{at}", json=dog, headers=JSON | {"If-None-Match": "*"}).status_code == 412
    assert send(rest, entry("POST", "Patient", {"resourceType": "Patient"}, ifMatch='W/"1"')).status_code == 400
    assert rest.get(f"/fhir/{at}").json() == dog


def test_entries_of_a_batch_stand_alone(rest: httpx.Client) -> None:
    owner = {"resourceType": "RelatedPerson", "patient": {"reference": urn(1)}}
    answer = send(
        rest,
        entry("POST", "Patient", {"resourceType": "Patient"}, full=urn(1)),
        entry("POST", "RelatedPerson", owner, full=urn(2)),
        entry("PUT", "Patient/x", {"resourceType": "Patient", "id": "x"}),
        entry("DELETE", "Flag/x"),
        kind="batch",
    )
    assert statuses(answer) == ["201", "400", "405", "405"]
    assert rest.get("/fhir/RelatedPerson").json()["total"] == 0


def test_each_entry_is_permitted_by_itself(enter: Open) -> None:
    client = enter("records", "system/Patient.cr").http
    dog = {"resourceType": "Patient"}
    for one in (
        entry("GET", "Patient?active=true"),
        entry("POST", "Flag", {"resourceType": "Flag"}),
        entry("GET", "Flag/x"),
        entry("DELETE", "Patient/x"),
        entry("GET", "_history"),
    ):
        answer = send(client, entry("POST", "Patient", dog), one)
        assert answer.status_code == 403, one
        assert answer.json()["issue"][0]["expression"] == ["Bundle.entry[1].request.url"]
        assert statuses(send(client, one, kind="batch")) == ["403"]


PATCHED = {"resourceType": "Binary", "contentType": "application/json-patch+json"}
REMOVED = PATCHED | {"data": "W3sib3AiOiJyZW1vdmUiLCJwYXRoIjoiL2dlbmRlciJ9XQ=="}  # [{"op":"remove","path":"/gender"}]
LOST = {"resourceType": "RelatedPerson", "patient": {"reference": "Patient?identifier=none"}}
SAME = "Patient?identifier=urn:invented|same"
FAULTY: list[tuple[str, Callable[[Json], Json], int]] = [
    ("a wrong code", lambda dog: entry("POST", "Patient", {"resourceType": "Patient", "gender": "blue"}), 400),
    ("another type", lambda dog: entry("POST", "Patient", {"resourceType": "Location"}), 400),
    ("an unknown element", lambda dog: entry("POST", "Patient", {"resourceType": "Patient", "colour": "x"}), 400),
    ("a lost reference", lambda dog: entry("POST", "RelatedPerson", LOST), 412),
    ("a stale version", lambda dog: entry("PUT", f"Patient/{dog['id']}", dog, ifMatch='W/"7"'), 412),
    ("an unknown id", lambda dog: entry("PUT", "Patient/foreign", {"resourceType": "Patient", "id": "foreign"}), 405),
    ("a second word on one resource", lambda dog: entry("PUT", SAME, known("same") | {"resourceType": "Patient"}), 400),
    ("a nested Bundle", lambda dog: entry("POST", "Bundle", {"resourceType": "Bundle", "type": "batch"}), 404),
    ("an operation", lambda dog: entry("POST", "Patient/$validate", {"resourceType": "Parameters"}), 400),
    ("no request", lambda dog: {"resource": {"resourceType": "Patient"}}, 400),
    ("a NUL", lambda dog: entry("POST", "Patient", {"resourceType": "Patient", "name": [{"text": "a\0b"}]}), 400),
    ("a lost read", lambda dog: entry("GET", "Patient/nobody"), 404),
    ("a deletion that is not offered", lambda dog: entry("DELETE", "Task/x"), 405),
    ("a patch that does not fit", lambda dog: entry("PATCH", f"Patient/{dog['id']}", REMOVED), 422),
    ("a method of nobody", lambda dog: entry("BREW", "Patient"), 400),
    ("several matches", lambda dog: entry("DELETE", "Patient?identifier=urn:invented|twin"), 412),
]  # fmt: skip


@pytest.mark.parametrize(("name", "wrong", "status"), FAULTY, ids=[name for name, _, _ in FAULTY])
def test_whatever_entry_fails_nothing_is_left(
    rest: httpx.Client, name: str, wrong: Callable[[Json], Json], status: int
) -> None:
    dog = made(rest)
    for _ in range(2):
        made(rest, **known("twin"))
    good = [
        entry("POST", "Patient", {"resourceType": "Patient", **known("same")}, full=urn(1)),
        entry("POST", "RelatedPerson", {"resourceType": "RelatedPerson", "patient": {"reference": urn(1)}}),
        entry("PUT", "Location?identifier=urn:invented|room", {"resourceType": "Location", **known("room")}),
    ]
    before = rest.get("/fhir/_history").content
    for position in range(len(good) + 1):
        answer = send(rest, *good[:position], wrong(dog), *good[position:])
        assert answer.status_code == status, (position, answer.text)
        told = answer.json()
        assert told["resourceType"] == "OperationOutcome"
        assert len(answer.content) < 5_000
        if name not in {"a NUL", "a second word on one resource"}:  # one has no tree yet, one has two places
            assert any(f"Bundle.entry[{position}]" in where for i in told["issue"] for where in i.get("expression", []))
    assert rest.get("/fhir/_history").content == before
