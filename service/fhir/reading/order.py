"""A ServiceRequest into the Order of one exam, or everything that keeps it from being one."""

from collections.abc import Mapping
from typing import Any, Protocol

from service.basics.coding import Coding, Identifier
from service.basics.errors import Fault
from service.exam.animal import Animal
from service.exam.order import Order
from service.exam.rules import Service, Structure
from service.fhir import r4, uris

Json = dict[str, Any]
Key = tuple[str, str]


class Orderable(Protocol):
    """What can be ordered; service.catalogue's Catalogue honours it."""

    @property
    def orders(self) -> Mapping[Key, str]: ...
    @property
    def services(self) -> Mapping[str, Service]: ...
    @property
    def structures(self) -> Mapping[str, Structure]: ...
    @property
    def organs(self) -> Mapping[tuple[str, str, str], tuple[str, ...]]: ...
    @property
    def lateralities(self) -> Mapping[Key, str]: ...


def order(request: Json, animal: Animal, catalogue: Orderable) -> tuple[Order | None, list[Fault]]:
    """The order (None when its code is unknown) and all its faults, each with its FHIRPath."""
    model = r4.model("ServiceRequest").model_validate(request)
    faults: list[Fault] = []
    if model.status != "active":
        text = "Only an active order opens an exam; send it when its status is active."
        faults.append(Fault("business-rule", text, "ServiceRequest.status"))
    code, service = _service(model, catalogue, faults)
    if service is None:
        return None, faults
    return Order(
        id=str(request.get("id", "")),
        animal=animal,
        service=service,
        structures=_structures(model, service, catalogue, faults),
        placer=identifier(request, "PLAC"),
        filler=identifier(request, "FILL"),
        accession=identifier(request, "ACSN"),
        priority=str(model.priority or "routine"),
        requester=str(model.requester.reference or "") if model.requester else "",
        requester_name=str(model.requester.display or "") if model.requester else "",
        reasons=_reasons(model),
        question=" ".join(str(n.text) for n in model.note or []),
        placed=str(request.get("authoredOn", "")),
        code=code,
    ), faults


def identifier(request: Json, kind: str) -> Identifier | None:
    """The first identifier of a v2-0203 type (PLAC, FILL, ACSN) that has system and value."""
    for one in request.get("identifier", []):
        types = {
            c.get("code") for c in one.get("type", {}).get("coding", []) if c.get("system") == uris.IDENTIFIER_TYPE
        }
        if kind in types and one.get("system") and one.get("value"):
            return Identifier(one["system"], one["value"])
    return None


def repeat_reason(request: Json) -> str:
    """Why the order says that the same exam is done a second time on one day; "" when it does not say."""
    said = (e.get("valueString", "") for e in request.get("extension", []) if e.get("url") == uris.X_REPEAT)
    return next((str(text).strip() for text in said), "")


def _service(model: Any, catalogue: Orderable, faults: list[Fault]) -> tuple[Coding | None, Service | None]:
    codings = [(str(c.system or ""), str(c.code or "")) for c in (model.code.coding or [] if model.code else [])]
    keys = {catalogue.orders[c] for c in codings if c in catalogue.orders}
    if len(keys) == 1:
        key = keys.pop()
        used = next(c for c in codings if c in catalogue.orders)
        return Coding(*used), catalogue.services[key]
    can = "; ".join(f"{s}|{c} ({catalogue.services[k].title})" for (s, c), k in sorted(catalogue.orders.items()))
    text = (
        f"The order code leads to more than one exam: {sorted(keys)}."
        if keys
        else f"Unknown order code. It can be: {can}."
    )
    faults.append(Fault("code-invalid", text, "ServiceRequest.code"))
    return None, None


def _structures(model: Any, service: Service, catalogue: Orderable, faults: list[Fault]) -> tuple[str, ...]:
    if not service.names_organs:
        return service.structures
    found: list[str] = []
    for index, concept in enumerate(model.bodySite or []):
        named = organs(concept, catalogue)
        if not named:
            text = f"Unknown organ. It can be: {_known(catalogue)}."
            faults.append(Fault("code-invalid", text, f"ServiceRequest.bodySite[{index}]"))
        found += [s for s in named if s not in found]
    if not model.bodySite:
        text = f"A {service.title} names its organs in bodySite. It can be: {_known(catalogue)}."
        faults.append(Fault("required", text, "ServiceRequest.bodySite"))
    return tuple(found)


def organs(concept: Any, catalogue: Orderable) -> tuple[str, ...]:
    """The structures that a bodySite names, by organ code and laterality."""
    keys = [(str(c.system or ""), str(c.code or "")) for c in concept.coding or []]
    side = next((catalogue.lateralities[k] for k in keys if k in catalogue.lateralities), "")
    for system, code in keys:
        for wanted in (side, ""):
            if (system, code, wanted) in catalogue.organs:
                return catalogue.organs[system, code, wanted]
    return ()


def _known(catalogue: Orderable) -> str:
    names = sorted({code for system, code, side in catalogue.organs if system == uris.STRUCTURE and not side})
    return ", ".join(names) or ", ".join(sorted(catalogue.structures))


def _reasons(model: Any) -> tuple[str, ...]:
    shown = [c.text or next((x.display or x.code for x in c.coding or []), "") for c in model.reasonCode or []]
    return tuple(str(text) for text in shown if text)
