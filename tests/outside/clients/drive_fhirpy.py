"""fhirpy, sync and async, does a day's work: drive_fhirpy.py BASE TOKEN. Ends with 0 when all went as FHIR says."""

import asyncio
import sys

from fhirpy import AsyncFHIRClient, SyncFHIRClient
from fhirpy.base.exceptions import OperationOutcome, ResourceNotFound

SYSTEM = "urn:invented:animals"
WEIGHT = {"value": 7.25, "unit": "kg", "system": "http://unitsofmeasure.org", "code": "kg"}


def client(kind, base, token):
    return kind(base, authorization=f"Bearer {token}", extra_headers={"Accept": "application/fhir+json"})


def observation(fhir, patient, number):
    return fhir.resource(
        "Observation",
        status="final",
        code={"coding": [{"system": "http://loinc.org", "code": "29463-7"}]},
        subject=patient.to_reference(),
        valueQuantity=WEIGHT | {"value": 7 + number},
    )


def sync(base, token):
    fhir = client(SyncFHIRClient, base, token)
    patient = fhir.resource("Patient", name=[{"text": "Bramble"}], identifier=[{"system": SYSTEM, "value": "S-1"}])
    patient.save()
    assert patient.id
    patient["active"] = True
    patient.save()
    assert patient["meta"]["versionId"] == "2"
    again, made = (
        fhir.resources("Patient")
        .search(identifier=f"{SYSTEM}|S-1")
        .get_or_create(fhir.resource("Patient", identifier=[{"system": SYSTEM, "value": "S-1"}]))
    )
    assert not made
    assert again.id == patient.id
    for number in range(23):
        observation(fhir, patient, number).save()
    found = fhir.resources("Observation").search(patient=patient.id)
    assert found.count() == 23
    assert len(found.limit(5).fetch_all()) == 23
    assert len({one.id for one in found.limit(5).fetch_all()}) == 23
    assert found.sort("-_lastUpdated").first()["valueQuantity"]["value"] == 29
    assert fhir.reference("Patient", patient.id).to_resource()["active"] is True
    assert [one.id for one in fhir.resources("Patient").search(identifier=f"{SYSTEM}|S-1").fetch()] == [patient.id]
    if "Observation:subject" in includes(fhir):
        with_animal(found)
    refused(fhir)
    gone = fhir.resource("Patient", name=[{"text": "Nobody"}])
    gone.save()
    gone.delete()
    try:
        fhir.reference("Patient", gone.id).to_resource()
    except (ResourceNotFound, OperationOutcome):
        pass
    else:
        raise AssertionError("it is still there")


def includes(fhir):
    """What can be included with Observations, by the server's own statement."""
    declared = fhir.execute("metadata", method="get")["rest"][0]["resource"]
    return next(one for one in declared if one["type"] == "Observation").get("searchInclude", [])


def with_animal(found):
    page = found.limit(1).include("Observation", "subject").fetch_raw()
    assert {one["resource"]["resourceType"] for one in page["entry"]} == {"Observation", "Patient"}


def refused(fhir):
    try:
        fhir.resource("Observation", status="no-such-status", code={"text": "x"}).save()
    except OperationOutcome as outcome:
        told = outcome.resource
    assert told["issue"][0]["expression"] == ["Observation.status"]


async def asynchronous(base, token):
    fhir = client(AsyncFHIRClient, base, token)
    patient = fhir.resource("Patient", name=[{"text": "Thistle"}], identifier=[{"system": SYSTEM, "value": "A-1"}])
    await patient.save()
    await asyncio.gather(*(observation(fhir, patient, number).save() for number in range(10)))
    found = fhir.resources("Observation").search(patient=patient.id)
    assert await found.count() == 10
    assert len([one async for one in found.limit(3)]) == 10
    bundle = fhir.resource(
        "Bundle",
        type="transaction",
        entry=[{"request": {"method": "POST", "url": "Patient"}, "resource": {"resourceType": "Patient"}}] * 3,
    )
    await bundle.save()


sync(*sys.argv[1:])
asyncio.run(asynchronous(*sys.argv[1:]))
