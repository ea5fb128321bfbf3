"""A clinic refers a dog: followed at the clinic, reported to it, while the record system is down for a while."""

import json
import time

from service.demo import invented, orders
from service.demo.chapters import delivering
from service.demo.chapters.acts import parameters
from service.demo.client import Client, Json
from service.demo.stage import Stage
from service.demo.trouble import Trouble
from service.fhir import uris

CODE = f"Task?code={uris.TASK_CODE}|referral"
LONG = 90.0  # seconds until the third attempt, where the second one comes before the record system is up


def refer(stage: Stage) -> None:
    """The whole of it, from the clinic's order to the report on both sides."""
    case = invented.REFERRED
    stage.tell.say(
        f"{invented.CLINIC} has an account of its own here and sees nothing of {invented.PRACTICE}, nor the other way "
        f"round. It orders for {case.name}, names the practice as performer, and an agreement lets it."
    )
    stage.tell.sent("POST /fhir", "the order, by the clinic, with performer")
    whole = orders.order(case, service=(uris.SERVICE, "fluid-check"))
    to = [{"identifier": {"system": uris.ORGANIZATION, "value": invented.PRACTICE_SLUG}, "display": invented.PRACTICE}]
    whole["entry"][-1]["resource"]["performer"] = to
    stage.clinic.post("", whole)
    here = _standing(stage, stage.scanner, "received")
    stage.tell.came(200, "kept at the clinic, handed over in house; the practice has a copy and decides:")
    exam = _accepted(stage, here)
    _standing(stage, stage.clinic, "accepted")
    stage.tell.say("The clinic reads on its own Task: accepted. Then the practice's record system goes down:")
    archive = stage.running[1]
    archive.ask_to_stop()
    archive.process.wait()
    report = _finished(stage, exam)
    told = _standing(stage, stage.clinic, "reported")
    back = stage.up.enter_context(archive.instance.serving())  # it takes longer to start than the first attempt to fail
    stage.up.callback(back.ask_to_stop)
    stage.tell.item(f"the clinic has its report all the same ({told['status']})")
    stage.tell.item(f"the record system's post waits: {_waiting(stage)}")
    back.wait()
    stage.running[1] = back
    there = delivering.arrived(stage, report, status="final", within=LONG)
    stage.tell.item(f"it is up again and has the report since {there['meta']['lastUpdated']}; nobody sent it anew")


def _accepted(stage: Stage, task: Json) -> str:
    stage.tell.sent(f"POST /fhir/Task/{task['id']}/$referral", f"decision = accept, by = {invented.INTERPRETER}")
    said = parameters(decision="accept", by=invented.INTERPRETER)
    answer = stage.scanner.post(f"Task/{task['id']}/$referral", said).body
    made = {p["name"]: p.get("valueReference", {}).get("reference", "") for p in answer["parameter"]}
    return str(made["exam"])


def _finished(stage: Stage, exam: str) -> Json:
    stage.tell.sent(f"POST /fhir/{exam}/$finish", "a quick look, left off for an emergency")
    words = {"conclusion": "No free fluid where it was looked for.", "detail": "An emergency came in."}
    signed = parameters(interpreter=invented.INTERPRETER, remaining="time-limited", **words)
    answer = stage.scanner.post(f"{exam}/$finish", signed).body
    made = {p["name"]: p.get("valueReference", {}).get("reference", "") for p in answer["parameter"]}
    return stage.scanner.get(made["report"])


def _standing(stage: Stage, who: Client, state: str) -> Json:
    """The referral as one side has it, once it stands so."""
    until = time.monotonic() + delivering.PATIENCE
    while time.monotonic() < until:
        for task in who.all(CODE):
            if task["businessStatus"]["coding"][0]["code"] == state:
                return task
        time.sleep(0.05)
    raise Trouble(f"the referral did not become {state} within {delivering.PATIENCE:.0f} seconds")


def _waiting(stage: Stage) -> str:
    """What the first attempt came to, as the deliveries list has it."""
    at = ("--organization", invented.PRACTICE_SLUG, "--state", "waiting", "--json")
    until = time.monotonic() + delivering.PATIENCE
    while time.monotonic() < until:
        found: list[Json] = json.loads(stage.service.command("deliveries", "list", *at))
        if found and found[0]["tries"]:
            return f"tried once, again at {found[0]['due']}"
        time.sleep(0.05)
    raise Trouble("the courier has not tried to deliver")
