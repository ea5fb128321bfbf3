"""The story from its first line to its last."""

import os

from service.demo import invented, leaving, setting_up
from service.demo.chapters import amending, delivering, examining, finishing, ordering, referring, stopping
from service.demo.client import Json
from service.demo.instances import Instance, peak_megabytes
from service.demo.narration import Narration
from service.demo.presented import text_of
from service.demo.stage import Exam, Stage
from service.fhir import uris


def open_with(tell: Narration, service: Instance, archive: Instance) -> None:
    """Who plays, before anything is started."""
    tell.say(
        "Sonoledger, told by one exam. An animal's record system orders an abdominal ultrasound; the survey is tracked "
        "until nothing is owed; report and invoice go back by themselves. All names, prices and findings are invented."
    )
    tell.chapter("Two installations")
    tell.item(f"{service.root}  the service of {invented.PRACTICE}, with its courier")
    tell.item(f"{archive.root}  a second one that plays the record system: {invented.RECORDS}")
    tell.say("Both begin empty, each in its own SQLite file, and are set up by these commands:")
    for line in setting_up.commands(archive):
        tell.command(line)


def tell_all(stage: Stage) -> tuple[Exam, Json, Json]:
    """The dog's exam and then the cat's; what is left to try: the dog's (exam, report, invoice)."""
    exam = _order(stage)
    stage.tell.chapter("The survey: what is done, what is owed, what is refused")
    examining.examine(stage, exam)
    report, invoice = _finish(stage, exam)
    stage.tell.chapter("Delivered")
    delivering.show_arrival(stage, report, invoice)
    stage.tell.chapter("An amendment")
    amended = amending.amend(stage, exam, report)
    leaving.leave_report(stage.folder, "dog-report-amended", amended)
    _cat(stage)
    stage.tell.chapter("A referral, and a record system that goes down")
    referring.refer(stage)
    _deliveries(stage)
    return exam, report, invoice


def close(stage: Stage) -> None:
    """Where everything is, and what it took."""
    stage.tell.chapter("What is left in the folder")
    for path in sorted(stage.folder.iterdir()):
        if path.suffix in {".html", ".json", ".log"}:
            stage.tell.item(str(path.resolve()))
    parts = [(running.instance.title, running.peak_megabytes()) for running in stage.running]
    parts.append(("this story", peak_megabytes(os.getpid())))
    told = ", ".join(f"{title} {megabytes} MB" for title, megabytes in parts if megabytes is not None)
    stage.tell.say(f"It took {stage.figures.seconds} seconds. " + (f"Memory at its peak: {told}." if told else ""))


def try_it(stage: Stage, kept: tuple[Exam, Json, Json]) -> None:
    """Lines to type while everything stays up."""
    exam, report, invoice = kept
    stage.tell.chapter("Try it yourself (everything stays up until Ctrl-C)")
    stage.tell.command(f"TOKEN={stage.scanner.token}; AT={stage.service.base}")
    for path in (
        f"Task?part-of=Task/{exam.task}&_pretty=true",
        f"DiagnosticReport/{report['id']}?_pretty=true",
        f"Invoice/{invoice['id']}?_pretty=true",
        f"Observation?based-on=ServiceRequest/{exam.order}&_count=5&_pretty=true",
    ):
        stage.tell.command(f'curl -sH "Authorization: Bearer $TOKEN" "$AT/{path}"')
    stage.tell.command(f"curl -s {stage.service.base}/metadata")
    stage.tell.say("The record system, and what it received:")
    stage.tell.command(f"TOKEN={stage.archive.token}; AT={stage.archive.base}")
    received = f"DiagnosticReport?identifier={uris.ID}|{report['id']}&_pretty=true"
    stage.tell.command(f'curl -sH "Authorization: Bearer $TOKEN" "$AT/{received}"')


def _order(stage: Stage) -> Exam:
    stage.tell.chapter("The order")
    exam = ordering.order(stage, invented.DOG)
    ordering.show_steps(stage, exam, example="gallbladder")
    ordering.estimate(stage, exam)
    ordering.again(stage, exam)
    ordering.wrong(stage)
    return exam


def _finish(stage: Stage, exam: Exam) -> tuple[Json, Json]:
    stage.tell.chapter("Finished, but not before nothing is owed")
    finishing.refuse(stage, exam)
    finishing.look_again(stage, exam)
    report, invoice = finishing.finish(stage, exam)
    leaving.leave_report(stage.folder, "dog-report", report)
    leaving.leave_invoice(stage.folder, "dog-invoice", invoice)
    stage.tell.chapter("The report, as text")
    stage.tell.block(text_of(report))
    stage.tell.chapter("The invoice")
    finishing.show_invoice(stage, invoice)
    return report, invoice


def _cat(stage: Stage) -> None:
    stage.tell.chapter("A cat that cannot stay on the table")
    exam = stopping.order(stage)
    report, invoice = stopping.stop_early(stage, exam)
    leaving.leave_report(stage.folder, "cat-report", report)
    leaving.leave_invoice(stage.folder, "cat-invoice", invoice)
    delivering.arrived(stage, invoice, status="issued")
    stage.tell.chapter("The wrong cat")
    withdrawn, credit = stopping.withdraw(stage, exam, report)
    leaving.leave_report(stage.folder, "cat-report-withdrawn", withdrawn)
    leaving.leave_invoice(stage.folder, "cat-credit", credit)


def _deliveries(stage: Stage) -> None:
    stage.tell.chapter("What was delivered when")
    posts = delivering.posts(stage)
    stage.figures.delivered = len(posts)
    stage.tell.command(f"sonoledger deliveries list --organization {invented.PRACTICE_SLUG} --json")
    stage.tell.items(
        [f"{p['made']}  {p['event']:<10} {p['state']} to {p['destination']}, attempts: {p['tries']}" for p in posts]
    )
    lines, body = delivering.shown(stage, posts[0])
    stage.tell.command(f"sonoledger deliveries show --organization {invented.PRACTICE_SLUG} {posts[0]['id']} --body")
    stage.tell.block("\n".join(lines))
    leaving.leave_bundle(stage.folder, "dog-delivered-bundle", body)
