"""The settings of a practice: taken as given, or refused with everything that is wrong."""

import json

import pytest

from service.basics.errors import Invalid
from service.basics.money import Currency
from service.billing.practice import BillingProfile
from service.fhir.reading.practice import practice
from tests.builders.money import CURRENCIES, PRACTICE

PROFILE = {"legalName": "Other Practice", "address": "2 Example Lane", "taxNumber": "T-2", "terms": "on receipt"}


def test_no_settings_leave_the_row():
    assert practice("", PRACTICE) == PRACTICE
    assert practice("{}", PRACTICE) == PRACTICE


def test_settings_replace_what_they_name():
    given = {
        **PROFILE,
        "zone": "Europe/Vienna",
        "opening": {"mon": ["09:00", "24:00"], "sun": ["00:00", "12:30"], "tue": None},
        "currency": "BHD",
        "language": "de-AT",
        "stills": False,
        "clips": False,
        "taxRounding": "line",
    }
    found = practice(json.dumps(given), PRACTICE, currencies=CURRENCIES)
    assert found.profile == BillingProfile("Other Practice", "2 Example Lane", "T-2", "on receipt")
    assert found.opening == ((540, 1440), None, None, None, None, None, (0, 750))
    assert (found.zone, found.currency, found.language) == ("Europe/Vienna", Currency("BHD", 3), "de-AT")
    assert (found.stills_owed, found.clips_owed, found.tax_rounding) == (False, False, "line")
    assert found.organization == PRACTICE.organization


@pytest.mark.parametrize(
    ("given", "places"),
    [
        ({"legalName": "Only a name"}, ["address", "taxNumber", "terms"]),
        ({**PROFILE, "terms": "  "}, ["terms"]),
        ({**PROFILE, "bank": 7}, ["bank"]),
        ({"zone": "Nowhere/Town"}, ["zone"]),
        ({"zone": "../etc"}, ["zone"]),
        ({"zone": ""}, ["zone"]),
        ({"opening": {"mo": ["08:00", "18:00"]}}, ["opening"]),
        ({"opening": {"mon": ["18:00", "08:00"]}}, ["opening.mon"]),
        ({"opening": {"mon": "08:00-18:00", "tue": ["8:00", "18:00"]}}, ["opening.mon", "opening.tue"]),
        ({"opening": {"fri": ["08:00", "25:00"]}}, ["opening.fri"]),
        ({"currency": "EURO"}, ["currency"]),
        ({"language": "english!", "stills": "yes", "taxRounding": "down"}, ["language", "stills", "taxRounding"]),
        ({"leagalName": "typo"}, ["leagalName"]),
        ({"zone": 1, "clips": 0, "currency": None}, ["clips", "currency", "zone"]),
    ],
)
def test_every_fault_is_named_at_once(given, places):
    with pytest.raises(Invalid) as caught:
        practice(json.dumps(given), PRACTICE, currencies=CURRENCIES)
    assert [f.where for f in caught.value.faults] == places


@pytest.mark.parametrize("text", ["[]", "{", '{"zone": "UTC", "zone": "UTC"}', '"text"'])
def test_what_is_no_object_is_refused(text):
    with pytest.raises(Invalid):
        practice(text, PRACTICE)
