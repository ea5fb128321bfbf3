// Bodies, one a line, into what npm's fhir finds wrong with them: a line of JSON for each fault.
import { createInterface } from "node:readline";
import fhir from "fhir";

const judge = new fhir.Fhir();
let body = 0;
for await (const line of createInterface({ input: process.stdin })) {
  const resource = JSON.parse(line);
  for (const one of judge.validate(resource, { errorOnUnexpected: true }).messages) {
    if (["error", "fatal"].includes(one.severity)) console.log(JSON.stringify({ body, type: resource.resourceType, ...one }));
  }
  body += 1;
}
