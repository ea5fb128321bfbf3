"""T1-T8: a transaction is one change, whatever its order, and its links hold."""

import itertools

import httpx
import pytest

from tests.api.conftest import JSON
from tests.conformance.speaking import (
    BASE,
    SYSTEM,
    Json,
    asked,
    found,
    made,
    observation,
    patient,
    post,
    refused,
    sent,
    total,
)

DOG, OWNER, OTHER = (f"urn:uuid:0190a1f0-0000-4000-8000-00000000000{n}" for n in (1, 2, 3))


def written(answer: httpx.Response) -> list[str]:
    """Type/id of every entry's location."""
    assert answer.status_code == 200, answer.text
    places = [one["response"]["location"] for one in answer.json()["entry"]]
    return [place.removeprefix(f"{BASE}/").partition("/_history")[0] for place in places]


def test_t1_one_entry_per_entry_in_order(rest: httpx.Client) -> None:
    answer = sent(rest, post(patient(active=True)), post({"resourceType": "Location"}), post(patient(active=False)))
    body = answer.json()
    assert (answer.status_code, body["type"]) == (200, "transaction-response")
    assert [one["response"]["status"] for one in body["entry"]] == ["201 Created"] * 3
    assert all(one["response"]["etag"] == 'W/"1"' and one["response"]["lastModified"] for one in body["entry"])
    places = written(answer)
    assert [place.partition("/")[0] for place in places] == ["Patient", "Location", "Patient"]
    assert rest.get(f"/fhir/{places[2]}").json()["active"] is False
    whole = sent(rest, post(patient(active=True)), Prefer="return=representation").json()["entry"][0]
    assert rest.get(f"/fhir/Patient/{whole['resource']['id']}").json() == whole["resource"]


def test_t1_a_refusal_is_one_outcome(rest: httpx.Client) -> None:
    for entry, status in [
        (post(patient(gender="blue")), 400),
        (post({"resourceType": "Foo"}), 404),
        (asked("GET", "Patient/nobody"), 404),
        (asked("DELETE", "Observation/x"), 405),
        (asked("PUT", "Patient/x", patient(id="x")), 405),
        (asked("PUT", f"Patient?identifier={SYSTEM}|a", patient("a"), ifMatch='W/"3"'), 412),
    ]:
        refused(sent(rest, post(patient()), entry), status)
    assert total(rest) == 0


def test_t2_one_bad_entry_and_nothing_is_stored(rest: httpx.Client) -> None:
    one = made(rest, observation())
    bad = [
        post(patient(gender="blue")),
        post(patient(name=[{"text": "a\0b"}])),
        post(observation(subject={"reference": "Patient?identifier=urn:x|none"})),
        asked("PUT", "Patient/x", patient(id="x"), ifMatch='W/"3"'),
        asked("PUT", f"Observation/{one['id']}", one, ifMatch='W/"7"'),
        asked("PUT", f"Observation/{one['id']}", one),
        asked("GET", "Patient/nobody"),
        post({"resourceType": "Bundle", "type": "collection"}),
        post(patient("b"), ifNoneExist="colour=blue"),
        asked("DELETE", f"Observation/{one['id']}"),
    ]
    before = rest.get("/fhir/_history").json()["entry"]
    for wrong, position in itertools.product(bad, range(3)):
        entries = [post(patient("a")), post(patient("b"))]
        entries.insert(position, wrong)
        answer = sent(rest, *entries)
        assert 400 <= answer.status_code < 500, answer.text
        refused(answer, answer.status_code)
    assert rest.get("/fhir/_history").json()["entry"] == before


def test_t3_the_order_of_entries_does_not_matter(rest: httpx.Client) -> None:
    for number, order in enumerate(itertools.permutations(range(3))):
        one = made(rest, patient(f"old-{number}"))
        entries = [
            post({"resourceType": "RelatedPerson", "patient": {"reference": DOG}}, full_url=OWNER),
            post(patient(f"dog-{number}"), full_url=DOG),
            asked("GET", f"Patient/{one['id']}"),
        ]
        answer = sent(rest, *(entries[i] for i in order))
        assert answer.status_code == 200, answer.text
        shown = answer.json()["entry"][order.index(2)]
        assert shown["resource"] == one
        owner = answer.json()["entry"][order.index(0)]["response"]["location"].removeprefix(BASE).partition("/_his")[0]
        assert rest.get(f"/fhir{owner}").json()["patient"]["reference"] == (
            f"Patient/{found(rest, f'Patient?identifier={SYSTEM}|dog-{number}')[0]}"
        )


def test_t3_a_read_sees_what_is_written_beside_it(rest: httpx.Client) -> None:
    one = made(rest, patient(active=False))
    answer = sent(
        rest, asked("GET", f"Patient/{one['id']}"), asked("PUT", f"Patient/{one['id']}", one | {"active": True})
    )
    assert answer.status_code == 200, answer.text
    assert answer.json()["entry"][0]["resource"]["active"] is True


def test_t4_one_identity_is_written_once(rest: httpx.Client) -> None:
    one = made(rest, patient("a"))
    by_id = asked("PUT", f"Patient/{one['id']}", one)
    by_criteria = asked("PUT", f"Patient?identifier={SYSTEM}|a", patient("a"))
    for entries in ([by_id, by_id], [by_id, by_criteria], [by_criteria, by_criteria]):
        refused(sent(rest, *entries), 400)
    assert rest.get(f"/fhir/Patient/{one['id']}").json() == one


def test_t5_links_are_rewritten_where_they_are_links(rest: httpx.Client) -> None:
    div = f'<div xmlns="http://www.w3.org/1999/xhtml"><a href="{DOG}">the dog</a> of no {DOG}</div>'
    see = {
        "resourceType": "Observation",
        "status": "final",
        "code": {"text": "x"},
        "subject": {"reference": DOG},
        "hasMember": [{"reference": OTHER}],
        "derivedFrom": [{"reference": f"{BASE}/Observation/elsewhere"}, {"reference": "https://other.example/Media/1"}],
        "text": {"status": "generated", "div": div},
    }
    back = observation(hasMember=[{"reference": OWNER}])
    entries = [post(see, full_url=OWNER), post(patient(), full_url=DOG), post(back, full_url=OTHER)]
    places = written(sent(rest, *entries))
    stored, circle = (rest.get(f"/fhir/{places[i]}") for i in (0, 2))
    assert stored.json()["subject"]["reference"] == places[1]
    assert stored.json()["hasMember"][0]["reference"] == places[2]
    assert circle.json()["hasMember"][0]["reference"] == places[0]
    assert stored.json()["derivedFrom"][1]["reference"] == "https://other.example/Media/1"
    assert f'href="{places[1]}"' in stored.json()["text"]["div"].replace(f"{BASE}/", "")
    assert f'"{DOG}"' not in stored.text
    assert "urn:uuid" not in circle.text


def test_t6_a_conditional_reference_finds_exactly_one(rest: httpx.Client) -> None:
    see = observation(subject={"reference": f"Patient?identifier={SYSTEM}|a"})
    refused(sent(rest, post(see)), 412)
    one = made(rest, patient("a"))
    place = written(sent(rest, post(see)))[0]
    assert rest.get(f"/fhir/{place}").json()["subject"]["reference"] == f"Patient/{one['id']}"
    made(rest, patient("a"))
    refused(sent(rest, post(see)), 412, "multiple-matches")
    assert total(rest, "Observation") == 1


@pytest.mark.parametrize(
    "entries",
    [
        [{"resource": patient()}],
        [{"request": {"method": "POST", "url": "Patient"}}],
        [{"request": {"method": "PUT", "url": "Patient/x"}}],
        [asked("BREW", "Patient")],
        [post(patient()) | {"request": {"method": "POST"}}],
        [post(patient(), full_url=DOG), post(patient(), full_url=DOG)],
        [post(patient(), full_url=f"{BASE}/Patient/x/_history/1")],
        [asked("POST", "Task/x/$finish", {"resourceType": "Parameters"})],
    ],
)
def test_t7_what_is_no_transaction_is_400(rest: httpx.Client, entries: list[Json]) -> None:
    refused(sent(rest, *entries), 400)
    assert total(rest) == 0


@pytest.mark.parametrize("kind", ["transaction", "batch"])
def test_t8_an_empty_bundle_is_fine(rest: httpx.Client, kind: str) -> None:
    for path in ("/fhir", "/fhir/"):
        answer = rest.post(path, json={"resourceType": "Bundle", "type": kind}, headers=JSON)
        assert (answer.status_code, answer.json()) == (200, {"resourceType": "Bundle", "type": f"{kind}-response"})
