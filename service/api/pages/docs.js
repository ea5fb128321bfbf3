// Reads /openapi.json and draws it: every operation with its parameters, its answers and a form to try it.
"use strict";

// What a day's work needs stands above the alphabet.
const FIRST = ["system", "any type", "ServiceRequest", "Task", "Observation", "DiagnosticReport", "Invoice"];

const make = (name, attributes = {}, ...inside) => {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...inside);
  return element;
};

const row = (cell, ...texts) => make("tr", {}, ...texts.map((text) => make(cell, {}, text)));

const table = (head, rows) => make("table", {}, make("thead", {}, row("th", ...head)), make("tbody", {}, ...rows));

const answers = (description, responses) =>
  table(["Status", "Meaning"], Object.entries(responses).map(([status, one]) => {
    const known = one.$ref ? description.components.responses[one.$ref.split("/").pop()] : one;
    return row("td", status, known.description);
  }));

const field = (parameter) => {
  const input = make("input", { name: parameter.name, "data-in": parameter.in, "aria-label": parameter.name });
  if (parameter.required) input.required = true;
  return row("td", parameter.name, parameter.in, parameter.description || "", input);
};

const ask = async (method, path, form) => {
  const query = new URLSearchParams();
  const headers = { Accept: "application/fhir+json" };
  for (const input of form.querySelectorAll("input[data-in]")) {
    if (!input.value) continue;
    if (input.dataset.in === "path") path = path.replace(`{${input.name}}`, encodeURIComponent(input.value));
    if (input.dataset.in === "query") query.append(input.name, input.value);
    if (input.dataset.in === "header") headers[input.name] = input.value;
  }
  const token = document.getElementById("token").value;
  if (token) headers.Authorization = `Bearer ${token}`;
  const text = form.querySelector("textarea");
  if (text && text.value) headers["Content-Type"] = text.dataset.type;
  const body = text && text.value ? text.value : undefined;
  const answer = await fetch(query.size ? `${path}?${query}` : path, { method, headers, body });
  const shown = ["location", "etag", "last-modified", "allow", "retry-after", "x-request-id"]
    .filter((name) => answer.headers.has(name)).map((name) => `${name}: ${answer.headers.get(name)}`);
  return [`${answer.status} ${answer.statusText}`, ...shown, "", await answer.text()].join("\n");
};

const written = (type, example) =>
  type.endsWith("json") ? JSON.stringify(example, null, 2) : new URLSearchParams(example).toString();

const operation = (description, path, method, one) => {
  const form = make("form");
  if (one.parameters.length) form.append(table(["Name", "In", "Kind", "Value"], one.parameters.map(field)));
  if (one.requestBody) {
    const [type, { example }] = Object.entries(one.requestBody.content)[0];
    const text = make("textarea", { "data-type": type, spellcheck: "false" }, example ? written(type, example) : "");
    form.append(make("label", {}, `Body (${type})`, text));
  }
  const result = make("pre", { hidden: "", tabindex: "0", "aria-label": "Answer" });
  form.append(make("p", {}, make("button", {}, "Try it")), result);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    result.hidden = false;
    result.textContent = "...";
    result.textContent = await ask(method, path, form).catch((fault) => String(fault));
  });
  const head = make("summary", {}, make("span", { class: "method" }, method), make("code", {}, path), ` ${one.summary}`);
  return make("details", { "data-words": `${method} ${path} ${one.summary}`.toLowerCase() }, head,
    make("div", { class: "inside" }, form, answers(description, one.responses)));
};

const draw = (description) => {
  document.getElementById("introduction").textContent = description.info.description;
  const groups = new Map();
  for (const [path, methods] of Object.entries(description.paths)) {
    for (const [method, one] of Object.entries(methods)) {
      const tag = one.tags[0];
      if (!groups.has(tag)) groups.set(tag, []);
      groups.get(tag).push(operation(description, path, method.toUpperCase(), one));
    }
  }
  const rank = (tag) => (FIRST.includes(tag) ? FIRST.indexOf(tag) : FIRST.length);
  const sections = [...groups].sort(([one], [other]) => rank(one) - rank(other)).map(([tag, list]) => make("section", {}, make("h2", {}, tag), ...list));
  document.getElementById("operations").replaceChildren(...sections);
};

const narrow = (text) => {
  for (const one of document.querySelectorAll("details")) one.hidden = !one.dataset.words.includes(text.toLowerCase());
  for (const one of document.querySelectorAll("section")) one.hidden = !one.querySelector("details:not([hidden])");
};

document.getElementById("asking").addEventListener("submit", (event) => event.preventDefault());
document.getElementById("find").addEventListener("input", (event) => narrow(event.target.value));
fetch("/openapi.json").then((answer) => answer.json()).then(draw).catch((fault) => {
  document.getElementById("operations").textContent = `The description could not be read: ${fault}`;
});
