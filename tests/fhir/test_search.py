"""A resource is found by what it says: keys of the resource against the query of a search."""

from datetime import UTC
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.basics.errors import Invalid
from service.basics.query import NEWEST, OLDEST, Include, Query
from service.basics.stored import NO_DATE, Record, Stored
from service.fhir import exact, moments, search
from service.fhir.search.table import own_date
from service.fhir.types import STORABLE
from tests.builders import oracle

BASE = "https://sono.example/fhir"


def ask(type_: str, *params: tuple[str, str], strict: bool = True) -> Query:
    return search.parse("vet", type_, params, strict=strict, base=BASE)


def refused(type_: str, *params: tuple[str, str]) -> list[str]:
    with pytest.raises(Invalid) as caught:
        ask(type_, *params)
    return [fault.text for fault in caught.value.faults]


def found(resource: dict[str, Any], *params: tuple[str, str]) -> bool:
    """Whether a search finds the resource, by what the store promises of each criterion."""
    body = exact.encode({"id": "own", **resource})
    stored = Stored(resource["resourceType"], "own", 1, "2026-11-25T13:04:29.123Z", body)
    record = Record(stored, search.keys("vet", resource))
    return oracle.fits_all(record, ask(resource["resourceType"], *params).criteria)


OBSERVATION: dict[str, Any] = {
    "resourceType": "Observation",
    "identifier": [
        {
            "type": {
                "coding": [{"system": "http://terminology.hl7.org/CodeSystem/v2-0203", "code": "FILL"}],
                "text": "Filler order number",
            },
            "system": "https://scanner.example",
            "value": "1|7",
        },
        {"value": "bare"},
    ],
    "basedOn": [{"reference": "ServiceRequest/order/_history/3"}],
    "status": "final",
    "code": {"coding": [{"system": "http://loinc.org", "code": "59089-3"}, {"code": "own", "display": "Thickness"}]},
    "component": [{"code": {"coding": [{"system": "http://loinc.org", "code": "12023-8"}]}}],
    "subject": {"reference": "Patient/animal", "identifier": {"system": "https://chip.example", "value": "276"}},
    "encounter": {"reference": "https://other.example/fhir/Encounter/9"},
    "effectiveDateTime": "2026-11-25T13:04:29.123Z",
    "valueQuantity": {"value": Decimal("0.40")},
}
PATIENT: dict[str, Any] = {
    "resourceType": "Patient",
    "active": True,
    "name": [{"given": ["Bärbel", None], "_given": [None, {"id": "a"}], "family": "Øster-Test", "text": "Bärbel  O."}],
    "telecom": [{"system": "phone", "value": "+1 555"}, {"system": "email", "value": "a@x.example"}],
    "birthDate": "2020-02",
    "address": [{"line": ["Example Street 1"], "city": "Exampletown"}],
}


@pytest.mark.parametrize(
    ("resource", "name", "value", "expected"),
    [
        (OBSERVATION, "code", "59089-3", True),
        (OBSERVATION, "code", "http://loinc.org|59089-3", True),
        (OBSERVATION, "code", "http://snomed.info/sct|59089-3", False),
        (OBSERVATION, "code", "|59089-3", False),
        (OBSERVATION, "code", "|own", True),
        (OBSERVATION, "code", "x,own", True),
        (OBSERVATION, "code", "x\\,own", False),
        (OBSERVATION, "code", "12023-8", False),
        (OBSERVATION, "combo-code", "12023-8", True),
        (OBSERVATION, "combo-code", "59089-3", True),
        (OBSERVATION, "combo-code:not", "12023-8,y", False),
        (OBSERVATION, "component-code", "12023-8", True),
        (OBSERVATION, "code", "http://loinc.org|", True),
        (OBSERVATION, "code", "http://snomed.info/sct|", False),
        (OBSERVATION, "code", "OWN", True),
        (OBSERVATION, "code:missing", "false", True),
        (OBSERVATION, "category:missing", "true", True),
        (OBSERVATION, "combo-code:missing", "true", False),
        (OBSERVATION, "patient:missing", "false", True),
        (OBSERVATION, "patient:missing", "true", False),
        (OBSERVATION | {"subject": {"reference": "Device/1"}}, "patient:missing", "true", True),
        (OBSERVATION | {"subject": {"reference": "Device/1"}}, "subject:missing", "true", False),
        (OBSERVATION, "date:missing", "false", True),
        (OBSERVATION, "value-quantity:missing", "false", True),
        (OBSERVATION, "component-value-quantity:missing", "true", True),
        (OBSERVATION, "_tag:missing", "true", True),
        (OBSERVATION, "code:text", "thick", True),
        (OBSERVATION, "code:text", "ness", False),
        (OBSERVATION, "identifier:of-type", "http://terminology.hl7.org/CodeSystem/v2-0203|FILL|1\\|7", True),
        (OBSERVATION, "identifier:of-type", "http://terminology.hl7.org/CodeSystem/v2-0203|PLAC|1\\|7", False),
        (OBSERVATION, "identifier:of-type", "http://terminology.hl7.org/CodeSystem/v2-0203|FILL|bare", False),
        (OBSERVATION, "identifier", "https://scanner.example|", True),
        (OBSERVATION, "identifier", "BARE", False),
        (OBSERVATION, "identifier:text", "filler", True),
        (OBSERVATION, "status", "final", True),
        (OBSERVATION, "status", "http://hl7.org/fhir/observation-status|final", True),
        (OBSERVATION, "status", "http://example.org|final", False),
        (OBSERVATION, "status:not", "final", False),
        (OBSERVATION, "status:not", "amended,preliminary", True),
        (OBSERVATION, "category:not", "imaging", True),
        (OBSERVATION, "identifier", "https://scanner.example|1\\|7", True),
        (OBSERVATION, "identifier", "1\\|7", True),
        (OBSERVATION, "identifier", "1|7", False),
        (OBSERVATION, "identifier", "|bare", True),
        (OBSERVATION, "subject", "Patient/animal", True),
        (OBSERVATION, "subject", "animal", True),
        (OBSERVATION, "subject", f"{BASE}/Patient/animal", True),
        (OBSERVATION, "subject", "https://other.example/fhir/Patient/animal", False),
        (OBSERVATION, "subject", "Group/animal", False),
        (OBSERVATION, "subject:Patient", "animal", True),
        (OBSERVATION, "subject:Device", "animal", False),
        (OBSERVATION, "subject:identifier", "https://chip.example|276", True),
        (OBSERVATION, "subject:identifier", "277", False),
        (OBSERVATION, "subject:identifier", "https://other.example|276", False),
        (OBSERVATION, "patient", "animal", True),
        (OBSERVATION, "patient", "Patient/animal", True),
        (OBSERVATION, "patient", "other", False),
        (OBSERVATION, "based-on", "ServiceRequest/order", True),
        (OBSERVATION, "encounter", "https://other.example/fhir/Encounter/9", True),
        (OBSERVATION, "encounter", "9", False),
        (PATIENT, "name", "barb", True),
        (PATIENT, "name", "BÄRBEL O", True),
        (PATIENT, "name", "arbel", False),
        (PATIENT, "name:contains", "RBEL  o", True),
        (PATIENT, "name:contains", "rbelo", False),
        (PATIENT, "phone:missing", "false", True),
        (PATIENT, "deceased:missing", "true", True),
        (PATIENT, "name:exact", "Bärbel", True),
        (PATIENT, "name:exact", "bärbel", False),
        (PATIENT, "family", "ster", False),
        (PATIENT, "address-city", "example", True),
        (PATIENT, "address", "example street", True),
        (PATIENT, "phone", "+1 555", True),
        (PATIENT, "email", "+1 555", False),
        (PATIENT, "telecom", "a@x.example", True),
        (PATIENT, "active", "true", True),
        (PATIENT, "deceased", "false", True),
        (PATIENT, "deceased", "true", False),
        (PATIENT | {"deceasedDateTime": "2026"}, "deceased", "true", True),
        (PATIENT | {"deceasedBoolean": False}, "deceased", "false", True),
        (PATIENT, "birthdate", "2020-02", True),
        (PATIENT, "birthdate", "2020-02-03", False),
        ({"resourceType": "Task", "for": {"reference": "Patient/a"}}, "patient", "a", True),
        ({"resourceType": "Task", "partOf": [{"reference": "Task/a"}]}, "part-of", "Task/a", True),
        ({"resourceType": "Task", "focus": {"reference": "ServiceRequest/a"}}, "focus", "a", True),
        ({"resourceType": "Task", "output": [{"valueReference": {"reference": "Media/a"}}]}, "output", "Media/a", True),
        ({"resourceType": "Invoice", "lineItem": [{"chargeItemReference": {"reference": "ChargeItem/a"}}]},
         "charge-item", "a", True),
        ({"resourceType": "ChargeItem", "status": "billed"}, "status", "billed", True),
        ({"resourceType": "ChargeItem", "definitionCanonical": ["http://x.example/c|1"]}, "definition",
         "http://x.example/c", True),
        ({"resourceType": "DiagnosticReport", "imagingStudy": [{"reference": "ImagingStudy/a"}]}, "imaging-study",
         "a", True),
        ({"resourceType": "AuditEvent", "entity": [{"what": {"reference": "Patient/a"}}]}, "patient", "a", True),
        ({"resourceType": "AuditEvent", "entity": [{"what": {"reference": "Device/a"}}]}, "patient", "a", False),
        ({"resourceType": "Encounter", "meta": {"tag": [{"code": "x"}]}}, "_tag", "x", True),
        ({"resourceType": "Encounter", "meta": {"profile": ["http://p.example/a/b|2"]}}, "_profile",
         "http://p.example/a/b", True),
        ({"resourceType": "Encounter", "meta": {"source": "http://p.example/a/b"}}, "_source:below",
         "http://p.example/a", True),
        ({"resourceType": "Encounter", "meta": {"source": "http://p.example/ab"}}, "_source:below",
         "http://p.example/a", False),
        ({"resourceType": "Encounter", "meta": {"source": "http://p.example/a"}}, "_source:above",
         "http://p.example/a/b", True),
    ],
)  # fmt: skip
def test_what_is_found(resource: dict[str, Any], name: str, value: str, *, expected: bool) -> None:
    assert found(resource, (name, value)) is expected


# R4's own table of prefixes (hl7.org/fhir/R4/search.html, "date"), its examples with 14 March and 21 January 2013.
ONWARDS_15 = {"start": "2013-03-15"}
ONWARDS_21 = {"start": "2013-01-21"}
UNTIL_21 = {"end": "2013-01-21"}


@pytest.mark.parametrize(
    ("value", "time", "expected"),
    [
        ("eq2013-01-14", "2013-01-14T00:00:00Z", True),
        ("eq2013-01-14", "2013-01-14T10:00:00Z", True),
        ("eq2013-01-14", "2013-01-15T00:00:00Z", False),
        ("ne2013-01-14", "2013-01-15T00:00:00Z", True),
        ("ne2013-01-14", "2013-01-14T10:00:00Z", False),
        ("lt2013-01-14T10:00", "2013-01-14", True),
        ("gt2013-01-14T10:00", "2013-01-14", True),
        ("ge2013-03-14", ONWARDS_21, True),
        ("le2013-03-14", ONWARDS_21, True),
        ("sa2013-03-14", ONWARDS_15, True),
        ("sa2013-03-14", ONWARDS_21, False),
        ("sa2013-03-14", UNTIL_21, False),
        ("eb2013-03-14", ONWARDS_15, False),
        ("eb2013-03-14", ONWARDS_21, False),
        ("eb2013-03-14", UNTIL_21, True),
        ("ap2013-03-14", "2013-03-14", True),
        ("ap2013-03-14", "2013-01-21", True),
        ("2013", "2013-06-30", True),
        ("2013-06-30", "2013", False),
        ("2013-01-14T10:00:00+02:00", "2013-01-14T08:00:00Z", True),
        ("2013-01-14T10:00:00 02:00", "2013-01-14T08:00:00Z", True),
        ("2012,2013", "2013-01-14", True),
    ],
)
def test_dates_by_their_prefix(value: str, time: Any, *, expected: bool) -> None:
    element = "effectiveDateTime" if isinstance(time, str) else "effectivePeriod"
    resource = {"resourceType": "Observation", element: time}
    assert found(resource, ("date", value)) is expected


_dates = st.one_of(
    st.dates().map(str), st.dates().map(lambda d: str(d)[:7]), st.dates().map(lambda d: str(d)[:4]),
    st.datetimes(timezones=st.just(UTC)).map(lambda d: d.isoformat()),
)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(_dates, _dates)
def test_prefixes_agree_with_each_other(asked: str, given_: str) -> None:
    """eq and ne are opposites; ge is eq or gt, le is eq or lt; sa implies gt, eb implies lt."""
    resource = {"resourceType": "Observation", "effectiveDateTime": given_}
    holds = {p: found(resource, ("date", p + asked)) for p in ("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb")}
    assert holds["eq"] != holds["ne"]
    assert holds["ge"] == (holds["eq"] or holds["gt"])
    assert holds["le"] == (holds["eq"] or holds["lt"])
    assert holds["gt"] or not holds["sa"]
    assert holds["lt"] or not holds["eb"]


def test_moments_cover_their_precision() -> None:
    day = 86_400_000_000
    assert moments.of_text("1970-01-01") == (0, day - 1)
    assert moments.of_text("1970-02") == (31 * day, 59 * day - 1)
    assert moments.of_text("1972") == (730 * day, 1096 * day - 1)
    assert moments.of_text("1970-01-01T00:00:01Z") == (1_000_000, 1_999_999)
    assert moments.of_text("1970-01-01T01:00:00.120+01:00") == (120_000, 120_999)
    assert moments.of_text("9999-12") == (moments.of_text("9999-12-01")[0], moments.LATEST)  # type: ignore[index]
    for text in ("", "23 May", "2013-02-30", "2013-1-1", "2013-01-01T25:00", "0000", "\u0662\u0660\u0661\u0663"):
        assert moments.of_text(text) is None, text
    assert moments.of({"event": ["1970-01-02", "1970-01-01"]}) == (0, 2 * day - 1)
    assert moments.of({"repeat": {"boundsPeriod": {"start": "1970-01-01", "end": "1970-01-01"}}}) == (0, day - 1)
    assert moments.of({"end": "1970-01-01"}) == (moments.EARLIEST, day - 1)


def test_marks_carry_the_own_date_so_that_the_newest_come_first() -> None:
    when = moments.of_text(OBSERVATION["effectiveDateTime"])
    assert when is not None
    keys = search.keys("vet", {name: value for name, value in OBSERVATION.items() if name != "valueQuantity"})
    assert {mark.low for mark in keys.marks} == {when[0]}
    date = search.key("vet", "Observation", "date", "")
    assert [(m.low, m.high) for m in keys.marks if m.key == date] == [when]
    assert {m.low for m in search.keys("vet", {"resourceType": "Observation", "status": "final"}).marks} == {NO_DATE}


def test_own_dates_are_of_the_resource_itself() -> None:
    for type_ in STORABLE:
        row = own_date(type_)
        assert row is None or (row.kind == "date" and all(len(path) == 2 for path in row.paths))


def test_organisations_and_types_share_no_key() -> None:
    values = {search.key(o, t, p, "a") for o in ("x", "y") for t in ("Task", "Media") for p in ("code", "status")}
    assert len(values) == 8
    assert all(-(2**63) <= value < 2**63 for value in values)
    assert search.key("x", "Task", "code", "a") == search.key("x", "Task", "code", "a")


def test_paging_and_presentation() -> None:
    query = ask("Observation", ("_count", "5"), ("_sort", "_lastUpdated"), ("_total", "none"), ("_format", "json"))
    assert (query.count, query.sort, query.total, query.used) == (
        5, OLDEST, "none", (("_count", "5"), ("_sort", "_lastUpdated"), ("_total", "none")),
    )  # fmt: skip
    assert ask("Observation", ("_count", "0")).summary == "count"
    assert ask("Observation", ("_summary", "count")).summary == "count"
    assert ask("Observation", ("_count", "99999999")).count == 500
    assert ask("Observation").sort == NEWEST
    levels = ask("Observation", ("_sort", "status,-date,value-quantity,_id")).sort
    assert [(s.by, s.descending, s.own) for s in levels] == [
        ("word", False, False), ("low", True, True), ("low", False, False), ("id", False, False),
    ]  # fmt: skip
    assert [s.by for s in ask("Patient", ("_sort", "-name,_lastUpdated")).sort] == ["text", "updated"]
    asked = ask("Observation", ("_summary", "true"), ("_elements", "status,Observation.code"), ("_elements", "value"))
    assert (asked.summary, asked.elements) == ("true", ("status", "code", "value"))
    coming = ask("Observation", ("_include", "Observation:subject"), ("_include:iterate", "Patient:link:RelatedPerson"),
                 ("_revinclude", "Provenance:target")).includes  # fmt: skip
    assert coming == (
        Include("Observation", "subject"), Include("Patient", "link", "RelatedPerson", iterate=True),
        Include("Provenance", "target", reverse=True),
    )  # fmt: skip
    assert ask("Observation", ("_id", "a,b"), ("_lastUpdated", "ge2026"), ("_lastUpdated", "lt2027")).used == (
        ("_id", "a,b"), ("_lastUpdated", "ge2026"), ("_lastUpdated", "lt2027"),
    )  # fmt: skip


def test_unknown_parameters_are_named_and_empty_ones_passed_over() -> None:
    query = search.parse(
        "vet", "Observation", [("foo", "1"), ("code", ""), ("status", "final")], strict=False, base=BASE
    )
    assert (query.ignored, query.used, len(query.criteria)) == (("foo",), (("status", "final"),), 1)
    assert refused("Observation", ("foo", "1")) == ["the search parameter foo is not known for Observation"]


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("code:foo", "x"),
        ("date:missing", "maybe"),
        ("date:not", "2026"),
        ("code:in", "http://x.example/ValueSet/a"),
        ("code:above", "a"),
        ("identifier:of-type", "a|b"),
        ("code-value-quantity:missing", "true"),
        ("code-value-quantity", "a"),
        ("value-quantity", "x"),
        ("value-quantity", "1|http://unitsofmeasure.org|"),
        ("value-quantity", "1|mm"),
        ("value-quantity", "1234567890.123456"),
        ("_id:not", "x"),
        ("date", "23 May"),
        ("date", "ge"),
        ("date", "xx2026"),
        ("_lastUpdated", "yesterday"),
        ("_count", "-1"),
        ("_count", "many"),
        ("_sort", "colour"),
        ("_sort", "code-value-quantity"),
        ("_sort", "a,b,c,d,e,f"),
        ("_summary", "some"),
        ("_elements", "colour"),
        ("_include", "Observation:colour"),
        ("_include", "Observation:code"),
        ("_include", "Observation"),
        ("_revinclude", "Colour:subject"),
        ("_include:not", "Observation:subject"),
        ("_total", "x"),
        ("code", ","),
        ("subject", "no/such/thing"),
        ("patient", "Device/1"),
        ("status", "http://hl7.org/fhir/observation-status|"),
        ("code.name", "x"),
        ("subject:Patient.colour", "x"),
        ("subject.colour", "x"),
        ("subject:Patient.identifier:text", "x"),
        ("subject:Patient.general-practitioner:Practitioner.identifier:not", ","),
        ("encounter.subject:Patient.link:RelatedPerson.name", "x"),
        ("_has:Media:subject", "x"),
        ("_has:Media:status:_id", "x"),
        ("_has:Media:subject:colour", "x"),
    ],
)
def test_what_cannot_be_understood_is_refused(name: str, value: str) -> None:
    with pytest.raises(Invalid):
        search.parse("vet", "Observation", [(name, value)], strict=False, base=BASE)


def test_every_fault_of_a_search_is_told_at_once() -> None:
    assert len(refused("Patient", ("active", "maybe"), ("birthdate", "x"), ("_count", "x"), ("foo", "1"))) == 4


def test_every_storable_type_has_parameters_with_definitions() -> None:
    for type_ in STORABLE:
        rows = search.parameters(type_)
        names = [name for name, _, _ in rows]
        assert len(names) == len(set(names))
        assert {"_id", "_lastUpdated"} <= set(names)
        assert "_tag" in names or type_ == "AuditEvent"
        assert all(url.startswith("http") for _, _, url in rows)
    assert ("part-of", "reference", "http://hl7.org/fhir/SearchParameter/Task-part-of") in search.parameters("Task")


def test_nothing_half_filled_makes_the_index_stumble() -> None:
    for type_ in STORABLE:
        half: dict[str, Any] = {"identifier": [], "subject": {"display": "x"}, "code": {"text": "x"}}
        found = search.keys("vet", {"resourceType": type_, **half})
        assert search.key("vet", type_, "identifier", "x") not in {mark.key for mark in found.marks}
