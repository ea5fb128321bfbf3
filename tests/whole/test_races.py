"""Many callers at once over two processes: whatever they race for is made once, and all are told the same."""

import asyncio
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path

import httpx
import pytest

from service.fhir import exact
from tests.builders import orders
from tests.builders.instances import BILLING, Instance
from tests.builders.orders import parameters
from tests.whole.conftest import Worlds
from tests.whole.telling import Desk, Exam, only, references, taken

pytestmark = pytest.mark.sqlite_first

CALLERS = 50
ROUNDS = [3, pytest.param(20, marks=pytest.mark.full)]
Call = Callable[[httpx.AsyncClient], Awaitable[httpx.Response]]


@pytest.fixture(scope="module")
def pair(engine: str, worlds: Worlds, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Instance]:
    """Two servers over one database."""
    folder: Path = tmp_path_factory.mktemp("pair")
    instance = Instance(worlds.database(engine), folder).serve(2)
    yield instance
    instance.close()


async def at_once(instance: Instance, bearer: str, call: Call, *, callers: int = CALLERS) -> list[httpx.Response]:
    """The answers to the same call from many callers at one time, spread over the servers."""
    headers = {"Authorization": f"Bearer {bearer}", "Content-Type": "application/fhir+json"}
    limits = httpx.Limits(max_connections=callers)
    clients = [
        httpx.AsyncClient(base_url=f"{s.url}/fhir/", headers=headers, timeout=60, trust_env=False, limits=limits)
        for s in instance.servers
    ]
    try:
        return await asyncio.gather(*(call(clients[n % len(clients)]) for n in range(callers)))
    finally:
        for client in clients:
            await client.aclose()


def race(instance: Instance, bearer: str, call: Call, *, callers: int = CALLERS) -> list[httpx.Response]:
    return asyncio.run(at_once(instance, bearer, call, callers=callers))


@pytest.mark.parametrize("rounds", ROUNDS)
@pytest.mark.parametrize(
    "way", ["create", *(pytest.param(way, marks=pytest.mark.full) for way in ("update", "in a transaction"))]
)
def test_of_fifty_conditional_writers_one_creates(pair: Instance, rounds: int, way: str) -> None:
    """Exactly one 201, the rest 200 with the same id; nowhere a second resource."""
    bearer = pair.token(pair.organization("records"))
    for _ in range(rounds):
        value = orders.number("race")
        person = {"resourceType": "Patient", "identifier": [{"system": orders.ANIMALS, "value": value}]}
        criteria = f"identifier={orders.ANIMALS}|{value}"
        body = exact.encode(person)
        bundle = exact.encode(orders.transaction([orders.entry(person, once=True)]))

        async def call(client: httpx.AsyncClient) -> httpx.Response:
            if way == "create":  # called within the round
                return await client.post("Patient", content=body, headers={"If-None-Exist": criteria})  # noqa: B023
            if way == "update":
                return await client.put("Patient", content=body, params={"identifier": criteria[11:]})  # noqa: B023
            return await client.post("", content=bundle)  # noqa: B023

        told = [_told(answer) for answer in race(pair, bearer, call)]
        assert Counter(status for status, _ in told) == {"201": 1, "200": CALLERS - 1}
        assert len({id_ for _, id_ in told}) == 1
        with pair.client(bearer) as client:
            assert client.get("Patient", params={"identifier": value}).json()["total"] == 1


def _told(answer: httpx.Response) -> tuple[str, str]:
    """(status, id) of the one resource an answer speaks of."""
    body = taken(answer).json()
    if body["resourceType"] != "Bundle":
        return str(answer.status_code), body["id"]
    response = body["entry"][0]["response"]
    return response["status"][:3], response["location"].partition("/Patient/")[2].partition("/")[0]


@pytest.mark.parametrize("rounds", ROUNDS)
@pytest.mark.parametrize("way", ["PUT", "PATCH", "transaction", "batch"])
def test_of_fifty_updates_of_one_version_one_is_taken(pair: Instance, rounds: int, way: str) -> None:
    """One 2xx a round, 412 for the rest, and as many versions as successes."""
    bearer = pair.token(pair.organization("records"))
    with pair.client(bearer) as client:
        made = client.post("Patient", content=b'{"resourceType":"Patient"}').json()
        for round_ in range(1, rounds + 1):

            async def call(other: httpx.AsyncClient) -> httpx.Response:
                return await _update(other, way, made["id"], match=f'W/"{round_}"')  # noqa: B023

            statuses = Counter(_taken(answer) for answer in race(pair, bearer, call))
            assert statuses == {"200": 1, "412": CALLERS - 1}
        assert client.get(f"Patient/{made['id']}").json()["meta"]["versionId"] == str(rounds + 1)


async def _update(client: httpx.AsyncClient, way: str, id_: str, *, match: str) -> httpx.Response:
    """An update that is based on one version, by each way there is."""
    patient = {"resourceType": "Patient", "id": id_, "active": True}
    if way == "PUT":
        return await client.put(f"Patient/{id_}", content=exact.encode(patient), headers={"If-Match": match})
    if way == "PATCH":
        headers = {"If-Match": match, "Content-Type": "application/json-patch+json"}
        operations = [{"op": "add", "path": "/active", "value": True}]
        return await client.patch(f"Patient/{id_}", content=exact.encode(operations), headers=headers)
    request = {"method": "PUT", "url": f"Patient/{id_}", "ifMatch": match}
    bundle = {"resourceType": "Bundle", "type": way, "entry": [{"resource": patient, "request": request}]}
    return await client.post("", content=exact.encode(bundle))


def _taken(answer: httpx.Response) -> str:
    """The status of the one update; a refusal from inside a transaction names its entry."""
    body = answer.json()
    if body["resourceType"] == "Bundle":
        return str(body["entry"][0]["response"]["status"][:3])
    if answer.status_code == 412 and answer.request.method == "POST":
        assert {e for issue in body["issue"] for e in issue["expression"]} == {"Bundle.entry[0].request"}
    return str(answer.status_code)


@pytest.mark.parametrize("rounds", [3, pytest.param(10, marks=pytest.mark.full)])
def test_of_twenty_corrections_of_one_measurement_one_is_taken(pair: Instance, rounds: int) -> None:
    """What an exam follows is written with it; who comes second is told 412 all the same, and nothing is half done."""
    slug = pair.organization("practice", billing=BILLING)
    bearer = pair.token(slug)
    with pair.client(bearer) as client, pair.client(bearer, server=1) as other:
        desk = Desk(pair, slug, client, other)
        exam = desk.place()
        made = taken(desk.send(exam.scanner.measured("spleen", "thickness", "14.5"))).json()
        version = int(made["meta"]["versionId"])
        for round_ in range(rounds):
            value = made["valueQuantity"] | {"value": 15 + round_}
            body = exact.encode(made | {"valueQuantity": value, "status": "final"})
            headers = {"If-Match": f'W/"{version}"'}

            async def call(caller: httpx.AsyncClient) -> httpx.Response:
                return await caller.put(f"Observation/{made['id']}", content=body, headers=headers)  # noqa: B023

            statuses = Counter(answer.status_code for answer in race(pair, bearer, call, callers=20))
            assert statuses == {200: 1, 412: 19}
            made = desk.get(f"Observation/{made['id']}")
            version = int(made["meta"]["versionId"])
            assert str(made["valueQuantity"]["value"]) == str(15 + round_)


@pytest.mark.parametrize("rounds", [1, pytest.param(5, marks=pytest.mark.full)])
def test_a_hundred_callers_finish_one_exam_once(pair: Instance, rounds: int) -> None:
    """One report, one invoice, every caller the same 200, no 5xx."""
    slug = pair.organization("practice", billing=BILLING)
    bearer = pair.token(slug)
    body = exact.encode(parameters(interpreter="Dr I. Reader", conclusion="No abnormality seen."))
    with pair.client(bearer) as client, pair.client(bearer, server=1) as other:
        desk = Desk(pair, slug, client, other)
        for _ in range(rounds):
            exam: Exam = desk.place(service="fluid-check")
            desk.survey(exam)

            async def call(caller: httpx.AsyncClient) -> httpx.Response:
                return await caller.post(f"Task/{exam.id}/$finish", content=body)  # noqa: B023

            answers = race(pair, bearer, call, callers=100)
            assert {a.status_code for a in answers} == {200}
            assert len({a.content for a in answers}) == 1
            only(desk.search("DiagnosticReport", **{"based-on": f"ServiceRequest/{exam.order}"}))
        assert desk.counts("Invoice", "ChargeItem") == {"Invoice": rounds, "ChargeItem": rounds}


@pytest.mark.parametrize("rounds", [1, pytest.param(10, marks=pytest.mark.full)])
def test_fifty_times_the_same_order_is_one_exam(pair: Instance, rounds: int) -> None:
    """One set of Tasks, one Procedure and one charge, and every caller is told of the same resources."""
    slug = pair.organization("practice", billing=BILLING)
    bearer = pair.token(slug)
    with pair.client(bearer) as client, pair.client(bearer, server=1) as other:
        desk = Desk(pair, slug, client, other)
        for round_ in range(1, rounds + 1):
            body = exact.encode(orders.bundle(service="fluid-check"))

            async def call(caller: httpx.AsyncClient) -> httpx.Response:
                return await caller.post("", content=body)  # noqa: B023

            answers = race(pair, bearer, call)
            assert len({tuple(references(answer).items()) for answer in answers}) == 1
            first = Counter(answer.json()["entry"][-1]["response"]["status"][:3] for answer in answers)
            assert first == {"201": 1, "200": CALLERS - 1}
            exam = desk.exam_of(answers[0])
            assert len(desk.search("Task", **{"part-of": f"Task/{exam.id}"})) == len(desk.steps(exam))
            kinds = ("ServiceRequest", "Procedure", "ChargeItem", "Patient", "RelatedPerson")
            assert desk.counts(*kinds) == dict.fromkeys(kinds, round_)
