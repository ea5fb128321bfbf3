"""An invoice in print over HTTP: in the practice's language, nothing clinical on it, and refused in words."""

import re
from base64 import b64decode
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
import typer

from service.commands.billing_print import print_
from service.fhir import uris
from service.fhir.printing import press
from service.store import SqlBooks
from tests.api.running import client, register
from tests.builders import orders
from tests.builders.bills import house
from tests.builders.counter_desk import Desk
from tests.builders.orders import concept
from tests.builders.tariff_rows import row, tariff

Json = dict[str, Any]
CANARY = "Canary"
CLINICAL = {"code": {"text": f"{CANARY}code"}, "note": [{"text": f"{CANARY}note"}]}


@pytest.fixture(scope="module", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.full)])
def engine(request: pytest.FixtureRequest) -> str:
    """What is printed hangs on no engine: the second is for the long run."""
    return str(request.param)


def words(page: str) -> str:
    return " ".join(re.sub(r"<style>.*?</style>|<[^>]*>", " ", page, flags=re.DOTALL).split())


def printed(desk: Desk, invoice: str, **wanted: str) -> httpx.Response:
    return desk.http.get(f"/fhir/Invoice/{invoice}/$print", params=wanted, headers={"Accept": "*/*"})


def invoices(desk: Desk, **wanted: str) -> list[Json]:
    found = desk.http.get("/fhir/Invoice", params={"_sort": "date", **wanted}).json()
    return [entry["resource"] for entry in found.get("entry", [])]


def test_the_page_and_the_pdf_of_an_issued_invoice(desk: Desk) -> None:
    desk.finished()
    (invoice,) = invoices(desk)
    page = printed(desk, invoice["id"], kind="page")
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert "sandbox" in page.headers["content-security-policy"]
    assert page.headers["etag"] == 'W/"1"'
    assert f"Invoice {invoice['identifier'][0]['value']}" in words(page.text)
    assert "Quillfold Small Animal Imaging" in words(page.text)
    assert "Date of supply November 25, 2026" in words(page.text)
    assert "€46.00" in words(page.text)
    pdf = printed(desk, invoice["id"])
    assert (pdf.headers["content-type"], pdf.content[:5]) == ("application/pdf", b"%PDF-")
    assert pdf.content == printed(desk, invoice["id"]).content
    binary = desk.http.get(f"/fhir/Invoice/{invoice['id']}/$print", headers={"Accept": "application/fhir+json"}).json()
    assert (binary["contentType"], b64decode(binary["data"])) == ("application/pdf", pdf.content)
    posted = desk.http.post(
        f"/fhir/Invoice/{invoice['id']}/$print",
        json={"resourceType": "Parameters", "parameter": [{"name": "kind", "valueCode": "page"}]},
        headers={"Accept": "text/html"},
    )
    assert posted.text == page.text


def test_it_speaks_the_language_that_the_practice_had_when_it_was_issued(
    books: SqlBooks, practice: Callable[..., str], desk_of: Callable[[str], Desk]
) -> None:
    slug = practice(language="de-AT")
    desk = desk_of(slug)
    exam = desk.finished()
    desk.operate(exam, "withdraw", reason="Falsches Tier", by="B. Keeper")
    first, back = invoices(desk)
    books.add_organization(slug, "Practice of a test", "practice", "")
    page = words(printed(desk, first["id"], kind="page").text)
    assert "Rechnung" in page
    assert "Leistungsdatum 25. November 2026" in page
    assert "€ 55,20" in page
    assert "Die Freigabe eines Befundes hängt nie von einer Zahlung ab." in page
    assert first["language"] == "de-AT"
    assert 'lang="de-AT"' in first["text"]["div"]
    credit = words(printed(desk, back["id"], kind="page").text)
    assert "Rechnungskorrektur" in credit
    assert f"Korrigiert Rechnung {first['identifier'][0]['value']}" in credit
    assert "Die Untersuchung wurde zurückgezogen." in credit
    assert "-€" not in credit
    english = words(printed(desk, back["id"], kind="page", language="en-GB").text)
    assert "Credit note" in english
    assert "€55.20" in english


def test_nothing_clinical_reaches_it(desk: Desk) -> None:
    """A word of its own in every clinical field that the practice writes and reads."""
    said = {"reasonCode": [{"text": f"{CANARY}reason"}], "note": [{"text": f"{CANARY}question"}]}
    request, exam = desk.order(patientInstruction=f"{CANARY}instruction", **said)
    with desk.books.view(desk.slug) as view:
        animal = view.exam(exam).animal  # type: ignore[union-attr]
    about = {"basedOn": [{"reference": f"ServiceRequest/{request}"}], "subject": {"reference": f"Patient/{animal}"}}
    seen = {"resourceType": "Observation", "status": "final", "effectiveDateTime": "2026-11-25T09:30:00Z", **about}
    for more in (
        {"code": concept(uris.NOTE, "sedation"), "valueString": f"{CANARY}drug", "note": CLINICAL["note"]},
        {**CLINICAL, "valueString": f"{CANARY}value", "bodySite": {"text": f"{CANARY}site"}},
    ):
        assert desk.http.post("/fhir/Observation", json={**seen, **more}).is_success
    told = {f: f"{CANARY}{f}" for f in ("differential", "recommendation", "comparison", "procedure", "urgent")}
    said = {"remaining": "time-limited", "detail": f"{CANARY}detail", "conclusion": f"{CANARY}conclusion", **told}
    assert desk.operate(exam, "finish", interpreter="Dr I. Reader", **said).is_success
    report = desk.http.get("/fhir/DiagnosticReport").text
    assert report.count(CANARY) > 8  # the words are there to be found
    (invoice,) = invoices(desk)
    assert CANARY not in str(invoice)
    for language in ("en", "de"):
        assert CANARY not in printed(desk, invoice["id"], kind="page", language=language).text


def test_whom_it_bills_stands_on_it_as_on_the_day_of_issue(desk: Desk) -> None:
    whole = orders.bundle(service="fluid-check")
    (owner,) = (e["resource"] for e in whole["entry"] if e["resource"]["resourceType"] == "RelatedPerson")
    owner["address"] = [
        {"use": "old", "text": "Gone"},
        {"line": ["12 Invented Street"], "postalCode": "1234", "city": "Nowhere"},
    ]
    desk.finished(whole=whole)
    (invoice,) = invoices(desk)
    (kept,) = desk.http.get("/fhir/RelatedPerson").json()["entry"]
    moved = {**kept["resource"], "address": [{"text": "Moved"}]}
    version = f'W/"{moved["meta"]["versionId"]}"'
    answer = desk.http.put(f"/fhir/RelatedPerson/{moved['id']}", json=moved, headers={"If-Match": version})
    assert answer.is_success
    page = words(printed(desk, invoice["id"], kind="page").text)
    assert "12 Invented Street 1234 Nowhere" in page
    assert "Moved" not in page
    assert "Gone" not in page


def test_what_can_not_be_printed_is_refused_in_words(desk: Desk, base: str) -> None:
    desk.finished()
    (invoice,) = invoices(desk)
    for wanted, where in (({"kind": "text"}, "kind"), ({"language": "xx"}, "language"), ({"version": "0"}, "version")):
        answer = printed(desk, invoice["id"], **wanted)
        assert (answer.status_code, answer.json()["issue"][0]["expression"]) == (400, [where])
    for odd in ("de-A1", "de-<b>", "en-\u00e9\u00e9"):  # a country that is none is passed over
        assert printed(desk, invoice["id"], language=odd).status_code == 200
    assert "de, en" in printed(desk, invoice["id"], language="xx").text
    assert printed(desk, invoice["id"], version="9").status_code == 404
    assert printed(desk, "nowhere").status_code == 404
    foreign = {"resourceType": "Invoice", "status": "draft", "totalNet": {"value": 1, "currency": "EUR"}}
    made = desk.http.post("/fhir/Invoice", json=foreign)
    assert made.status_code == 201, made.text
    answer = printed(desk, made.json()["id"])
    assert (answer.status_code, "issued here" in answer.text) == (422, True)
    with client(base, register(desk.books, desk.slug, "system/Patient.rs")) as other:
        assert other.get(f"/fhir/Invoice/{invoice['id']}/$print").status_code == 403
    for scope, status in (("system/Invoice.rs?status=issued", 200), ("system/Invoice.rs?status=balanced", 404)):
        with client(base, register(desk.books, desk.slug, scope)) as other:
            answer = other.get(f"/fhir/Invoice/{invoice['id']}/$print", headers={"Accept": "application/pdf"})
            assert answer.status_code == status, answer.text


def test_another_practice_does_not_see_it(desk: Desk, practice: Callable[..., str], desk_of: Any) -> None:
    desk.finished()
    (invoice,) = invoices(desk)
    assert printed(desk_of(practice()), invoice["id"]).status_code == 404


def test_whoever_owes_the_tax_has_a_tax_number_or_nothing_is_invoiced(desk: Desk) -> None:
    """EN 16931 BR-AE-02: the buyer's number is on an invoice on which the buyer owes the tax."""
    untaxed = {"tax_category": "AE", "tax_rate": "0", "tax_reason": "As agreed with the clinic"}
    own = row("fluid-check", organization=desk.slug, amount="46.00", kind="exam", payer="requester", **untaxed)
    with desk.books.begin(desk.slug) as work:
        work.lay_over("tariff", by="A. Bookkeeper", files=tariff(own), difference="")
    exam = desk.finished()
    assert invoices(desk) == []
    (told,) = desk.operate(exam, "bill", by="B. Keeper").json()["parameter"][1:]
    assert "Tax of the category AE is owed by whoever is billed" in told["valueString"]
    (kept,) = desk.http.get("/fhir/Organization", params={"name": "Invented Clinic"}).json()["entry"]
    clinic = kept["resource"]
    clinic["identifier"].append({"type": concept(uris.IDENTIFIER_TYPE, "TAX"), "value": "ATU00000000"})
    version = f'W/"{clinic["meta"]["versionId"]}"'
    assert desk.http.put(f"/fhir/Organization/{clinic['id']}", json=clinic, headers={"If-Match": version}).is_success
    assert desk.operate(exam, "bill", by="B. Keeper").is_success
    (invoice,) = invoices(desk)
    page = words(printed(desk, invoice["id"], kind="page").text)
    assert "Tax number: ATU00000000" in page
    assert "Reverse charge" in page
    assert "As agreed with the clinic" in page
    assert "Amount due €46.00" in page


def test_an_estimate_is_printed_for_whoever_shall_agree_to_it(
    practice: Callable[..., str], desk_of: Callable[[str], Desk]
) -> None:
    desk = desk_of(practice(language="de"))
    _, exam = desk.order()
    assert desk.operate(exam, "estimate").is_success
    (draft,) = invoices(desk, status="draft")
    page = words(printed(desk, draft["id"], kind="page").text)
    assert page.startswith("Kostenschätzung Von Quillfold Small Animal Imaging")
    assert "Es ist keine Rechnung" in page
    assert "Ausstellungsdatum 25. November 2026" in page
    assert "Leistungsdatum" not in page
    assert "Zahlungsbedingungen" not in page
    assert "Voraussichtlich insgesamt 55,20 €" in page.replace("\u00a0", " ")
    assert printed(desk, draft["id"]).content.startswith(b"%PDF-")
    assert "Kostenschätzung" in draft["text"]["div"]


def test_a_bookkeeper_writes_a_month_or_one_number_as_files(
    desk: Desk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    exam = desk.finished()
    assert desk.operate(exam, "withdraw", reason="Wrong animal", by="B. Keeper").is_success
    held, how = house(desk.books), {"folder": tmp_path, "press": press()}
    print_(held, desk.slug, "2026-11", kind="page", language="de", **how)
    assert capsys.readouterr().out.splitlines() == [
        f"{tmp_path}/2026-000001.html: Rechnung 2026-000001",
        f"{tmp_path}/2026-000002.html: Rechnungskorrektur 2026-000002",
    ]
    print_(held, desk.slug, "2026-000002", kind="pdf", language="", **how)
    first, back = invoices(desk)
    assert (tmp_path / "2026-000002.pdf").read_bytes() == printed(desk, back["id"]).content
    assert (tmp_path / "2026-000001.html").read_text() == printed(desk, first["id"], kind="page", language="de").text
    for wrong in ("2026-000003", "2026-10", "2026-13"):
        with pytest.raises(typer.Exit):
            print_(held, desk.slug, wrong, kind="pdf", language="", **how)
    assert "there is no invoice 2026-000003" in capsys.readouterr().err
