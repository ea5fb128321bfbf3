"""Clients and tokens from the command line, and who touched an animal's record, over HTTP and there."""

import json
import time
from pathlib import Path
from typing import Any

import pytest
import typer

from service.access import tokens
from service.basics.access import Client
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.commands import audit, clients, token
from service.fhir import validate
from service.store import SqlBooks
from tests.builders.assertions import ec_key, key_set, public, rsa_key
from tests.builders.audited import Open


def client(organization: str, **changed: Any) -> Client:
    known = {"name": "Front desk", "role": "record-system", "party": "", "scopes": ("system/*.rs",), "keys": ""}
    return Client(id="", organization=organization, **(known | changed))


def test_a_client_is_registered_listed_and_shut_out(
    books: SqlBooks, organization: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keys, later = tmp_path / "keys.json", tmp_path / "later.json"
    keys.write_text(key_set(public(ec_key(), "a")), encoding="utf-8")
    later.write_text(key_set(public(rsa_key(), "b")), encoding="utf-8")
    clients.add(books, client(organization), keys=keys)
    id_ = capsys.readouterr().out.strip()
    made = books.client(id_)
    assert made is not None
    assert (made.organization, made.name, made.active) == (organization, "Front desk", True)
    with pytest.raises(typer.Exit):
        clients.add(books, client(organization), keys=keys)
    clients.renew(books, organization, "Front desk", keys=later)
    renewed = books.client(id_)
    assert renewed is not None
    assert json.loads(renewed.keys)["keys"][0]["kid"] == "b"
    clients.switch(books, organization, "Front desk", active=False)
    capsys.readouterr()
    clients.list_(books, organization)
    told = capsys.readouterr().out
    assert id_ in told
    assert " off" in told
    for act in (clients.renew, clients.switch):
        with pytest.raises(typer.Exit):
            act(books, organization, "nobody", **({"keys": keys} if act is clients.renew else {"active": True}))


def test_everything_that_is_wrong_with_a_client_is_told_at_once(
    books: SqlBooks, organization: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keys = tmp_path / "keys.json"
    keys.write_text(key_set(public(ec_key("secp256r1"), "a")), encoding="utf-8")
    with pytest.raises(typer.Exit):
        clients.add(books, client(organization, role="juggler", scopes=("system/Task.sr",)), keys=keys)
    told = capsys.readouterr().err
    assert all(word in told for word in ("juggler", "system/Task.sr", "P-384"))
    assert told.count("\n") == 3


# what data may not make the service call, nor an operator by mistake: RFC 6890's special addresses, and no plain http
@pytest.mark.parametrize(
    "url",
    [
        "https://127.0.0.1/jwks.json",
        "https://169.254.169.254/latest/meta-data",
        "https://[::1]/jwks.json",
        "https://10.1.2.3/jwks.json",
        "http://keys.example/jwks.json",
        "file:///etc/passwd",
    ],
)
def test_keys_are_fetched_from_public_addresses_alone(
    books: SqlBooks, organization: str, capsys: pytest.CaptureFixture[str], *, url: str
) -> None:
    with pytest.raises(typer.Exit):
        clients.add(books, client(organization, keys_url=url), keys=None)
    assert books.clients(organization) == ()
    assert url in capsys.readouterr().err


def test_tokens_are_listed_and_revoked_by_a_name_that_opens_nothing(
    books: SqlBooks, organization: str, capsys: pytest.CaptureFixture[str]
) -> None:
    made = token.create(books, organization, wanted=[], label="nightly", role="bookkeeper")
    token.list_(books, organization)
    told = capsys.readouterr().out
    assert made not in told
    name = tokens.fingerprint(made)[:12]
    assert name in told
    assert "bookkeeper" in told
    with pytest.raises(typer.Exit):
        token.revoke(books, "another", name)
    with pytest.raises(typer.Exit):
        token.revoke(books, organization, name[:3])
    assert books.token(tokens.fingerprint(made)) is not None
    token.revoke(books, organization, name)
    assert books.token(tokens.fingerprint(made)) is None
    with pytest.raises(typer.Exit):
        token.create(books, organization, wanted=[], label="x", role="referring-clinic")
    with pytest.raises(typer.Exit):
        token.create(books, organization, wanted=[], label="x")


def test_who_touched_an_animal_s_record(
    enter: Open, module_books: SqlBooks, capsys: pytest.CaptureFixture[str]
) -> None:
    at = enter()

    def post(type_: str, request: str, **resource: Any) -> str:
        answer = at.http.post(
            f"/fhir/{type_}", json={"resourceType": type_, **resource}, headers={"X-Request-Id": request}
        )
        assert answer.status_code == 201, answer.text
        return f"{type_}/{answer.json()['id']}"

    animal, other = post("Patient", "made"), post("Patient", "other")
    seen = {"status": "final", "code": {"text": "x"}}
    mine = post("Observation", "noted", subject={"reference": animal}, **seen)
    theirs = post("Observation", "elsewhere", subject={"reference": other}, **seen)
    for request, path in (("read", mine), ("also", theirs), ("none", "Observation/none"), ("all", "Observation")):
        at.http.get(f"/fhir/{path}", headers={"X-Request-Id": request})
    at.left()
    id_ = animal.split("/")[1]
    touched = {"made", "noted", "read", "all"}
    events = at.http.get(f"/fhir/AuditEvent?patient={id_}").json()["entry"]
    named = [one["resource"]["entity"] for one in events]
    assert {one[-1]["what"]["identifier"]["value"] for one in named} == touched
    # IHE BALP 1.1.4, PatientRead: an entity of type 1, role 1, what only a Patient, beside the data (type 2, role 4)
    reading = next(one for one in named if one[-1]["what"]["identifier"]["value"] == "read")
    assert [(one["what"]["reference"], one["type"]["code"], one["role"]["code"]) for one in reading[:-1]] == [
        (mine, "2", "4"),
        (animal, "1", "1"),
    ]
    # and agent[client] has a network (1..1)
    assert {one["resource"]["agent"][0]["network"]["address"] for one in events} == {"127.0.0.1"}
    few = at.http.get(f"/fhir/AuditEvent?patient=Patient/{id_}&action=R&outcome=0").json()["entry"]
    assert [one["resource"]["entity"][-1]["what"]["identifier"]["value"] for one in few] == ["read"]
    first = at.http.get(f"/fhir/AuditEvent?patient={id_}&_count=3").json()
    assert len(first["entry"]) == 3
    after = next(one["url"] for one in first["link"] if one["relation"] == "next")
    assert len(at.http.get(f"/fhir{after.partition('/fhir')[2]}").json()["entry"]) == 1
    catalogue = load(read_folder())
    audit.list_(module_books, catalogue, organization=at.organization, animal=id_, as_json=True)
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert {one["entity"][-1]["what"]["identifier"]["value"] for one in told} == touched
    audit.list_(module_books, catalogue, organization=at.organization, animal=id_, since="2099-01-01")
    assert len(capsys.readouterr().out.splitlines()) == 1
    for wrong in ({"organization": "nobody"}, {"organization": at.organization, "since": "yesterday"}):
        with pytest.raises(typer.Exit):
            audit.list_(module_books, catalogue, **wrong)


def test_who_is_turned_away_at_the_door_leaves_a_line_of_nobody_s(
    enter: Open, joined: str, module_books: SqlBooks, capsys: pytest.CaptureFixture[str]
) -> None:
    at = enter()
    request = f"turned-away-{time.monotonic_ns()}"
    headers = {"Authorization": "Bearer " + "x" * 43, "X-Request-Id": request}
    assert at.http.get("/fhir/Patient/secret-name", headers=headers).status_code == 401
    at.left()
    audit.list_(module_books, load(read_folder()), organization="", as_json=True, limit=1000)
    told = capsys.readouterr().out
    assert request in told
    assert "x" * 43 not in told
    for line in told.splitlines():
        assert validate.check(json.loads(line)) == []
