"""One line of the audit as an AuditEvent, after IHE's Basic Audit Log Patterns; what was searched for is never told."""

from typing import Any

from service.basics.stored import LOGIN, Trace
from service.fhir import uris

Json = dict[str, Any]
_SOURCE = ("110153", "Source Role ID")
_DESTINATION = ("110152", "Destination Role ID")
_AUTHENTICATION = ("110114", "User Authentication")  # DICOM PS3.15, A.5.3.11, as its Login
_LOGIN = ("110122", "Login")
_TELLING = frozenset({"read", "vread"})  # here the patterns call the server the source, everywhere else the client
_SEARCHES = frozenset({"search-type", "search-system"})
_OUTCOMES = {"4": "Refused", "8": "Failed inside the service"}


def audit_event(line: Trace, *, organization: str, base: str, animals: tuple[str, ...] = ()) -> Json:
    """The AuditEvent of a line of this organisation ("" for nobody's). base is our own base URL.

    animals: Patient/id of those whose records were touched besides what the line names."""
    told = line.interaction in _TELLING
    return {
        "resourceType": "AuditEvent",
        "id": line.id,
        "meta": {"versionId": "1", "lastUpdated": line.recorded},
        **_kind(line),
        "action": line.action,
        "recorded": line.recorded,
        "outcome": line.outcome,
        **({"outcomeDesc": _OUTCOMES[line.outcome]} if line.outcome in _OUTCOMES else {}),
        "agent": [
            _client(line, organization, role=_DESTINATION if told else _SOURCE),
            _server(base, role=_SOURCE if told else _DESTINATION),
        ],
        "source": {
            "observer": _service(base),
            "type": [{"system": uris.SOURCE_TYPE, "code": "4", "display": "Application Server"}],
        },
        "entity": [
            *_touched(line),
            *map(_resource, animals),
            *([_request(line.request)] if line.request else []),
        ],  # a clock asks without one
    }


def _kind(line: Trace) -> Json:
    """What was done: a RESTful interaction, or asking for a token."""
    if line.interaction == LOGIN:
        return {"type": _dicom(*_AUTHENTICATION), "subtype": [_dicom(*_LOGIN)]}
    rest = {"system": uris.AUDIT_TYPE, "code": "rest", "display": "RESTful Operation"}
    return {"type": rest, **_subtype(line)}


def _subtype(line: Trace) -> Json:
    """The interaction, and which operation it was; a method that R4 has no interaction for leaves none."""
    named = ((uris.RESTFUL, line.interaction), (uris.OPERATION, line.operation))
    found = [{"system": system, "code": code} for system, code in named if code]
    return {"subtype": found} if found else {}


def _dicom(code: str, display: str) -> Json:
    return {"system": uris.DCM, "code": code, "display": display}


def _client(line: Trace, organization: str, *, role: tuple[str, str]) -> Json:
    """Who asked: the organisation, and the label of its token; never the token."""
    who = {"type": "Organization", "identifier": {"system": uris.ORGANIZATION, "value": organization}}
    name = {"name": line.client} if line.client else {}
    where = {"network": {"address": line.address, "type": "2"}} if line.address else {}  # 2: an IP address
    return {"type": _role(role), **({"who": who} if organization else {}), **name, "requestor": True, **where}


def _server(base: str, *, role: tuple[str, str]) -> Json:
    network = {"address": base, "type": "5"}  # 5: an URI
    return {"type": _role(role), "who": _service(base), "requestor": False, "network": network}


def _role(role: tuple[str, str]) -> Json:
    return {"coding": [_dicom(*role)]}


def _service(base: str) -> Json:
    return {"type": "Device", "identifier": {"system": uris.URI, "value": base}, "display": "Sonoledger"}


def _touched(line: Trace) -> list[Json]:
    """What was asked for by its id and what was shown or written; only the type where nothing had an id."""
    named = (f"{line.type}/{line.id_of}",) if line.type and line.id_of else ()
    found = [_resource(reference) for reference in dict.fromkeys((*named, *line.entities))]
    if found or not line.type:
        return found
    kind = {"type": {"system": uris.RESOURCE_TYPES, "code": line.type}}
    searched = {"role": {"system": uris.OBJECT_ROLE, "code": "24", "display": "Query"}}
    return [kind | (searched if line.interaction in _SEARCHES else {})]


def _resource(reference: str) -> Json:
    if reference.startswith("Patient/"):
        kind, role = ("1", "Person"), ("1", "Patient")
    else:
        kind, role = ("2", "System Object"), ("4", "Domain Resource")
    return {
        "what": {"reference": reference},
        "type": {"system": uris.ENTITY_TYPE, "code": kind[0], "display": kind[1]},
        "role": {"system": uris.OBJECT_ROLE, "code": role[0], "display": role[1]},
    }


def _request(id_: str) -> Json:
    """X-Request-Id, as the patterns hold it."""
    return {
        "what": {"identifier": {"value": id_}},
        "type": {"system": uris.REQUEST_ENTITY, "code": "XrequestId"},
    }
