"""What the clients were told, held against what is stored here and what arrived there: nothing lost, nothing twice."""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

import httpx

from service.fhir import uris
from tests.builders.lossy import Lossy
from tests.whole.lanes import Lanes, Told
from tests.whole.telling import Desk, Json, coded, found

DELIVERED = ("DiagnosticReport", "Observation", "Media", "ChargeItem", "Invoice", "Procedure")


def discrepancies(desk: Desk, lanes: Lanes, wire: Lossy) -> list[str]:
    """Everything that does not agree; lanes and couriers have come to rest."""
    here = {kind: found(desk.http, kind) for kind in (*DELIVERED, "ServiceRequest", "Task")}
    there = {kind: found(desk.records, kind) for kind in (*DELIVERED, "Task")}
    return [
        *_own(here, lanes.told),
        *_posts(desk, lanes.told, wire),
        *_copies(here, there),
        *_repeated(desk.http, lanes.told),
        *(f"another answer: {one}" for one in lanes.differing),
    ]


def _own(here: dict[str, list[Json]], told: list[Told]) -> Iterator[str]:
    if len(here["ServiceRequest"]) != len(told) or {o["id"] for o in here["ServiceRequest"]} != {t.order for t in told}:
        yield f"{len(here['ServiceRequest'])} orders stored, {len(told)} acknowledged"
    by_order = {kind: _by_order(here[kind]) for kind in ("DiagnosticReport", "Observation", "Media", "Procedure")}
    tasks = {t["id"]: t for t in here["Task"]}
    steps = Counter((t["partOf"][0]["reference"], coded(t["code"])) for t in here["Task"] if "partOf" in t)
    yield from (f"step twice: {key}" for key, count in steps.items() if count > 1)
    invoices = _money(here)
    for one in told:
        yield from (f"{one.exam}: {words}" for words in _exam(one, by_order, tasks=tasks, invoices=invoices))


def _exam(
    one: Told, by_order: dict[str, dict[str, list[Json]]], *, tasks: dict[str, Json], invoices: dict[str, list[Json]]
) -> Iterator[str]:
    reports = by_order["DiagnosticReport"].get(one.order, [])
    if [f"DiagnosticReport/{r['id']}" for r in reports] != [one.finished["report"]]:
        yield f"reports {[r['id'] for r in reports]}, acknowledged {one.finished['report']}"
    versions = 1 + bool(one.amended) + bool(one.withdrawn)
    if [r["meta"]["versionId"] for r in reports] != [str(versions)]:
        yield f"{[r['meta']['versionId'] for r in reports]} versions of the report, {versions} acknowledged"
    wanted = "entered-in-error" if one.withdrawn else "completed"
    if tasks[one.exam]["status"] != wanted:
        yield f"its Task is {tasks[one.exam]['status']}, not {wanted}"
    noted = by_order["Observation"].get(one.order, [])
    made = Counter((coded(r["code"]), coded(r["bodySite"])) for r in noted if "derivedFrom" in r)
    yield from (f"computed {count} times: {what}" for what, count in made.items() if count > 1)
    kept = [*(r for r in noted if "derivedFrom" not in r), *by_order["Media"].get(one.order, [])]
    if Counter(f"{r['resourceType']}/{r['id']}/_history/1" for r in kept) != Counter(one.evidence.values()):
        yield f"{len(kept)} pieces of evidence, {len(one.evidence)} acknowledged"
    expected = [one.finished["invoice"], *([one.withdrawn["credit"]] if one.withdrawn else [])]
    stored = invoices.get(one.exam, [])
    if sorted(f"Invoice/{i['id']}" for i in stored) != sorted(expected):
        yield f"invoices {[i['id'] for i in stored]}, acknowledged {expected}"
    if one.withdrawn and sum(i["totalGross"]["value"] for i in stored) != 0:
        yield "withdrawn, and its money is not nothing"


def _money(here: dict[str, list[Json]]) -> dict[str, list[Json]]:
    """exam -> its invoices; every charge is of one exam and there once."""
    invoices: dict[str, list[Json]] = {}
    for invoice in here["Invoice"]:
        parts = next(x["extension"] for x in invoice["lineItem"][0]["extension"] if x["url"] == uris.X_LINE)
        exam = next(p["valueReference"]["reference"] for p in parts if p["url"] == "exam")
        invoices.setdefault(exam.partition("/")[2], []).append(invoice)
    return invoices


def _posts(desk: Desk, told: list[Told], wire: Lossy) -> Iterator[str]:
    posts = desk.instance.books.deliveries(desk.slug, limit=100_000)
    yield from (f"{p.key} is {p.state}" for p in posts if p.state != "delivered")
    expected = Counter(
        f"{one.exam}:{event}:{number}"
        for one in told
        for event, number, done in (("finished", 1, True), ("amended", 2, one.amended), ("withdrawn", 1, one.withdrawn))
        if done
    )
    promised = Counter(p.key for p in posts)
    if promised != expected:
        yield f"posts differ: {promised - expected} too many, {expected - promised} missing"
    yield from (
        f"{key} was sent with {len(digests)} contents" for key, digests in wire.bodies.items() if len(digests) > 1
    )
    yield from (f"{key} never arrived" for key in expected if not wire.arrived[key])
    yield from (f"{key} was sent that nobody promised" for key in wire.bodies if key not in expected)
    yield from (f"{key} was under way twice at one time" for key in wire.together)


def _copies(here: dict[str, list[Json]], there: dict[str, list[Json]]) -> Iterator[str]:
    for kind in DELIVERED:
        ours = Counter(r["id"] for r in here[kind])
        theirs = Counter(_our_id(r) for r in there[kind])
        if ours != theirs:
            yield f"{kind}: {sum((ours - theirs).values())} missing there, {sum((theirs - ours).values())} too many"
        states = {r["id"]: r["status"] for r in here[kind]}
        wrong = [i for r in there[kind] if states.get(i := _our_id(r)) != r["status"]]
        if wrong:
            yield f"{kind}: {len(wrong)} stand in another state there"
    doubled = [k for k, n in Counter(_our_id(t) for t in there["Task"]).items() if n > 1]
    yield from (f"Task {one} twice there" for one in doubled)


def _repeated(client: httpx.Client, told: Iterable[Told]) -> Iterator[str]:
    """Each outcome again is the same as once."""
    for one in told:
        task: Any = client.get(f"Task/{one.exam}").json()
        outputs = {coded(o["type"]): o.get("valueReference", {}).get("reference") for o in task["output"]}
        if (outputs["report"], outputs["invoice"]) != (one.finished["report"], one.finished["invoice"]):
            yield f"{one.exam} points to {outputs}"


def _by_order(resources: list[Json]) -> dict[str, list[Json]]:
    found_: dict[str, list[Json]] = {}
    for resource in resources:
        found_.setdefault(resource["basedOn"][0]["reference"].partition("/")[2], []).append(resource)
    return found_


def _our_id(resource: Json) -> str:
    return next((i["value"] for i in resource["identifier"] if i["system"] == uris.ID), "")
