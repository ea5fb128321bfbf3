"""A finished exam carried piece by piece to a record system over HTTP: the same as by one transaction."""

import json

import pytest

from service.basics.destination import Terms, written
from service.fhir import uris
from tests.whole.telling import Desk, only
from tests.whole.test_delivery import AMENDED, SENT, arrived, targets, told

pytestmark = pytest.mark.sqlite_first

EACH = ["search", *(pytest.param(rung, marks=pytest.mark.full) for rung in ("batch", "single"))]


@pytest.mark.parametrize("rung", EACH)
def test_piece_by_piece_it_arrives_once_linked_and_amended_like_by_a_transaction(desk: Desk, rung: str) -> None:
    books = desk.instance.books
    (destination,) = books.destinations(desk.slug)
    books.set_terms(desk.slug, destination.name, written(Terms(forms=(rung,), form=rung)))
    exam, finished = told(desk)
    here = {kind: desk.search(kind) for kind in SENT}
    assert {kind: len(desk.there(kind)) for kind in SENT} == {k: len(v) for k, v in here.items()} | {"Task": 1}
    for kind in SENT:
        for copy in desk.there(kind):
            for target in targets(copy):
                assert desk.records.get(target).is_success, (kind, target)
    desk.operate(exam.id, "amend", conclusion="Seen anew.", **AMENDED)
    desk.delivered()
    report = arrived(desk, finished["report"])
    assert (report["status"], report["meta"]["versionId"]) == ("amended", "2")
    posts = books.deliveries(desk.slug)
    assert [(d.event, d.state) for d in posts] == [("amended", "delivered"), ("finished", "delivered")]
    body = json.loads(books.post_body(desk.slug, posts[1].id) or b"")
    assert body["type"] == "transaction", "what was promised is one thing, however it is carried"
    result = {one["reference"] for one in report["result"]}
    liver = only(o for o in desk.there("Observation") if "valueQuantity" in o)
    assert f"Observation/{liver['id']}" in result
    assert any(i["system"] == uris.ID for i in liver["identifier"])
