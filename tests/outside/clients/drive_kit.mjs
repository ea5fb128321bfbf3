// fhir-kit-client does a day's work: drive_kit.mjs BASE TOKEN
import assert from "node:assert/strict";
import * as kit from "fhir-kit-client";

const Client = kit.FhirClient ?? kit.Client ?? kit.default;
const [baseUrl, token] = process.argv.slice(2);
const fhir = new Client({ baseUrl, bearerToken: token });

const statement = await fhir.capabilityStatement();
assert.equal(statement.fhirVersion, "4.0.1");

const identifier = [{ system: "urn:invented:animals", value: "K-1" }];
const patient = await fhir.create({ resourceType: "Patient", body: { resourceType: "Patient", identifier, name: [{ text: "Sorrel" }] } });
assert.ok(patient.id);
const id = patient.id;
assert.deepEqual(await fhir.read({ resourceType: "Patient", id }), patient);
const changed = await fhir.update({ resourceType: "Patient", id, body: { ...patient, active: true } });
assert.equal(changed.meta.versionId, "2");
const patched = await fhir.patch({ resourceType: "Patient", id, jsonPatch: [{ op: "replace", path: "/active", value: false }] });
assert.equal(patched.active, false);
assert.equal((await fhir.vread({ resourceType: "Patient", id, version: "1" })).meta.versionId, "1");

const subject = { reference: `Patient/${id}` };
const weight = (value) => ({ resourceType: "Observation", status: "final", code: { text: "weight" }, subject, valueInteger: value });
const entry = [...Array(12).keys()].map((value) => ({ request: { method: "POST", url: "Observation" }, resource: weight(value) }));
const done = await fhir.transaction({ body: { resourceType: "Bundle", type: "transaction", entry } });
assert.equal(done.entry.length, 12);
const batch = await fhir.batch({ body: { resourceType: "Bundle", type: "batch", entry: [{ request: { method: "GET", url: `Patient/${id}` } }] } });
assert.equal(batch.entry[0].resource.id, id);

const seen = new Set();
let page = await fhir.search({ resourceType: "Observation", searchParams: { subject: `Patient/${id}`, _count: 5 } });
while (page) {
  for (const one of page.entry ?? []) seen.add(one.resource.id);
  page = page.link.some((one) => one.relation === "next") ? await fhir.nextPage({ bundle: page }) : undefined;
}
assert.equal(seen.size, 12);
const posted = await fhir.search({ resourceType: "Observation", searchParams: { subject: `Patient/${id}` }, options: { postSearch: true } });
assert.equal(posted.entry.length, 12);

assert.equal((await fhir.history({ resourceType: "Patient", id })).entry.length, 3);
assert.ok((await fhir.history({ resourceType: "Observation" })).entry.length);
assert.ok((await fhir.history({})).entry.length);
const [one] = seen;
assert.deepEqual((await fhir.resolve({ reference: (await fhir.read({ resourceType: "Observation", id: one })).subject.reference })).id, id);
const opinion = await fhir.operation({ name: "validate", resourceType: "Patient", input: { resourceType: "Patient", gender: "male" } });
assert.equal(opinion.resourceType, "OperationOutcome");
const everything = await fhir.operation({ name: "everything", resourceType: "Patient", id, method: "get" });
assert.ok(everything.entry.length >= 1);

await assert.rejects(() => fhir.read({ resourceType: "Patient", id: "nobody" }), (fault) => fault.response.status === 404);
await assert.rejects(() => fhir.create({ resourceType: "Patient", body: { resourceType: "Patient", gender: "puppy" } }),
  (fault) => fault.response.status === 400 && fault.response.data.issue[0].expression[0] === "Patient.gender");
const nobody = await fhir.create({ resourceType: "Patient", body: { resourceType: "Patient" } });
await fhir.delete({ resourceType: "Patient", id: nobody.id });
await assert.rejects(() => fhir.read({ resourceType: "Patient", id: nobody.id }), (fault) => fault.response.status === 410);
