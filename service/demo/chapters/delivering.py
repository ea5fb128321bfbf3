"""What was promised reaches the record system: waited for, found there under our identifiers, and looked at."""

import json
import time

from service.demo import invented
from service.demo.client import Json
from service.demo.stage import Stage
from service.demo.trouble import Trouble
from service.fhir import uris

PATIENCE = 15.0  # seconds that a delivery may take


def arrived(stage: Stage, resource: Json, *, status: str, within: float = PATIENCE) -> Json:
    """The resource as the record system holds it, once it is there in this status."""
    type_, search = resource["resourceType"], f"identifier={uris.ID}|{resource['id']}"
    until = time.monotonic() + within
    while time.monotonic() < until:
        found = stage.archive.all(f"{type_}?{search}")
        if found and found[0]["status"] == status:
            return found[0]
        time.sleep(0.1)
    raise Trouble(f"the record system has not received the {type_} within {within:.0f} seconds")


def show_arrival(stage: Stage, report: Json, invoice: Json) -> None:
    """What the record system now holds, and that it hangs on its own animal and order."""
    there = arrived(stage, report, status=report["status"])
    bill = arrived(stage, invoice, status="issued")
    received = there["meta"]["lastUpdated"]
    stage.tell.say("The courier has already carried it: one transaction Bundle, fixed at the commit above.")
    stage.tell.sent(f"GET /fhir/DiagnosticReport?identifier=...|{report['id']}", "asked of the record system")
    stage.tell.came(
        200, f"{there['status']}, received {received}, with {len(there['result'])} findings and measurements."
    )
    animal = stage.archive.get(there["subject"]["reference"])
    request = stage.archive.get(there["basedOn"][0]["reference"])
    stage.tell.item(f"about its own {animal['name'][0]['text']} ({animal['identifier'][0]['value']})")
    stage.tell.item(f"for its own order {request['identifier'][0]['value']}")
    stage.tell.item(f"with invoice {bill['identifier'][0]['value']}: {bill['totalGross']['value']} gross")


def posts(stage: Stage) -> list[Json]:
    """All posts so far, the oldest first, once none is under way; raises Trouble when one was not delivered."""
    at = ("--organization", invented.PRACTICE_SLUG)
    until = time.monotonic() + PATIENCE
    while True:
        found: list[Json] = json.loads(stage.service.command("deliveries", "list", *at, "--json"))
        if all(p["state"] == "delivered" for p in found):
            return found[::-1]
        if time.monotonic() > until or any(p["state"] == "dead" for p in found):
            states = ", ".join(f"{p['event']} {p['state']}" for p in found)
            raise Trouble(f"not every post was delivered: {states}")


def shown(stage: Stage, post: Json) -> tuple[list[str], str]:
    """One post with its attempts: what `deliveries show` says, and the Bundle that was promised, byte for byte."""
    at = ("--organization", invented.PRACTICE_SLUG)
    printed = stage.service.command("deliveries", "show", *at, post["id"], "--body")
    head, _, body = printed.rpartition("\n")
    return [line for line in head.splitlines() if line and not line.startswith(" ")], body
