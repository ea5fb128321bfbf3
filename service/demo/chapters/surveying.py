"""One station of the survey: images and measurements, one explicit "all as expected", and what must be said apart."""

from collections import Counter

from service.demo import evidence, invented, scanner
from service.demo.chapters import stating
from service.demo.chapters.acts import parameters
from service.demo.client import Json
from service.demo.stage import Exam, Stage
from service.demo.trouble import Trouble

ROUNDS = 3  # an answer may ask for another one: what can be seen of a bile duct also has a content
KINDS = {"image": "still", "video": "clip"}


def steps(stage: Stage, exam: Exam, number: int = 0) -> list[Json]:
    """The steps that still owe something, of one station or (0) of all."""
    ready = stage.scanner.all(f"Task?part-of=Task/{exam.task}&status=ready&_count=100")
    return sorted((t for t in ready if number in {0, scanner.station(t)}), key=scanner.station)


def station(stage: Stage, exam: Exam, number: int) -> Json:
    """Scan what a station owes and settle it, all but what was put off; the transaction that was sent."""
    open_ = _here(stage, exam, number)
    sent = [resource for task in open_ for resource in scanner.evidence_for(exam, task)]
    bundle = evidence.bundle(sent)
    stage.scanner.post("", bundle)
    stage.tell.sent(
        "POST /fhir", f"{counted(sent)} of {len(open_)} structure{'s' if len(open_) > 1 else ''}, one transaction"
    )
    stage.tell.came(200, f"{len(sent)} stored, each on its step.")
    settle(stage, exam, number)
    return bundle


def counted(resources: list[Json]) -> str:
    """Stills, clips and measurements by number."""
    kinds = Counter(_kind(one) for one in resources)
    return ", ".join(f"{n} {kind}{'s' if n > 1 else ''}" for kind, n in kinds.items())


def settle(stage: Stage, exam: Exam, number: int) -> None:
    """One explicit act of a person for the whole station, then one by one whatever that act could not say."""
    said = parameters(station=number, performer=invented.SONOGRAPHER)
    done = stage.scanner.post(f"Task/{exam.task}/$settle", said).body
    stage.tell.sent("POST /fhir/Task/<exam>/$settle", f'station {number}: "all as expected"')
    open_ = [t for t in (e["resource"] for e in done["entry"]) if t["status"] == "ready" and not _put_off(t)]
    for _ in range(ROUNDS):
        if not open_:
            break
        things = sum(len(scanner.owed(t)) for t in open_)
        stage.tell.came(
            200, f"taken; still owed, for no default can answer for it: {things} thing{'s' if things > 1 else ''}."
        )
        stating.state(stage, exam, open_)
        open_ = _here(stage, exam, number)
    if open_:
        raise Trouble(f"station {number} still owes something that the demo has no answer to")
    left = steps(stage, exam, number)
    put_off = f", except what was put off: {', '.join(scanner.title(t) for t in left)}" if left else ""
    stage.tell.came(200, f"nothing is owed at station {number} any more{put_off}.")


def _here(stage: Stage, exam: Exam, number: int) -> list[Json]:
    return [t for t in steps(stage, exam, number) if not _put_off(t)]


def _put_off(task: Json) -> bool:
    return scanner.state(task) == "deferred"


def _kind(resource: Json) -> str:
    if resource["resourceType"] != "Media":
        return "measurement"
    return KINDS[resource["type"]["coding"][0]["code"]]
