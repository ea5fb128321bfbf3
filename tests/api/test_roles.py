"""The auth matrix: each role on each route with each verb, over HTTP, is what its row says; no row says too much."""

import random
from collections import Counter
from pathlib import Path
from typing import Any

import httpx
import pytest

from service.access import roles, scopes
from service.access.roles import ROLES
from service.api.offers import PLACES
from service.api.types import READ_ONLY, SERVED
from service.fhir.operations import ALL
from service.fhir.types import DEFINITIONS, DIRECTORY, STORABLE
from service.store import SqlBooks
from tests.api import running
from tests.builders.audited import Open
from tests.builders.matrix import Way, may, ways

ROOT = Path(__file__).parents[2]
EVERYTHING = ("system/*.cruds",)
PARTY = "Organization/018f2c50-0000-7000-8000-000000000001"
CLINICAL = {"Observation", "DiagnosticReport", "Condition", "Media", "ImagingStudy", "Composition", "Communication"}
MONEY = {"ChargeItem", "Invoice", "Account", "Coverage"}


def token(books: SqlBooks, organization: str, role: str, granted: tuple[str, ...] = EVERYTHING) -> str:
    party = PARTY if ROLES[role].narrow else ""
    return running.register(books, organization, *granted, role=role, party=party)


def asked(http: httpx.Client, way: Way) -> int:
    headers = {"Content-Type": way.media} if way.body else {}
    return http.request(way.method, way.path, content=way.body, headers=headers).status_code


def held(books: SqlBooks, url: str, name: str, some: list[Way]) -> list[tuple[str, str, str, int]]:
    """The ways on which HTTP and the rows differ."""
    wrong = []
    for role in ROLES:
        with httpx.Client(base_url=url, headers=_bearer(token(books, name, role)), timeout=30) as http:
            for way in some:
                status = asked(http, way)
                assert status not in {401, 500}, (role, way)
                if (status != 403) is not may(role, way):
                    wrong.append((role, way.method, way.path, status))
    return wrong


def _bearer(text: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {text}"}


def test_some_ways_of_every_kind(joined: str, module_books: SqlBooks, name: str) -> None:
    each: dict[tuple[str, str, str], list[Way]] = {}
    for way in ways():
        each.setdefault((way.offer.code, way.offer.operation, way.method), []).append(way)
    chosen = [random.Random(f"{kind}").choice(several) for kind, several in each.items()]
    assert len(chosen) > 40
    assert held(module_books, joined, name, chosen) == []


@pytest.mark.full
def test_every_way_and_each_refusal_leaves_its_line(joined: str, module_books: SqlBooks, enter: Open) -> None:
    at = enter()
    every = list(ways())
    assert held(module_books, joined, at.organization, every) == []
    at.left()
    with module_books.view(at.organization) as view:
        lines, after = view.traces(count=100_000)
    assert after == ""
    refused = sum(not may(role, way) for role in ROLES for way in every)
    denied = Counter(line.outcome for line in lines if line.request)
    assert len(every) * len(ROLES) > 4_000
    assert denied["4"] >= refused  # and those that were missing, or not as they should be


@pytest.mark.parametrize(
    ("granted", "reads", "searches", "creates"),
    [
        (("system/Patient.r",), True, False, False),
        (("system/Patient.read",), True, True, False),
        (("system/Patient.write",), False, False, True),
        (("system/Patient.*",), True, True, True),
        (("system/*.s",), False, True, False),
        (("system/Observation.cruds",), False, False, False),
        (("system/Patient.sr",), False, False, False),
    ],
)
def test_a_role_gives_no_more_than_the_scopes_do(
    joined: str,
    module_books: SqlBooks,
    name: str,
    *,
    granted: tuple[str, ...],
    reads: bool,
    searches: bool,
    creates: bool,
) -> None:
    with httpx.Client(base_url=joined, headers=_bearer(token(module_books, name, "record-system", granted))) as http:
        assert (http.get("/fhir/Patient/none").status_code == 404) is reads
        assert (http.get("/fhir/Patient").status_code == 200) is searches
        assert (http.post("/fhir/Patient", json={"resourceType": "Patient"}).status_code == 201) is creates


def test_what_the_rows_mean_in_plain_words() -> None:
    sees = {role: {type_ for type_ in STORABLE if row.grants.get(type_)} for role, row in ROLES.items()}
    assert sees["bookkeeper"] & CLINICAL == set()
    assert (sees["scanner"] | sees["scanning-person"] | sees["interpreter"]) & MONEY == set()
    assert sees["referring-clinic"] == {"ServiceRequest", "Task", "DiagnosticReport"}
    assert sees["operator"] & (CLINICAL | MONEY | {"Patient", "RelatedPerson"}) == set()
    assert {role for role in ROLES if "AuditEvent" in sees[role]} == {"operator"}
    assert {role for role in ROLES if roles.operates(role, "metrics")} == {"operator"}
    assert {role for role, row in ROLES.items() if "finish" in row.operations} == {"interpreter"}
    assert {role for role, row in ROLES.items() if "credit" in row.operations} == {"bookkeeper"}
    assert {role for role, row in ROLES.items() if "settle" in row.operations} == {"scanning-person", "interpreter"}
    deleting = {(role, type_) for role, row in ROLES.items() for type_, held in row.grants.items() if "d" in held}
    assert deleting == {("record-system", type_) for type_ in DIRECTORY}


def test_rows_name_what_there_is_and_every_operation_is_somebody_s() -> None:
    offered = {one.name for one in ALL}
    called = set[str]().union(*(row.operations for row in ROLES.values()))
    assert called <= offered
    assert offered - called == set(), "give it to a role in access/roles.py, or say here why nobody has it"
    for row in ROLES.values():
        assert set(row.grants) <= set(SERVED)
        assert set(row.narrow) <= set(row.grants)
        assert not any(set(row.grants.get(type_, "")) - set("rs") for type_ in READ_ONLY)
        assert set(row.grants) >= DEFINITIONS


def test_what_has_no_row_is_denied() -> None:
    assert roles.effective("janitor", "", EVERYTHING) == ()
    assert not roles.operates("janitor", "finish")
    assert roles.faults("janitor", "")
    assert roles.faults("referring-clinic", "")
    assert roles.faults("referring-clinic", "Organization/x&status=y")
    assert roles.faults("scanner", PARTY)
    assert roles.faults("", "") == roles.faults("referring-clinic", PARTY) == []
    assert roles.effective("", "", EVERYTHING) == EVERYTHING


def test_a_limit_stays_one_under_a_role() -> None:
    one = ("system/Observation.rs?category=a%26status%3Dfinal&code=x",)
    found = roles.effective("scanner", "", one)
    assert scopes.limits(found, "Observation", "r") == ((("category", "a&status=final"), ("code", "x")),)
    assert scopes.limits(found, "Patient", "r") == ()


def test_a_referring_clinic_sees_its_own_orders_and_final_reports(
    joined: str, module_books: SqlBooks, enter: Open
) -> None:
    whole = enter()

    def post(type_: str, **resource: Any) -> str:
        answer = whole.http.post(f"/fhir/{type_}", json={"resourceType": type_, **resource})
        assert answer.status_code == 201, answer.text
        return f"{type_}/{answer.json()['id']}"

    animal = {"reference": post("Patient")}
    clinics = [post("Organization", name=one) for one in ("Near Example Clinic", "Far Example Clinic")]
    made: dict[str, list[str]] = {}
    for clinic in clinics:
        order = post("ServiceRequest", status="active", intent="order", subject=animal, requester={"reference": clinic})
        based = [{"reference": order}]
        task = post("Task", status="accepted", intent="order", focus={"reference": order})
        report = {"code": {"text": "x"}, "subject": animal, "basedOn": based}
        final = post("DiagnosticReport", status="final", **report)
        post("DiagnosticReport", status="preliminary", **report)
        post("Observation", status="final", code={"text": "x"}, subject=animal, basedOn=based)
        made[clinic] = [order, task, final]
    bearer = running.register(module_books, whole.organization, *EVERYTHING, role="referring-clinic", party=clinics[0])
    with running.client(joined, bearer) as http:
        for path in ("ServiceRequest", "Task", "DiagnosticReport"):
            entries = http.get(f"/fhir/{path}").json()["entry"]
            assert [f"{path}/{one['resource']['id']}" for one in entries] == [
                one for one in made[clinics[0]] if one.startswith(f"{path}/")
            ]
        assert [http.get(f"/fhir/{one}").status_code for one in made[clinics[0]]] == [200] * 3
        assert [http.get(f"/fhir/{one}").status_code for one in made[clinics[1]]] == [404] * 3
        assert http.get("/fhir/Observation").status_code == 403
        assert http.get(f"/fhir/{animal['reference']}").status_code == 403


def drawn() -> str:
    """The README's table of roles."""
    lines = ["| role | is | reads | writes | calls |", "|---|---|---|---|---|"]
    for name, row in ROLES.items():
        plain = {type_: held for type_, held in row.grants.items() if type_ not in DEFINITIONS}
        writes = sorted(type_ for type_, held in plain.items() if set(held) & set("cud"))
        reads = sorted(type_ for type_ in plain if type_ not in writes)
        cells = [", ".join(reads), ", ".join(writes), ", ".join(sorted(row.operations | row.service))]
        lines.append(f"| `{name}` | {row.title} | {' | '.join(cells)} |")
    return "\n".join(lines)


def test_the_readme_has_the_table() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert text.partition("<!-- roles -->\n")[2].partition("\n<!-- /roles -->")[0] == drawn()


def test_no_route_is_without_a_row() -> None:
    seen = {(way.offer.code, way.offer.operation) for way in ways()}
    assert seen == {(offer.code, offer.operation) for offers in PLACES.values() for offer in offers.values()}
