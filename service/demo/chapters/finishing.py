"""An exam is finished: refused while something is owed, then report, charges and invoice in one commit."""

from decimal import Decimal

from service.demo import evidence, invented
from service.demo.chapters import stating
from service.demo.chapters.acts import parameters, settle_step
from service.demo.chapters.examining import WINDOW
from service.demo.client import Json
from service.demo.stage import Exam, Stage
from service.fhir import uris

CONCLUSION = [
    "Sludge in a third of the gallbladder: mobile, layered, no sign of a mucocele and no dilated bile duct.",
    "No cause of the vomiting was found in what could be seen.",
]


def refuse(stage: Stage, exam: Exam) -> None:
    """The interpreter signs too early."""
    stage.tell.say(f"All ten stations are done, and {invented.INTERPRETER} signs. But one gland was put off:")
    stage.tell.sent("POST /fhir/Task/<exam>/$finish", "interpreter and conclusion")
    answer = stage.scanner.refused(f"Task/{exam.task}/$finish", _signed(), status=422)
    stage.figures.refused_finish += 1
    stage.tell.came(422, f"refused: {len(answer.issues)} things are still owed, and all are named:")
    stage.tell.items(answer.issues)


def look_again(stage: Stage, exam: Exam) -> None:
    """What was put off is looked at from the other window."""
    sent = [
        evidence.still(exam, "adrenal_left", "long", window=WINDOW),
        evidence.measurement(exam, "adrenal_left", "dorsoventral-thickness", plane="long", window=WINDOW),
    ]
    stage.tell.say("The dog is turned over, and the gland comes into view:")
    stage.scanner.post("", evidence.bundle(sent))
    value = exam.case.measures["adrenal_left.dorsoventral-thickness"]
    stage.tell.sent("POST /fhir", f"left adrenal gland: still and caudal pole, {value} mm, {WINDOW}")
    stage.tell.came(200, "taken: the later look is on record beside the one that put it off.")
    task = settle_step(stage, exam, "adrenal_left", told="this one gland, seen as expected", disposition="seen")
    stating.state(stage, exam, [task])
    left = stage.scanner.count(f"Task?part-of=Task/{exam.task}&status=ready")
    stage.tell.came(200, f"steps that still owe something: {left}.")


def finish(stage: Stage, exam: Exam) -> tuple[Json, Json]:
    """Finish for good; (DiagnosticReport, Invoice)."""
    stage.tell.sent("POST /fhir/Task/<exam>/$finish", "the same once more")
    return issued(stage, exam, _signed())


def issued(stage: Stage, exam: Exam, signed: Json) -> tuple[Json, Json]:
    """Finish with these Parameters; (DiagnosticReport, Invoice) as the service now gives them."""
    answer = stage.scanner.post(f"Task/{exam.task}/$finish", signed).body
    made = {p["name"]: p["valueReference"]["reference"] for p in answer["parameter"] if "valueReference" in p}
    stage.tell.came(
        200, f"in one commit: {made['report']} final, charges billed, {made['invoice']} issued, post ready."
    )
    report, invoice = stage.scanner.get(made["report"]), stage.scanner.get(made["invoice"])
    stage.figures.reports_final += int(report["status"] == "final")
    count_invoice(stage, invoice)
    return report, invoice


def count_invoice(stage: Stage, invoice: Json) -> None:
    """Note an issued invoice, and the charges on it, among the figures."""
    net, gross = invoice["totalNet"]["value"], invoice["totalGross"]["value"]
    kept = {"number": invoice["identifier"][0]["value"], "currency": invoice["totalNet"]["currency"]}
    stage.figures.invoices.append({**kept, "net": net, "tax": gross - net, "gross": gross})
    if net > 0:
        stage.figures.charge_items += len(invoice["lineItem"])


def show_invoice(stage: Stage, invoice: Json) -> None:
    """The invoice as lines and totals."""
    currency = invoice["totalNet"]["currency"]
    net, gross = invoice["totalNet"]["value"], invoice["totalGross"]["value"]
    lines = [f"{invoice['type']['text']} {invoice['identifier'][0]['value']} of {invoice['date'][:10]}"]
    lines += [f"from {invoice['issuer']['display']} to {invoice['recipient']['display']}", ""]
    lines += [_line(line, currency) for line in invoice["lineItem"]]
    lines += [_total("net", net, currency), _total("tax", gross - net, currency)]
    lines += [_total("to pay" if gross > 0 else "credited", gross, currency)]
    stage.tell.block("\n".join([*lines, *(["", invoice["paymentTerms"]] if gross > 0 else [])]))


def _signed() -> Json:
    return parameters(interpreter=invented.INTERPRETER, conclusion=CONCLUSION)


def _line(line: Json, currency: str) -> str:
    base, tax = line["priceComponent"][:2]
    rate = next(e["valueDecimal"] for e in tax["extension"] if e["url"] == uris.X_TAX_RATE)
    text = f"{line['sequence']}  {line['chargeItemReference']['display']} (tax {rate} %)"
    return f"{text:<58}{base['amount']['value']:>12} {currency}"


def _total(words: str, amount: Decimal, currency: str) -> str:
    return f"{words:>58}{amount:>12} {currency}"
