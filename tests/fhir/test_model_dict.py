"""A model becomes the dict it was read from, digits kept."""

from decimal import Decimal

from fhir.resources.R4B.invoice import Invoice
from fhir.resources.R4B.observation import Observation

from service.fhir import exact


def test_a_model_comes_back_as_it_was_read() -> None:
    text = (
        b'{"resourceType":"Observation","id":"a","meta":{"profile":["http://x.example/p"]},"status":"final",'
        b'"_status":{"id":"s"},"code":{"coding":[{"system":"http://loinc.org","code":"59089-3"}]},'
        b'"effectiveDateTime":"2026-11-25T13:04:29.120Z","valueQuantity":{"value":0.40,"unit":"mm"},'
        b'"referenceRange":[{"low":{"value":1.10}}]}'
    )
    value = exact.decode(text)
    plain = exact.as_dict(Observation.model_validate(value))
    assert plain == value
    assert exact.encode(plain) == text


def test_nothing_empty_is_written_and_times_keep_their_zone() -> None:
    model = Invoice.model_validate(
        {
            "resourceType": "Invoice",
            "status": "issued",
            "note": [],
            "date": "2026-11-25T14:00:00+01:00",
            "totalNet": {"value": Decimal("30.00"), "currency": "EUR"},
        }
    )
    assert exact.encode(exact.as_dict(model)) == (
        b'{"resourceType":"Invoice","status":"issued","date":"2026-11-25T14:00:00+01:00",'
        b'"totalNet":{"value":30.00,"currency":"EUR"}}'
    )
