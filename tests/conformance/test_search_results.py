"""S17-S23: pages, totals, order, what comes along, parts, and what all types share."""

from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest

from service.store import SqlBooks
from tests.api import running
from tests.conformance.speaking import SYSTEM, Json, found, ids, link, made, observation, of, patient, put, refused


def pages(rest: httpx.Client, url: str, between: Callable[[], object] = lambda: None) -> Iterator[Json]:
    while url:
        page = rest.get(url)
        assert page.status_code == 200, page.text
        yield page.json()
        url = link(page.json(), "next")
        between()


def test_s17_never_more_than_asked(rest: httpx.Client) -> None:
    for _ in range(3):
        made(rest, patient())
    for query in ("_count=0", "_summary=count"):
        answer = rest.get(f"/fhir/Patient?{query}").json()
        assert answer["total"] == 3
        assert "entry" not in answer
        assert link(answer, "next") == link(answer, "previous") == ""
    assert [len(page["entry"]) for page in pages(rest, "/fhir/Patient?_count=2")] == [2, 1]
    assert len(rest.get("/fhir/Patient?_count=999999999").json()["entry"]) == 3


def test_s18_each_match_exactly_once_while_others_insert(rest: httpx.Client) -> None:
    before = [made(rest, patient())["id"] for _ in range(7)]
    seen = [one for page in pages(rest, "/fhir/Patient?_count=2", lambda: made(rest, patient())) for one in ids(page)]
    assert [one for one in seen if one in before] == before[::-1]
    assert len(seen) == len(set(seen))


def test_s18_each_match_exactly_once_while_others_update(rest: httpx.Client) -> None:
    before = [made(rest, patient()) for _ in range(7)]
    turn = iter([*before, *before[::-1]])
    for order in ("", "&_sort=_lastUpdated"):
        url = f"/fhir/Patient?_count=2{order}"
        seen = [one for page in pages(rest, url, lambda: put(rest, next(turn))) for one in ids(page)]
        assert sorted(seen) == sorted(one["id"] for one in before)


def test_s18_links_are_the_callers_own(rest: httpx.Client, url: str, module_books: SqlBooks) -> None:
    for _ in range(3):
        made(rest, patient())
    first = rest.post("/fhir/Patient/_search", data={"_count": "2"}).json()
    assert len(ids(rest.get(link(first, "next")).json())) == 1
    assert "_count=2" in link(first, "next")
    assert ids(rest.get(link(first, "first")).json()) == ids(first)
    with running.client(url, running.register(module_books, "records-of-another-page")) as other:
        foreign = other.get(link(first, "next"))
        assert foreign.status_code in {200, 400, 403, 404, 410}
        assert ids(foreign.json()) == []
    for wrong in ("!", "x", "AAAA", "%00"):
        assert rest.get(f"/fhir/Patient?_page={wrong}").status_code in {400, 410}


def test_s19_a_total_is_of_the_matches_on_every_page(rest: httpx.Client) -> None:
    dog = made(rest, patient())
    for _ in range(3):
        made(rest, observation(subject=of(dog)))
    url = "/fhir/Observation?_count=2&_total=accurate&_include=Observation:subject"
    assert [page["total"] for page in pages(rest, url)] == [3, 3]
    assert "total" not in rest.get("/fhir/Observation?_total=none").json()
    assert rest.get("/fhir/Observation?_total=estimate").status_code == 200
    refused(rest.get("/fhir/Observation?_total=perhaps"), 400)


def test_s20_in_the_order_asked_for(rest: httpx.Client) -> None:
    rows = [("final", "2026-01-02"), ("amended", "2026-01-01"), ("final", "2026-01-03"), ("amended", "2026-01-04")]
    made_here = [made(rest, observation(status=status, effectiveDateTime=date))["id"] for status, date in rows]
    first, second, third, fourth = made_here
    assert found(rest, "Observation?_sort=date") == [second, first, third, fourth]
    assert found(rest, "Observation?_sort=-date") == [fourth, third, first, second]
    assert found(rest, "Observation?_sort=status,-date") == [fourth, second, third, first]
    assert [i for p in pages(rest, "/fhir/Observation?_sort=status,-date&_count=1") for i in ids(p)] == [
        fourth,
        second,
        third,
        first,
    ]
    names = [made(rest, patient(name=[{"family": name}]))["id"] for name in ("beta", "Alpha", "gamma")]
    assert found(rest, "Patient?_sort=family") == [names[1], names[0], names[2]]
    refused(rest.get("/fhir/Observation?_sort=colour"), 400)


def test_s21_what_comes_along(rest: httpx.Client) -> None:
    dog = made(rest, patient())
    seen = [made(rest, observation(subject=of(dog))) for _ in range(2)]
    report = {"resourceType": "DiagnosticReport", "status": "final", "code": {"text": "x"}}
    told = made(rest, report | {"result": [of(one) for one in seen], "subject": of(dog)})

    def answer(query: str) -> tuple[list[str], set[str]]:
        body = rest.get(f"/fhir/{query}").json()
        everything = [entry["resource"]["id"] for entry in body["entry"]]
        assert len(everything) == len(set(everything))
        return ids(body), {e["resource"]["id"] for e in body["entry"] if e["search"]["mode"] == "include"}

    members = {one["id"] for one in seen}
    report_query = "DiagnosticReport?_include=DiagnosticReport:result"
    assert answer(report_query) == ([told["id"]], members)
    assert answer(f"{report_query}:Observation") == ([told["id"]], members)
    assert answer(f"{report_query}&_include=DiagnosticReport:subject") == ([told["id"]], members | {dog["id"]})
    assert answer(f"{report_query}&_include:iterate=Observation:subject") == ([told["id"]], members | {dog["id"]})
    assert answer("Patient?_revinclude=Observation:subject") == ([dog["id"]], members)
    assert answer(f"Observation?_id={seen[0]['id']}&_revinclude=DiagnosticReport:result")[1] == {told["id"]}
    refused(rest.get("/fhir/Observation?_include=colour"), 400)


@pytest.mark.parametrize(
    ("query", "has", "lacks"),
    [
        ("_summary=true", {"status", "code", "valueString"}, {"text", "note"}),
        ("_summary=text", {"text", "status", "code"}, {"valueString", "note"}),
        ("_summary=data", {"status", "valueString", "note"}, {"text"}),
        ("_elements=valueString", {"status", "code", "valueString"}, {"text", "note"}),
    ],
)
def test_s22_parts_of_what_was_found(rest: httpx.Client, query: str, has: set[str], *, lacks: set[str]) -> None:
    div = '<div xmlns="http://www.w3.org/1999/xhtml">An invented text</div>'
    text = {"status": "generated", "div": div}
    one = made(rest, observation(text=text, valueString="x", note=[{"text": "y"}]))
    part: dict[str, Any] = rest.get(f"/fhir/Observation?{query}").json()["entry"][0]["resource"]
    assert has | {"id", "meta"} <= part.keys()
    assert not lacks & part.keys()
    assert "SUBSETTED" in {tag["code"] for tag in part["meta"]["tag"]}
    assert rest.get("/fhir/Observation?_summary=false").json()["entry"][0]["resource"] == one


def test_s23_what_all_types_share(rest: httpx.Client) -> None:
    meta = {
        "profile": ["https://sonoledger.example/StructureDefinition/x"],
        "tag": [{"system": SYSTEM, "code": "t"}],
        "security": [{"system": SYSTEM, "code": "s"}],
        "source": "urn:invented:source",
    }
    one, other = made(rest, patient(meta=meta)), made(rest, observation())
    for query in (
        f"_tag={SYSTEM}|t",
        f"_security={SYSTEM}|s",
        f"_profile={meta['profile'][0]}",
        f"_source={meta['source']}",
    ):
        assert found(rest, f"Patient?{query}") == [one["id"]]
        assert found(rest, f"?_type=Patient,Observation&{query}") == [one["id"]]
    assert set(found(rest, "?_type=Patient,Observation")) == {one["id"], other["id"]}
    assert found(rest, "?_type=Observation") == [other["id"]]
    assert found(rest, "?_type=Patient&_lastUpdated=gt2999") == []
    refused(rest.get("/fhir?_type=Patient,Observation&birthdate=2020"), 400)
    refused(rest.get("/fhir?_type=Foo"), 400)
