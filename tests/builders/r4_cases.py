"""Resources that R4 allows and forbids, each bad one with the place and the rule of R4 (hl7.org/fhir/R4) it breaks."""

from copy import deepcopy
from decimal import Decimal
from typing import Any, NamedTuple

Json = dict[str, Any]
XHTML = 'xmlns="http://www.w3.org/1999/xhtml"'

OBSERVATION: Json = {
    "resourceType": "Observation",
    "status": "final",
    "code": {"coding": [{"system": "http://loinc.org", "code": "59089-3"}]},
    "subject": {"reference": "Patient/a"},
    "effectiveDateTime": "2026-11-25T13:04:29.120+01:00",
    "valueQuantity": {"value": Decimal("0.40"), "unit": "mm", "system": "http://unitsofmeasure.org", "code": "mm"},
}
NOT_SEEN: Json = {
    "resourceType": "Observation",
    "status": "final",
    "code": {"text": "left adrenal gland"},
    "dataAbsentReason": {"text": "not seen: gas"},
}
PATIENT: Json = {
    "resourceType": "Patient",
    "identifier": [{"system": "https://practice.example/animal", "value": "17"}],
    "name": [{"given": ["Testdog"]}],
    "gender": "female",
    "birthDate": "2020-02-29",
    "deceasedBoolean": False,
}
TASK: Json = {"resourceType": "Task", "status": "ready", "intent": "order", "for": {"reference": "Patient/a"}}
BUNDLE: Json = {
    "resourceType": "Bundle",
    "type": "transaction",
    "entry": [
        {
            "fullUrl": "urn:uuid:019ab000-0000-7000-8000-000000000001",
            "resource": PATIENT,
            "request": {"method": "POST", "url": "Patient"},
        }
    ],
}
DEVICE: Json = {"resourceType": "Device", "id": "probe"}


class Bad(NamedTuple):
    """A resource, the FHIRPath of its fault, and what of R4 it breaks."""

    resource: Json
    where: str
    breaks: str


def _with(base: Json, **changes: Any) -> Json:
    """The base with elements set; None takes one away."""
    changed = deepcopy(base) | {name.replace("__", "_", 1): value for name, value in changes.items()}
    return {name: value for name, value in changed.items() if value is not None}


def _div(inner: str) -> Json:
    return {"status": "generated", "div": f"<div {XHTML}>{inner}</div>"}


GOOD: dict[str, Json] = {
    "a measurement": OBSERVATION,
    "not seen": NOT_SEEN,
    "an animal": PATIENT,
    "a task": TASK,
    "a transaction": BUNDLE,
    "a year": _with(PATIENT, birthDate="2020"),
    "a primitive with only an extension": _with(
        PATIENT, gender=None, __gender={"extension": [{"url": "https://x.example/e", "valueCode": "x"}]}
    ),
    "a list with a null and its twin": _with(
        PATIENT, name=[{"given": ["a", None], "_given": [None, {"id": "b"}]}]
    ),
    "something contained": _with(OBSERVATION, device={"reference": "#probe"}, contained=[DEVICE]),
    "a link by search": _with(OBSERVATION, subject={"reference": "Patient?identifier=https://x.example|17"}),
    "a link elsewhere": _with(OBSERVATION, subject={"reference": "https://other.example/fhir/Patient/1"}),
    "a link by identifier": _with(OBSERVATION, subject={"identifier": {"value": "17"}, "type": "Patient"}),
    "harmless text": _with(OBSERVATION, text=_div("<p>0.40 mm&nbsp;<b>left</b><!-- x --></p>")),
    "a period of one day": _with(
        OBSERVATION, effectiveDateTime=None, effectivePeriod={"start": "2026-11-25T13:00:00Z", "end": "2026-11-25"}
    ),
    "letters beyond ASCII": _with(PATIENT, name=[{"text": "Bärbel 犬\u00a0\n"}]),
    "a large decimal": _with(OBSERVATION, valueQuantity={"value": Decimal("123456789.123456789012")}),
}  # fmt: skip

BAD: dict[str, Bad] = {
    "a status of no one": Bad(_with(OBSERVATION, status="bogus"), "Observation.status", "required binding"),
    "a gender of no one": Bad(_with(PATIENT, gender="neutered"), "Patient.gender", "required binding"),
    "no status": Bad(_with(OBSERVATION, status=None), "Observation.status", "1..1"),
    "no code": Bad(_with(OBSERVATION, code=None), "Observation.code", "1..1"),
    "no intent": Bad(_with(TASK, intent=None), "Task.intent", "1..1"),
    "no value of an input": Bad(_with(TASK, input=[{"type": {"text": "x"}}]), "Task.input[0].value", "1..1"),
    "two values": Bad(_with(OBSERVATION, valueString="x"), "Observation.value", "one of value[x]"),
    "a value and a twin of another": Bad(
        _with(OBSERVATION, __valueString={"id": "a"}), "Observation.value", "one of value[x]"
    ),
    "two deaths": Bad(_with(PATIENT, deceasedDateTime="2020"), "Patient.deceased", "one of deceased[x]"),
    "an unknown element": Bad(_with(OBSERVATION, colour="red"), "Observation.colour", "elements of R4"),
    "an element of R5": Bad(_with(OBSERVATION, triggeredBy=[]), "Observation.triggeredBy", "elements of R4"),
    "an unknown element deep inside": Bad(
        _with(OBSERVATION, component=[{"code": {"text": "x", "foo": 1}}]), "Observation.component[0].code.foo", "R4"
    ),
    "one instead of a list": Bad(_with(PATIENT, name={"text": "x"}), "Patient.name", "0..*"),
    "a list instead of one": Bad(_with(OBSERVATION, code=[{"text": "x"}]), "Observation.code", "1..1"),
    "an empty list": Bad(_with(OBSERVATION, note=[]), "Observation.note", "JSON: no empty arrays"),
    "an empty object": Bad(_with(OBSERVATION, method={}), "Observation.method", "ele-1"),
    "an empty text": Bad(_with(NOT_SEEN, code={"text": ""}), "Observation.code.text", "string"),
    "null": Bad(_with(PATIENT, name=[{"given": ["a", None]}]), "Patient.name[0].given[1]", "JSON: null has a twin"),
    "a decimal in quotes": Bad(
        _with(OBSERVATION, valueQuantity={"value": "0.40"}), "Observation.value.value", "decimal is a JSON number"
    ),
    "a boolean in quotes": Bad(_with(PATIENT, active="true"), "Patient.active", "boolean is a JSON boolean"),
    "a whole number with a fraction": Bad(
        _with(PATIENT, multipleBirthInteger=Decimal("1.0")), "Patient.multipleBirth", "integer's regex"
    ),
    "a whole number of 33 bits": Bad(
        _with(PATIENT, multipleBirthInteger=2**32), "Patient.multipleBirth", "integer is 32 bits"
    ),
    "nought as a positive number": Bad(
        _with(PATIENT, telecom=[{"system": "phone", "value": "1", "rank": 0}]), "Patient.telecom[0].rank", "positiveInt"
    ),
    "30 February": Bad(_with(PATIENT, birthDate="2020-02-30"), "Patient.birthDate", "date is of the calendar"),
    "29 February 1900": Bad(_with(PATIENT, birthDate="1900-02-29"), "Patient.birthDate", "date is of the calendar"),
    "a time without zone": Bad(
        _with(OBSERVATION, effectiveDateTime="2026-11-25T13:04:29"), "Observation.effective", "dateTime's regex"
    ),
    "a time without seconds": Bad(
        _with(OBSERVATION, effectiveDateTime="2026-11-25T13:04Z"), "Observation.effective", "dateTime's regex"
    ),
    "an instant that is a day": Bad(_with(OBSERVATION, issued="2026-11-25"), "Observation.issued", "instant"),
    "a space in a code": Bad(_with(OBSERVATION, language=" en"), "Observation.language", "code's regex"),
    "an id with a space": Bad(_with(PATIENT, id="a b"), "Patient.id", "id's regex"),
    "an id of 65 letters": Bad(_with(PATIENT, id="a" * 65), "Patient.id", "id's regex"),
    "a URI with a space": Bad(
        _with(PATIENT, identifier=[{"system": "a b", "value": "1"}]), "Patient.identifier[0].system", "uri's regex"
    ),
    "a control character": Bad(_with(PATIENT, name=[{"text": "a\x07"}]), "Patient.name[0].text", "string"),
    "a link to the wrong type": Bad(
        _with(OBSERVATION, subject={"reference": "Practitioner/a"}), "Observation.subject.reference", "reference target"
    ),
    "a link of the wrong type": Bad(
        _with(OBSERVATION, subject={"type": "Practitioner", "display": "x"}), "Observation.subject.type", "target"
    ),
    "a link to no type": Bad(
        _with(TASK, focus={"reference": "Frog/1"}), "Task.focus.reference", "reference target"
    ),
    "a dangling link": Bad(
        _with(OBSERVATION, device={"reference": "#probe"}), "Observation.device.reference", "ref-1"
    ),
    "contained in contained": Bad(
        _with(OBSERVATION, device={"reference": "#probe"}, contained=[DEVICE | {"contained": [DEVICE | {"id": "b"}]}]),
        "Observation.contained[0].contained", "dom-2",
    ),
    "contained and alone": Bad(_with(OBSERVATION, contained=[DEVICE]), "Observation.contained[0]", "dom-3"),
    "contained with a version": Bad(
        _with(OBSERVATION, device={"reference": "#probe"}, contained=[DEVICE | {"meta": {"versionId": "1"}}]),
        "Observation.contained[0].meta", "dom-4",
    ),
    "contained and wrong": Bad(
        _with(OBSERVATION, device={"reference": "#probe"}, contained=[DEVICE | {"status": "broken"}]),
        "Observation.contained[0].status", "required binding",
    ),
    "a value and why it is absent": Bad(
        _with(OBSERVATION, dataAbsentReason={"text": "x"}), "Observation", "obs-6"
    ),
    "a component with the code of the whole": Bad(
        _with(OBSERVATION, component=[{"code": OBSERVATION["code"]}]), "Observation.component[0].code", "obs-7"
    ),
    "limits without limits": Bad(
        _with(OBSERVATION, referenceRange=[{"type": {"text": "x"}}]), "Observation.referenceRange[0]", "obs-3"
    ),
    "a unit's code without system": Bad(
        _with(OBSERVATION, valueQuantity={"value": 1, "code": "mm"}), "Observation.value", "qty-3"
    ),
    "an extension of nothing": Bad(
        _with(OBSERVATION, extension=[{"url": "https://x.example/e"}]), "Observation.extension[0]", "ext-1"
    ),
    "an extension of both": Bad(
        _with(OBSERVATION, extension=[
            {"url": "https://x.example/e", "valueString": "a", "extension": [{"url": "b", "valueString": "c"}]}
        ]),
        "Observation.extension[0]", "ext-1",
    ),
    "an extension with two values": Bad(
        _with(OBSERVATION, extension=[{"url": "https://x.example/e", "valueString": "a", "valueInteger": 1}]),
        "Observation.extension[0]", "ext-1",
    ),
    "an extension of R4B": Bad(
        _with(OBSERVATION, extension=[{"url": "https://x.example/e", "valueCodeableReference": {"concept": {}}}]),
        "Observation.extension[0].valueCodeableReference", "elements of R4",
    ),
    "an end before the start": Bad(
        _with(OBSERVATION, effectiveDateTime=None, effectivePeriod={"start": "2026-11-25", "end": "2026-11-24"}),
        "Observation.effective", "per-1",
    ),
    "a low above the high": Bad(
        _with(OBSERVATION, valueQuantity=None, valueRange={"low": {"value": Decimal("2.0")}, "high": {"value": 1}}),
        "Observation.value", "rng-2",
    ),
    "half a ratio": Bad(
        _with(OBSERVATION, valueQuantity=None, valueRatio={"numerator": {"value": 1}}), "Observation.value", "rat-1"
    ),
    "a contact of no one": Bad(_with(PATIENT, contact=[{"gender": "male"}]), "Patient.contact[0]", "pat-1"),
    "a telephone without system": Bad(_with(PATIENT, telecom=[{"value": "1"}]), "Patient.telecom[0]", "cpt-2"),
    "a task modified before it was authored": Bad(
        _with(TASK, authoredOn="2026-11-25", lastModified="2026-11-24"), "Task.lastModified", "inv-1"
    ),
    "details of no order": Bad(
        {"resourceType": "ServiceRequest", "status": "active", "intent": "order", "subject": {"reference": "Patient/a"},
         "orderDetail": [{"text": "x"}]},
        "ServiceRequest", "prr-1",
    ),
    "an organization of nothing": Bad({"resourceType": "Organization", "active": True}, "Organization", "org-1"),
    "a currency of four letters": Bad(
        {"resourceType": "Invoice", "status": "draft", "totalNet": {"value": 1, "currency": "EURO"}},
        "Invoice.totalNet.currency", "ISO 4217",
    ),
    "a script": Bad(_with(OBSERVATION, text=_div("<script>x</script>")), "Observation.text.div", "txt-1"),
    "a handler": Bad(_with(OBSERVATION, text=_div('<p onclick="x()">x</p>')), "Observation.text.div", "txt-1"),
    "a script in a link": Bad(
        _with(OBSERVATION, text=_div('<a href=" javascript:x()">x</a>')), "Observation.text.div", "txt-1"
    ),
    "a declaration": Bad(
        _with(OBSERVATION, text={"status": "generated", "div": f'<!DOCTYPE x [<!ENTITY a "b">]><p {XHTML}>&a;</p>'}),
        "Observation.text.div", "txt-1",
    ),
    "text that is not closed": Bad(_with(OBSERVATION, text=_div("<p>x")), "Observation.text.div", "txt-1"),
    "text of no namespace": Bad(
        _with(OBSERVATION, text={"status": "generated", "div": "<div>x</div>"}), "Observation.text.div", "txt-1"
    ),
    "text that says nothing": Bad(_with(OBSERVATION, text=_div(" ")), "Observation.text.div", "txt-2"),
    "an entry without request": Bad(
        _with(BUNDLE, entry=[{"resource": PATIENT}]), "Bundle.entry[0].request", "bdl-3"
    ),
    "an entry of nothing": Bad(
        _with(BUNDLE, type="collection", entry=[{"fullUrl": "urn:uuid:019ab000-0000-7000-8000-000000000001"}]),
        "Bundle.entry[0]", "bdl-5",
    ),
    "the same fullUrl twice": Bad(_with(BUNDLE, entry=BUNDLE["entry"] * 2), "Bundle.entry", "bdl-7"),
    "a total of a transaction": Bad(_with(BUNDLE, total=1), "Bundle.total", "bdl-1"),
    "a document of no composition": Bad(
        {"resourceType": "Bundle", "type": "document", "timestamp": "2026-11-25T13:04:29Z",
         "identifier": {"system": "https://x.example", "value": "1"}, "entry": [{"resource": PATIENT}]},
        "Bundle.entry", "bdl-11",
    ),
    "a link within a bundle to the wrong type": Bad(
        _with(BUNDLE, entry=[
            BUNDLE["entry"][0],
            {"resource": _with(TASK, basedOn=[{"reference": "urn:uuid:019ab000-0000-7000-8000-000000000001"}],
                               owner={"reference": "urn:uuid:019ab000-0000-7000-8000-000000000002"}),
             "fullUrl": "urn:uuid:019ab000-0000-7000-8000-000000000002",
             "request": {"method": "POST", "url": "Task"}},
        ]),
        "Bundle.entry[1].resource.owner.reference", "reference target",
    ),
    "a link to something contained of the wrong type": Bad(
        _with(OBSERVATION, subject={"reference": "#x"}, contained=[{"resourceType": "Basic", "id": "x",
                                                                    "code": {"text": "x"}}]),
        "Observation.subject.reference", "reference target",
    ),
    "a link elsewhere to the wrong type": Bad(
        _with(OBSERVATION, subject={"reference": "https://other.example/fhir/Practitioner/1/_history/2"}),
        "Observation.subject.reference", "reference target",
    ),
    "a limit that is compared": Bad(
        _with(OBSERVATION, referenceRange=[{"low": {"value": 1, "comparator": "<"}}]),
        "Observation.referenceRange[0].low.comparator", "sqty-1",
    ),
    "a mime type without its second half": Bad(
        _with(PATIENT, photo=[{"contentType": "image"}]), "Patient.photo[0].contentType", "required binding"
    ),
    "a currency that is none": Bad(
        {"resourceType": "Invoice", "status": "draft", "totalNet": {"value": 1, "currency": "QQQ"}},
        "Invoice.totalNet.currency", "ISO 4217",
    ),
    "a duration below nought": Bad(
        _with(OBSERVATION, effectiveDateTime=None, effectiveTiming={"repeat": {"duration": -1, "durationUnit": "s"}}),
        "Observation.effective.repeat.duration", "tim-4",
    ),
    "a unit of UCUM with a space": Bad(
        _with(OBSERVATION, valueQuantity={"value": 1, "system": "http://unitsofmeasure.org", "code": "mm Hg"}),
        "Observation.value.code", "UCUM",
    ),
    "an age of nought": Bad(
        {"resourceType": "Condition", "subject": {"reference": "Patient/a"},
         "onsetAge": {"value": 0, "system": "http://unitsofmeasure.org", "code": "a"}},
        "Condition.onset.value", "age-1",
    ),
    "an age of another system": Bad(
        {"resourceType": "Condition", "subject": {"reference": "Patient/a"},
         "onsetAge": {"value": 1, "system": "https://x.example/units", "code": "a"}},
        "Condition.onset.system", "age-1",
    ),
    "a bad resource of a bundle": Bad(
        _with(BUNDLE, entry=[BUNDLE["entry"][0] | {"resource": _with(PATIENT, gender="x")}]),
        "Bundle.entry[0].resource.gender", "required binding",
    ),
}  # fmt: skip
