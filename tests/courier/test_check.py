"""`destination check`: what a destination says of itself, what of it will work, and which form is then used."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import httpx
import pytest
import respx
import typer

from service.basics import destination as terms_of
from service.basics.destination import FORMS, RUNGS, Terms
from service.commands import destination, destination_check
from service.courier.capability import obstacles, read
from service.courier.lines import Lines
from service.store import SqlBooks, open_books
from tests.courier.carrying import URL, Wire
from tests.courier.test_outbox import SLUG

Json = dict[str, Any]
TYPES = (
    *("DiagnosticReport", "Observation", "ChargeItem", "Invoice", "Task", "Procedure", "Media", "Communication"),
    *("Organization", "Patient", "ServiceRequest", "Bundle"),
)


def statement(*, system: tuple[str, ...] = ("transaction", "batch"), release: str = "4.0.1", **type_: Any) -> Json:
    """The CapabilityStatement of a server that takes everything, but for what is said here."""
    whole = {
        "interaction": [{"code": code} for code in ("create", "update", "read", "search-type")],
        "searchParam": [{"name": "identifier", "type": "token"}],
        "conditionalUpdate": True,
        **type_,
    }
    rest: Json = {
        "mode": "server",
        "interaction": [{"code": code} for code in system],
        "resource": [{"type": one, **whole} for one in TYPES],
        "operation": [{"name": "process-message", "definition": "OperationDefinition/x"}],
    }
    return {
        "resourceType": "CapabilityStatement",
        "software": {"name": "Plainly Invented Records"},
        "fhirVersion": release,
        "format": ["json"],
        "rest": [rest],
    }


def works(given: Json, terms: Terms | None = None) -> set[str]:
    return {form for form in FORMS if not obstacles(read(given), form, terms or Terms())}


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (statement(), set(FORMS)),
        (statement(system=()), set(FORMS) - {"transaction", "batch"}),
        (statement(conditionalUpdate=False), {"search", "message", "document", "webhook"}),
        (statement(conditionalUpdate=False, searchParam=[]), {"message", "document", "webhook"}),
        (statement(interaction=[{"code": "read"}]), set(RUNGS) - {"search"} | {"message", "webhook"}),
        (statement(release="4.3.0"), set(FORMS)),
        (statement(release="3.0.2"), {"webhook"}),
        (statement(release="5.0.0"), {"webhook"}),
        ({**statement(), "format": ["xml"]}, {"webhook"}),
        ({"resourceType": "CapabilityStatement", "fhirVersion": "4.0.1", "rest": "x"}, {"webhook"}),
    ],
)
def test_a_form_works_only_where_all_that_it_needs_is_promised(given: Json, expected: set[str]) -> None:
    assert works(given) == expected


def test_what_is_not_sent_need_not_be_taken() -> None:
    given = statement()
    given["rest"][0]["resource"] = [one for one in given["rest"][0]["resource"] if one["type"] != "Invoice"]
    assert "transaction" not in works(given)
    assert "Invoice" in obstacles(read(given), "transaction", Terms())[0]
    assert "transaction" in works(given, Terms(sends=("report",)))


@pytest.fixture
def books(database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    """Books with a practice."""
    opened = open_books(database_url("sqlite"))
    opened.add_organization(SLUG, "Hill Practice (invented)")
    yield opened
    opened.close()


def check(books: SqlBooks, *, forms: tuple[str, ...], answers: respx.MockRouter, apply: bool = True) -> None:
    terms = Terms(forms=forms, form=forms[0])
    destination.add(books, organization=SLUG, name="records", url=URL, terms=terms)
    lines = Lines(transport=Wire(answers))
    destination_check.check(books, organization=SLUG, name="records", apply=apply, lines=lines)


def server(given: Json | None, *, smart: Json | None = None, trial: Json | None = None) -> respx.MockRouter:
    router = respx.MockRouter(assert_all_called=False)
    router.get(f"{URL}/metadata").mock(return_value=httpx.Response(200, json=given) if given else httpx.Response(404))
    well_known = router.get(f"{URL}/.well-known/smart-configuration")
    well_known.mock(return_value=httpx.Response(200, json=smart) if smart else httpx.Response(404, html="<h1>no</h1>"))
    router.post(f"{URL}/DiagnosticReport/$validate").mock(return_value=httpx.Response(200, json=trial or {}))
    return router


def test_the_first_of_the_preferred_forms_that_works_is_used(
    books: SqlBooks, capsys: pytest.CaptureFixture[str]
) -> None:
    check(books, forms=("transaction", "single", "search"), answers=server(statement(system=())))
    shown = capsys.readouterr().out
    assert "transaction  it does not say that it takes a transaction" in shown
    assert "in use from now on: single" in shown
    (row,) = books.destinations(SLUG)
    assert terms_of.read(row.settings) == Terms(forms=("transaction", "single", "search"), form="single")


def test_without_apply_it_only_tells(books: SqlBooks, capsys: pytest.CaptureFixture[str]) -> None:
    check(books, forms=("transaction", "search"), answers=server(statement(system=())), apply=False)
    assert "in use: transaction; search would work (--apply)" in capsys.readouterr().out
    assert terms_of.read(books.destinations(SLUG)[0].settings).form == "transaction"


def test_it_asks_with_credentials_and_writes_nothing(books: SqlBooks, capsys: pytest.CaptureFixture[str]) -> None:
    issue = {"severity": "error", "code": "required", "diagnostics": "subject is\x1b[2J needed"}
    given = statement(operation=[{"name": "validate", "definition": "OperationDefinition/validate"}])
    smart = {"token_endpoint": "x", "token_endpoint_auth_signing_alg_values_supported": ["ES384"]}
    router = server(given, smart=smart, trial={"resourceType": "OperationOutcome", "issue": [issue]})
    check(books, forms=("transaction",), answers=router)
    shown = capsys.readouterr().out
    assert "SMART Backend Services: offered (ES384)" in shown
    assert "dry validation of a report: subject is\\x1b[2J needed" in shown
    asked = [(call.request.method, call.request.url.path) for call in router.calls]
    assert asked == [
        ("GET", "/fhir/metadata"),
        ("GET", "/fhir/.well-known/smart-configuration"),
        ("POST", "/fhir/DiagnosticReport/$validate"),
    ]


@pytest.mark.parametrize("given", [None, {"resourceType": "OperationOutcome"}, statement(release="3.0.1")])
def test_a_destination_where_nothing_will_work_ends_the_command_with_1(
    books: SqlBooks, given: Json | None, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(typer.Exit) as ended:
        check(books, forms=("transaction",), answers=server(given))
    assert ended.value.exit_code == 1
    assert capsys.readouterr().err.startswith("sonoledger: ")


@pytest.mark.parametrize(
    ("terms", "words"),
    [
        (Terms(sends=("gossip",)), "not gossip"),
        (Terms(sends=()), "say what is sent"),
        (Terms(forms=("pigeon",), form="pigeon"), "not pigeon"),
        (Terms(formats=("application/msword",)), "not application/msword"),
        (Terms(forms=("search", "message"), form="search"), "one kind of content"),
        (Terms(forms=("document",), form="document"), "a document carries the report alone"),
        (Terms(forms=("webhook",), form="webhook"), "a webhook is signed"),
        (Terms(zone="../../etc/passwd"), "IANA name"),
        (Terms(zone="Mars/Olympus"), "IANA name"),
    ],
)
def test_terms_that_make_no_sense_are_refused(
    books: SqlBooks, terms: Terms, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(typer.Exit):
        destination.add(books, organization=SLUG, name="records", url=URL, terms=terms)
    assert words in capsys.readouterr().err
    assert books.destinations(SLUG) == ()


def test_other_words_in_a_destinations_settings_are_kept() -> None:
    text = terms_of.written(Terms(zone="Europe/Berlin"), '{"client": "abc"}')
    assert json.loads(text)["client"] == "abc"
    assert terms_of.read(text) == Terms(zone="Europe/Berlin")


def test_what_is_not_named_stays_when_terms_change(books: SqlBooks, capsys: pytest.CaptureFixture[str]) -> None:
    first = Terms(forms=("transaction", "search"), form="search", zone="Europe/Berlin")
    destination.add(books, organization=SLUG, name="records", url=URL, terms=first)
    destination.change(books, organization=SLUG, name="records", sends=("charges",))
    (row,) = books.destinations(SLUG)
    assert terms_of.read(row.settings) == replace(first, sends=("charges",))
    assert "records is sent charges by search, clock of Europe/Berlin" in capsys.readouterr().out
    destination.change(books, organization=SLUG, name="records", forms=("single",), zone="")
    (row,) = books.destinations(SLUG)
    assert terms_of.read(row.settings) == Terms(sends=("charges",), forms=("single",), form="single")


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"name": "nobody"}, "no destination nobody"),
        ({"sends": ("gossip",)}, "not gossip"),
        ({"forms": ("webhook",)}, "a destination of its own"),
        ({"zone": "Mars/Olympus"}, "IANA name"),
    ],
)
def test_a_change_that_makes_no_sense_changes_nothing(
    books: SqlBooks, how: Json, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    destination.add(books, organization=SLUG, name="records", url=URL)
    with pytest.raises(typer.Exit):
        destination.change(books, **{"organization": SLUG, "name": "records", **how})
    assert words in capsys.readouterr().err
    assert books.destinations(SLUG)[0].settings == ""
