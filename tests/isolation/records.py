"""HL7's definitions -> resources of every type with every element, a canary in each text, linked to one another."""

import uuid
from collections.abc import Mapping
from typing import Any

from service.fhir.definitions import Definitions, Element
from service.fhir.types import STORABLE
from tests.builders.r4_cases import XHTML
from tests.builders.r4_whole import Whole
from tests.isolation.canaries import Canaries

Json = dict[str, Any]
KEPT = tuple(sorted(STORABLE - {"AuditEvent"}))
TEXTS = frozenset({"string", "markdown", "code", "id"})
WEB = frozenset({"uri", "url", "canonical"})


class Marked(Whole):
    """Resources with canaries; links: type -> what a reference to it says."""

    def __init__(self, definitions: Definitions, turn: int, *, canaries: Canaries, links: Mapping[str, str]) -> None:
        super().__init__(definitions, turn)
        self.canaries, self.links = canaries, links

    def _value(self, element: Element, kind: str, depth: int) -> Any:
        plain = super()._value(element, kind, depth)
        word = self.canaries.word
        if kind == "Reference":
            to = self.links.get(plain["reference"].partition("/")[0])
            identifier = {"system": f"https://{word()}.example/ids", "value": word()}
            return {**({"reference": to} if to else {}), "identifier": identifier, "display": word()}
        if kind in WEB:
            return f"https://{word()}.example/{word()}"
        if plain == "x" and kind in TEXTS:
            return word()
        made = self._marked(kind)
        return made if made is not None and plain == _SAMPLE.get(kind) else plain

    def _marked(self, kind: str) -> Any:
        word = self.canaries.word
        match kind:
            case "CodeableConcept":
                return {"coding": [self._marked("Coding")], "text": word()}
            case "Coding":
                return {"system": f"https://{word()}.example/codes", "code": word(), "display": word()}
            case "Extension":
                return {"url": f"https://{word()}.example/e", "valueString": word()}
            case "Attachment":
                return {"contentType": "text/plain", "data": self.canaries.data(), "title": word()}
            case "base64Binary":
                return self.canaries.data()
            case "xhtml":
                return f"<div {XHTML}>{word()}</div>"
            case "Resource":
                return {"resourceType": "Basic", "id": "x", "code": {"text": word()}}
            case "oid":
                return "urn:oid:1.2.3.4"
        return None


_SAMPLE: Json = {
    "CodeableConcept": {"text": "x"},
    "Coding": {"system": "https://x.example/codes", "code": "x"},
    "Extension": {"url": "https://x.example/e", "valueString": "x"},
    "Attachment": {"contentType": "image/png", "data": "QUJD"},
    "base64Binary": "QUJD",
    "xhtml": f"<div {XHTML}>x</div>",
    "Resource": {"resourceType": "Basic", "id": "x", "code": {"text": "x"}},
}


def transaction(definitions: Definitions, turn: int, canaries: Canaries) -> Json:
    """A Bundle of one resource of each type, which refer to one another."""
    links = {type_: f"urn:uuid:{uuid.uuid4()}" for type_ in KEPT}
    make = Marked(definitions, turn, canaries=canaries, links=links)
    entries = [
        {
            "fullUrl": links[type_],
            "resource": without_id(make.resource(type_)),
            "request": {"method": "POST", "url": type_},
        }
        for type_ in KEPT
    ]
    return {"resourceType": "Bundle", "type": "transaction", "entry": entries}


def without_id(resource: Json) -> Json:
    """What a client sends of it."""
    return {name: value for name, value in resource.items() if name not in ("id", "meta", "implicitRules")}
