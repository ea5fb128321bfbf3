"""A resource as one destination wants it: the same instants by another clock, the forms of the report it can use."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.basics.destination import FORMATS
from service.fhir.writing.tailoring import tailored

FORMS = [{"contentType": f"{one}; charset=utf-8", "data": "AA=="} for one in FORMATS]


@pytest.mark.parametrize(
    ("utc", "local"),
    [
        ("2026-11-25T13:04:29Z", "2026-11-25T14:04:29+01:00"),
        ("2026-07-01T23:30:00.120Z", "2026-07-02T01:30:00.120+02:00"),
        ("2026-10-25T00:30:00Z", "2026-10-25T02:30:00+02:00"),  # the hour that comes twice, first
        ("2026-10-25T01:30:00Z", "2026-10-25T02:30:00+01:00"),  # and second
        ("2026-03-29T01:00:00Z", "2026-03-29T03:00:00+02:00"),
        ("2026-11-25T13:04:29+05:30", "2026-11-25T13:04:29+05:30"),  # told by somebody else's clock: his to say
        ("2026-11-25", "2026-11-25"),
        ("2026", "2026"),
    ],
)
def test_instants_in_utc_are_told_by_the_zones_clock_with_their_digits(utc: str, local: str) -> None:
    """Europe/Berlin changes its clocks on 2026-03-29 and 2026-10-25 at 01:00 UTC (IANA time zone database)."""
    resource = {"resourceType": "Observation", "issued": utc, "component": [{"valueDateTime": utc}]}
    told = tailored(resource, formats=FORMATS, zone="Europe/Berlin")
    assert told == {"resourceType": "Observation", "issued": local, "component": [{"valueDateTime": local}]}


def test_text_that_looks_like_an_instant_is_text() -> None:
    said = "2026-11-25T13:04:29Z"
    resource = {"conclusion": said, "valueString": said, "note": [{"text": said, "time": said}], "identifier": said}
    told = tailored(resource, formats=FORMATS, zone="Europe/Berlin")
    assert told == {**resource, "note": [{"text": said, "time": "2026-11-25T14:04:29+01:00"}]}


@given(st.integers(86_400_000, 4_102_444_800_000), st.sampled_from(["Asia/Kolkata", "America/St_Johns"]))
def test_it_is_always_the_same_instant(milliseconds: int, zone: str) -> None:
    utc = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=milliseconds)
    text = utc.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    told = tailored({"issued": text}, formats=FORMATS, zone=zone)["issued"]
    assert datetime.fromisoformat(told) == utc
    assert datetime.fromisoformat(told).utcoffset() != timedelta()


@pytest.mark.parametrize("wanted", [FORMATS[:1], FORMATS[1:], ()])
def test_only_the_forms_that_are_wanted_go_out_and_the_stored_report_keeps_all(wanted: tuple[str, ...]) -> None:
    report = {"resourceType": "DiagnosticReport", "presentedForm": FORMS, "status": "final"}
    told = tailored(report, formats=wanted, zone="")
    assert [form["contentType"].split(";")[0] for form in told.get("presentedForm", [])] == list(wanted)
    assert ("presentedForm" in told) == bool(wanted), "an empty list is no FHIR"
    assert report["presentedForm"] == FORMS
