"""The referral that an exam came of, and whom it makes pay."""

from typing import Any

from service.actions.gathering import all_of
from service.actions.ports import House, View
from service.basics.agreement import PREFIX, REFERRAL, Agreement
from service.fhir import uris
from service.fhir.reading import referral as reading

Json = dict[str, Any]


def referral_of(house: House, view: View, order: str) -> Json | None:
    """The Task of the referral of an order (its id); None where nobody referred, for the price of one look."""
    if not any(name.startswith(PREFIX) for name, _ in view.routes()):
        return None
    found = all_of(house, view, "Task", code=f"{uris.TASK_CODE}|{REFERRAL}", focus=f"ServiceRequest/{order}")
    return found[0] if found else None


def agreed_on(view: View, task: Json | None) -> Agreement | None:
    """The agreement that a referral is under."""
    id_ = reading.agreement_of(task) if task else ""
    return next((one for one in view.agreements() if one.id == id_), None)


def clinic_of(house: House, view: View, agreed: Agreement, asked: Json | None) -> Json | None:
    """The Organization here that stands for a clinic: the one it told of itself, else that of whoever asked."""
    if not agreed.clinic:
        return asked
    found = all_of(house, view, "Organization", identifier=f"{uris.ORGANIZATION}|{agreed.clinic}")
    return found[0] if found else asked


def billed(house: House, view: View, order: str, asked: Json | None) -> Json | None:
    """The clinic that is billed for a referred exam in its client's place; None where the client is."""
    agreed = agreed_on(view, referral_of(house, view, order))
    if agreed is None or agreed.bills != "clinic" or agreed.hospital != view.organization:
        return None
    return clinic_of(house, view, agreed, asked)
