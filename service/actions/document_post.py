"""The report of an event into the document Bundle that is promised to a destination that takes documents."""

from collections.abc import Sequence
from typing import Any

from service.actions.document import document
from service.actions.ports import House, Work
from service.actions.writing import decoded
from service.basics.destination import Terms
from service.fhir import uris
from service.fhir.reading.report import is_ours, read_report
from service.fhir.writing.report_document import composition, document_id
from service.fhir.writing.tailoring import tailored

Json = dict[str, Any]
MOST = 5_000  # resources of one document


def document_of(house: House, work: Work, resources: Sequence[Json], *, terms: Terms) -> Json | None:
    """The document of the report among the resources, as stored by now; None when there is no report of ours."""
    report = next((one for one in resources if one["resourceType"] == "DiagnosticReport"), None)
    stored = work.get("DiagnosticReport", report["id"]) if report and is_ours(report) else None
    if stored is None:
        return None
    whole = decoded(stored)
    keys = {title: key for key, title in house.catalogues.current.sections}
    first = composition(whole, read_report(whole).lines, keys=keys, base=house.base)
    found = document(house, work, stored, may=lambda type_: True, most=MOST)
    entries = [{"fullUrl": f"urn:uuid:{first['id']}", "resource": _fit(first, terms)}]
    entries += [{"fullUrl": f"{house.base}/{s.type}/{s.id}", "resource": _fit(decoded(s), terms)} for s in found]
    return {
        "resourceType": "Bundle",
        "identifier": {"system": uris.URI, "value": f"urn:uuid:{document_id(whole)}"},
        "type": "document",
        "timestamp": whole["issued"],
        "entry": entries,
    }


def _fit(resource: Json, terms: Terms) -> Json:
    return tailored(resource, formats=terms.formats, zone=terms.zone)
