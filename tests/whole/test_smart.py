"""Two installations: one proves who it is by its own key and gets a token of the other, key changed in between."""

import json
from pathlib import Path

import httpx
import pytest

from service.access import backend
from service.access.assertion import key_set
from service.basics.access import Client
from service.basics.ids import new_id
from service.commands import destination, signing_keys
from service.fhir import uris
from tests.builders import orders
from tests.builders.instances import BILLING
from tests.whole.conftest import Worlds
from tests.whole.telling import Desk


def _told(desk: Desk) -> None:
    """A small exam, finished and delivered."""
    site = [orders.concept(uris.STRUCTURE, "gallbladder")]
    whole = orders.bundle(orders.patient(""), service="limited", bodySite=site)
    desk.known_there(whole)
    exam = desk.place(whole)
    desk.survey(exam)
    desk.finish(exam)
    desk.delivered()


@pytest.mark.full
def test_a_report_arrives_with_a_token_for_a_signed_assertion(worlds: Worlds, engine: str, tmp_path: Path) -> None:
    ours, theirs = worlds.of(engine)
    slug, records = ours.organization("practice", billing=BILLING), theirs.organization("records")
    signing_keys.add(ours.books, organization=slug, algorithm="ES384", base="")
    published = httpx.get(f"{ours.url}/fhir/.well-known/jwks/{slug}.json")
    assert published.headers["cache-control"].startswith("public, max-age=600")
    assert httpx.get(f"{ours.url}/fhir/.well-known/jwks/nobody.json").json() == {"keys": []}
    wanted = Client(new_id(), records, "practice", "", "", ("system/*.cruds",), published.text, "", True)
    made = backend.registered(wanted)
    assert theirs.books.add_client(made)
    destination.add(ours.books, organization=slug, name="records", url=f"{theirs.url}/fhir")
    signing_keys.identify(ours.books, organization=slug, name="records", client=made.id, scopes=["system/*.cruds"])
    there = theirs.client(theirs.token(records))
    desk = Desk(ours, slug, ours.client(ours.token(slug)), there)
    try:
        _told(desk)
        assert len(desk.there("DiagnosticReport")) == 1
        # the key is changed for one of the other kind, and the client's set with it: the next post has a new token
        (old,) = ours.books.signing_keys(slug)
        signing_keys.add(ours.books, organization=slug, algorithm="RS384", base="")
        signing_keys.retire(ours.books, organization=slug, kid=old.kid)
        left = httpx.get(f"{ours.url}/fhir/.well-known/jwks/{slug}.json").json()["keys"]
        assert [one["kty"] for one in left] == ["RSA"]
        theirs.books.renew_keys(records, "practice", key_set(json.dumps({"keys": left})))
        _told(desk)
        assert len(desk.there("DiagnosticReport")) == 2
    finally:
        desk.http.close()
        there.close()
