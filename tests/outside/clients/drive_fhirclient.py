"""fhirclient, whose models take nothing that R4 does not know, reads what is served: drive_fhirclient.py BASE TOKEN."""

import sys

from fhirclient.models import bundle, capabilitystatement, fhirreference, observation, patient
from fhirclient.server import FHIRServer


class Bearer(FHIRServer):
    """A server that wants a token."""

    def __init__(self, base, token):
        super().__init__(None, base_uri=base)
        self._token = token

    def _get(self, path, headers=None, nosign=False):
        return super()._get(path, {**(headers or {}), "Authorization": f"Bearer {self._token}"}, nosign)

    def post_as_form(self, url, formdata, auth=None):
        raise AssertionError("nothing is posted as a form")


base, token = sys.argv[1:]
server = Bearer(base, token)
server.session.headers["Authorization"] = f"Bearer {token}"

statement = capabilitystatement.CapabilityStatement(server.request_json("metadata"))
assert statement.fhirVersion == "4.0.1"

animal = patient.Patient({"resourceType": "Patient", "name": [{"text": "Clover"}], "birthDate": "2019-05-01"})
made = patient.Patient(animal.create(server))
assert made.id
assert made.birthDate.isostring == "2019-05-01"
read = patient.Patient.read(made.id, server)
assert read.as_json() == made.as_json()

for value in range(7):
    seen = observation.Observation({"resourceType": "Observation", "status": "final", "code": {"text": "weight"}})
    seen.subject = fhirreference.FHIRReference({"reference": f"Patient/{made.id}"})
    seen.valueInteger = value
    assert seen.create(server)["valueInteger"] == value
asked = observation.Observation.where({"subject": f"Patient/{made.id}", "_count": "3"})
assert sorted(one.valueInteger for one in asked.perform_resources_iter(server)) == [0, 1, 2, 3, 4, 5, 6]
history = bundle.Bundle(server.request_json(f"Patient/{made.id}/_history"))
assert [one.resource.id for one in history.entry] == [made.id]
read.active = True
assert read.update(server)["meta"]["versionId"] == "2"
for type_ in ("Observation", "Patient", "PlanDefinition", "CodeSystem", "ValueSet", "SearchParameter"):
    page = bundle.Bundle(server.request_json(f"{type_}?_count=20"))
    assert page.type == "searchset"
    assert page.entry, type_
