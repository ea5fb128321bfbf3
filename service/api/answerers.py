"""Each offer of the table into the function that answers it."""

from collections.abc import Callable, Mapping

from service.api import (
    audit_read,
    bundle,
    catalogue,
    document,
    everything,
    history,
    invoice_print,
    lastn,
    meta,
    metadata,
    operation,
    read,
    report_forms,
    search,
    subscriptions,
    write,
)
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.offers import EXAM, Offer
from service.fhir.operations import CHECK
from service.fhir.types import DEFINITIONS

Answerer = Callable[[Ask], Answer]

_BY_CODE: Mapping[str, Answerer] = {
    "transaction": lambda ask: bundle.transact(ask, answerer),
    "capabilities": metadata.capabilities,
    "history-system": history.history,
    "history-type": history.history,
    "history-instance": history.history,
    "search-system": search.search,
    "search-type": search.search,
    "create": write.create,
    "update": write.update,
    "patch": write.patch,
    "delete": write.delete,
    "read": read.read,
    "vread": read.vread,
}
_OF_THE_AUDIT: Mapping[str, Answerer] = {"search-type": audit_read.search, "read": audit_read.read}
_OF_DEFINITIONS: Mapping[str, Answerer] = {"search-type": catalogue.search, "read": catalogue.read}
_BY_OPERATION: Mapping[str, Answerer] = {
    "as-document": report_forms.document,
    "document": document.document,
    "events": subscriptions.events,
    "everything": everything.everything,
    "form": report_forms.form,
    "lastn": lastn.lastn,
    "meta": meta.meta,
    "meta-add": meta.add,
    "meta-delete": meta.delete,
    "print": invoice_print.form,
    "status": subscriptions.status,
    "validate": operation.validate,
    **{name: operation.exam(name) for name in (*EXAM, CHECK.name)},
}


def answerer(offer: Offer, type_: str) -> Answerer:
    """The function that answers an offer on a type."""
    if type_ == "AuditEvent" and not offer.operation:
        return _OF_THE_AUDIT[offer.code]
    if type_ in DEFINITIONS and not offer.operation:
        return _OF_DEFINITIONS[offer.code]
    return _BY_OPERATION[offer.operation] if offer.operation else _BY_CODE[offer.code]
